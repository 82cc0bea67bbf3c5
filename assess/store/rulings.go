package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"nodespan/assess"
)

// Ruling is one row of what people said of a measurement's canes.
type Ruling struct {
	ID            int64
	MeasurementID int64
	Seq           int // 1, 2, 3, … within the measurement
	Cane          int // id in the measurement, or a new one for a cane that was missed
	Kind          string
	Payload       json.RawMessage // the ruling as package assess has it
	Said          json.RawMessage // what the program had said of the cane
	Who           string
	At            time.Time
}

// NewRuling is a ruling that is to be kept.
type NewRuling struct {
	Cane    int
	Kind    string
	Payload json.RawMessage
	Said    json.RawMessage
	// Sent is what the person sent, by which a second sending is known; nil
	// takes Payload and Said. What the service fills in (the finding by the rule
	// set of the day) may differ at a second sending days later.
	Sent json.RawMessage
}

// Conflict says that somebody else wrote meanwhile. Nothing was written; what
// is there now lies in Rulings or in Choice. Its code is assess.EConflict.
type Conflict struct {
	Rulings []Ruling
	Choice  *Choice
	cause   *assess.Error
}

// Error gives the sentence for the person.
func (c *Conflict) Error() string { return c.cause.Message }

// Unwrap gives the error that carries code and sentence.
func (c *Conflict) Unwrap() error { return c.cause }

func scanRuling(row scanner) (Ruling, error) {
	var r Ruling
	var payload, said string
	var at sql.NullString
	err := row.Scan(&r.ID, &r.MeasurementID, &r.Seq, &r.Cane, &r.Kind, &payload, &said, &r.Who, &at)
	r.Payload, r.Said, r.At = json.RawMessage(payload), json.RawMessage(said), parseTime(at)
	return r, err
}

const selectRulings = `SELECT id, measurement_id, seq, cane, kind, payload, said, who, ruled_at FROM rulings WHERE measurement_id = ? ORDER BY seq`

// Rulings lists the rulings on a measurement in the order they were given.
func (s *Store) Rulings(ctx context.Context, measurementID int64) ([]Ruling, error) {
	return list(ctx, s.db, scanRuling, selectRulings, measurementID)
}

// AddRulings keeps rulings of one person on one measurement, all or none.
// after is the number of the last ruling that the person had seen, 0 for
// none; when there are newer ones the error is a *Conflict. key, which may be
// empty, makes a second sending of the same rulings harmless. It returns all
// rulings on the measurement.
func (s *Store) AddRulings(ctx context.Context, measurementID int64, after int, who, key string, add []NewRuling) ([]Ruling, error) {
	who, err := CheckName(who, "Whoever rules")
	if err != nil {
		return nil, err
	}
	if len(add) == 0 {
		return nil, assess.Errorf(assess.EInvalid, "There is nothing to save. Rule on a cane first.")
	}
	sent := slices.Clone(add)
	for i := range sent {
		if sent[i].Sent != nil {
			sent[i].Payload, sent[i].Said = nil, nil
		}
	}
	digest, err := digestOf(measurementID, who, sent)
	if err != nil {
		return nil, err
	}
	var all []Ruling
	err = s.write(ctx, func(tx *sql.Tx) error {
		done, err := replayed(ctx, tx, key, digest)
		if err != nil {
			return err
		}
		if done == 0 {
			now, err := list(ctx, tx, scanRuling, selectRulings, measurementID)
			if err != nil {
				return err
			}
			if len(now) != after {
				return &Conflict{
					cause:   assess.Errorf(assess.EConflict, "Somebody else ruled on this photo meanwhile. Nothing of yours was saved yet: look at what is there now, then decide."),
					Rulings: now,
				}
			}
			// A clock that went back must not make a later ruling look earlier.
			at := s.now().UTC()
			if n := len(now); n > 0 && at.Before(now[n-1].At) {
				at = now[n-1].At
			}
			var last int64
			for i, r := range add {
				if last, err = insertRuling(ctx, tx, measurementID, after+1+i, r, who, at); err != nil {
					return err
				}
			}
			if err := s.remember(ctx, tx, key, digest, last); err != nil {
				return err
			}
			var photo int64
			if err := tx.QueryRowContext(ctx, `SELECT photo_id FROM measurements WHERE id = ?`, measurementID).Scan(&photo); err != nil {
				return err
			}
			if err := s.carryOver(ctx, tx, photo); err != nil {
				return err
			}
			if err := countPhoto(ctx, tx, photo); err != nil {
				return err
			}
		}
		all, err = list(ctx, tx, scanRuling, selectRulings, measurementID)
		return err
	})
	if err != nil {
		return nil, err
	}
	return all, nil
}

func insertRuling(ctx context.Context, tx *sql.Tx, measurementID int64, seq int, r NewRuling, who string, at time.Time) (int64, error) {
	res, err := tx.ExecContext(ctx, `INSERT INTO rulings (measurement_id, seq, cane, kind, payload, said, who, ruled_at) VALUES (?,?,?,?,?,?,?,?)`,
		measurementID, seq, r.Cane, r.Kind, string(r.Payload), string(r.Said), who, at.UTC().Format(time.RFC3339Nano))
	if err != nil {
		return 0, err
	}
	return res.LastInsertId()
}

// digestOf is the SHA-256 of the JSON of what was sent.
func digestOf(parts ...any) (string, error) {
	text, err := json.Marshal(parts)
	if err != nil {
		return "", fmt.Errorf("what was sent can't be written as JSON: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}
