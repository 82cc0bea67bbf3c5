package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"nodespan/assess"
)

// Ask is a request to measure a photo that was kept.
type Ask struct {
	ID      int64
	PhotoID int64
	Ask     assess.Ask
	Second  int64 // the photo from another stance that is measured with it; 0 for none
	By      string
	At      time.Time
}

// Failure is why an ask could not be answered with a measurement.
type Failure struct {
	Code string
	Why  assess.Sentence
	At   time.Time
}

// Measurement is one kept measurement, with its place in the record.
type Measurement struct {
	ID         int64
	AskID      int64
	PhotoID    int64
	MeasuredAt time.Time
	Seen       *assess.Measurement
}

const selectAsks = `SELECT a.id, a.photo_id, a.ask, a.asked_by, a.asked_at, coalesce(w.second_id, 0) FROM asks a LEFT JOIN second_stances w ON w.ask_id = a.id`

func scanAsk(row scanner) (Ask, error) {
	var a Ask
	var text string
	var at sql.NullString
	if err := row.Scan(&a.ID, &a.PhotoID, &text, &a.By, &at, &a.Second); err != nil {
		return Ask{}, err
	}
	a.At = parseTime(at)
	return a, json.Unmarshal([]byte(text), &a.Ask)
}

// AddAsk asks for a photo to be measured once more, with marks or canes that
// a person pointed out. Its measurement then is the one that counts.
func (s *Store) AddAsk(ctx context.Context, photoID int64, ask assess.Ask, by string) (Ask, error) {
	text, err := json.Marshal(ask)
	if err != nil {
		return Ask{}, err
	}
	a := Ask{PhotoID: photoID, Ask: ask, By: by, At: s.now().UTC()}
	err = s.write(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `INSERT INTO asks (photo_id, ask, asked_by, asked_at) VALUES (?,?,?,?)`, photoID, text, by, a.At.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		a.ID, err = r.LastInsertId()
		return err
	})
	return a, err
}

// OpenAsks lists the asks that have neither a measurement nor a failure, the
// oldest first: what is to be measured, also after a restart.
func (s *Store) OpenAsks(ctx context.Context) ([]Ask, error) {
	return list(ctx, s.db, scanAsk, selectAsks+`
WHERE NOT EXISTS (SELECT 1 FROM measurements m WHERE m.ask_id = a.id)
  AND NOT EXISTS (SELECT 1 FROM failures f WHERE f.ask_id = a.id)
  AND NOT EXISTS (SELECT 1 FROM deleted_photos x WHERE x.photo_id = a.photo_id) ORDER BY a.id`)
}

// LatestAsk gives the newest ask for a photo, its failure if it has one, and
// whether it still waits.
func (s *Store) LatestAsk(ctx context.Context, photoID int64) (ask Ask, failed *Failure, open bool, err error) {
	ask, err = scanAsk(s.db.QueryRowContext(ctx, selectAsks+` WHERE a.photo_id = ? ORDER BY a.id DESC LIMIT 1`, photoID))
	if errors.Is(err, sql.ErrNoRows) {
		return Ask{}, nil, false, assess.Errorf(assess.ENotFound, "There is no such photo.")
	}
	if err != nil {
		return Ask{}, nil, false, err
	}
	var f Failure
	var at sql.NullString
	var message, phrase string
	err = s.db.QueryRowContext(ctx, `SELECT code, message, phrase, failed_at FROM failures WHERE ask_id = ?`, ask.ID).Scan(&f.Code, &message, &phrase, &at)
	if err == nil {
		f.At = parseTime(at)
		if f.Why, err = assess.KeptSentence(message, phrase); err != nil {
			return Ask{}, nil, false, fmt.Errorf("failure of ask %d: %w", ask.ID, err)
		}
		return ask, &f, false, nil
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return Ask{}, nil, false, err
	}
	err = s.db.QueryRowContext(ctx, `SELECT NOT EXISTS (SELECT 1 FROM measurements WHERE ask_id = ?)`, ask.ID).Scan(&open)
	return ask, nil, open, err
}

