package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"

	"nodespan/assess"
)

// AddTrace keeps a cane that was traced after a person pointed at it, and
// returns the id by which a ruling can add it to the vine. The cane's own
// number is set to one that neither the measurement nor an earlier trace uses.
func (s *Store) AddTrace(ctx context.Context, measurementID int64, cane assess.Cane, program, by string) (int64, assess.Cane, error) {
	m, err := s.Measurement(ctx, measurementID)
	if err != nil {
		return 0, assess.Cane{}, err
	}
	for _, c := range m.Seen.Canes {
		cane.ID = max(cane.ID, c.ID+1)
	}
	var id int64
	err = s.write(ctx, func(tx *sql.Tx) error {
		var used sql.NullInt64
		if err := tx.QueryRowContext(ctx, `SELECT max(json ->> '$.id') FROM traces WHERE measurement_id = ?`, measurementID).Scan(&used); err != nil {
			return err
		}
		cane.ID = max(cane.ID, int(used.Int64)+1)
		text, err := json.Marshal(cane)
		if err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO traces (measurement_id, program, json, asked_by, traced_at) VALUES (?,?,?,?,?)`, measurementID, program, string(text), by, s.stamp())
		if err != nil {
			return err
		}
		id, err = r.LastInsertId()
		return err
	})
	return id, cane, err
}

// Trace finds a traced cane of a measurement, or of another one of its photo,
// since rulings come over from one to the next; ENotFound when there is none.
func (s *Store) Trace(ctx context.Context, measurementID, id int64) (assess.Cane, error) {
	var text string
	err := s.db.QueryRowContext(ctx, `SELECT json FROM traces WHERE id = ? AND measurement_id IN (SELECT m.id FROM measurements m WHERE m.photo_id = (SELECT photo_id FROM measurements WHERE id = ?))`, id, measurementID).Scan(&text)
	if errors.Is(err, sql.ErrNoRows) {
		return assess.Cane{}, assess.Errorf(assess.ENotFound, "There is no such traced cane. Point at its base and tip again.")
	}
	if err != nil {
		return assess.Cane{}, err
	}
	var c assess.Cane
	return c, json.Unmarshal([]byte(text), &c)
}
