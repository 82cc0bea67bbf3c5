package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
	"nodespan/web"
)

// comparisonView is a participant's choice beside the trainer's, for one vine.
type comparisonView struct {
	Where      string               `json:"where"`
	Who        string               `json:"who"`
	Trainer    string               `json:"trainer"`
	Shown      exercise.Shown       `json:"shown"` // all that is known of the canes, now that the choice is sealed
	Mode       exercise.Mode        `json:"mode"`  // what was shown before
	Mine       *sealedView          `json:"first" jsonschema:"nullable"`
	Theirs     *sealedView          `json:"second" jsonschema:"nullable"`
	Comparison *exercise.Comparison `json:"comparison" jsonschema:"nullable"`
	Earlier    []sealedView         `json:"earlier"` // attempts that were withdrawn
	Remarks    []remarkView         `json:"remarks"`
	Done       *doneView            `json:"done" jsonschema:"nullable"`
	Photos     []photoOption        `json:"photos"` // that may have been taken after pruning
	MayRemark  bool                 `json:"may_remark"`
	Medium     string               `json:"medium"`
	Full       string               `json:"full"`
}

type remarkView struct {
	ID     int64           `json:"id"`
	Who    string          `json:"who"`
	When   time.Time       `json:"when"`
	Remark exercise.Remark `json:"remark"`
}

type doneView struct {
	Photo   int64                  `json:"photo"`
	Picture string                 `json:"picture"`
	Who     string                 `json:"who"`
	When    time.Time              `json:"when"`
	Note    string                 `json:"note"`
	Canes   []exercise.PlannedDone `json:"canes"`
}

type photoOption struct {
	ID    int64  `json:"id"`
	Words string `json:"words"`
}

// looked is a vine of an exercise with one participant's choice for it.
type looked struct {
	x *everything
	v store.ExerciseVine
	a store.Account // the participant
}

// lookedAt gathers what a comparison is about, and refuses whoever may not see
// it yet.
func (s *Server) lookedAt(c echo.Context) (looked, error) {
	x, v, err := s.partAt(c)
	if err != nil {
		return looked{}, err
	}
	p, err := whose(c, x)
	if err != nil {
		return looked{}, err
	}
	l := lessonOf(c)
	if !x.mayLook(v.ID, callerOf(c).account.ID, l.trains) {
		key := "exercise.heldback"
		switch {
		case l.trains:
			key = "exercise.heldback.trainer"
		case x.standing(v.ID, callerOf(c).account.ID, 0) != nil:
			key = "exercise.heldback.sealed"
		}
		return looked{}, s.holdBack(c, key, x.Name, x.ID)
	}
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return looked{}, err
	}
	if h := hidden.elsewhere(v.Vine.ID, x.ID); h != nil {
		return looked{}, s.holdBack(c, "exercise.heldback", h.Name, h.Exercise)
	}
	return looked{x, v, p}, nil
}

func (s *Server) comparePage(c echo.Context) error {
	look, err := s.lookedAt(c)
	if err != nil {
		return err
	}
	x, v, a := look.x, look.v, look.a
	l := lessonOf(c)
	to := exercisePath(x.ID)
	p := web.ComparePage{
		Frame: s.frame(c, "exercise.compare"), Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Participant: a.Name, Trainer: x.Group.Trainer.Name, Trains: l.trains,
		Data: fmt.Sprintf("/api%s/vines/%d", to, v.Seq), WhoID: a.ID, Results: fmt.Sprintf("%s/results?who=%d", to, a.ID), Judging: s.say(c, "exercise.mode.hint."+x.Mode) + " " + s.say(c, "exercise.judging.hint."+x.Judging),
		AddPhoto: vinePath(v.Vine) + "/photo",
	}
	if l.trains && x.Judging == string(exercise.Reviewed) {
		p.Review = fmt.Sprintf("%s/%d?about=%d", to, v.Seq, a.ID)
	}
	if !l.trains {
		p.Own = fmt.Sprintf("%s/%d", to, v.Seq)
	}
	p.Script, p.Back = "compare", &web.Link{Text: x.Name, To: to}
	return s.render(c, http.StatusOK, "compare", p)
}

