package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"nodespan/assess"
)

// SealedChoice is one attempt of somebody at a vine of an exercise.
type SealedChoice struct {
	ID      int64
	VineID  int64 // of the exercise
	Account int64
	About   int64 // whose choice a trainer went through; 0 for one's own
	Attempt int   // 1, 2, 3, … of that account at that vine
	Passed  bool  // chose nothing
	Blind   bool  // made before anything of others could be seen
	Payload json.RawMessage
	Who     string
	At      time.Time

	WithdrawnAt  time.Time // zero while it stands
	WithdrawnWhy string
}

// Stands tells whether a choice wasn't withdrawn.
func (c SealedChoice) Stands() bool { return c.WithdrawnAt.IsZero() }

// NewSealed is a choice that is to be sealed.
type NewSealed struct {
	VineID, Account, About int64
	After                  int // attempts that the person had made before
	Passed                 bool
	Shown, Payload         json.RawMessage
	Who, Key               string
}

const selectSealed = `SELECT c.id, c.exercise_vine_id, c.account_id, coalesce(c.about_id, 0), c.attempt, c.passed, c.blind, c.payload, c.who, c.sealed_at, w.withdrawn_at, coalesce(w.why, '')
FROM sealed_choices c LEFT JOIN choice_withdrawals w ON w.choice_id = c.id `

func scanSealed(row scanner) (SealedChoice, error) {
	var c SealedChoice
	var payload string
	var at, withdrawn sql.NullString
	err := row.Scan(&c.ID, &c.VineID, &c.Account, &c.About, &c.Attempt, &c.Passed, &c.Blind, &payload, &c.Who, &at, &withdrawn, &c.WithdrawnWhy)
	c.Payload, c.At, c.WithdrawnAt = json.RawMessage(payload), parseTime(at), parseTime(withdrawn)
	return c, err
}

// SealedChoices lists all that was sealed in an exercise, by whomever, in the
// order in which it was.
func (s *Store) SealedChoices(ctx context.Context, exercise int64) ([]SealedChoice, error) {
	return list(ctx, s.db, scanSealed, selectSealed+`WHERE c.exercise_vine_id IN (SELECT id FROM exercise_vines WHERE exercise_id = ?) ORDER BY c.id`, exercise)
}

// Seal keeps a choice with the present time. EConflict when one stands
// already, when the person passed on the vine, or when there are other attempts
// than the person had seen.
func (s *Store) Seal(ctx context.Context, n NewSealed) (SealedChoice, error) {
	var out SealedChoice
	who, err := CheckName(n.Who, "Whoever chooses")
	if err != nil {
		return out, err
	}
	digest, err := digestOf(n.VineID, n.Account, n.About, n.Passed, n.Payload)
	if err != nil {
		return out, err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		done, err := replayed(ctx, tx, n.Key, digest)
		if err != nil {
			return err
		}
		if done == 0 {
			earlier, err := list(ctx, tx, scanSealed, selectSealed+`WHERE c.exercise_vine_id = ? AND c.account_id = ? AND coalesce(c.about_id, 0) = ? ORDER BY c.attempt`, n.VineID, n.Account, n.About)
			if err != nil {
				return err
			}
			if k := len(earlier); k > 0 && earlier[k-1].Passed {
				return assess.Errorf(assess.EConflict, "You passed on this vine, so nothing more can be chosen for it in this exercise.")
			} else if k > 0 && earlier[k-1].Stands() {
				return assess.Errorf(assess.EConflict, "You sealed a choice for this vine already. Withdraw it before you make another one; both stay on record.")
			} else if k != n.After {
				return assess.Errorf(assess.EConflict, "There are other attempts of yours than this page knew of. Nothing was sealed: load it anew.")
			}
			blind, err := madeBlind(ctx, tx, n, earlier)
			if err != nil {
				return err
			}
			var about any
			if n.About != 0 {
				about = n.About
			}
			r, err := tx.ExecContext(ctx, `INSERT INTO sealed_choices (exercise_vine_id, account_id, about_id, attempt, passed, blind, shown, payload, who, sealed_at) VALUES (?,?,?,?,?,?,?,?,?,?)`,
				n.VineID, n.Account, about, n.After+1, n.Passed, blind, string(n.Shown), string(n.Payload), who, s.stamp())
			if err != nil {
				return err
			}
			if done, err = r.LastInsertId(); err != nil {
				return err
			}
			if err := s.remember(ctx, tx, n.Key, digest, done); err != nil {
				return err
			}
		}
		out, err = scanSealed(tx.QueryRowContext(ctx, selectSealed+`WHERE c.id = ?`, done))
		return err
	})
	return out, err
}

