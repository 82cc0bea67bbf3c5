package api

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// A vineYear is one winter of a vine as its years are held side by side.
type vineYear struct {
	name     string
	sighting *sighting      // of its choice, else the latest that was measured; nil for none
	choice   *assess.Choice // nil while none was confirmed
	descents []assess.Descent
}

// yearsOf puts a vine's winters in the order of time.
func yearsOf(winters []winterRecord, said []store.Saying) ([]vineYear, error) {
	var out []vineYear
	var past *assess.Past
	for _, w := range slices.Backward(winters) {
		y := vineYear{name: w.name}
		for _, g := range w.sightings { // the latest received first
			of := w.choice != nil && g.measurement != nil && g.photo.ID == w.choice.PhotoID
			if g.measurement != nil && g.measurement.Seen.Outcome == assess.Measured && (y.sighting == nil || of) {
				y.sighting = g
			}
		}
		if w.choice != nil {
			var kept keptChoice
			if err := json.Unmarshal(w.choice.Payload, &kept); err != nil {
				return nil, fmt.Errorf("choice %d: %w", w.choice.ID, err)
			}
			y.choice = &kept.Choice
		}
		if y.sighting != nil {
			y.descents = descentsOf(past, y.sighting, said)
			if y.choice != nil {
				past = &assess.Past{Winter: y.name, Seen: y.sighting.measurement.Seen, Canes: y.sighting.confirmed, Choice: y.choice}
			}
		}
		out = append(out, y)
	}
	return out, nil
}

// yearsPart is what the vine's page says of its winters side by side: what to
// heed, the line of renewal, load and balance, descriptor classes.
func (s *Server) yearsPart(c echo.Context, b store.Block, v store.Vine, winters []winterRecord) (*web.YearsPart, error) {
	if len(winters) == 0 {
		return nil, nil
	}
	said, err := s.store.Sayings(c.Request().Context(), v.ID)
	if err != nil {
		return nil, err
	}
	years, err := yearsOf(winters, said)
	if err != nil {
		return nil, err
	}
	now := years[len(years)-1]
	p := &web.YearsPart{Winter: now.name, Say: sayingsPath(v)}

	var records []assess.WinterRecord
	var renewal []assess.RenewalWinter
	for _, y := range years {
		r := assess.WinterRecord{Winter: y.name}
		if y.sighting != nil {
			r = assess.RecordOf(y.name, y.sighting.measurement.Seen, y.sighting.confirmed, y.choice)
		}
		pruned := saidPruned(said, y.name)
		r.Pruned = pruned != ""
		records = append(records, r)
		renewal = append(renewal, assess.RenewalWinter{Winter: y.name, Choice: y.choice, Descents: y.descents, PrunedBy: pruned})
	}
	for _, r := range assess.Remarks(records, assess.DefaultWatching()) {
		p.Remarks = append(p.Remarks, s.told(c, r.Text))
	}
	for _, l := range assess.Renewal(renewal) {
		p.Renewal = append(p.Renewal, s.renewalLine(c, l))
	}
	for _, d := range now.descents {
		p.Descents = append(p.Descents, web.DescentLine{Cane: d.Cane, From: s.from(c, d), Sure: d.Sure, Why: s.told(c, d.Why), Value: descentValue(d)})
	}
	p.Sources = s.sources(c, years)
	s.balance(c, b, now, said, p)
	return p, s.classes(c, b, now, p)
}

// from is what a cane grew from, and how sure that is.
func (s *Server) from(c echo.Context, d assess.Descent) string {
	switch {
	case d.From == assess.FromUnknown || d.From == "":
		return s.say(c, "renewal.unknown")
	case d.Sure:
		return s.told(c, d.InWords())
	}
	return s.say(c, "renewal.read", "what", d)
}

