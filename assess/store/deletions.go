package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"nodespan/assess"
)

// DeletedPhoto is a photo that was marked as deleted.
type DeletedPhoto struct {
	Photo
	Vine Vine
	By   string
	At   time.Time
}

// notDeleted is a condition on a photo p.
const notDeleted = `NOT EXISTS (SELECT 1 FROM deleted_photos x WHERE x.photo_id = p.id)`

// measuredItself is a condition on a photo p: it isn't merely another's second
// stance.
const measuredItself = `EXISTS (SELECT 1 FROM asks o WHERE o.photo_id = p.id)`

// DeletePhoto marks a photo as deleted: it, and what was said of it, is shown
// and counted nowhere any more. UndeletePhoto takes that back.
func (s *Store) DeletePhoto(ctx context.Context, photo int64, who string) error {
	return s.markDeleted(ctx, photo, true, who)
}

// UndeletePhoto brings back a photo that was marked as deleted.
func (s *Store) UndeletePhoto(ctx context.Context, photo int64, who string) error {
	return s.markDeleted(ctx, photo, false, who)
}

func (s *Store) markDeleted(ctx context.Context, photo int64, deleted bool, who string) error {
	who, err := CheckName(who, "Whoever deletes")
	if err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error { return s.mark(ctx, tx, photo, deleted, who) })
}

func (s *Store) mark(ctx context.Context, tx *sql.Tx, photo int64, deleted bool, who string) error {
	var is bool
	err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM deleted_photos WHERE photo_id = p.id) FROM photos p WHERE id = ?`, photo).Scan(&is)
	if errors.Is(err, sql.ErrNoRows) {
		return assess.Errorf(assess.ENotFound, "There is no such photo. Go to the vine's page and pick it there.")
	}
	if err != nil || is == deleted {
		return err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO deletions (photo_id, deleted, who, at) VALUES (?,?,?,?)`, photo, deleted, who, s.stamp()); err != nil {
		return err
	}
	// What was taken for it alone goes and comes with it.
	seconds, err := list(ctx, tx, func(row scanner) (id int64, err error) { return id, row.Scan(&id) },
		`SELECT DISTINCT p.id FROM second_stances w JOIN asks a ON a.id = w.ask_id JOIN photos p ON p.id = w.second_id WHERE a.photo_id = ? AND NOT `+measuredItself, photo)
	if err != nil {
		return err
	}
	for _, second := range seconds {
		if err := s.mark(ctx, tx, second, deleted, who); err != nil {
			return err
		}
	}
	return countPhoto(ctx, tx, photo)
}

// DeletedPhotos lists an estate's photos that are marked as deleted, the
// latest first.
func (s *Store) DeletedPhotos(ctx context.Context, estate int64) ([]DeletedPhoto, error) {
	scan := func(row scanner) (DeletedPhoto, error) {
		var d DeletedPhoto
		var at sql.NullString
		err := row.Scan(&d.ID, &d.Winter, &d.Name, &d.Vine.ID, &d.Vine.BlockID, &d.Vine.Row, &d.Vine.Number, &d.By, &at)
		d.VineID, d.At = d.Vine.ID, parseTime(at)
		return d, err
	}
	return list(ctx, s.db, scan, `SELECT p.id, p.winter, p.name, v.id, v.block_id, v.row, v.number, x.who, x.at
FROM deleted_photos x JOIN photos p ON p.id = x.photo_id JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id
WHERE b.estate_id = ? ORDER BY x.at DESC, p.id DESC`, estate)
}

// EstateOfDeleted tells whose a photo is that is marked as deleted.
func (s *Store) EstateOfDeleted(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT b.estate_id FROM deleted_photos x JOIN photos p ON p.id = x.photo_id JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id WHERE x.photo_id = ?`, id)
}
