package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// vinePage shows what is recorded of one vine, winter by winter. A cane is
// shown with its measures only when a person has ruled on it.
func (s *Server) vinePage(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	winters, err := s.winters(ctx, v)
	if err != nil {
		return err
	}
	p := web.VinePage{
		Frame: s.frame(c, "vine.title", "row", v.Row, "vine", v.Number), Where: s.where(c, b, v),
		Block:    web.Link{Text: b.Name, To: fmt.Sprintf("/blocks/%d?row=%d", b.ID, v.Row)},
		AddPhoto: vinePath(v) + "/photo", Form: titleOf(b), NothingRecorded: len(winters) == 0,
	}
	p.Back = &p.Block
	if v.Number > 1 {
		p.Previous = s.neighbour(c, v, v.Number-1)
	}
	if v.Number < b.VinesPerRow {
		p.Next = s.neighbour(c, v, v.Number+1)
	}
	for _, w := range winters {
		part := web.WinterPart{Name: w.name}
		for _, g := range w.sightings {
			ph, err := s.photoPart(c, g)
			if err != nil {
				return err
			}
			part.Photos = append(part.Photos, ph)
		}
		if w.choice != nil {
			ch, err := s.choicePart(c, w.choice, w.sightings)
			if err != nil {
				return err
			}
			ch.Plan = vinePath(v) + "/plan?winter=" + url.QueryEscape(w.name)
			if w.name == winters[0].name {
				ch.Plan = vinePath(v) + "/plan"
			}
			part.Choice = ch
		}
		p.Winters = append(p.Winters, part)
	}
	if p.Years, err = s.yearsPart(c, b, v, winters); err != nil {
		return err
	}
	if p.Years != nil {
		p.Script = "vine"
	}
	return s.render(c, http.StatusOK, "vine", p)
}

func (s *Server) neighbour(c echo.Context, v store.Vine, number int) *web.Link {
	v.Number = number
	return &web.Link{Text: s.say(c, "vine.short", "vine", number), To: vinePath(v)}
}

func (s *Server) photoPart(c echo.Context, g *sighting) (web.PhotoPart, error) {
	st, err := s.photoState(c.Request().Context(), g.photo)
	if err != nil {
		return web.PhotoPart{}, err
	}
	to := photoPath(g.photo.ID)
	p := web.PhotoPart{
		ID: g.photo.ID, To: to, Picture: to + "/picture/small.jpg", Received: s.day(c, g.photo.ReceivedAt), Taken: s.day(c, g.photo.TakenAt), By: g.photo.ReceivedBy,
		State: st.State, StateWords: s.say(c, "photo.state."+st.State),
	}
	if g.measurement == nil || g.measurement.Seen.Outcome != assess.Measured {
		return p, nil
	}
	if g.measurement.Seen.With != "" && st.State == stateMeasured {
		p.StateWords = s.say(c, "photo.state.two")
	}
	p.Measured, p.RuleSet, p.Program = true, g.measurement.Seen.RuleSet, g.measurement.Seen.Program
	p.Waiting = unruled(g)
	ruled := map[int]bool{}
	for _, r := range g.rulings {
		ruled[r.Cane] = true
	}
	p.Rejected = len(ruled) - len(g.confirmed)
	if len(g.confirmed) > 0 {
		p.ChoiceTo = to + "/choice"
	}
	for _, cc := range g.confirmed {
		p.Canes = append(p.Canes, s.caneLine(c, cc))
	}
	return p, nil
}

// interval writes a value with its bounds, or that it wasn't measured.
func (s *Server) interval(c echo.Context, q assess.Interval, decimals int) string {
	if !q.Known() {
		return s.say(c, "value.none")
	}
	n := func(v float64) assess.Length { return assess.Length{MM: v, Decimals: decimals, Bare: true} }
	return s.say(c, "value.interval", "value", n(q.Value), "low", n(q.Low), "high", n(q.High))
}

func (s *Server) caneLine(c echo.Context, cc assess.ConfirmedCane) web.CaneLine {
	l := web.CaneLine{
		ID: cc.Cane.ID, Finding: string(cc.Cane.Finding), FindingWords: s.say(c, "finding."+string(cc.Cane.Finding)),
		Diameter: s.interval(c, cc.Cane.Diameter, 1), Internode: s.interval(c, cc.Cane.Internode, 0), Length: s.interval(c, cc.Cane.Length, 0),
		Nodes: len(cc.Cane.Nodes), Who: cc.Who, When: s.day(c, cc.When), Because: s.toldAll(c, cc.Cane.Because),
		Said: s.say(c, "said."+string(cc.Said)),
	}
	if cc.Kind == assess.OldWood {
		l.OldWood, l.Finding, l.FindingWords = true, "old_wood", s.say(c, "kind.old_wood")
	}
	switch {
	case cc.Added:
		l.Said, l.ProgramSaid = s.say(c, "said.added"), s.say(c, "seen.missed")
	default:
		l.ProgramSaid = s.say(c, "seen.finding", "finding", s.say(c, "finding."+string(cc.Seen.Finding)),
			"diameter", s.interval(c, cc.Seen.Diameter, 1), "nodes", cc.Seen.Nodes, "rules", cc.Seen.RuleSet)
	}
	if cc.ByHand {
		l.Diameter += " " + s.say(c, "value.byhand")
	}
	return l
}

// choicePart puts a confirmed choice in words.
func (s *Server) choicePart(c echo.Context, k *store.Choice, sightings []*sighting) (*web.ChoicePart, error) {
	var kept keptChoice
	if err := json.Unmarshal(k.Payload, &kept); err != nil {
		return nil, err
	}
	var said assess.Choice
	if err := json.Unmarshal(k.Said, &said); err != nil {
		return nil, err
	}
	ch := kept.Choice
	out := &web.ChoicePart{
		Who: k.Who, When: s.day(c, k.At), Buds: ch.Buds, Missing: s.toldAll(c, ch.Missing), Notes: s.toldAll(c, ch.Notes),
		Changed: !reflect.DeepEqual(said, ch), Form: s.toldText(c, formTitle(ch.Form)), RuleSet: ch.RuleSet,
	}
	for _, g := range sightings {
		if g.measurement != nil && g.photo.ID == k.PhotoID {
			out.To, out.Form = photoPath(g.photo.ID)+"/choice", s.toldText(c, titleIn(g, ch.Form))
		}
	}
	for _, x := range ch.Keep {
		if x.Cane != 0 {
			out.Keep = append(out.Keep, s.say(c, "choice.keep.line", "cane", x.Cane, "place", x.Place, "buds", x.Buds, "cut", assess.Length{MM: x.Cut.AlongMM}, "node", x.Cut.AfterNode))
		}
	}
	for _, x := range ch.Spurs {
		out.Spurs = append(out.Spurs, s.say(c, "choice.spur.line", "cane", x.Cane, "buds", x.Buds, "cut", assess.Length{MM: x.Cut.AlongMM}, "node", x.Cut.AfterNode))
	}
	for _, x := range ch.Remove {
		out.Remove = append(out.Remove, s.say(c, "choice.remove.line", "cane", x.Cane, "why", x.Why))
	}
	for _, x := range ch.Ask {
		out.Ask = append(out.Ask, s.say(c, "choice.ask.line", "cane", x.Cane, "why", x.Why))
	}
	return out, nil
}
