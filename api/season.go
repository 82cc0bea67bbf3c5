package api

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// pastOf is what the record has of a vine in the latest winter before another
// in which a choice was confirmed; nil when there's none.
func (s *Server) pastOf(ctx context.Context, vine int64, before string) (*assess.Past, error) {
	choices, err := s.store.Choices(ctx, vine) // the latest winter first
	if err != nil {
		return nil, err
	}
	for _, k := range choices {
		if k.Winter >= before {
			continue
		}
		var kept keptChoice
		if err := json.Unmarshal(k.Payload, &kept); err != nil {
			return nil, fmt.Errorf("choice %d: %w", k.ID, err)
		}
		g, err := s.sightingByMeasurement(ctx, k.MeasurementID)
		if err != nil {
			return nil, err
		}
		return &assess.Past{Winter: k.Winter, Seen: g.measurement.Seen, Canes: g.confirmed, Choice: &kept.Choice}, nil
	}
	return nil, nil
}

// knowing adds to a sighting what last winter's record says of where its canes
// came from, and what people said of that.
func (s *Server) knowing(ctx context.Context, g *sighting) error {
	if g.measurement == nil {
		return nil
	}
	past, err := s.pastOf(ctx, g.vine.ID, g.photo.Winter)
	if err != nil {
		return err
	}
	said, err := s.store.Sayings(ctx, g.vine.ID)
	if err != nil {
		return err
	}
	g.past, g.descents = past, descentsOf(past, g, said)
	return nil
}

func descentsOf(past *assess.Past, g *sighting, said []store.Saying) []assess.Descent {
	read := assess.DescentsFrom(past, g.measurement.Seen, g.confirmed, assess.DefaultMatching())
	var stated []assess.Descent
	for _, x := range said {
		if x.Winter != g.photo.Winter || x.Kind != store.SaidDescent {
			continue
		}
		var d assess.Descent
		if json.Unmarshal(x.Payload, &d) != nil {
			continue
		}
		d.Cane, d.Why = x.Cane, assess.Tell("%s says so", x.Who)
		stated = append(stated, d)
	}
	all := assess.AsSaid(read, stated)
	// What isn't a confirmed cane any more has no descent.
	out := all[:0]
	for _, d := range all {
		for _, cc := range g.confirmed {
			if cc.Cane.ID == d.Cane && cc.Kind == assess.OneYearCane {
				out = append(out, d)
			}
		}
	}
	return out
}

// kilograms reads the mass of a saying; 0 for none.
func kilograms(said []store.Saying, winter, kind string) float64 {
	for _, x := range said {
		if x.Winter == winter && x.Kind == kind {
			var v struct{ KG float64 }
			if json.Unmarshal(x.Payload, &v) == nil {
				return v.KG
			}
		}
	}
	return 0
}

// saidPruned is who said that the vine was pruned in a winter; "" for nobody.
func saidPruned(said []store.Saying, winter string) (who string) {
	for _, x := range said {
		if x.Winter == winter && x.Kind == store.SaidPruned {
			return x.Who
		}
	}
	return ""
}

// pruningsOf is the mass of a vine's prunings in a winter: weighed when
// somebody did, else estimated from the confirmed one-year canes of the
// sighting, less what a choice keeps of them (ch may be nil: all of the wood);
// nil when neither can be had.
func pruningsOf(b store.Block, said []store.Saying, winter string, g *sighting, ch *assess.Choice) *assess.Prunings {
	if kg := kilograms(said, winter, store.SaidPrunings); kg > 0 {
		if p, err := assess.WeighedPrunings(kg); err == nil {
			return &p
		}
	}
	if g == nil || g.measurement == nil {
		return nil
	}
	if ch == nil {
		ch = &assess.Choice{}
	}
	p, err := assess.EstimateCutOff(oneYear(g), *ch, woodOf(b))
	if err != nil {
		return nil
	}
	return &p
}

// woodOf is what is known of the block's wood.
func woodOf(b store.Block) assess.Wood {
	w := assess.DefaultWood()
	if b.WoodHigh > 0 {
		w.DensityLow, w.DensityHigh, w.Source = b.WoodLow, b.WoodHigh, b.WoodSource
	}
	return w
}

// oneYear are the confirmed one-year canes of this vine.
func oneYear(g *sighting) []assess.Cane {
	var canes []assess.Cane
	for _, cc := range assess.OfThisVine(g.measurement.Seen, g.confirmed) {
		if cc.Kind == assess.OneYearCane {
			canes = append(canes, cc.Cane)
		}
	}
	return canes
}

// budAdvice is the buds by the block's formula of balanced pruning in words:
// the advice, or which input is missing; "" where the block has no formula.
func (s *Server) budAdvice(c echo.Context, b store.Block, p *assess.Prunings, buds int) string {
	if b.Formula == "" {
		return ""
	}
	f, err := assess.FormulaByName(b.Formula)
	if err != nil {
		return s.toldError(c, err)
	}
	a, err := f.Advise(p, buds)
	if err != nil {
		return s.toldError(c, err)
	}
	return s.told(c, a.InWords(p))
}
