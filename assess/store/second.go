package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"nodespan/assess"
)

// AddSecond keeps a second photo of the vine that a first one shows, taken from
// a step aside, and the ask to measure the first together with it. n needs no
// vine and no winter: they are the first one's. The same bytes again, or under
// a key that was used for them, give what is there, with fresh false.
//
// EInvalid when the first photo can't be measured with a second one: it was
// refused, or both are the same. EBusy while the first is still being measured.
func (s *Store) AddSecond(ctx context.Context, first int64, n NewPhoto) (second Photo, ask Ask, fresh bool, err error) {
	if len(n.Data) == 0 {
		return Photo{}, Ask{}, false, assess.Errorf(assess.EInvalid, "The photo is empty. Take or choose it again.")
	}
	of, err := s.Photo(ctx, first)
	if err != nil {
		return Photo{}, Ask{}, false, err
	}
	n.Winter = of.Winter
	var id int64
	err = s.withPhoto(ctx, n, func(tx *sql.Tx, sum string) error {
		if id, err = replayed(ctx, tx, n.IdempotencyKey, sum); err != nil || id != 0 {
			return err
		}
		if sum == of.SHA256 {
			return assess.Errorf(assess.EInvalid, "This is the first photo once more. Take the second one from a step to the side, with the card where it is.")
		}
		m, err := scanMeasurement(tx.QueryRowContext(ctx, latestMeasurement, first))
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		seen := err == nil
		last, err := scanAsk(tx.QueryRowContext(ctx, selectAsks+` WHERE a.photo_id = ? ORDER BY a.id DESC LIMIT 1`, first))
		if errors.Is(err, sql.ErrNoRows) {
			return assess.Errorf(assess.EInvalid, "This photo is itself a second one. Add yours to the first.")
		}
		if err != nil {
			return err
		}
		var open bool
		if err := tx.QueryRowContext(ctx, `SELECT NOT EXISTS (SELECT 1 FROM measurements WHERE ask_id = ?1) AND NOT EXISTS (SELECT 1 FROM failures WHERE ask_id = ?1)`, last.ID).Scan(&open); err != nil {
			return err
		}
		if open {
			return assess.Errorf(assess.EBusy, "The first photo is still being measured. Send the second one again in a moment.")
		}
		if !seen || m.Seen.Outcome != assess.Measured {
			return assess.Errorf(assess.EInvalid, "The first photo could not be measured, so a second one can't help. Take the first one again.")
		}
		if id, err = s.photoRow(ctx, tx, n, of.VineID, sum); err != nil {
			return err
		}
		if last.Second != id || m.AskID != last.ID { // otherwise it is what was measured last
			fresh = true
			// Marks and canes that a person pointed out hold for this measurement too.
			r, err := tx.ExecContext(ctx, `INSERT INTO asks (photo_id, ask, asked_by, asked_at) SELECT photo_id, ask, ?, ? FROM asks WHERE id = ?`, n.By, s.stamp(), m.AskID)
			if err != nil {
				return err
			}
			asked, err := r.LastInsertId()
			if err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `INSERT INTO second_stances (ask_id, second_id) VALUES (?, ?)`, asked, id); err != nil {
				return err
			}
		}
		if err := countVine(ctx, tx, of.VineID); err != nil {
			return err
		}
		return s.remember(ctx, tx, n.IdempotencyKey, sum, id)
	})
	if err != nil {
		return Photo{}, Ask{}, false, err
	}
	if second, err = s.Photo(ctx, id); err != nil {
		return Photo{}, Ask{}, false, err
	}
	ask, _, _, err = s.LatestAsk(ctx, first)
	return second, ask, fresh, err
}

// FirstOf gives the photo with which a second one is measured, the latest; 0
// for a photo that is measured by itself.
func (s *Store) FirstOf(ctx context.Context, second int64) (int64, error) {
	var first int64
	err := s.db.QueryRowContext(ctx, `SELECT a.photo_id FROM second_stances w JOIN asks a ON a.id = w.ask_id JOIN photos p ON p.id = w.second_id
WHERE p.id = ? AND NOT `+measuredItself+` ORDER BY a.id DESC LIMIT 1`, second).Scan(&first)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return first, err
}

// An Earlier measurement of a photo, with what people said of it.
type Earlier struct {
	Measurement Measurement
	Rulings     []assess.Ruling
}

// EarlierOf lists the measurements of a photo before one of them that people
// ruled on, the oldest first.
func (s *Store) EarlierOf(ctx context.Context, photo, measurement int64) ([]Earlier, error) {
	return earlierOf(ctx, s.db, photo, measurement)
}

func earlierOf(ctx context.Context, db querier, photo, measurement int64) ([]Earlier, error) {
	ms, err := list(ctx, db, scanMeasurement, `SELECT id, ask_id, photo_id, json, measured_at FROM measurements m
WHERE photo_id = ? AND id < ? AND EXISTS (SELECT 1 FROM rulings r WHERE r.measurement_id = m.id) ORDER BY id`, photo, measurement)
	if err != nil {
		return nil, err
	}
	var out []Earlier
	for _, m := range ms {
		rs, err := rulingsOn(ctx, db, m.ID)
		if err != nil {
			return nil, err
		}
		out = append(out, Earlier{m, rs})
	}
	return out, nil
}

// carryOver adds to a photo's latest measurement what people said of the ones
// before, as far as it still holds: see assess.Carry.
func (s *Store) carryOver(ctx context.Context, tx *sql.Tx, photo int64) error {
	var several bool
	if err := tx.QueryRowContext(ctx, `SELECT count(*) > 1 FROM measurements WHERE photo_id = ?`, photo).Scan(&several); err != nil || !several {
		return err
	}
	to, err := scanMeasurement(tx.QueryRowContext(ctx, latestMeasurement, photo))
	if err != nil || to.Seen.Outcome != assess.Measured {
		return err
	}
	before, err := earlierOf(ctx, tx, photo, to.ID)
	if err != nil {
		return err
	}
	for _, e := range before {
		there, err := rulingsOn(ctx, tx, to.ID)
		if err != nil {
			return err
		}
		carried, _ := assess.Carry(e.Measurement.Seen, e.Rulings, to.Seen, there)
		for i, r := range carried {
			n, err := KeepRuling(r)
			if err != nil {
				return err
			}
			if _, err := insertRuling(ctx, tx, to.ID, len(there)+1+i, n, r.Who, r.When); err != nil {
				return err
			}
		}
	}
	return nil
}

// KeepRuling makes a ruling ready for AddRulings. Who and when stand in the row,
// which is the authority for both; they are left out of the JSON so that what
// is kept doesn't say it twice.
func KeepRuling(r assess.Ruling) (NewRuling, error) {
	r.Who, r.When = "", time.Time{}
	payload, err := json.Marshal(r)
	if err != nil {
		return NewRuling{}, err
	}
	said, err := json.Marshal(r.Seen)
	if err != nil {
		return NewRuling{}, err
	}
	return NewRuling{Cane: r.Cane, Kind: string(r.Said), Payload: payload, Said: said}, nil
}
