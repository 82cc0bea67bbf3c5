package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"slices"
	"time"

	"nodespan/assess"
)

// Kinds of sayings about a vine in a winter.
const (
	SaidPrunings = "prunings" // mass of what was cut off, {"kg": 0.9}
	SaidHarvest  = "harvest"  // of the autumn before that winter, {"kg": 6}
	SaidDescent  = "descent"  // what a cane grew from, assess.Descent
	SaidPruned   = "pruned"   // the vine was pruned as chosen, {}
	SaidHead     = "head"     // where the head is on a photo, {"photo": 12, "px": [x, y]}
)

// Saying is what a person said of a vine in a winter that isn't of one photo.
type Saying struct {
	ID      int64
	VineID  int64
	Winter  string
	Kind    string
	Cane    int // 0 where it isn't of one cane
	Payload json.RawMessage
	Who     string
	At      time.Time
	// Key, which may be empty, makes a second sending harmless; it isn't kept
	// with the saying.
	Key string
}

// Say keeps a saying. A payload of null takes back what was said before.
func (s *Store) Say(ctx context.Context, said Saying) (Saying, error) {
	var err error
	if said.Who, err = CheckName(said.Who, "Whoever says it"); err != nil {
		return said, err
	}
	if err := CheckWinter(said.Winter); err != nil {
		return said, err
	}
	if !slices.Contains([]string{SaidPrunings, SaidHarvest, SaidDescent, SaidPruned, SaidHead}, said.Kind) {
		return said, assess.Errorf(assess.EInvalid, "%q can't be said of a vine.", said.Kind)
	}
	digest, err := digestOf(said.VineID, said.Winter, said.Kind, said.Cane, said.Payload, said.Who)
	if err != nil {
		return said, err
	}
	said.At = s.now().UTC()
	err = s.write(ctx, func(tx *sql.Tx) error {
		done, err := replayed(ctx, tx, said.Key, digest)
		if err != nil {
			return err
		}
		if done != 0 {
			var at sql.NullString
			err := tx.QueryRowContext(ctx, `SELECT id, said_at FROM sayings WHERE id = ?`, done).Scan(&said.ID, &at)
			said.At = parseTime(at)
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO winters (name) VALUES (?) ON CONFLICT DO NOTHING`, said.Winter); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO sayings (vine_id, winter, kind, cane, payload, who, said_at) VALUES (?,?,?,?,?,?,?)`,
			said.VineID, said.Winter, said.Kind, said.Cane, string(said.Payload), said.Who, said.At.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		if said.ID, err = r.LastInsertId(); err != nil {
			return err
		}
		return s.remember(ctx, tx, said.Key, digest, said.ID)
	})
	return said, err
}

// Sayings lists what counts of a vine: of each winter, kind and cane the
// latest that wasn't taken back.
func (s *Store) Sayings(ctx context.Context, vineID int64) ([]Saying, error) {
	scan := func(row scanner) (Saying, error) {
		var x Saying
		var payload string
		var at sql.NullString
		err := row.Scan(&x.ID, &x.VineID, &x.Winter, &x.Kind, &x.Cane, &payload, &x.Who, &at)
		x.Payload, x.At = json.RawMessage(payload), parseTime(at)
		return x, err
	}
	return list(ctx, s.db, scan, `SELECT id, vine_id, winter, kind, cane, payload, who, said_at FROM sayings x WHERE vine_id = ? AND payload <> 'null'
AND id = (SELECT max(id) FROM sayings WHERE vine_id = x.vine_id AND winter = x.winter AND kind = x.kind AND cane = x.cane) ORDER BY winter, id`, vineID)
}
