package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"nodespan/assess"
)

// Group is a trainer's group of an estate.
type Group struct {
	ID, EstateID int64
	Trainer      Account // ID and name alone
	Name         string
	MadeAt       time.Time
}

// Exercise is one exercise of a group.
type Exercise struct {
	ID            int64
	Group         Group
	Name          string
	Mode, Judging string // as in package exercise
	MadeBy        string
	MadeAt        time.Time
	OpenedAt      time.Time // when its results were opened; zero while they aren't
	OpenedBy      string
}

// Opened tells whether participants see what became of their choices.
func (e Exercise) Opened() bool { return !e.OpenedAt.IsZero() }

// ExerciseVine is a vine of an exercise, as it was when that was made.
type ExerciseVine struct {
	ID, ExerciseID         int64
	Seq                    int // within the exercise, from 1
	Vine                   Vine
	BlockName              string
	PhotoID, MeasurementID int64
	Seen                   json.RawMessage // exercise.Seen
	Suggested              json.RawMessage // assess.Choice
}

// NewExercise is an exercise that is to be kept.
type NewExercise struct {
	Group         int64
	Name          string
	Mode, Judging string
	Vines         []ExerciseVine // PhotoID, MeasurementID, Seen and Suggested count
	Participants  []int64        // accounts, members of the group
	By            string
	Key           string // of a request that may be sent twice; may be empty
}

// Bounds of an exercise. More vines or people than that don't fit on a sheet,
// and are a slip.
const (
	MostExerciseVines        = 12
	MostExerciseParticipants = 40
)

const selectGroups = `SELECT g.id, g.estate_id, g.trainer_id, a.name, g.name, g.made_at FROM training_groups g JOIN accounts a ON a.id = g.trainer_id `

func scanGroup(row scanner) (Group, error) {
	var g Group
	var at sql.NullString
	err := row.Scan(&g.ID, &g.EstateID, &g.Trainer.ID, &g.Trainer.Name, &g.Name, &at)
	g.MadeAt = parseTime(at)
	return g, err
}

// AddGroup makes a group of a trainer; EConflict when the trainer has one of
// that name.
func (s *Store) AddGroup(ctx context.Context, estate, trainer int64, name string) (Group, error) {
	name, err := CheckName(name, "A group")
	if err != nil {
		return Group{}, err
	}
	var id int64
	err = s.write(ctx, func(tx *sql.Tx) error {
		var there bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM training_groups WHERE estate_id = ? AND trainer_id = ? AND name = ?)`, estate, trainer, name).Scan(&there); err != nil {
			return err
		}
		if there {
			return assess.Errorf(assess.EConflict, "You have a group named %q already. Choose another name.", name)
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO training_groups (estate_id, trainer_id, name, made_at) VALUES (?,?,?,?)`, estate, trainer, name, s.stamp())
		if err != nil {
			return err
		}
		id, err = r.LastInsertId()
		return err
	})
	if err != nil {
		return Group{}, err
	}
	return s.Group(ctx, id)
}

