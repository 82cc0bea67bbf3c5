package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
	"nodespan/web"
)

// attemptView is all that somebody is given to choose by: what the mode shows,
// and one's own earlier attempts. Nothing of the program's choice or of anybody
// else's is in it, but for a trainer who goes through a participant's choice.
type attemptView struct {
	Exercise int64            `json:"exercise"`
	Part     int              `json:"part"`
	Where    string           `json:"where"`
	Shown    exercise.Shown   `json:"shown"`
	Form     string           `json:"form_title"`
	Reasons  []string         `json:"reasons"`
	Heads    []string         `json:"heads"`
	Attempts int              `json:"attempts"` // made before
	Sealed   *sealedView      `json:"sealed" jsonschema:"nullable"`
	Start    *exercise.Choice `json:"start" jsonschema:"nullable"` // what to go on from: one's own that was withdrawn, or what a trainer goes through
	Medium   string           `json:"medium"`
	Full     string           `json:"full"`
}

// sealedView is a sealed choice.
type sealedView struct {
	ID        int64           `json:"id"`
	Attempt   int             `json:"attempt"`
	Who       string          `json:"who"`
	When      time.Time       `json:"when"`
	Passed    bool            `json:"passed"`
	Blind     bool            `json:"blind"`
	Choice    exercise.Choice `json:"choice"`
	Withdrawn *time.Time      `json:"withdrawn,omitempty"`
	Why       string          `json:"why,omitempty"` // it was withdrawn
}

func viewSealed(x *everything, c *store.SealedChoice) *sealedView {
	if c == nil {
		return nil
	}
	v := &sealedView{ID: c.ID, Attempt: c.Attempt, Who: c.Who, When: c.At, Passed: c.Passed, Blind: c.Blind, Choice: x.answered[c.ID], Why: c.WithdrawnWhy}
	if v.Choice.Canes == nil {
		v.Choice.Canes = []exercise.Decision{}
	}
	if !c.Stands() {
		v.Withdrawn = &c.WithdrawnAt
	}
	return v
}

// about is the participant whose choice a trainer goes through; 0 for an own
// choice. Whoever may neither is answered that there is nothing.
func aboutWhom(c echo.Context, x *everything) (int64, error) {
	l := lessonOf(c)
	text := c.QueryParam("about")
	if !l.trains {
		if text != "" {
			return 0, echo.ErrNotFound
		}
		return 0, nil
	}
	if l.Judging == string(exercise.Blind) {
		if text != "" {
			return 0, echo.ErrNotFound
		}
		return 0, nil
	}
	id, err := strconv.ParseInt(text, 10, 64)
	if _, ok := x.person(id); err != nil || !ok {
		return 0, echo.ErrNotFound
	}
	return id, nil
}

// attemptAt gathers what an attempt is about, and refuses whoever may not make
// it here yet.
func (s *Server) attemptAt(c echo.Context) (*everything, store.ExerciseVine, int64, error) {
	x, v, err := s.partAt(c)
	if err != nil {
		return nil, v, 0, err
	}
	about, err := aboutWhom(c, x)
	if err != nil {
		return nil, v, 0, err
	}
	return x, v, about, s.mayShow(c, x.Exercise, v)
}

func (s *Server) attemptPage(c echo.Context) error {
	x, v, about, err := s.attemptAt(c)
	if err != nil {
		return err
	}
	l := lessonOf(c)
	to := exercisePath(x.ID)
	p := web.AttemptPage{
		Frame: s.frame(c, "exercise.choose"), Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Exercise: to, Mode: s.say(c, "exercise.mode.hint."+x.Mode),
		Data: fmt.Sprintf("/api%s/vines/%d", to, v.Seq), Cautions: s.cautions(c), Trains: l.trains,
	}
	if about != 0 {
		a, _ := x.person(about)
		p.About, p.AboutID = a.Name, about
		p.Compare = fmt.Sprintf("%s/%d/compare?who=%d", to, v.Seq, about)
	} else if !l.trains && x.mayLook(v.ID, callerOf(c).account.ID, false) {
		p.Compare = fmt.Sprintf("%s/%d/compare", to, v.Seq)
	}
	for _, o := range x.vines {
		if o.Seq > v.Seq && about == 0 && x.standing(o.ID, callerOf(c).account.ID, 0) == nil {
			p.Next = fmt.Sprintf("%s/%d", to, o.Seq)
			break
		}
	}
	p.Script, p.Back = "attempt", &web.Link{Text: x.Name, To: to}
	return s.render(c, http.StatusOK, "attempt", p)
}

