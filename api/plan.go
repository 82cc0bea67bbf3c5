package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/api/sheet"
	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// routesOfPlans serves what is to be done at a vine, for phone and paper.
func (s *Server) routesOfPlans(e *echo.Echo, a *echo.Group) {
	e.GET("/blocks/:block/:row/:vine/plan", s.planPage)
	e.GET("/blocks/:block/:row/:vine/plan.pdf", s.vineSheet)
	e.GET("/blocks/:block/:row/plan.pdf", s.rowSheet)
	a.POST("/blocks/:block/rows/:row/vines/:vine/sayings", s.saySomething)
}

// planned is a vine's confirmed choice with all that its plan needs.
type planned struct {
	vine     store.Vine
	kept     store.Choice
	choice   assess.Choice
	plan     assess.Plan
	sighting *sighting
	said     []store.Saying
}

// planOf gathers the plan for a vine: of a winter, or of the latest in which a
// choice was confirmed when winter is "". ENotFound when there's none.
func (s *Server) planOf(ctx context.Context, v store.Vine, winter string) (*planned, error) {
	none := assess.Errorf(assess.ENotFound, "No choice is confirmed for this vine yet. Rule on its canes, confirm what stays and what goes, and the plan is made from that.")
	if v.ID == 0 {
		return nil, none
	}
	choices, err := s.store.Choices(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	for _, k := range choices {
		if winter != "" && k.Winter != winter {
			continue
		}
		p := &planned{vine: v, kept: k}
		var kept keptChoice
		if err := json.Unmarshal(k.Payload, &kept); err != nil {
			return nil, fmt.Errorf("choice %d: %w", k.ID, err)
		}
		p.choice = kept.Choice
		if p.sighting, err = s.sightingByMeasurement(ctx, k.MeasurementID); err != nil {
			return nil, err
		}
		past, err := s.pastOf(ctx, v.ID, k.Winter)
		if err != nil {
			return nil, err
		}
		if p.said, err = s.store.Sayings(ctx, v.ID); err != nil {
			return nil, err
		}
		p.plan = assess.PlanOf(k.Winter, p.choice, past)
		return p, nil
	}
	return nil, none
}

func (s *Server) sayer(c echo.Context) sheet.Say {
	return func(key string, args ...any) string { return s.say(c, key, args...) }
}

// titleIn is the title of a choice's form, which may be an older one than that
// of the photo's winter.
func titleIn(g *sighting, id string) string {
	if g != nil && g.form.ID() == id {
		return g.form.Title
	}
	return formTitle(id)
}

// sheetOf is what is printed of a plan.
func (s *Server) sheetOf(c echo.Context, b store.Block, p *planned) sheet.Vine {
	d := sheet.Draw(p.sighting.measurement.Seen, p.sighting.confirmed, p.choice)
	return sheet.Vine{
		Where: s.where(c, b, p.vine), Number: p.vine.Number, Confirmed: s.say(c, "sheet.confirmed", "who", p.kept.Who, "when", s.day(c, p.kept.At)),
		Form: s.toldText(c, titleIn(p.sighting, p.choice.Form)), Plan: p.plan, Drawing: &d, Cautions: assess.Cautions(), Say: s.sayer(c),
		BudAdvice: s.budAdvice(c, b, pruningsOf(b, p.said, p.kept.Winter, p.sighting, &p.choice), p.choice.Buds),
	}
}

func (s *Server) vineSheet(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	p, err := s.planOf(c.Request().Context(), v, c.QueryParam("winter"))
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := sheet.WriteVine(&out, s.sheetOf(c, b, p)); err != nil {
		return err
	}
	return pdf(c, fmt.Sprintf("nodespan-%d-%d-%d.pdf", b.ID, v.Row, v.Number), out.Bytes())
}

// rowSheet prints the vines of a row that have a choice in the row's latest
// winter with one.
func (s *Server) rowSheet(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	row, err := strconv.Atoi(c.Param("row"))
	if err != nil || row < 1 || row > b.Rows {
		return assess.Errorf(assess.ENotFound, "There is no such row. Go to the block and pick one.")
	}
	ctx := c.Request().Context()
	states, err := s.store.RowStates(ctx, b.ID, row)
	if err != nil {
		return err
	}
	chosen, err := s.store.RowChosen(ctx, b.ID, row, c.QueryParam("winter"))
	if err != nil {
		return err
	}
	r := sheet.Row{Where: s.say(c, "sheet.row", "block", b.Name, "row", row), Form: s.toldText(c, titleOf(b)), Undecided: len(states) - len(chosen), Cautions: assess.Cautions(), Say: s.sayer(c)}
	for _, v := range chosen {
		r.Winter = v.Winter
		p, err := s.planOf(ctx, v.Vine, v.Winter)
		if err != nil {
			return err
		}
		one := s.sheetOf(c, b, p)
		one.Drawing = nil
		r.Form = one.Form
		r.Vines = append(r.Vines, one)
	}
	if len(r.Vines) == 0 {
		return assess.Errorf(assess.ENotFound, "No choice is confirmed in this row yet. Confirm what stays and what goes at its vines first.")
	}
	var out bytes.Buffer
	if err := sheet.WriteRow(&out, r); err != nil {
		return err
	}
	return pdf(c, fmt.Sprintf("nodespan-%d-%d.pdf", b.ID, row), out.Bytes())
}

func pdf(c echo.Context, name string, data []byte) error {
	saveAs(c, "inline", name)
	return c.Blob(http.StatusOK, "application/pdf", data)
}

// planPage shows the same on a phone.
func (s *Server) planPage(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	p, err := s.planOf(c.Request().Context(), v, c.QueryParam("winter"))
	if err != nil {
		return err
	}
	paper := s.sheetOf(c, b, p)
	plan := p.plan
	winter := "?winter=" + url.QueryEscape(plan.Winter)
	out := web.PlanPage{
		Frame: s.frame(c, "plan.title"), Where: paper.Where, Winter: plan.Winter, Confirmed: paper.Confirmed, Form: paper.Form, RuleSet: plan.RuleSet,
		Buds: plan.Buds, Advice: paper.BudAdvice, Missing: s.toldAll(c, plan.Missing), Notes: s.toldAll(c, plan.Notes), Cautions: s.cautions(c),
		PDF: vinePath(v) + "/plan.pdf" + winter, RowPDF: fmt.Sprintf("/blocks/%d/%d/plan.pdf", b.ID, v.Row) + winter, Photo: photoPath(p.sighting.photo.ID) + "/choice",
		Say: sayingsPath(v), Pruned: saidPruned(p.said, plan.Winter),
		// The drawing is made of numbers and escaped words alone.
		Drawing: template.HTML(paper.Drawing.SVG(640, 460, s.say(c, "plan.drawing"))),
	}
	out.Script, out.Back = "plan", &web.Link{Text: paper.Where, To: vinePath(v)}
	pt := plan.Pointing
	out.Pointing = s.say(c, "sheet.pointing", "up", pt.Up, "out", pt.Out, "down", pt.Down, "rising", pt.Rising)
	if pt.Unknown > 0 {
		out.Pointing += " " + s.say(c, "sheet.pointing.unknown", "n", pt.Unknown)
	}
	for _, o := range plan.OldWood {
		out.Away = append(out.Away, web.PlanLine{Words: s.say(c, "sheet.oldwood", "what", o)})
	}
	for _, r := range plan.Away {
		out.Away = append(out.Away, web.PlanLine{Words: s.say(c, "choice.remove.line", "cane", r.Cane, "why", r.Why)})
	}
	for _, a := range plan.Look {
		out.Look = append(out.Look, web.PlanLine{Words: s.say(c, "choice.ask.line", "cane", a.Cane, "why", a.Why), More: s.toldAll(c, said(a.IfSound))})
	}
	for _, k := range plan.Spurs {
		out.Spurs = append(out.Spurs, web.PlanLine{Words: sheet.CutLine(paper.Say, "choice.spur.line", k.Cane, nil, k.Buds, k.Cut), More: s.toldAll(c, said(k.Cut.Check, k.Why)), Source: s.told(c, k.Cut.Why)})
	}
	for _, k := range plan.Lay {
		l := web.PlanLine{Words: sheet.CutLine(paper.Say, "choice.keep.line", k.Cane, &k.Place, k.Buds, k.Cut), Source: s.told(c, k.Cut.Why)}
		l.More = s.toldAll(c, said(k.Cut.Check))
		if k.Laying != nil {
			l.More = append(l.More, s.toldAll(c, k.Laying.Steps)...)
			if at := sheet.TiesAt(paper.Say, k.Laying); at != "" {
				l.More = append(l.More, s.say(c, "sheet.ties", "at", at))
			}
		}
		out.Lay = append(out.Lay, l)
	}
	return s.render(c, http.StatusOK, "plan", out)
}

// said leaves out the sentences that say nothing.
func said(all ...assess.Sentence) []assess.Sentence {
	return slices.DeleteFunc(all, assess.Sentence.Empty)
}
