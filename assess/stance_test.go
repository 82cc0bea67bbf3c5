package assess

import (
	"math"
	"testing"
	"time"
)

// doubtful is a cane of so many mm, standing upright at x, unsure by depth and
// by edges.
func doubtful(id int, x, mm, depth, edges float64) Cane {
	c := straight(Point{x, 900}, every(40, 80, 9), func(float64) float64 { return mm })
	c.ID, c.RelativeU, c.EdgeDoubt = id, math.Hypot(0.01, depth), edges
	Derive(&c)
	JudgeCane(&c, DefaultRuleSet())
	return c
}

func byCard(canes ...Cane) *Measurement {
	return &Measurement{Outcome: Measured, WidthPx: 1200, HeightPx: 1000, RuleSet: DefaultRuleSet().ID(), Canes: canes,
		Reference: &Reference{Kind: "checker", RelativeU: 0.002, Outline: []Point{{800, 400}, {900, 400}, {900, 480}, {800, 480}}}}
}

// A second stance is offered only where what it takes away is what is unsure:
// with a bar, or where one was used, or where edges are too unsure for a second
// reading to settle it, it isn't. What it
// foresees follows from the budget: 1.1 % of 6.2 mm is 0.07 mm, so the interval
// is at most 0.2 mm to each side wherever edges are sure.
func TestWithSecondStance(t *testing.T) {
	rs := DefaultRuleSet()
	for _, x := range []struct {
		name           string
		mm             float64
		depth, edges   float64
		change         func(m *Measurement)
		helps, settles bool
	}{
		{"6 cm off the wire, just thick enough", 6.25, 0.035, 0, nil, true, true},
		{"likewise, on the limit", 6.02, 0.035, 0, nil, true, false},
		{"the edges are the doubt, and stay one", 6.05, 0.02, 0.12, nil, false, false},
		{"read twice, the edges would settle it", 6.5, 0.01, 0.05, nil, true, true},
		{"called already", 9, 0.035, 0, nil, false, false},
		{"by a bar", 6.25, 0.035, 0, func(m *Measurement) { m.Reference.Kind = "bar" }, false, false},
		{"with two already", 6.25, 0.035, 0, func(m *Measurement) { m.With = "ab" }, false, false},
	} {
		m := byCard(doubtful(1, 300, x.mm, x.depth, x.edges))
		if x.change != nil {
			x.change(m)
		}
		f, helps := WithSecondStance(m, m.Canes[0], rs)
		if helps != x.helps || f.Settles != x.settles {
			t.Errorf("%s: %v; helps %v, settles %v at %v, want %v and %v", x.name, m.Canes[0].Diameter, helps, f.Settles, f.Cane.Diameter, x.helps, x.settles)
		}
		if helps && f.Edges != (x.edges > x.depth) {
			t.Errorf("%s: edges are the doubt: %v", x.name, f.Edges)
		}
		if d := f.Cane.Diameter; helps && !f.Edges && (d.Value != m.Canes[0].Diameter.Value || d.Width() > 0.45) {
			t.Errorf("%s: foresees %v", x.name, d)
		}
	}
	nodes := doubtful(1, 300, 9, 0.035, 0)
	for i := range nodes.Nodes {
		nodes.Nodes[i].AlongMM *= 51. / 80
	}
	nodes.NodeDoubt = 0.03
	Derive(&nodes)
	if JudgeCane(&nodes, rs); nodes.Finding != TooCloseToCall {
		t.Fatalf("internodes of %v are %s", nodes.Internode, nodes.Finding)
	}
	if _, helps := WithSecondStance(byCard(nodes), nodes, rs); helps {
		t.Error("for a cane whose nodes are the doubt")
	}
	if _, helps := WithSecondStance(&Measurement{}, doubtful(1, 300, 6.25, 0.035, 0), rs); helps {
		t.Error("without a scale")
	}
}

func TestWhereAndFromWhere(t *testing.T) {
	m := byCard(doubtful(1, 100, 6, 0.03, 0), doubtful(2, 1100, 6, 0.03, 0))
	if a, b := CornerOf(m, m.Canes[0]), CornerOf(m, m.Canes[1]); a != (Corner{"left", "middle"}) || b != (Corner{"right", "middle"}) {
		t.Errorf("at %+v and %+v", a, b)
	}
	// The card hangs right of the middle, at 850 of 1200 px.
	if StepTo(m) != "right" {
		t.Error("the step leads away from the card")
	}
	for _, x := range []struct {
		d    Depth
		want string
	}{
		{Depth{-29.3, -45.4, -13.3}, "Stands 29 mm nearer to you than the card hangs (13 to 45)."},
		{Depth{67.4, 60.6, 74.2}, "Stands 67 mm farther from you than the card hangs (61 to 74)."},
		{Depth{-4, -12.4, 4.3}, "Stands about where the card hangs: at most 12 mm nearer to you or farther."},
	} {
		if got := x.d.InWords().String(); got != x.want {
			t.Errorf("%+v: %q, want %q", x.d, got, x.want)
		}
	}
}

