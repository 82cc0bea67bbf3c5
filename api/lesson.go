package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/assess/exercise"
	"nodespan/assess/store"
)

// A lesson is an exercise as the caller stands to it.
type lesson struct {
	store.Exercise
	trains bool // the caller is its trainer; else a participant
}

const lessonKey = "lesson"

// ownLesson answers that there is nothing when the address names a group of
// another trainer, or an exercise in which the caller neither takes part nor
// trains.
func (s *Server) ownLesson(c echo.Context, k *caller) error {
	ctx := c.Request().Context()
	if n := c.Param("group"); n != "" {
		id, err := strconv.ParseInt(n, 10, 64)
		if err != nil {
			return echo.ErrNotFound
		}
		g, err := s.store.Group(ctx, id)
		if err != nil {
			return err
		}
		if g.Trainer.ID != k.account.ID {
			return echo.ErrNotFound
		}
	}
	n := c.Param("exercise")
	if n == "" {
		return nil
	}
	id, err := strconv.ParseInt(n, 10, 64)
	if err != nil {
		return echo.ErrNotFound
	}
	e, err := s.store.Exercise(ctx, id)
	if err != nil {
		return err
	}
	// A trainer stays that of a group in whatever role; what needs the right to
	// teach is refused by the role before this.
	l := &lesson{Exercise: e, trains: e.Group.Trainer.ID == k.account.ID}
	if !l.trains {
		in, err := s.store.TakesPart(ctx, id, k.account.ID)
		if err != nil {
			return err
		}
		if !in {
			return echo.ErrNotFound
		}
	}
	c.Set(lessonKey, l)
	return nil
}

func lessonOf(c echo.Context) *lesson { return c.Get(lessonKey).(*lesson) }

// trainsHere is an error like that for what isn't there, for whoever isn't the
// trainer.
func trainsHere(l *lesson) error {
	if !l.trains {
		return echo.ErrNotFound
	}
	return nil
}

// groupAt is the caller's group that an address names.
func (s *Server) groupAt(c echo.Context) (store.Group, error) {
	n, err := id(c, "group")
	if err != nil {
		return store.Group{}, err
	}
	return s.store.Group(c.Request().Context(), n)
}

func exercisePath(id int64) string { return fmt.Sprintf("/exercises/%d", id) }

func groupPath(id int64) string { return fmt.Sprintf("/groups/%d", id) }

// everything gathers an exercise with its vines, people and choices.
type everything struct {
	store.Exercise
	vines    []store.ExerciseVine
	people   []store.Account
	choices  []store.SealedChoice
	seen     map[int64]*exercise.Seen // by the vine's id within the exercise, once asked for
	answered map[int64]exercise.Choice
}

func (s *Server) everythingOf(ctx context.Context, e store.Exercise) (*everything, error) {
	x := &everything{Exercise: e, seen: map[int64]*exercise.Seen{}, answered: map[int64]exercise.Choice{}}
	var err error
	if x.vines, err = s.store.ExerciseVines(ctx, e.ID); err != nil {
		return nil, err
	}
	if x.people, err = s.store.Participants(ctx, e.ID); err != nil {
		return nil, err
	}
	if x.choices, err = s.store.SealedChoices(ctx, e.ID); err != nil {
		return nil, err
	}
	for _, c := range x.choices {
		var ch exercise.Choice
		if err := json.Unmarshal(c.Payload, &ch); err != nil {
			return nil, fmt.Errorf("sealed choice %d: %w", c.ID, err)
		}
		x.answered[c.ID] = ch
	}
	return x, nil
}

// seenOf is a vine as it was when the exercise was made. It is read when it is
// asked for: most pages of many exercises don't need it.
func (x *everything) seenOf(v store.ExerciseVine) (*exercise.Seen, error) {
	if s := x.seen[v.ID]; s != nil {
		return s, nil
	}
	s := new(exercise.Seen)
	if err := json.Unmarshal(v.Seen, s); err != nil {
		return nil, fmt.Errorf("vine %d of exercise %d: %w", v.Seq, x.ID, err)
	}
	x.seen[v.ID] = s
	return s, nil
}

// attempts lists what an account sealed for a vine, its own or about another.
func (x *everything) attempts(vine, account, about int64) []store.SealedChoice {
	var out []store.SealedChoice
	for _, c := range x.choices {
		if c.VineID == vine && c.Account == account && c.About == about {
			out = append(out, c)
		}
	}
	return out
}

// standing is what stands of an account for a vine, nil for nothing.
func (x *everything) standing(vine, account, about int64) *store.SealedChoice {
	all := x.attempts(vine, account, about)
	if n := len(all); n > 0 && all[n-1].Stands() {
		return &all[n-1]
	}
	return nil
}

// counts is what counts for figures: of somebody whose choice stands, the last
// that was made without having seen anything of others, nil for none.
func (x *everything) counts(vine, account int64) *store.SealedChoice {
	if k := x.standing(vine, account, 0); k == nil || k.Passed {
		return nil
	}
	all := x.attempts(vine, account, 0)
	for _, c := range slices.Backward(all) {
		if c.Blind && !c.Passed {
			return &c
		}
	}
	return nil
}

// judged is the trainer's choice that a participant's is held against, nil
// while there is none.
func (x *everything) judged(vine, participant int64) *store.SealedChoice {
	about := int64(0)
	if x.Judging == string(exercise.Reviewed) {
		about = participant
	}
	k := x.standing(vine, x.Group.Trainer.ID, about)
	if k == nil || k.Passed {
		return nil
	}
	// A review is of what was there to be gone through.
	if mine := x.counts(vine, participant); about != 0 && mine != nil && k.At.Before(mine.At) {
		return nil
	}
	return k
}

// mayLook tells whether the caller may see, for a vine, what others chose: a
// participant when the results are open and an own choice stands, a trainer
// who chooses blind when an own choice stands.
func (x *everything) mayLook(vine, caller int64, trains bool) bool {
	if trains {
		return x.Judging == string(exercise.Reviewed) || x.standing(vine, caller, 0) != nil
	}
	return x.Opened() && x.standing(vine, caller, 0) != nil
}

func (x *everything) person(id int64) (store.Account, bool) {
	for _, p := range x.people {
		if p.ID == id {
			return p, true
		}
	}
	return store.Account{}, false
}

// partAt finds the vine of an exercise that an address names.
func (s *Server) partAt(c echo.Context) (*everything, store.ExerciseVine, error) {
	x, err := s.everythingOf(c.Request().Context(), lessonOf(c).Exercise)
	if err != nil {
		return nil, store.ExerciseVine{}, err
	}
	for _, v := range x.vines {
		if strconv.Itoa(v.Seq) == c.Param("part") {
			return x, v, nil
		}
	}
	return nil, store.ExerciseVine{}, echo.ErrNotFound
}

// whose is the participant that a request is about: the caller, or whom a
// trainer names.
func whose(c echo.Context, x *everything) (store.Account, error) {
	if !lessonOf(c).trains {
		k := callerOf(c)
		if w := c.QueryParam("who"); w != "" && w != strconv.FormatInt(k.account.ID, 10) {
			return store.Account{}, echo.ErrNotFound
		}
		return k.account, nil
	}
	id, err := strconv.ParseInt(c.QueryParam("who"), 10, 64)
	if p, ok := x.person(id); err == nil && ok {
		return p, nil
	}
	return store.Account{}, echo.ErrNotFound
}