func (s *Server) getAttempt(c echo.Context) error {
	x, v, about, err := s.attemptAt(c)
	if err != nil {
		return err
	}
	mine := x.attempts(v.ID, callerOf(c).account.ID, about)
	seen, err := x.seenOf(v)
	if err != nil {
		return err
	}
	photo := photoPath(v.PhotoID)
	out := attemptView{
		Exercise: x.ID, Part: v.Seq, Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Shown: seen.Show(exercise.Mode(x.Mode)), Attempts: len(mine),
		Sealed: viewSealed(x, x.standing(v.ID, callerOf(c).account.ID, about)), Medium: photo + "/picture/medium.jpg", Full: photo + "/picture/full.jpg",
	}
	out.Form = s.toldText(c, seen.Form.Title)
	for _, r := range exercise.Reasons() {
		out.Reasons = append(out.Reasons, string(r))
	}
	for _, h := range exercise.Heads() {
		out.Heads = append(out.Heads, string(h))
	}
	var start *store.SealedChoice
	if n := len(mine); n > 0 {
		start = &mine[n-1]
	} else if about != 0 {
		start = x.standing(v.ID, about, 0)
	}
	if start != nil && !start.Passed && out.Sealed == nil {
		ch := x.answered[start.ID]
		out.Start = &ch
	}
	return c.JSON(http.StatusOK, out)
}

type sealIn struct {
	After  int             `json:"after"` // attempts that one had made before
	Pass   bool            `json:"pass,omitempty"`
	Choice exercise.Choice `json:"choice,omitempty"`
}

// sealChoice keeps a choice with the time. What is kept is worked out here from
// what was shown, not taken from what was sent.
func (s *Server) sealChoice(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	x, v, about, err := s.attemptAt(c)
	if err != nil {
		return err
	}
	in, err := sent[sealIn](c)
	if err != nil {
		return err
	}
	if in.Pass && about != 0 {
		return assess.Errorf(assess.EInvalid, "A choice that is gone through can't be passed on: leave it as it is.")
	}
	k, err := s.SealFor(c.Request().Context(), x.Exercise, v, Attempt{Account: callerOf(c).account.ID, Name: name, About: about, After: in.After, Pass: in.Pass, Choice: in.Choice, Key: c.Request().Header.Get("Idempotency-Key")})
	if err != nil {
		return err
	}
	if x, err = s.everythingOf(c.Request().Context(), x.Exercise); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, viewSealed(x, &k))
}

type withdrawIn struct {
	Choice int64  `json:"choice"`
	Why    string `json:"why,omitempty"`
}

// longestWhy bounds the words with which a choice is withdrawn, characters.
const longestWhy = 500

func (s *Server) withdrawChoice(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	x, v, err := s.partAt(c)
	if err != nil {
		return err
	}
	in, err := sent[withdrawIn](c)
	if err != nil {
		return err
	}
	if in.Why = strings.TrimSpace(in.Why); len([]rune(in.Why)) > longestWhy {
		return assess.Errorf(assess.EInvalid, "The words are longer than %d characters: shorten them.", longestWhy)
	}
	if !slices.ContainsFunc(x.choices, func(k store.SealedChoice) bool { return k.ID == in.Choice && k.VineID == v.ID }) {
		return echo.ErrNotFound
	}
	if err := s.store.Withdraw(c.Request().Context(), in.Choice, callerOf(c).account.ID, in.Why, name); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

func mustJSON(v any) json.RawMessage {
	data, err := json.Marshal(v)
	if err != nil {
		panic(err) // plain data of our own
	}
	return data
}