func (s *Server) renewalLine(c echo.Context, l assess.Link) web.RenewalLine {
	out := web.RenewalLine{Winter: l.Winter, Cane: l.Cane, From: s.from(c, l.From), As: s.say(c, "choice.mark.spur")}
	if l.Place != nil {
		out.As = s.say(c, "choice.fate.lay", "place", *l.Place)
	}
	if l.As == "lay" {
		out.Fate = s.say(c, "renewal."+string(l.Stage), "winter", l.CutIn, "who", l.CutWord)
	} else if len(l.Gave) == 0 {
		out.Fate = s.say(c, "renewal.spur")
	}
	if len(l.Gave) > 0 {
		var ids []string
		for _, id := range l.Gave {
			ids = append(ids, fmt.Sprint(id))
		}
		out.Fate = strings.TrimSpace(out.Fate + " " + s.say(c, "renewal.gave", "canes", strings.Join(ids, ", ")))
	}
	out.Warn = l.Stage == assess.Due
	return out
}

func descentValue(d assess.Descent) string {
	return fmt.Sprintf("%s %d %s", d.From, d.Parent, d.ParentWinter)
}

// sources are what this winter's canes can have grown from, to choose from.
func (s *Server) sources(c echo.Context, years []vineYear) []web.SourceOption {
	add := func(d assess.Descent) web.SourceOption {
		return web.SourceOption{Value: descentValue(d), Words: s.told(c, d.InWords())}
	}
	out := []web.SourceOption{add(assess.Descent{From: assess.FromUnknown}), add(assess.Descent{From: assess.FromHeadWood})}
	for _, y := range slices.Backward(years[:len(years)-1]) {
		if y.choice == nil {
			continue
		}
		for _, k := range y.choice.Spurs {
			out = append(out, add(assess.Descent{From: assess.FromSpur, Parent: k.Cane, ParentWinter: y.name}))
		}
		for _, k := range y.choice.Keep {
			if k.Cane != 0 {
				out = append(out, add(assess.Descent{From: assess.FromOldWood, Parent: k.Cane, ParentWinter: y.name}))
			}
		}
		break
	}
	return append(out, add(assess.Descent{From: assess.FromOldWood}))
}

// balance holds the vine's load against the published ranges.
func (s *Server) balance(c echo.Context, b store.Block, now vineYear, said []store.Saying, p *web.YearsPart) {
	buds, canes := 0, 0
	if now.choice != nil {
		buds = now.choice.Buds
	}
	if now.sighting != nil {
		canes = len(oneYear(now.sighting))
	}
	prunings := pruningsOf(b, said, now.name, now.sighting, now.choice)
	in := assess.VineLoad{Prunings: prunings, SpacingM: b.SpacingM, Buds: buds, Canes: canes, YieldKG: kilograms(said, now.name, store.SaidHarvest), Divided: b.Divided}
	balance := assess.Balanced(in)
	for _, f := range balance.Figures {
		p.Figures = append(p.Figures, web.FigureLine{Words: s.told(c, f.InWords()), Source: s.told(c, f.Source)})
	}
	p.MissingInputs = s.toldAll(c, balance.Missing)
	p.Advice = s.budAdvice(c, b, prunings, buds)
	if prunings != nil {
		p.Prunings, p.PruningsSource = s.told(c, prunings.Because), s.told(c, prunings.Source)
		if prunings.Weighed {
			p.PruningsKG = fmt.Sprint(prunings.KG.Value)
		}
	}
	if in.YieldKG > 0 {
		p.HarvestKG = fmt.Sprint(in.YieldKG)
	}
}

// classes classes the vine on every descriptor table, or says why not.
func (s *Server) classes(c echo.Context, b store.Block, now vineYear, p *web.YearsPart) error {
	tables, err := s.store.DescriptorTables(c.Request().Context(), b.EstateID)
	if err != nil || now.sighting == nil {
		return err
	}
	for _, t := range append([]assess.DescriptorTable{assess.InternodeTable()}, tables...) {
		k, err := assess.ClassifyBy(t, oneYear(now.sighting))
		line := web.ClassLine{Table: t.ID(), Quantity: s.say(c, "rules.quantity."+string(t.Quantity)), Source: t.Source}
		switch {
		case err != nil:
			line.Words = s.toldError(c, err)
		default:
			line.Class, line.Words, line.Source = strings.TrimSpace(k.Note+" "+s.told(c, k.Class)), s.told(c, k.Because), s.told(c, k.Source)
			if !k.Sure() {
				line.Class = s.say(c, "years.class.unsure", "class", line.Class, "also", strings.Join(s.toldAll(c, k.Also), ", "))
			}
		}
		p.Classes = append(p.Classes, line)
	}
	return nil
}
