package store

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"nodespan/assess"
)

// classroom is a group with a trainer and two trainees, and an exercise of one
// vine.
type classroom struct {
	*Store
	t                testing.TB
	trainer, ann, bo Account
	group            Group
	exercise         Exercise
	vine             ExerciseVine
	photo            Photo
}

func newClassroom(t testing.TB, judging string) *classroom {
	t.Helper()
	s := openStore(t)
	c := &classroom{Store: s, t: t}
	for name, to := range map[string]*Account{"Tess": &c.trainer, "Ann": &c.ann, "Bo": &c.bo} {
		a, err := s.AddMember(t.Context(), FirstEstate, name, "", "trainee")
		if err != nil {
			t.Fatal(err)
		}
		*to = a
	}
	b := addBlock(t, s)
	c.photo = addPhoto(t, s, b, "a photo")
	m := addMeasurement(t, s, c.photo)
	var err error
	if c.group, err = s.AddGroup(t.Context(), FirstEstate, c.trainer.ID, "Beginners"); err != nil {
		t.Fatal(err)
	}
	for _, a := range []Account{c.ann, c.bo} {
		if err := s.SetGroupMember(t.Context(), c.group.ID, a.ID, true); err != nil {
			t.Fatal(err)
		}
	}
	c.exercise, err = s.AddExercise(t.Context(), NewExercise{Group: c.group.ID, Name: "First", Mode: "photo", Judging: judging, By: "Tess",
		Vines:        []ExerciseVine{{PhotoID: c.photo.ID, MeasurementID: m.ID, Seen: json.RawMessage(`{"seen":1}`), Suggested: json.RawMessage(`{}`)}},
		Participants: []int64{c.ann.ID, c.bo.ID}})
	if err != nil {
		t.Fatal(err)
	}
	vines, err := s.ExerciseVines(t.Context(), c.exercise.ID)
	if err != nil || len(vines) != 1 {
		t.Fatal(vines, err)
	}
	c.vine = vines[0]
	return c
}

func (c *classroom) seal(a Account, after int, code string) SealedChoice {
	c.t.Helper()
	got, err := c.Seal(c.t.Context(), NewSealed{VineID: c.vine.ID, Account: a.ID, After: after, Shown: json.RawMessage(`{}`), Payload: json.RawMessage(fmt.Sprintf(`{"n":%d}`, after)), Who: a.Name})
	if assess.ErrorCode(err) != code {
		c.t.Fatalf("sealing after %d: %v, want code %q", after, err, code)
	}
	return got
}

func (c *classroom) hidden(a Account) int {
	c.t.Helper()
	h, err := c.HiddenVines(c.t.Context(), a.ID)
	if err != nil {
		c.t.Fatal(err)
	}
	return len(h)
}

// A sealed choice stays; it can be withdrawn and made anew, and both are there.
func TestSealedChoicesStay(t *testing.T) {
	c := newClassroom(t, "blind")
	first := c.seal(c.ann, 0, "")
	if !first.Blind || first.Attempt != 1 || first.At.IsZero() {
		t.Errorf("%+v", first)
	}
	c.seal(c.ann, 1, assess.EConflict) // one stands
	if err := c.Withdraw(t.Context(), first.ID, c.bo.ID, "", "Bo"); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("withdrawn by somebody else: %v", err)
	}
	if err := c.Withdraw(t.Context(), first.ID, c.ann.ID, "slipped", "Ann"); err != nil {
		t.Fatal(err)
	}
	if err := c.Withdraw(t.Context(), first.ID, c.ann.ID, "again", "Ann"); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("withdrawn twice: %v", err)
	}
	c.seal(c.ann, 0, assess.EConflict) // didn't know of the first
	second := c.seal(c.ann, 1, "")
	if !second.Blind || second.Attempt != 2 {
		t.Errorf("before anything was open: %+v", second)
	}
	all, err := c.SealedChoices(t.Context(), c.exercise.ID)
	if err != nil || len(all) != 2 || all[0].Stands() || all[0].WithdrawnWhy != "slipped" || !all[1].Stands() {
		t.Errorf("%+v, %v", all, err)
	}
	// After the results were open, a new attempt isn't blind any more.
	if err := c.OpenExercise(t.Context(), c.exercise.ID, "Tess"); err != nil {
		t.Fatal(err)
	}
	if err := c.Withdraw(t.Context(), second.ID, c.ann.ID, "", "Ann"); err != nil {
		t.Fatal(err)
	}
	if third := c.seal(c.ann, 2, ""); third.Blind {
		t.Errorf("after the results were open: %+v", third)
	}
	// Who seals late, without having looked, is still blind.
	if late := c.seal(c.bo, 0, ""); !late.Blind {
		t.Errorf("sealed late: %+v", late)
	}
	// A trainer sees others' choices once an own one stood.
	own := c.seal(c.trainer, 0, "")
	if err := c.Withdraw(t.Context(), own.ID, c.trainer.ID, "", "Tess"); err != nil {
		t.Fatal(err)
	}
	if again := c.seal(c.trainer, 1, ""); !own.Blind || again.Blind {
		t.Errorf("the trainer: %+v, then %+v", own, again)
	}
}

