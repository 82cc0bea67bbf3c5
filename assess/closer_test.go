package assess

import (
	"math"
	"testing"
)

// What another photo would do follows from the budget alone: with depth as the
// one doubt it settles a cane at 6.3 mm against the limit of 6 mm, with edges
// as the doubt it doesn't, and of a cane that is called already nothing is
// asked.
func TestWithCardOn(t *testing.T) {
	m := &Measurement{Reference: &Reference{RelativeU: 0.004}}
	cane := func(mm, depth, edges float64) Cane {
		c := Cane{ID: 1, RelativeU: math.Hypot(0.004, depth), EdgeDoubt: edges, Length: Interval{Value: 800, Low: 780, High: 820}}
		for a := 0.0; a <= 800; a += 5 {
			c.CentreLine, c.AlongMM = append(c.CentreLine, Point{a, 0}), append(c.AlongMM, a)
			c.Profile = append(c.Profile, ProfilePoint{AlongMM: a, DiameterMM: mm, U: 0.05})
		}
		for a := 40.0; a < 760; a += 80 {
			c.Nodes = append(c.Nodes, Node{Px: Point{a, 0}, AlongMM: a, Side: "unknown", Confidence: 1})
		}
		Derive(&c)
		JudgeCane(&c, DefaultRuleSet())
		return c
	}
	for _, x := range []struct {
		name         string
		mm           float64
		depth, edges float64
		finding      Finding // with the card on it
		helps        bool
	}{
		{"6 cm off the wire at 1.5 m", 6.3, 0.04, 0, Sound, true},
		{"edges in the shade", 6.3, 0.01, 0.1, TooCloseToCall, false},
		{"on the limit, but half as unsure", 6.02, 0.04, 0, TooCloseToCall, true},
		{"called already", 9, 0.04, 0, Sound, false},
	} {
		c := cane(x.mm, x.depth, x.edges)
		closer, helps := WithCardOn(m, c, DefaultRuleSet())
		if closer.Finding != x.finding || helps != x.helps {
			t.Errorf("%s: %s at %v becomes %s at %v, helps %v; want %s, %v", x.name, c.Finding, c.Diameter, closer.Finding, closer.Diameter, helps, x.finding, x.helps)
		}
	}
	if _, helps := WithCardOn(&Measurement{}, cane(6.3, 0.04, 0), DefaultRuleSet()); helps {
		t.Error("without a reference")
	}
}