// madeBlind tells whether a choice is made before its maker could see anything
// of others: a trainer sees them as soon as an own choice stood, a participant
// when one stood while the results were open.
func madeBlind(ctx context.Context, tx *sql.Tx, n NewSealed, earlier []SealedChoice) (bool, error) {
	if n.About != 0 {
		return false, nil
	}
	var trains bool
	var opened sql.NullString
	if err := tx.QueryRowContext(ctx, `SELECT g.trainer_id = ?, o.opened_at FROM exercise_vines x JOIN exercises e ON e.id = x.exercise_id JOIN training_groups g ON g.id = e.group_id
LEFT JOIN exercise_openings o ON o.exercise_id = e.id WHERE x.id = ?`, n.Account, n.VineID).Scan(&trains, &opened); err != nil {
		return false, err
	}
	if trains {
		return len(earlier) == 0, nil
	}
	for _, c := range earlier {
		if opened.Valid && !c.WithdrawnAt.Before(parseTime(opened)) {
			return false, nil
		}
	}
	return true, nil
}

// Withdraw takes back a choice of an account; it stays on record. EConflict
// when it doesn't stand any more, or was a pass, which is final; ENotFound when
// the account has no such choice.
func (s *Store) Withdraw(ctx context.Context, choice, account int64, why, who string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		c, err := scanSealed(tx.QueryRowContext(ctx, selectSealed+`WHERE c.id = ? AND c.account_id = ?`, choice, account))
		switch {
		case errors.Is(err, sql.ErrNoRows):
			return assess.Errorf(assess.ENotFound, "There is no such choice of yours.")
		case err != nil:
			return err
		case c.Passed:
			return assess.Errorf(assess.EConflict, "You passed on this vine, so nothing more can be chosen for it in this exercise.")
		case !c.Stands():
			return assess.Errorf(assess.EConflict, "This choice was withdrawn already.")
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO choice_withdrawals (choice_id, why, who, withdrawn_at) VALUES (?,?,?,?)`, choice, why, who, s.stamp())
		return err
	})
}

// Remark is a word or an arrow that was left on a sealed choice.
type Remark struct {
	ID, Choice int64
	Payload    json.RawMessage // exercise.Remark
	Who        string
	At         time.Time
}

// AddRemark leaves a remark on a choice.
func (s *Store) AddRemark(ctx context.Context, choice int64, payload json.RawMessage, who string) (Remark, error) {
	return s.remark(ctx, Remark{Choice: choice, Payload: payload, Who: who}, nil)
}

// TakeBackRemark takes a remark on a choice back; it stays on record. ENotFound
// when there is none.
func (s *Store) TakeBackRemark(ctx context.Context, choice, remark int64, who string) error {
	_, err := s.remark(ctx, Remark{Choice: choice, Payload: json.RawMessage("null"), Who: who}, &remark)
	return err
}

func (s *Store) remark(ctx context.Context, r Remark, back *int64) (Remark, error) {
	r.At = s.now().UTC()
	err := s.write(ctx, func(tx *sql.Tx) error {
		if back != nil {
			var there bool
			if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM choice_remarks WHERE id = ? AND choice_id = ? AND takes_back IS NULL)`, *back, r.Choice).Scan(&there); err != nil {
				return err
			}
			if !there {
				return assess.Errorf(assess.ENotFound, "There is no such remark. Load the page anew.")
			}
		}
		res, err := tx.ExecContext(ctx, `INSERT INTO choice_remarks (choice_id, payload, takes_back, who, said_at) VALUES (?,?,?,?,?)`, r.Choice, string(r.Payload), back, r.Who, r.At.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		r.ID, err = res.LastInsertId()
		return err
	})
	return r, err
}

// Remarks lists the remarks on a choice that weren't taken back.
func (s *Store) Remarks(ctx context.Context, choice int64) ([]Remark, error) {
	return list(ctx, s.db, func(row scanner) (Remark, error) {
		var r Remark
		var payload string
		var at sql.NullString
		err := row.Scan(&r.ID, &r.Choice, &payload, &r.Who, &at)
		r.Payload, r.At = json.RawMessage(payload), parseTime(at)
		return r, err
	}, `SELECT id, choice_id, payload, who, said_at FROM choice_remarks r WHERE choice_id = ? AND takes_back IS NULL
AND NOT EXISTS (SELECT 1 FROM choice_remarks b WHERE b.takes_back = r.id) ORDER BY id`, choice)
}