func (s *Server) getComparison(c echo.Context) error {
	look, err := s.lookedAt(c)
	if err != nil {
		return err
	}
	out, err := s.comparisonOf(c, look)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

func (s *Server) comparisonOf(c echo.Context, look looked) (*comparisonView, error) {
	x, v, a := look.x, look.v, look.a
	ctx := c.Request().Context()
	seen, err := x.seenOf(v)
	if err != nil {
		return nil, err
	}
	photo := photoPath(v.PhotoID)
	out := &comparisonView{
		Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Who: a.Name, Trainer: x.Group.Trainer.Name, Shown: seen.Show(exercise.WithFindings), Mode: exercise.Mode(x.Mode),
		Earlier: []sealedView{}, Remarks: []remarkView{}, Photos: []photoOption{}, MayRemark: lessonOf(c).trains, Medium: photo + "/picture/medium.jpg", Full: photo + "/picture/full.jpg",
	}
	mine, theirs := x.standing(v.ID, a.ID, 0), x.judged(v.ID, a.ID)
	out.Mine, out.Theirs = viewSealed(x, mine), viewSealed(x, theirs)
	for _, k := range x.attempts(v.ID, a.ID, 0) {
		if !k.Stands() {
			out.Earlier = append(out.Earlier, *viewSealed(x, &k))
		}
	}
	if mine == nil || mine.Passed {
		return out, nil
	}
	if theirs != nil {
		held := exercise.Compare(x.answered[mine.ID], x.answered[theirs.ID])
		out.Comparison = &held
	}
	remarks, err := s.store.Remarks(ctx, mine.ID)
	if err != nil {
		return nil, err
	}
	for _, r := range remarks {
		view := remarkView{ID: r.ID, Who: r.Who, When: r.At}
		if err := json.Unmarshal(r.Payload, &view.Remark); err != nil {
			return nil, err
		}
		out.Remarks = append(out.Remarks, view)
	}
	if out.Done, err = s.doneOf(c, x, mine); err != nil {
		return nil, err
	}
	photos, err := s.store.Photos(ctx, v.Vine.ID)
	if err != nil {
		return nil, err
	}
	for _, p := range photos {
		if p.ID != v.PhotoID {
			out.Photos = append(out.Photos, photoOption{p.ID, s.say(c, "exercise.done.photo", "winter", p.Winter, "when", s.day(c, p.ReceivedAt), "by", p.ReceivedBy)})
		}
	}
	return out, nil
}

func (s *Server) doneOf(c echo.Context, x *everything, mine *store.SealedChoice) (*doneView, error) {
	o, err := s.store.LatestOutcome(c.Request().Context(), mine.ID)
	if err != nil || o == nil {
		return nil, err
	}
	var done exercise.Done
	if err := json.Unmarshal(o.Payload, &done); err != nil {
		return nil, err
	}
	return &doneView{Photo: o.Photo, Picture: photoPath(o.Photo) + "/picture/medium.jpg", Who: o.Who, When: o.At, Note: done.Note, Canes: exercise.HoldDone(x.answered[mine.ID], done)}, nil
}

// suggestionView is the program's suggestion beside a participant's choice,
// for whoever asks for it.
type suggestionView struct {
	Choice     exercise.Choice      `json:"choice"`
	Comparison *exercise.Comparison `json:"comparison" jsonschema:"nullable"`
	Program    string               `json:"program"`
	RuleSet    string               `json:"rule_set"`
}

func (s *Server) getSuggestion(c echo.Context) error {
	look, err := s.lookedAt(c)
	if err != nil {
		return err
	}
	x, v, a := look.x, look.v, look.a
	var ch assess.Choice
	if err := json.Unmarshal(v.Suggested, &ch); err != nil {
		return err
	}
	seen, err := x.seenOf(v)
	if err != nil {
		return err
	}
	out := suggestionView{Choice: seen.OfProgram(ch), Program: seen.Program, RuleSet: seen.RuleSet}
	if mine := x.standing(v.ID, a.ID, 0); mine != nil && !mine.Passed {
		held := exercise.Compare(x.answered[mine.ID], out.Choice)
		out.Comparison = &held
	}
	return c.JSON(http.StatusOK, out)
}

// sealed is the participant's choice, to say something of.
func (l looked) sealed() (*store.SealedChoice, error) {
	if k := l.x.standing(l.v.ID, l.a.ID, 0); k != nil && !k.Passed {
		return k, nil
	}
	return nil, assess.Errorf(assess.EConflict, "%s has no sealed choice for this vine, so nothing can be put beside it yet.", l.a.Name)
}

type remarkIn struct {
	Remark exercise.Remark `json:"remark,omitempty"`
	Back   int64           `json:"back,omitempty"` // a remark to take back instead
}

func (s *Server) addRemark(c echo.Context) error {
	if err := trainsHere(lessonOf(c)); err != nil {
		return err
	}
	name, look, in, err := handedIn[remarkIn](c, s.lookedAt)
	if err != nil {
		return err
	}
	mine, err := look.sealed()
	if err != nil {
		return err
	}
	if in.Back != 0 {
		err = s.store.TakeBackRemark(c.Request().Context(), mine.ID, in.Back, name)
	} else {
		err = s.RemarkOn(c.Request().Context(), look.v, mine.ID, in.Remark, name)
	}
	if err != nil {
		return err
	}
	out, err := s.comparisonOf(c, look)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, out)
}

type doneIn struct {
	Photo int64         `json:"photo"`
	Done  exercise.Done `json:"done"`
}

func (s *Server) addDone(c echo.Context) error {
	name, look, in, err := handedIn[doneIn](c, s.lookedAt)
	if err != nil {
		return err
	}
	mine, err := look.sealed()
	if err != nil {
		return err
	}
	seen, err := look.x.seenOf(look.v)
	if err != nil {
		return err
	}
	if err := in.Done.Check(seen); err != nil {
		return err
	}
	if _, err := s.store.AddOutcome(c.Request().Context(), store.Outcome{Choice: mine.ID, Photo: in.Photo, Payload: mustJSON(in.Done), Who: name}); err != nil {
		return err
	}
	out, err := s.comparisonOf(c, look)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, out)
}