// AddMeasurement answers an ask. An ask is answered once: the measurement
// that came first stays, and a second one is an EConflict. What people said of
// an earlier measurement of the photo comes over to it: see assess.Carry.
func (s *Store) AddMeasurement(ctx context.Context, askID int64, m *assess.Measurement) (Measurement, error) {
	text, err := json.Marshal(m)
	if err != nil {
		return Measurement{}, err
	}
	out := Measurement{AskID: askID, MeasuredAt: s.now().UTC(), Seen: m}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if err := tx.QueryRowContext(ctx, `SELECT photo_id FROM asks WHERE id = ?`, askID).Scan(&out.PhotoID); err != nil {
			return err
		}
		var there int64
		err := tx.QueryRowContext(ctx, `SELECT id FROM measurements WHERE ask_id = ?`, askID).Scan(&there)
		if err == nil {
			return assess.Errorf(assess.EConflict, "This photo was measured already.")
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO measurements (ask_id, photo_id, program, rule_set, outcome, canes, json, measured_at) VALUES (?,?,?,?,?,?,?,?)`,
			askID, out.PhotoID, m.Program, m.RuleSet, m.Outcome, len(m.Canes), text, out.MeasuredAt.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		if out.ID, err = r.LastInsertId(); err != nil {
			return err
		}
		if err := s.carryOver(ctx, tx, out.PhotoID); err != nil {
			return err
		}
		return countPhoto(ctx, tx, out.PhotoID)
	})
	if err != nil {
		return Measurement{}, err
	}
	return out, nil
}

// AddFailure closes an ask that can't be answered, with the reason in words.
func (s *Store) AddFailure(ctx context.Context, askID int64, code string, why assess.Sentence) error {
	phrase, err := json.Marshal(why.Phrase())
	if err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO failures (ask_id, code, message, phrase, failed_at) VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING`, askID, code, why.String(), phrase, s.stamp())
		return err
	})
}

func scanMeasurement(row scanner) (Measurement, error) {
	var m Measurement
	var text string
	var at sql.NullString
	if err := row.Scan(&m.ID, &m.AskID, &m.PhotoID, &text, &at); err != nil {
		return Measurement{}, err
	}
	m.MeasuredAt = parseTime(at)
	m.Seen = new(assess.Measurement)
	return m, json.Unmarshal([]byte(text), m.Seen)
}

// Measurement finds a measurement by id; ENotFound when there is none.
func (s *Store) Measurement(ctx context.Context, id int64) (Measurement, error) {
	m, err := scanMeasurement(s.db.QueryRowContext(ctx, `SELECT id, ask_id, photo_id, json, measured_at FROM measurements WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Measurement{}, assess.Errorf(assess.ENotFound, "There is no such measurement. Go to the vine's page and pick the photo there.")
	}
	return m, err
}

const latestMeasurement = `SELECT id, ask_id, photo_id, json, measured_at FROM measurements WHERE photo_id = ? ORDER BY id DESC LIMIT 1`

// A Gist is what lists tell of a measurement, without reading all of it.
type Gist struct {
	ID      int64
	Outcome assess.Outcome
	Canes   int // that the program found
}

// LatestGist is the gist of a photo's newest measurement; the zero Gist when it
// has none yet.
func (s *Store) LatestGist(ctx context.Context, photoID int64) (Gist, error) {
	var g Gist
	err := s.db.QueryRowContext(ctx, `SELECT id, outcome, canes FROM measurements WHERE photo_id = ? ORDER BY id DESC LIMIT 1`, photoID).Scan(&g.ID, &g.Outcome, &g.Canes)
	if errors.Is(err, sql.ErrNoRows) {
		return Gist{}, nil
	}
	return g, err
}

// LatestMeasurement gives the newest measurement of a photo, which is the one
// that counts, or nil when it has none yet.
func (s *Store) LatestMeasurement(ctx context.Context, photoID int64) (*Measurement, error) {
	m, err := scanMeasurement(s.db.QueryRowContext(ctx, latestMeasurement, photoID))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &m, nil
}
