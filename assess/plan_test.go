package assess

import "testing"

// The lower wire first, since what lies on the upper would be in the way; what
// bore last summer is named, so that nobody leaves it.
func TestPlan(t *testing.T) {
	f := DefaultForm()
	past := pastOf(t, "2025/26", f, good(1, -60, -20), good(2, 60, 20))
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10), good(4, 20, 10), sketch{id: 5, x: 10, up: 10, diameter: 4, internode: 60, nodes: 9})
	ch := mustSuggest(t, m, f)
	p := PlanOf("2026/27", ch, past)
	if len(p.Lay) != 4 || p.Lay[0].Place.Wire != LowerWire || p.Lay[1].Place.Wire != LowerWire || p.Lay[3].Place.Wire != UpperWire {
		t.Errorf("laid in the order %+v", p.Lay)
	}
	if len(p.OldWood) != 2 || p.OldWood[0].String() != "what was laid lower left in 2025/26 (cane 1 of then)" {
		t.Errorf("old wood %q", p.OldWood)
	}
	if b := p.Pointing; b.Up+b.Out+b.Down+b.Rising+b.Unknown != 32 || p.Buds != ch.Buds || len(p.Away) != 1 || len(p.Empty) != 0 {
		t.Errorf("plan %+v", p)
	}
	if p := PlanOf("2026/27", Choice{Keep: []Kept{{Place: Place{LowerWire, ToLeft}}}}, nil); len(p.Lay) != 0 || len(p.Empty) != 1 || len(p.OldWood) != 0 {
		t.Errorf("an empty choice: %+v", p)
	}
}
