package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"nodespan/assess"
)

// Choice is one confirmed choice for a vine in a winter. The one with the
// highest Seq counts; the others show how it came about.
type Choice struct {
	ID            int64
	VineID        int64
	Winter        string
	Seq           int
	MeasurementID int64
	PhotoID       int64           // of the measurement
	Payload       json.RawMessage // the choice that was confirmed, as package assess has it
	Said          json.RawMessage // the choice that was suggested
	Who           string
	At            time.Time
}

func scanChoice(row scanner) (Choice, error) {
	var c Choice
	var payload, said string
	var at sql.NullString
	err := row.Scan(&c.ID, &c.VineID, &c.Winter, &c.Seq, &c.MeasurementID, &c.PhotoID, &payload, &said, &c.Who, &at)
	c.Payload, c.Said, c.At = json.RawMessage(payload), json.RawMessage(said), parseTime(at)
	return c, err
}

const choiceColumns = `id, vine_id, winter, seq, measurement_id, (SELECT m.photo_id FROM measurements m WHERE m.id = measurement_id), payload, said, who, chosen_at`

// Choices lists the latest choice of each winter of a vine, the latest winter first.
func (s *Store) Choices(ctx context.Context, vineID int64) ([]Choice, error) {
	return list(ctx, s.db, scanChoice, `SELECT `+choiceColumns+` FROM choices c WHERE vine_id = ?
AND seq = (SELECT max(seq) FROM choices WHERE vine_id = c.vine_id AND winter = c.winter) ORDER BY winter DESC`, vineID)
}

const latestChoice = `SELECT ` + choiceColumns + ` FROM choices WHERE vine_id = ? AND winter = ? ORDER BY seq DESC LIMIT 1`

// LatestChoice gives the choice that counts for a vine in a winter, or nil.
func (s *Store) LatestChoice(ctx context.Context, vineID int64, winter string) (*Choice, error) {
	c, err := scanChoice(s.db.QueryRowContext(ctx, latestChoice, vineID, winter))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &c, nil
}

// ChoiceUnder gives the choice that a request made under its key, or nil.
func (s *Store) ChoiceUnder(ctx context.Context, measurementID int64, key string) (*Choice, error) {
	c, err := scanChoice(s.db.QueryRowContext(ctx, `SELECT `+choiceColumns+` FROM choices WHERE measurement_id = ? AND id = (SELECT result FROM idempotency_keys WHERE key = ?)`, measurementID, key))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &c, nil
}

// AddChoice keeps a confirmed choice, with the vine and winter of the photo
// that its measurement is of. after is the Seq that the person had seen, 0 for
// none; when there is a newer one the error is a *Conflict and nothing is
// written.
func (s *Store) AddChoice(ctx context.Context, measurementID int64, after int, who, key string, payload, said json.RawMessage) (Choice, error) {
	who, err := CheckName(who, "Whoever chooses")
	if err != nil {
		return Choice{}, err
	}
	digest, err := digestOf(measurementID, who, payload)
	if err != nil {
		return Choice{}, err
	}
	c := Choice{MeasurementID: measurementID, Payload: payload, Said: said, Who: who, Seq: after + 1, At: s.now().UTC()}
	err = s.write(ctx, func(tx *sql.Tx) error {
		done, err := replayed(ctx, tx, key, digest)
		if err != nil {
			return err
		}
		if done != 0 {
			c, err = scanChoice(tx.QueryRowContext(ctx, `SELECT `+choiceColumns+` FROM choices WHERE id = ?`, done))
			return err
		}
		err = tx.QueryRowContext(ctx, `SELECT p.vine_id, p.winter, p.id FROM measurements m JOIN photos p ON p.id = m.photo_id WHERE m.id = ?`, measurementID).Scan(&c.VineID, &c.Winter, &c.PhotoID)
		if errors.Is(err, sql.ErrNoRows) {
			return assess.Errorf(assess.ENotFound, "There is no such measurement. Go to the vine's page and pick the photo there.")
		}
		if err != nil {
			return err
		}
		now, err := scanChoice(tx.QueryRowContext(ctx, latestChoice, c.VineID, c.Winter))
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if now.Seq != after {
			return &Conflict{
				cause:  assess.Errorf(assess.EConflict, "Somebody else chose for this vine meanwhile. Nothing of yours was saved yet: look at what is there now, then decide."),
				Choice: &now,
			}
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO choices (vine_id, winter, seq, measurement_id, payload, said, who, chosen_at) VALUES (?,?,?,?,?,?,?,?)`,
			c.VineID, c.Winter, c.Seq, measurementID, string(payload), string(said), who, c.At.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		if c.ID, err = r.LastInsertId(); err != nil {
			return err
		}
		if err := countVine(ctx, tx, c.VineID); err != nil {
			return err
		}
		return s.remember(ctx, tx, key, digest, c.ID)
	})
	if err != nil {
		return Choice{}, err
	}
	return c, nil
}