// What people said of a photo's canes is there after it was measured anew.
func TestCarry(t *testing.T) {
	old := byCard(doubtful(1, 100, 9, 0.03, 0), doubtful(2, 300, 5, 0.03, 0), doubtful(3, 500, 9, 0.03, 0), doubtful(4, 700, 6.05, 0.03, 0), doubtful(5, 900, 9, 0.03, 0))
	day := time.Date(2027, 1, 10, 9, 0, 0, 0, time.UTC)
	said := func(id int64, cane int, what Said) Ruling {
		r, err := NewRuling(old, nil, cane, what)
		if err != nil {
			t.Fatal(err)
		}
		r.ID, r.Who, r.When = id, "Ada", day.Add(time.Duration(id)*time.Minute)
		return r
	}
	moved := said(3, 3, Correct)
	moved.Nodes = []Node{{Px: Point{500, 860}, AlongMM: 40}, {Px: Point{500, 700}, AlongMM: 200}}
	missed := NewMissed(old, nil, doubtful(0, 1100, 8, 0.03, 0))
	missed.ID, missed.Who, missed.When = 6, "Ben", day.Add(time.Hour)
	hand := said(7, 4, Correct)
	hand.DiameterMM = 6.4
	rulings := []Ruling{said(1, 1, Agree), said(2, 2, Reject), moved, said(4, 4, Agree), said(5, 5, Agree), missed}

	// Measured anew: cane 1 as it was, 2 and 3 with other numbers, 3 longer by a
	// fiftieth, 4 thinner and called now, 5 not there any more.
	now := byCard(doubtful(1, 101, 9, 0.01, 0), doubtful(6, 302, 5, 0.01, 0), doubtful(8, 500, 9, 0.01, 0), doubtful(4, 700, 5, 0.01, 0))
	for i := range now.Canes[2].AlongMM {
		now.Canes[2].AlongMM[i] *= 1.02
	}
	carried, left := Carry(old, rulings, now, nil)
	by := map[int]Ruling{}
	for _, r := range carried {
		by[r.Cane] = r
		if r.ID != 0 || r.Carried == 0 {
			t.Errorf("cane %d: ID %d, carried from %d", r.Cane, r.ID, r.Carried)
		}
	}
	if len(carried) != 4 || by[1].Said != Agree || by[6].Said != Reject || by[8].Said != Correct || by[9].Missed == nil || by[9].Missed.ID != 9 {
		t.Fatalf("carried %+v", carried)
	}
	if by[9].Who != "Ben" || !by[9].When.Equal(missed.When) || by[1].Seen.Diameter != now.Canes[0].Diameter {
		t.Errorf("who, when or what was seen: %+v", by[9])
	}
	if n := by[8].Nodes; len(n) != 2 || math.Abs(n[1].AlongMM-204) > 0.01 || n[1].Px != (Point{500, 700}) {
		t.Errorf("nodes %+v, want the second at 204 mm", n)
	}
	if moved.Nodes[1].AlongMM != 200 {
		t.Error("the earlier ruling was changed")
	}
	if len(left) != 2 || left[0].Cane != 4 || left[1].Cane != 0 {
		t.Errorf("left %+v", left)
	}
	for _, c := range Confirm(now, carried, DefaultRuleSet()) {
		if c.Cane.ID == 8 && c.Cane.Internode.Value > 170 {
			t.Errorf("cane 8 of two nodes has %v", c.Cane.Internode)
		}
	}

	// Once over, nothing comes twice, and what was said later of the newer stands.
	later := said(20, 1, Reject)
	if again, _ := Carry(old, rulings, now, append(carried, later)); len(again) != 0 {
		t.Errorf("once more: %+v", again)
	}
	// A caliper stands whatever the program says now; a line that another cane
	// has now isn't taken for it.
	if c, l := Carry(old, []Ruling{hand}, now, nil); len(c) != 1 || len(l) != 0 || c[0].DiameterMM != 6.4 {
		t.Errorf("by hand: %+v %+v", c, l)
	}
	if c, _ := Carry(old, []Ruling{said(9, 1, Agree)}, now, []Ruling{{Cane: 1, Said: Reject, When: day.Add(2 * time.Hour)}}); len(c) != 0 {
		t.Errorf("an older ruling goes above a newer: %+v", c)
	}
}
