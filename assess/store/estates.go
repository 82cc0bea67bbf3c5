package store

import (
	"context"
	"database/sql"
	"errors"

	"nodespan/assess"
)

// FirstEstate is the estate that every record has; what was recorded before
// there were accounts belongs to it.
const FirstEstate int64 = 1

// Estate is whose blocks they are. Nobody sees anything of an estate whose
// member they are not.
type Estate struct {
	ID   int64
	Name string
}

func scanEstate(row scanner) (Estate, error) {
	var e Estate
	return e, row.Scan(&e.ID, &e.Name)
}

// Estates lists all estates by name.
func (s *Store) Estates(ctx context.Context) ([]Estate, error) {
	return list(ctx, s.db, scanEstate, `SELECT id, name FROM estates ORDER BY name`)
}

// Estate finds an estate by id; ENotFound when there is none.
func (s *Store) Estate(ctx context.Context, id int64) (Estate, error) {
	e, err := scanEstate(s.db.QueryRowContext(ctx, `SELECT id, name FROM estates WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Estate{}, assess.Errorf(assess.ENotFound, "There is no such estate.")
	}
	return e, err
}

// AddEstate makes an estate; EConflict when the name is taken.
func (s *Store) AddEstate(ctx context.Context, name string) (Estate, error) {
	name, err := CheckName(name, "An estate")
	if err != nil {
		return Estate{}, err
	}
	e := Estate{Name: name}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if err := freeEstateName(ctx, tx, name, 0); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO estates (name, created_at) VALUES (?, ?)`, name, s.stamp())
		if err != nil {
			return err
		}
		e.ID, err = r.LastInsertId()
		return err
	})
	return e, err
}

// RenameEstate gives an estate another name; EConflict when it is taken.
func (s *Store) RenameEstate(ctx context.Context, id int64, name string) error {
	name, err := CheckName(name, "An estate")
	if err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		if err := freeEstateName(ctx, tx, name, id); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `UPDATE estates SET name = ? WHERE id = ?`, name, id)
		return err
	})
}

func freeEstateName(ctx context.Context, tx *sql.Tx, name string, but int64) error {
	var n int
	if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM estates WHERE name = ? AND id <> ?`, name, but).Scan(&n); err != nil {
		return err
	}
	if n > 0 {
		return assess.Errorf(assess.EConflict, "There is an estate of that name already. Choose another one.")
	}
	return nil
}

// estateOf finds the estate at the end of a query; ENotFound, in the same
// words for whatever isn't there, so that nothing can be learnt by guessing.
func (s *Store) estateOf(ctx context.Context, query string, id int64) (int64, error) {
	var estate int64
	err := s.db.QueryRowContext(ctx, query, id).Scan(&estate)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	return estate, err
}

// EstateOfBlock tells whose a block is.
func (s *Store) EstateOfBlock(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT estate_id FROM blocks WHERE id = ?`, id)
}

// EstateOfPhoto tells whose a photo is.
func (s *Store) EstateOfPhoto(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT b.estate_id FROM photos p JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id WHERE p.id = ? AND `+notDeleted, id)
}

// EstateOfMeasurement tells whose a measurement is.
func (s *Store) EstateOfMeasurement(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT b.estate_id FROM measurements m JOIN photos p ON p.id = m.photo_id JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id WHERE m.id = ? AND `+notDeleted, id)
}
