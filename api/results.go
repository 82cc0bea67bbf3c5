package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/api/sheet"
	"nodespan/assess"
	"nodespan/assess/agreement"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
	"nodespan/web"
)

// a placedPair is two choices with where they can be looked at.
type placedPair struct {
	exercise.Pair
	vine store.ExerciseVine
	mine *store.SealedChoice
}

// pairsOf lists what counts for the figures of a participant in an exercise:
// for each vine that the caller may look at, the participant's last blind
// choice and the trainer's.
func (s *Server) pairsOf(c echo.Context, x *everything, participant int64, trains bool) ([]exercise.Pair, []placedPair, error) {
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return nil, nil, err
	}
	var plain []exercise.Pair
	var placed []placedPair
	for _, v := range x.vines {
		mine, theirs := x.counts(v.ID, participant), x.judged(v.ID, participant)
		if mine == nil || theirs == nil || !x.mayLook(v.ID, callerOf(c).account.ID, trains) || hidden.elsewhere(v.Vine.ID, x.ID) != nil {
			continue
		}
		seen, err := x.seenOf(v)
		if err != nil {
			return nil, nil, err
		}
		p := exercise.Pair{First: x.answered[mine.ID], Second: x.answered[theirs.ID], Seen: seen}
		plain = append(plain, p)
		placed = append(placed, placedPair{p, v, mine})
	}
	return plain, placed, nil
}

// percent writes a share with its bounds.
func (s *Server) percent(c echo.Context, b agreement.Bounded) string {
	n := func(v float64) string { return s.number(c, math.Round(100*v), 0) }
	return s.say(c, "exercise.share", "value", n(b.Value), "low", n(b.Low), "high", n(b.High))
}

// figureWords says how often two people decided alike: by numbers alone while
// these are small.
func (s *Server) figureWords(c echo.Context, f exercise.Figure) string {
	if f.N == 0 {
		return s.say(c, "exercise.figure.none")
	}
	words := s.say(c, "exercise.figure.count", "same", f.Same, "n", f.N)
	if f.Kind == exercise.BudKind && f.Within > f.Same {
		words += ", " + s.say(c, "exercise.figure.within", "n", f.Within)
	}
	if f.Share != nil {
		words = s.say(c, "value.of", "what", words, "value", s.percent(c, *f.Share))
	}
	return words
}

func (s *Server) kappaWords(c echo.Context, f exercise.Figure) string {
	if f.Kappa == nil {
		if f.N == 0 {
			return ""
		}
		return s.say(c, "exercise.kappa.few")
	}
	n := func(v float64) string { return s.number(c, v, 2) }
	return s.say(c, "value.interval", "value", n(f.Kappa.Value.Value), "low", n(f.Kappa.Value.Low), "high", n(f.Kappa.Value.High))
}

// groupWords says how far the participants of an exercise agree among
// themselves, over the vines for which all of them chose; "" while that can't
// be said.
func (s *Server) groupWords(c echo.Context, x *everything) string {
	if !x.mayLookAtAll(callerOf(c).account.ID) {
		return ""
	}
	n, k := groupOf(x)
	if n == 0 {
		return ""
	}
	if k == nil {
		return s.say(c, "exercise.group.few", "canes", n)
	}
	return s.say(c, "exercise.group.kappa", "kappa", s.number(c, k.Value, 2), "raw", s.number(c, math.Round(100*k.Raw), 0), "people", k.Raters, "canes", k.N)
}

// mayLookAtAll tells whether a trainer may see what was chosen for every vine.
func (x *everything) mayLookAtAll(trainer int64) bool {
	for _, v := range x.vines {
		if !x.mayLook(v.ID, trainer, true) {
			return false
		}
	}
	return len(x.vines) > 0
}

func groupOf(x *everything) (int, *agreement.ManyKappa) {
	var all [][]exercise.Choice
	for _, v := range x.vines {
		var of []exercise.Choice
		for _, p := range x.people {
			if k := x.counts(v.ID, p.ID); k != nil {
				of = append(of, x.answered[k.ID])
			}
		}
		if len(of) == len(x.people) && len(of) > 1 {
			all = append(all, of)
		}
	}
	return exercise.Group(all)
}