// Group finds a group by id; ENotFound when there is none.
func (s *Store) Group(ctx context.Context, id int64) (Group, error) {
	g, err := scanGroup(s.db.QueryRowContext(ctx, selectGroups+`WHERE g.id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return g, assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	return g, err
}

// GroupsOf lists the groups of a trainer in an estate, by name.
func (s *Store) GroupsOf(ctx context.Context, estate, trainer int64) ([]Group, error) {
	return list(ctx, s.db, scanGroup, selectGroups+`WHERE g.estate_id = ? AND g.trainer_id = ? ORDER BY g.name`, estate, trainer)
}

// SetGroupMember puts a member of the estate into a group or takes it out. The
// trainer of a group is in none of its exercises: EInvalid, as for somebody who
// isn't a member of the estate.
func (s *Store) SetGroupMember(ctx context.Context, group, account int64, in bool) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if !in {
			_, err := tx.ExecContext(ctx, `DELETE FROM training_group_members WHERE group_id = ? AND account_id = ?`, group, account)
			return err
		}
		var fits bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM training_groups g JOIN members m ON m.estate_id = g.estate_id WHERE g.id = ? AND m.account_id = ? AND g.trainer_id <> m.account_id)`, group, account).Scan(&fits); err != nil {
			return err
		}
		if !fits {
			return assess.Errorf(assess.EInvalid, "Only members of this estate can be in a group, and its trainer can't. Load the page anew and choose again.")
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO training_group_members (group_id, account_id, since) VALUES (?,?,?) ON CONFLICT DO NOTHING`, group, account, s.stamp())
		return err
	})
}

func scanIDName(row scanner) (a Account, err error) { return a, row.Scan(&a.ID, &a.Name) }

// GroupMembers lists who is in a group now, by name; ID and name alone.
func (s *Store) GroupMembers(ctx context.Context, group int64) ([]Account, error) {
	return list(ctx, s.db, scanIDName, `SELECT a.id, a.name FROM training_group_members m JOIN accounts a ON a.id = m.account_id WHERE m.group_id = ? ORDER BY a.name`, group)
}

// Participants lists who takes part in an exercise, by name; ID and name alone.
func (s *Store) Participants(ctx context.Context, exercise int64) ([]Account, error) {
	return list(ctx, s.db, scanIDName, `SELECT a.id, a.name FROM exercise_participants p JOIN accounts a ON a.id = p.account_id WHERE p.exercise_id = ? ORDER BY a.name`, exercise)
}

const selectExercises = `SELECT e.id, e.name, e.mode, e.judging, e.made_by, e.made_at, o.opened_at, coalesce(o.who, ''), g.id, g.estate_id, g.trainer_id, a.name, g.name, g.made_at
FROM exercises e JOIN training_groups g ON g.id = e.group_id JOIN accounts a ON a.id = g.trainer_id LEFT JOIN exercise_openings o ON o.exercise_id = e.id `

func scanExercise(row scanner) (Exercise, error) {
	var e Exercise
	var made, opened, group sql.NullString
	err := row.Scan(&e.ID, &e.Name, &e.Mode, &e.Judging, &e.MadeBy, &made, &opened, &e.OpenedBy, &e.Group.ID, &e.Group.EstateID, &e.Group.Trainer.ID, &e.Group.Trainer.Name, &e.Group.Name, &group)
	e.MadeAt, e.OpenedAt, e.Group.MadeAt = parseTime(made), parseTime(opened), parseTime(group)
	return e, err
}

// AddExercise keeps an exercise with its vines and participants. EInvalid when
// there are none or too many of either, or one of them doesn't fit.
func (s *Store) AddExercise(ctx context.Context, n NewExercise) (Exercise, error) {
	var err error
	if n.Name, err = CheckName(n.Name, "An exercise"); err != nil {
		return Exercise{}, err
	}
	if n.By, err = CheckName(n.By, "Whoever makes an exercise"); err != nil {
		return Exercise{}, err
	}
	switch v, p := len(n.Vines), len(n.Participants); {
	case v < 1 || v > MostExerciseVines:
		return Exercise{}, assess.Errorf(assess.EInvalid, "An exercise has 1 to %d vines, and %d are chosen.", MostExerciseVines, v)
	case p < 1 || p > MostExerciseParticipants:
		return Exercise{}, assess.Errorf(assess.EInvalid, "An exercise has 1 to %d participants, and %d are chosen. Put people into the group first.", MostExerciseParticipants, p)
	}
	photos := make([]int64, 0, len(n.Vines))
	for _, v := range n.Vines {
		photos = append(photos, v.PhotoID)
	}
	digest, err := digestOf(n.Group, n.Name, n.Mode, n.Judging, photos, n.Participants)
	if err != nil {
		return Exercise{}, err
	}
	var id int64
	err = s.write(ctx, func(tx *sql.Tx) error {
		if id, err = replayed(ctx, tx, n.Key, digest); err != nil || id != 0 {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO exercises (group_id, name, mode, judging, made_by, made_at) VALUES (?,?,?,?,?,?)`, n.Group, n.Name, n.Mode, n.Judging, n.By, s.stamp())
		if err != nil {
			return err
		}
		if id, err = r.LastInsertId(); err != nil {
			return err
		}
		for i, v := range n.Vines {
			r, err := tx.ExecContext(ctx, `INSERT INTO exercise_vines (exercise_id, seq, vine_id, photo_id, measurement_id, seen, suggested)
SELECT ?, ?, p.vine_id, p.id, m.id, ?, ? FROM photos p JOIN measurements m ON m.photo_id = p.id JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id
WHERE p.id = ? AND m.id = ? AND b.estate_id = (SELECT estate_id FROM training_groups WHERE id = ?)
AND NOT EXISTS (SELECT 1 FROM exercise_vines x WHERE x.exercise_id = ? AND x.vine_id = p.vine_id)`,
				id, i+1, string(v.Seen), string(v.Suggested), v.PhotoID, v.MeasurementID, n.Group, id)
			if err != nil {
				return err
			}
			if done, err := r.RowsAffected(); err != nil || done != 1 {
				return errors.Join(err, assess.Errorf(assess.EInvalid, "One of the photos isn't there any more, or two of them are of the same vine. Choose one photo of each vine."))
			}
		}
		for _, p := range n.Participants {
			r, err := tx.ExecContext(ctx, `INSERT INTO exercise_participants (exercise_id, account_id) SELECT ?, account_id FROM training_group_members WHERE group_id = ? AND account_id = ?`, id, n.Group, p)
			if err != nil {
				return err
			}
			if done, err := r.RowsAffected(); err != nil || done != 1 {
				return errors.Join(err, assess.Errorf(assess.EInvalid, "One of the people isn't in the group any more. Load the page anew and choose again."))
			}
		}
		return s.remember(ctx, tx, n.Key, digest, id)
	})
	if err != nil {
		return Exercise{}, err
	}
	return s.Exercise(ctx, id)
}