// The same request sent twice seals once.
func TestSealTwice(t *testing.T) {
	c := newClassroom(t, "blind")
	n := NewSealed{VineID: c.vine.ID, Account: c.ann.ID, Shown: json.RawMessage(`{}`), Payload: json.RawMessage(`{}`), Who: "Ann", Key: "k"}
	a, err := c.Seal(t.Context(), n)
	if err != nil {
		t.Fatal(err)
	}
	b, err := c.Seal(t.Context(), n)
	if err != nil || a.ID != b.ID {
		t.Errorf("%d and %d, %v", a.ID, b.ID, err)
	}
}

// The database itself refuses to change or delete what was kept.
func TestExercisesAreKept(t *testing.T) {
	c := newClassroom(t, "blind")
	ctx := t.Context()
	k := c.seal(c.ann, 0, "")
	r, err := c.AddRemark(ctx, k.ID, json.RawMessage(`{"text":"look"}`), "Tess")
	if err != nil {
		t.Fatal(err)
	}
	after := addPhoto(t, c.Store, Block{ID: c.vine.Vine.BlockID}, "after pruning")
	if _, err := c.AddOutcome(ctx, Outcome{Choice: k.ID, Photo: after.ID, Payload: json.RawMessage(`{}`), Who: "Ann"}); err != nil {
		t.Fatal(err)
	}
	if _, err := c.AddOutcome(ctx, Outcome{Choice: k.ID, Photo: c.photo.ID, Payload: json.RawMessage(`{}`), Who: "Ann"}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("the photo that was chosen on as the one after pruning: %v", err)
	}
	if err := c.OpenExercise(ctx, c.exercise.ID, "Tess"); err != nil {
		t.Fatal(err)
	}
	if err := c.Withdraw(ctx, k.ID, c.ann.ID, "", "Ann"); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"exercises", "exercise_vines", "exercise_participants", "exercise_openings", "sealed_choices", "choice_withdrawals", "choice_remarks", "choice_outcomes"} {
		if _, err := c.db.ExecContext(ctx, `UPDATE `+table+` SET id = id`); err == nil {
			t.Errorf("%s can be changed", table)
		}
		if _, err := c.db.ExecContext(ctx, `DELETE FROM `+table); err == nil {
			t.Errorf("%s can be deleted from", table)
		}
	}
	if _, err := c.db.ExecContext(ctx, `UPDATE training_groups SET trainer_id = 2`); err == nil {
		t.Error("a group can be given to another trainer")
	}
	c.seal(c.ann, 1, "")
	if _, err := c.db.ExecContext(ctx, `INSERT INTO sealed_choices (exercise_vine_id, account_id, attempt, passed, blind, shown, payload, who, sealed_at) VALUES (?, ?, 9, 0, 1, '', '', 'x', 'x')`, c.vine.ID, c.ann.ID); err == nil {
		t.Error("a second choice stands beside the first")
	}
	// A remark that was taken back isn't shown, and stays.
	if err := c.TakeBackRemark(ctx, k.ID, r.ID, "Tess"); err != nil {
		t.Fatal(err)
	}
	if left, err := c.Remarks(ctx, k.ID); err != nil || len(left) != 0 {
		t.Errorf("%+v, %v", left, err)
	}
	if err := c.TakeBackRemark(ctx, k.ID, 99, "Tess"); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("a remark that isn't: %v", err)
	}
	var n int
	if err := c.db.QueryRowContext(ctx, `SELECT count(*) FROM choice_remarks`).Scan(&n); err != nil || n != 2 {
		t.Errorf("%d rows of remarks, %v", n, err)
	}
	// What is purged takes all of it along, and leaves a sound record.
	if err := c.DeletePhoto(ctx, c.photo.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if vines, err := c.ExerciseVines(ctx, c.exercise.ID); err != nil || len(vines) != 0 {
		t.Errorf("a deleted photo is still in the exercise: %v, %v", vines, err)
	}
	if _, err := c.Purge(ctx, -time.Hour, false); err != nil {
		t.Fatal(err)
	}
	sound(t, c.Store)
	if _, err := c.db.ExecContext(ctx, `DELETE FROM exercises`); err == nil {
		t.Error("after a purge exercises can be deleted")
	}
}