// standingOf is how somebody stands in an exercise and in the group's others.
type standingOf struct {
	who      store.Account
	pairs    []placedPair
	figures  []exercise.Figure
	over     []exerciseLine // the group's exercises, the oldest first
	mistakes []exercise.Mistake
	all      []placedPair // that mistakes points into
	open     bool
}

type exerciseLine struct {
	store.Exercise
	figure exercise.Figure
}

func (s *Server) standingIn(c echo.Context) (*everything, *standingOf, error) {
	ctx := c.Request().Context()
	l := lessonOf(c)
	x, err := s.everythingOf(ctx, l.Exercise)
	if err != nil {
		return nil, nil, err
	}
	out := &standingOf{open: l.trains || l.Opened()}
	if out.who, err = whose(c, x); err != nil {
		return nil, nil, err
	}
	plain, placed, err := s.pairsOf(c, x, out.who.ID, l.trains)
	if err != nil {
		return nil, nil, err
	}
	out.pairs, out.figures = placed, exercise.Figures(plain)
	others, err := s.store.ExercisesOfGroup(ctx, l.Group.ID)
	if err != nil {
		return nil, nil, err
	}
	var all []exercise.Pair
	for _, e := range others {
		o, err := s.everythingOf(ctx, e)
		if err != nil {
			return nil, nil, err
		}
		if _, in := o.person(out.who.ID); !in {
			continue
		}
		plain, placed, err := s.pairsOf(c, o, out.who.ID, l.trains)
		if err != nil {
			return nil, nil, err
		}
		if len(plain) == 0 {
			continue
		}
		out.over = append(out.over, exerciseLine{e, exercise.Figures(plain)[0]})
		all, out.all = append(all, plain...), append(out.all, placed...)
	}
	out.mistakes = exercise.Mistakes(all)
	return x, out, nil
}

// mistakeWords says what recurs: what is done otherwise, with which canes.
func (s *Server) mistakeWords(c echo.Context, m exercise.Mistake) string {
	var of []string
	if m.Finding != "" {
		of = append(of, s.say(c, "finding."+string(m.Finding)))
	}
	if m.Near != "" {
		of = append(of, s.say(c, "exercise.where."+m.Near))
	}
	words := s.say(c, "exercise.mistake."+m.What)
	if len(of) > 0 {
		words = s.say(c, "value.of", "what", words, "value", strings.Join(of, ", "))
	}
	return s.say(c, "exercise.mistake.line", "what", words, "times", m.Times, "vines", len(m.Vines))
}

func (s *Server) resultsPage(c echo.Context) error {
	x, st, err := s.standingIn(c)
	if err != nil {
		return err
	}
	l := lessonOf(c)
	to := exercisePath(x.ID)
	whoQuery := ""
	if l.trains {
		whoQuery = fmt.Sprintf("?who=%d", st.who.ID)
	}
	p := web.ResultsPage{Frame: s.frame(c, "exercise.results"), Exercise: x.Name, Participant: st.who.Name, Trainer: x.Group.Trainer.Name, Open: st.open, Reviewed: x.Judging == string(exercise.Reviewed), PDF: to + "/results.pdf" + whoQuery}
	p.Back = &web.Link{Text: x.Name, To: to}
	for _, f := range st.figures {
		p.Figures = append(p.Figures, web.FigureRow{Kind: s.say(c, "exercise.kind."+string(f.Kind)), Count: s.figureWords(c, f), Kappa: s.kappaWords(c, f)})
	}
	for _, v := range x.vines {
		line := web.VineResult{Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Words: s.say(c, "exercise.vine.notyet")}
		if x.mayLook(v.ID, callerOf(c).account.ID, l.trains) {
			line.To = fmt.Sprintf("%s/%d/compare%s", to, v.Seq, whoQuery)
		}
		for _, pr := range st.pairs {
			if pr.vine.ID == v.ID {
				held := exercise.Compare(pr.First, pr.Second)
				line.Words = s.say(c, "exercise.vine.alike", "same", held.Same, "n", len(held.Rows))
			}
		}
		p.Vines = append(p.Vines, line)
	}
	for _, o := range st.over {
		p.Over = append(p.Over, web.OverLine{Name: o.Name, When: s.day(c, o.MadeAt), Words: s.figureWords(c, o.figure), Here: o.ID == x.ID})
	}
	for _, m := range st.mistakes {
		line := web.MistakeLine{Words: s.mistakeWords(c, m)}
		for _, i := range m.Vines {
			v := st.all[i].vine
			line.Vines = append(line.Vines, web.Link{Text: s.where(c, store.Block{Name: v.BlockName}, v.Vine), To: fmt.Sprintf("%s/%d/compare%s", exercisePath(v.ExerciseID), v.Seq, whoQuery)})
		}
		p.Mistakes = append(p.Mistakes, line)
	}
	return s.render(c, http.StatusOK, "results", p)
}