// Exercise finds an exercise by id; ENotFound when there is none.
func (s *Store) Exercise(ctx context.Context, id int64) (Exercise, error) {
	e, err := scanExercise(s.db.QueryRowContext(ctx, selectExercises+`WHERE e.id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return e, assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	return e, err
}

// ExercisesOfGroup lists a group's exercises, the oldest first.
func (s *Store) ExercisesOfGroup(ctx context.Context, group int64) ([]Exercise, error) {
	return list(ctx, s.db, scanExercise, selectExercises+`WHERE e.group_id = ? ORDER BY e.id`, group)
}

// ExercisesFor lists the exercises of an estate in which an account takes
// part, the latest first.
func (s *Store) ExercisesFor(ctx context.Context, estate, account int64) ([]Exercise, error) {
	return list(ctx, s.db, scanExercise, selectExercises+`JOIN exercise_participants p ON p.exercise_id = e.id WHERE g.estate_id = ? AND p.account_id = ? ORDER BY e.id DESC`, estate, account)
}

// TakesPart tells whether an account takes part in an exercise.
func (s *Store) TakesPart(ctx context.Context, exercise, account int64) (bool, error) {
	var does bool
	err := s.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM exercise_participants WHERE exercise_id = ? AND account_id = ?)`, exercise, account).Scan(&does)
	return does, err
}

// ExerciseVines lists an exercise's vines in their order, without those whose
// photo was deleted since.
func (s *Store) ExerciseVines(ctx context.Context, exercise int64) ([]ExerciseVine, error) {
	return list(ctx, s.db, func(row scanner) (ExerciseVine, error) {
		var v ExerciseVine
		var seen, suggested string
		err := row.Scan(&v.ID, &v.ExerciseID, &v.Seq, &v.Vine.ID, &v.Vine.BlockID, &v.Vine.Row, &v.Vine.Number, &v.BlockName, &v.PhotoID, &v.MeasurementID, &seen, &suggested)
		v.Seen, v.Suggested = json.RawMessage(seen), json.RawMessage(suggested)
		return v, err
	}, `SELECT x.id, x.exercise_id, x.seq, v.id, v.block_id, v.row, v.number, b.name, x.photo_id, x.measurement_id, x.seen, x.suggested
FROM exercise_vines x JOIN photos p ON p.id = x.photo_id JOIN vines v ON v.id = x.vine_id JOIN blocks b ON b.id = v.block_id WHERE x.exercise_id = ? AND `+notDeleted+` ORDER BY x.seq`, exercise)
}

// OpenExercise lets participants see what became of the choices that they
// sealed. Done twice it stays as it was.
func (s *Store) OpenExercise(ctx context.Context, exercise int64, who string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO exercise_openings (exercise_id, who, opened_at) VALUES (?,?,?) ON CONFLICT DO NOTHING`, exercise, who, s.stamp())
		return err
	})
}

// EstateOfGroup tells whose a group is.
func (s *Store) EstateOfGroup(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT estate_id FROM training_groups WHERE id = ?`, id)
}

// EstateOfExercise tells whose an exercise is.
func (s *Store) EstateOfExercise(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT g.estate_id FROM exercises e JOIN training_groups g ON g.id = e.group_id WHERE e.id = ?`, id)
}

// TeachablePhoto is a measured photo that an exercise can be made of.
type TeachablePhoto struct {
	ID        int64
	Winter    string
	Received  time.Time
	Vine      Vine
	BlockName string
	Canes     int
	Confirmed bool // somebody ruled on every cane
}

// TeachablePhotos lists an estate's measured photos with canes, the latest
// received first, at most limit of them: of one block, or of all with 0. It
// walks the photos from the latest, so a large record costs no more than a
// small one (CROSS JOIN keeps SQLite to that order).
func (s *Store) TeachablePhotos(ctx context.Context, estate, block int64, limit int) ([]TeachablePhoto, error) {
	return list(ctx, s.db, func(row scanner) (TeachablePhoto, error) {
		var p TeachablePhoto
		var at sql.NullString
		err := row.Scan(&p.ID, &p.Winter, &at, &p.Vine.ID, &p.Vine.BlockID, &p.Vine.Row, &p.Vine.Number, &p.BlockName, &p.Canes, &p.Confirmed)
		p.Received = parseTime(at)
		return p, err
	}, `SELECT p.id, p.winter, p.received_at, v.id, v.block_id, v.row, v.number, b.name, m.canes,
NOT EXISTS (SELECT 1 FROM photo_waits w WHERE w.photo_id = p.id)
FROM photos p CROSS JOIN vines v ON v.id = p.vine_id JOIN blocks b ON b.id = v.block_id JOIN measurements m ON m.id = (SELECT max(id) FROM measurements WHERE photo_id = p.id)
WHERE b.estate_id = ?1 AND (?2 = 0 OR b.id = ?2) AND m.outcome = 'measured' AND m.canes > 0 AND `+notDeleted+` ORDER BY p.id DESC LIMIT ?3`, estate, block, limit)
}