// Outcome is what was really done at a vine, beside the choice for it.
type Outcome struct {
	ID, Choice, Photo int64
	Payload           json.RawMessage // exercise.Done
	Who               string
	At                time.Time
}

// AddOutcome puts a photo taken after pruning beside a choice, with what was
// done. EInvalid when the photo isn't of the choice's vine, or is the one that
// was chosen on.
func (s *Store) AddOutcome(ctx context.Context, o Outcome) (Outcome, error) {
	o.At = s.now().UTC()
	err := s.write(ctx, func(tx *sql.Tx) error {
		var fits bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM sealed_choices c JOIN exercise_vines x ON x.id = c.exercise_vine_id JOIN photos p ON p.vine_id = x.vine_id
WHERE c.id = ? AND p.id = ? AND p.id <> x.photo_id AND `+notDeleted+`)`, o.Choice, o.Photo).Scan(&fits); err != nil {
			return err
		}
		if !fits {
			return assess.Errorf(assess.EInvalid, "Choose a photo of this vine that was taken after pruning: not the one that was chosen on.")
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO choice_outcomes (choice_id, photo_id, payload, who, said_at) VALUES (?,?,?,?,?)`, o.Choice, o.Photo, string(o.Payload), o.Who, o.At.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		o.ID, err = r.LastInsertId()
		return err
	})
	return o, err
}

// LatestOutcome gives what counts of what was done beside a choice, nil for
// nothing.
func (s *Store) LatestOutcome(ctx context.Context, choice int64) (*Outcome, error) {
	var o Outcome
	var payload string
	var at sql.NullString
	err := s.db.QueryRowContext(ctx, `SELECT o.id, o.choice_id, o.photo_id, o.payload, o.who, o.said_at FROM choice_outcomes o JOIN photos p ON p.id = o.photo_id
WHERE o.choice_id = ? AND `+notDeleted+` ORDER BY o.id DESC LIMIT 1`, choice).Scan(&o.ID, &o.Choice, &o.Photo, &payload, &o.Who, &at)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	o.Payload, o.At = json.RawMessage(payload), parseTime(at)
	return &o, err
}

// HiddenVine is a vine of which an account may see nothing but the exercise.
type HiddenVine struct {
	Vine     Vine
	Photo    int64 // that of the exercise
	Exercise int64
	Seq      int // within the exercise
	Mode     string
	Name     string // of the exercise
	// Sealed: a choice stands, and the results aren't open yet.
	Sealed bool
}

// HiddenVines lists the vines of which an account may see nothing but their
// exercise yet: as a participant until its choice is sealed and the results
// are open, as a trainer who chooses blind until its own choice is sealed.
// Whoever passed on a vine sees it again, and so does everybody when the
// exercise's photo was deleted: nothing can be chosen on it any more.
func (s *Store) HiddenVines(ctx context.Context, account int64) ([]HiddenVine, error) {
	return list(ctx, s.db, func(row scanner) (h HiddenVine, err error) {
		return h, row.Scan(&h.Vine.ID, &h.Vine.BlockID, &h.Vine.Row, &h.Vine.Number, &h.Photo, &h.Exercise, &h.Seq, &h.Mode, &h.Name, &h.Sealed)
	}, `WITH mine AS (
  SELECT p.exercise_id AS id, 0 AS trains FROM exercise_participants p WHERE p.account_id = ?1
  UNION ALL
  SELECT e.id, 1 FROM training_groups g JOIN exercises e ON e.group_id = g.id WHERE g.trainer_id = ?1 AND e.judging = 'blind'
), standing AS (
  SELECT c.exercise_vine_id, max(c.passed) AS passed FROM sealed_choices c
  WHERE c.account_id = ?1 AND c.about_id IS NULL AND NOT EXISTS (SELECT 1 FROM choice_withdrawals w WHERE w.choice_id = c.id) GROUP BY c.exercise_vine_id
)
SELECT v.id, v.block_id, v.row, v.number, x.photo_id, e.id, x.seq, e.mode, e.name, s.exercise_vine_id IS NOT NULL
FROM mine JOIN exercises e ON e.id = mine.id JOIN exercise_vines x ON x.exercise_id = e.id JOIN photos p ON p.id = x.photo_id JOIN vines v ON v.id = x.vine_id
LEFT JOIN standing s ON s.exercise_vine_id = x.id LEFT JOIN exercise_openings o ON o.exercise_id = e.id
WHERE `+notDeleted+` AND coalesce(s.passed, 0) = 0 AND (s.exercise_vine_id IS NULL OR mine.trains = 0 AND o.id IS NULL) ORDER BY e.id, x.seq`, account)
}