// figuresView is how somebody stands, for scripts.
type figuresView struct {
	Who      string            `json:"who"`
	Judging  exercise.Judging  `json:"judging"`
	Figures  []exercise.Figure `json:"figures"`
	OverTime []figureOver      `json:"over_time"` // keep or cut away, exercise by exercise
	Mistakes []mistakeView     `json:"mistakes"`  // over all exercises of the group
}

type figureOver struct {
	Exercise int64           `json:"exercise"`
	Name     string          `json:"name"`
	Figure   exercise.Figure `json:"figure"`
}

type mistakeView struct {
	exercise.Mistake
	Pages []string `json:"pages"` // of the vines to look at again
}

func (s *Server) exerciseFigures(c echo.Context) error {
	x, st, err := s.standingIn(c)
	if err != nil {
		return err
	}
	out := figuresView{Who: st.who.Name, Judging: exercise.Judging(x.Judging), Figures: st.figures, OverTime: []figureOver{}, Mistakes: []mistakeView{}}
	for _, o := range st.over {
		out.OverTime = append(out.OverTime, figureOver{o.ID, o.Name, o.figure})
	}
	for _, m := range st.mistakes {
		v := mistakeView{Mistake: m}
		for _, i := range m.Vines {
			v.Pages = append(v.Pages, fmt.Sprintf("%s/%d/compare", exercisePath(st.all[i].vine.ExerciseID), st.all[i].vine.Seq))
		}
		out.Mistakes = append(out.Mistakes, v)
	}
	return c.JSON(http.StatusOK, out)
}

// decisionWords puts a decision in words.
func (s *Server) decisionWords(c echo.Context, d *exercise.Decision, form assess.Form) string {
	words := s.say(c, "exercise.fate."+string(d.Fate))
	if d.Place > 0 && d.Place <= len(form.Places) {
		p := form.Places[d.Place-1]
		words += " (" + s.say(c, "exercise.wire."+string(p.Wire)) + ", " + s.say(c, "exercise.way."+string(p.Direction)) + ")"
	}
	if d.Buds > 0 {
		words += ", " + s.say(c, "exercise.buds", "n", d.Buds)
	}
	return words
}