// Of a vine in an exercise nothing else is seen before one's own choice is
// sealed and the results are open; passing lifts that for good.
func TestHiddenVines(t *testing.T) {
	c := newClassroom(t, "blind")
	if c.hidden(c.ann) != 1 || c.hidden(c.bo) != 1 || c.hidden(c.trainer) != 1 {
		t.Errorf("hidden at first: %d, %d, trainer %d", c.hidden(c.ann), c.hidden(c.bo), c.hidden(c.trainer))
	}
	k := c.seal(c.ann, 0, "")
	c.seal(c.trainer, 0, "")
	if c.hidden(c.ann) != 1 || c.hidden(c.trainer) != 0 {
		t.Errorf("sealed, not open: %d, trainer %d", c.hidden(c.ann), c.hidden(c.trainer))
	}
	if _, err := c.Seal(t.Context(), NewSealed{VineID: c.vine.ID, Account: c.bo.ID, Passed: true, Shown: json.RawMessage(`{}`), Payload: json.RawMessage(`{}`), Who: "Bo"}); err != nil {
		t.Fatal(err)
	}
	if c.hidden(c.bo) != 0 {
		t.Error("passed, and still hidden")
	}
	c.seal(c.bo, 1, assess.EConflict)
	if err := c.OpenExercise(t.Context(), c.exercise.ID, "Tess"); err != nil {
		t.Fatal(err)
	}
	if c.hidden(c.ann) != 0 {
		t.Error("open, and still hidden")
	}
	if err := c.Withdraw(t.Context(), k.ID, c.ann.ID, "", "Ann"); err != nil {
		t.Fatal(err)
	}
	if c.hidden(c.ann) != 1 {
		t.Error("withdrawn, and not hidden")
	}
	if err := c.DeletePhoto(t.Context(), c.photo.ID, "Ada"); err != nil {
		t.Fatal(err)
	}
	if c.hidden(c.ann) != 0 {
		t.Error("the photo is deleted, so that nothing can be chosen, and the vine is hidden")
	}
	// A trainer who reviews needn't be kept from anything.
	if r := newClassroom(t, "review"); r.hidden(r.trainer) != 0 || r.hidden(r.ann) != 1 {
		t.Errorf("reviewed: trainer %d, participant %d", r.hidden(r.trainer), r.hidden(r.ann))
	}
}

func TestExerciseRefuses(t *testing.T) {
	c := newClassroom(t, "blind")
	ctx := t.Context()
	good := NewExercise{Group: c.group.ID, Name: "Second", Mode: "photo", Judging: "blind", By: "Tess", Participants: []int64{c.ann.ID},
		Vines: []ExerciseVine{{PhotoID: c.photo.ID, MeasurementID: c.vine.MeasurementID, Seen: json.RawMessage(`{}`), Suggested: json.RawMessage(`{}`)}}}
	for name, change := range map[string]func(*NewExercise){
		"no vine":                func(n *NewExercise) { n.Vines = nil },
		"nobody":                 func(n *NewExercise) { n.Participants = nil },
		"somebody not in it":     func(n *NewExercise) { n.Participants = []int64{c.trainer.ID} },
		"the same vine twice":    func(n *NewExercise) { n.Vines = append(n.Vines, n.Vines[0]) },
		"no such photo":          func(n *NewExercise) { n.Vines = []ExerciseVine{{PhotoID: 99, MeasurementID: 1}} },
		"another's measurement":  func(n *NewExercise) { n.Vines = []ExerciseVine{{PhotoID: c.photo.ID, MeasurementID: 99}} },
		"no name":                func(n *NewExercise) { n.Name = " " },
		"the same person twice":  func(n *NewExercise) { n.Participants = []int64{c.ann.ID, c.ann.ID} },
		"a mode that isn't one":  func(n *NewExercise) { n.Mode = "answers" },
		"more vines than it may": func(n *NewExercise) { n.Vines = make([]ExerciseVine, MostExerciseVines+1) },
	} {
		n := good
		change(&n)
		if _, err := c.AddExercise(ctx, n); err == nil {
			t.Errorf("%s: kept", name)
		}
	}
	if all, err := c.ExercisesOfGroup(ctx, c.group.ID); err != nil || len(all) != 1 {
		t.Errorf("%d exercises after refusals, %v", len(all), err)
	}
	if _, err := c.AddGroup(ctx, FirstEstate, c.trainer.ID, "Beginners"); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("a group of the same name: %v", err)
	}
	if err := c.SetGroupMember(ctx, c.group.ID, c.trainer.ID, true); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("the trainer in the own group: %v", err)
	}
	if err := c.SetGroupMember(ctx, c.group.ID, 999, true); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a stranger in the group: %v", err)
	}
	if _, err := c.AddExercise(ctx, good); err != nil {
		t.Errorf("the good one: %v", err)
	}
}