// resultSheet prints how somebody stands, on one page.
func (s *Server) resultSheet(c echo.Context) error {
	x, st, err := s.standingIn(c)
	if err != nil {
		return err
	}
	if !st.open {
		return s.holdBack(c, "exercise.notopen", x.Name, x.ID)
	}
	out := sheet.Result{
		Title: x.Name, Who: s.say(c, "exercise.sheet.who", "who", st.who.Name, "trainer", x.Group.Trainer.Name, "group", x.Group.Name, "when", s.day(c, x.MadeAt)),
		How: s.say(c, "exercise.mode.hint."+x.Mode) + " " + s.say(c, "exercise.judging.hint."+x.Judging), Say: s.sayer(c), Cautions: assess.Cautions(),
	}
	for _, f := range st.figures {
		out.Figures = append(out.Figures, [3]string{s.say(c, "exercise.kind."+string(f.Kind)), s.figureWords(c, f), s.kappaWords(c, f)})
	}
	for _, pr := range st.pairs {
		held := exercise.Compare(pr.First, pr.Second)
		part := sheet.ResultVine{Where: s.where(c, store.Block{Name: pr.vine.BlockName}, pr.vine.Vine), Words: s.say(c, "exercise.vine.alike", "same", held.Same, "n", len(held.Rows))}
		for _, r := range held.Rows {
			if len(r.Differs) > 0 {
				part.Differences = append(part.Differences, s.say(c, "exercise.sheet.difference", "cane", r.Cane, "first", s.decisionWords(c, r.First, pr.Seen.Form), "second", s.decisionWords(c, r.Second, pr.Seen.Form)))
			}
		}
		if held.HeadSaid && !held.HeadSame {
			part.Differences = append(part.Differences, s.say(c, "exercise.sheet.head", "first", s.say(c, "exercise.head."+string(pr.First.Head)), "second", s.say(c, "exercise.head."+string(pr.Second.Head))))
		}
		remarks, err := s.store.Remarks(c.Request().Context(), pr.mine.ID)
		if err != nil {
			return err
		}
		for _, r := range remarks {
			var said exercise.Remark
			if err := json.Unmarshal(r.Payload, &said); err != nil {
				return err
			}
			if said.Text != "" {
				part.Remarks = append(part.Remarks, s.say(c, "exercise.sheet.remark", "who", r.Who, "text", said.Text))
			}
		}
		out.Vines = append(out.Vines, part)
	}
	for _, o := range st.over {
		out.Over = append(out.Over, o.Name+": "+s.figureWords(c, o.figure))
	}
	for _, m := range st.mistakes {
		var where []string
		for _, i := range m.Vines {
			where = append(where, s.where(c, store.Block{Name: st.all[i].vine.BlockName}, st.all[i].vine.Vine))
		}
		out.Mistakes = append(out.Mistakes, s.mistakeWords(c, m)+" "+s.say(c, "exercise.again", "vines", strings.Join(where, "; ")))
	}
	var data bytes.Buffer
	if err := sheet.WriteResult(&data, out); err != nil {
		return err
	}
	return pdf(c, fmt.Sprintf("nodespan-exercise-%d-results.pdf", x.ID), data.Bytes())
}

// exerciseSheet prints an exercise to be done on paper, on one page: photos
// with the canes' numbers, and nothing else of what is known of them.
func (s *Server) exerciseSheet(c echo.Context) error {
	ctx := c.Request().Context()
	x, err := s.everythingOf(ctx, lessonOf(c).Exercise)
	if err != nil {
		return err
	}
	out := sheet.Exercise{Title: x.Name, Who: s.say(c, "exercise.sheet.group", "group", x.Group.Name, "trainer", x.Group.Trainer.Name, "when", s.day(c, x.MadeAt)), Say: s.sayer(c), Cautions: assess.Cautions()}
	var forms, said []string
	for _, v := range x.vines {
		seen, err := x.seenOf(v)
		if err != nil {
			return err
		}
		data, err := s.pictureOf(ctx, v.PhotoID)
		if err != nil {
			return err
		}
		part := sheet.ExerciseVine{Where: fmt.Sprintf("%d. %s", v.Seq, s.where(c, store.Block{Name: v.BlockName}, v.Vine)), JPEG: data, WidthPx: seen.WidthPx, HeightPx: seen.HeightPx}
		for _, k := range seen.Canes {
			part.Canes = append(part.Canes, sheet.ExerciseCane{ID: k.ID, Line: k.CentreLine})
		}
		if !slices.Contains(forms, seen.Form.ID()) {
			forms = append(forms, seen.Form.ID())
			var places []string
			for i, p := range seen.Form.Places {
				places = append(places, fmt.Sprintf("%d %s, %s", i+1, s.say(c, "exercise.wire."+string(p.Wire)), s.say(c, "exercise.way."+string(p.Direction))))
			}
			said = append(said, s.say(c, "exercise.sheet.form", "form", s.toldText(c, seen.Form.Title), "places", strings.Join(places, "; ")))
		}
		out.Vines = append(out.Vines, part)
	}
	out.Form = strings.Join(said, "\n")
	var data bytes.Buffer
	if err := sheet.WriteExercise(&data, out); err != nil {
		return err
	}
	return pdf(c, fmt.Sprintf("nodespan-exercise-%d.pdf", x.ID), data.Bytes())
}

// pictureOf gives a photo's copy for one screen.
func (s *Server) pictureOf(ctx context.Context, photo int64) ([]byte, error) {
	p, err := s.store.Photo(ctx, photo)
	if err != nil {
		return nil, err
	}
	size := copies["medium"]
	path, err := s.previewOf(ctx, p, size.side, size.quality)
	if err != nil {
		return nil, err
	}
	return os.ReadFile(path)
}
