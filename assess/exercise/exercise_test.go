package exercise

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"nodespan/assess"
)

// vine is a made-up vine of five upright canes, each with six nodes 80 mm apart
// and 10 px wide steps; cane n stands at x = 100 n.
func vine(t testing.TB) Seen {
	t.Helper()
	m := &assess.Measurement{WidthPx: 1000, HeightPx: 1000, Outcome: assess.Measured, Program: "made up", Head: &assess.Point{150, 950},
		// One pixel is one millimetre.
		Reference: &assess.Reference{PxToMM: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}, Outline: []assess.Point{{500, 500}, {510, 500}, {510, 510}}}}
	for id := 1; id <= 5; id++ {
		c := assess.Cane{ID: id, Finding: assess.Sound, Diameter: assess.Interval{Value: 8, Low: 7, High: 9}, Internode: assess.Interval{Value: 80, Low: 75, High: 85}, Length: assess.Interval{Value: 600, Low: 580, High: 620}}
		if err := json.Unmarshal([]byte(`{"because":["secret words"]}`), &c); err != nil {
			t.Fatal(err)
		}
		for k := range 61 {
			c.CentreLine = append(c.CentreLine, assess.Point{100 * float64(id), 900 - 10*float64(k)})
			c.AlongMM = append(c.AlongMM, 10*float64(k))
		}
		for n := 1; n <= 6; n++ {
			c.Nodes = append(c.Nodes, assess.Node{Px: assess.Point{100 * float64(id), 900 - 80*float64(n)}, AlongMM: 80 * float64(n), Confidence: 1})
		}
		m.Canes = append(m.Canes, c)
	}
	m.Canes[1].Finding, m.Canes[4].Finding = assess.ShortNoded, assess.Weak
	form := assess.DefaultForm()
	s, err := See(m, "2026/27", nil, nil, form, assess.DefaultRuleSet())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// cut is where bud n of a cane of vine sits, a little beside it.
func cut(cane, n int) *assess.Point {
	return &assess.Point{100*float64(cane) + 4, 900 - 80*float64(n) + 11}
}

// choice lays canes 1 and 2, cuts 3 to a spur and the others away.
func choice() Choice {
	return Choice{Head: HeadRight, Canes: []Decision{
		{Cane: 1, Fate: Lay, Place: 1, CutPx: cut(1, 6), Reason: "well_grown"},
		{Cane: 2, Fate: Lay, Place: 2, CutPx: cut(2, 5), Words: "the only one on this side"},
		{Cane: 3, Fate: Spur, CutPx: cut(3, 2)},
		{Cane: 4, Fate: Remove, Place: 3, CutPx: cut(4, 1)},
		{Cane: 5, Fate: Remove},
	}}
}

func sealed(t testing.TB, s Seen, change func(c *Choice)) Choice {
	t.Helper()
	c := choice()
	if change != nil {
		change(&c)
	}
	out, err := s.Seal(c)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What a mode doesn't show isn't in what is sent at all.
func TestShow(t *testing.T) {
	s := vine(t)
	for mode, want := range map[Mode][]string{
		PhotoOnly: {}, WithMeasurements: {"nodes_px", "diameter_mm", "internode_mm"}, WithFindings: {"nodes_px", "diameter_mm", "internode_mm", `"finding":"short_noded"`},
	} {
		data, err := json.Marshal(s.Show(mode))
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range []string{"nodes_px", "diameter_mm", "internode_mm", `"finding"`} {
			has := strings.Contains(string(data), w)
			if should := slices.ContainsFunc(want, func(x string) bool { return strings.Contains(x, w) }); has != should {
				t.Errorf("%s: %s shown: %v, want %v", mode, w, has, should)
			}
		}
		for _, never := range []string{"secret words", "because", "near", "confirmed", "along_mm", "origin"} {
			if strings.Contains(string(data), never) {
				t.Errorf("%s shows %q", mode, never)
			}
		}
	}
	if s.Canes[0].Near != "near" || s.Canes[4].Near != "far" {
		t.Errorf("nearness %q and %q; the canes arise 71 and 354 mm from the head, the limit is 150", s.Canes[0].Near, s.Canes[4].Near)
	}
}

// Rulings up to then count, what nobody ruled on is there as it was seen, and
// what was rejected or is old wood isn't.
func TestSee(t *testing.T) {
	m := &assess.Measurement{WidthPx: 100, HeightPx: 100, Outcome: assess.Measured}
	for id := 1; id <= 4; id++ {
		m.Canes = append(m.Canes, assess.Cane{ID: id, CentreLine: []assess.Point{{1, 2}, {3, 4}}, AlongMM: []float64{0, 9}})
	}
	rulings := []assess.Ruling{{Cane: 1, Said: assess.Agree}, {Cane: 2, Said: assess.Reject}, {Cane: 3, Said: assess.Correct, Kind: assess.OldWood}}
	confirmed := []assess.ConfirmedCane{{Cane: m.Canes[0], Kind: assess.OneYearCane}, {Cane: m.Canes[2], Kind: assess.OldWood}}
	s, err := See(m, "2026/27", rulings, confirmed, assess.DefaultForm(), assess.DefaultRuleSet())
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Canes) != 2 || s.Canes[0].ID != 1 || !s.Canes[0].Confirmed || s.Canes[1].ID != 4 || s.Canes[1].Confirmed {
		t.Errorf("canes %+v", s.Canes)
	}
	m.Outcome = assess.Refused
	if _, err := See(m, "2026/27", nil, nil, assess.DefaultForm(), assess.DefaultRuleSet()); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a refused photo: %v", err)
	}
}

// A tap beside a bud means that bud; what makes no sense is dropped, what is
// missing is asked for.
func TestSeal(t *testing.T) {
	s := vine(t)
	c := sealed(t, s, nil)
	if d := c.Canes[0]; d.Buds != 6 || d.CutMM < 460 || d.CutMM > 480 {
		t.Errorf("cane 1: %+v", d)
	}
	if d := c.Canes[2]; d.Buds != 2 {
		t.Errorf("spur: %+v", d)
	}
	if d := c.Canes[3]; d.Place != 0 || d.CutPx != nil {
		t.Errorf("a cane cut away has a place or a cut: %+v", d)
	}
	if n, known := c.Buds(); n != 13 || !known {
		t.Errorf("%d buds, known %v", n, known)
	}
	for name, change := range map[string]func(*Choice){
		"no head":                func(c *Choice) { c.Head = "" },
		"a cane left out":        func(c *Choice) { c.Canes = c.Canes[1:] },
		"a cane that isn't":      func(c *Choice) { c.Canes = append(c.Canes, Decision{Cane: 77, Fate: Remove}) },
		"a cane twice":           func(c *Choice) { c.Canes = append(c.Canes, c.Canes[0]) },
		"no cut":                 func(c *Choice) { c.Canes[0].CutPx = nil },
		"cut off the cane":       func(c *Choice) { c.Canes[0].CutPx = &assess.Point{900, 100} },
		"no place":               func(c *Choice) { c.Canes[0].Place = 0 },
		"a place that isn't":     func(c *Choice) { c.Canes[0].Place = 5 },
		"one place twice":        func(c *Choice) { c.Canes[0].Place = 2 },
		"no such fate":           func(c *Choice) { c.Canes[0].Fate = "burn" },
		"no such reason":         func(c *Choice) { c.Canes[0].Reason = "because" },
		"endless words":          func(c *Choice) { c.Canes[0].Words = strings.Repeat("ä", longestWords+1) },
		"endless note":           func(c *Choice) { c.Note = strings.Repeat("ä", longestWords+1) },
		"spur without its cut":   func(c *Choice) { c.Canes[2].CutPx = nil },
		"no decision whatever":   func(c *Choice) { *c = Choice{} },
		"a head of another sort": func(c *Choice) { c.Head = "sideways" },
	} {
		x := choice()
		change(&x)
		if _, err := s.Seal(x); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Differences, one of each kind.
func TestCompare(t *testing.T) {
	s := vine(t)
	first := sealed(t, s, nil)
	second := sealed(t, s, func(c *Choice) {
		c.Canes[0].Place, c.Canes[0].CutPx = 3, cut(1, 5)
		c.Canes[1] = Decision{Cane: 2, Fate: Remove}
		c.Canes[2] = Decision{Cane: 3, Fate: Lay, Place: 2, CutPx: cut(3, 6)}
		c.Canes[4] = Decision{Cane: 5, Fate: Unsure}
		c.Head = HeadHigh
	})
	got := Compare(first, second)
	want := [][]Kind{{PlaceKind, BudKind}, {KeepKind}, {SpurKind}, {}, {KeepKind}}
	for i, r := range got.Rows {
		if !slices.Equal(r.Differs, want[i]) {
			t.Errorf("cane %d differs in %v, want %v", r.Cane, r.Differs, want[i])
		}
	}
	neighbour := sealed(t, s, func(c *Choice) { c.Canes[4].Fate = Other })
	if r := Compare(first, neighbour).Rows[4]; !slices.Equal(r.Differs, []Kind{KeepKind}) {
		t.Errorf("cut away by one, another vine's to the other: %v", r.Differs)
	}
	if got.Same != 1 || got.HeadSame || !got.HeadSaid {
		t.Errorf("%+v", got)
	}
	if self := Compare(first, first); self.Same != 5 || !self.HeadSame {
		t.Errorf("held against itself: %+v", self)
	}
}

// The figures of known differences; few decisions give no share.
func TestFigures(t *testing.T) {
	s := vine(t)
	one := Pair{sealed(t, s, nil), sealed(t, s, func(c *Choice) {
		c.Canes[1] = Decision{Cane: 2, Fate: Remove}
		c.Canes[0].CutPx = cut(1, 5)
	}), &s}
	by := func(pairs []Pair) map[Kind]Figure {
		out := map[Kind]Figure{}
		for _, f := range Figures(pairs) {
			out[f.Kind] = f
		}
		return out
	}
	few := by([]Pair{one})
	if f := few[KeepKind]; f.N != 5 || f.Same != 4 || !f.Few() || f.Kappa != nil {
		t.Errorf("five canes: %+v", f)
	}
	if f := few[BudKind]; f.N != 2 || f.Same != 1 || f.Within != 2 {
		t.Errorf("buds: %+v", f)
	}
	if f := few[PlaceKind]; f.N != 1 || f.Same != 1 {
		t.Errorf("places: %+v", f)
	}
	if f := few[SpurKind]; f.N != 5 || f.Same != 5 {
		t.Errorf("spurs: %+v", f)
	}
	if f := few[HeadKind]; f.N != 1 || f.Same != 1 {
		t.Errorf("head: %+v", f)
	}
	many := by(slices.Repeat([]Pair{one}, 6))
	f := many[KeepKind]
	// Of 30 canes 24 alike: 12 kept by both, 12 by none, 6 by the first alone. By
	// hand: chance is 18/30 * 12/30 + 12/30 * 18/30 = 0.48, kappa (0.8 - 0.48) / 0.52.
	if f.N != 30 || f.Same != 24 || f.Share == nil || f.Kappa == nil {
		t.Fatalf("thirty canes: %+v", f)
	}
	if d := f.Kappa.Value.Value - (0.8-0.48)/0.52; d > 1e-9 || d < -1e-9 {
		t.Errorf("kappa %v", f.Kappa.Value.Value)
	}
	if f.Kappa.Value.Low >= f.Kappa.Value.Value || f.Kappa.Value.High <= f.Kappa.Value.Value {
		t.Errorf("interval %+v", f.Kappa.Value)
	}
	if f := many[SpurKind]; f.Kappa == nil || f.Kappa.Value.Value != 1 {
		t.Errorf("spurs of thirty canes: %+v", f)
	}
	// One always the same answer: no kappa, and no panic.
	same := Pair{sealed(t, s, nil), sealed(t, s, nil), &s}
	if f := by(slices.Repeat([]Pair{same}, 25))[HeadKind]; f.N != 25 || f.Kappa != nil || f.Share == nil {
		t.Errorf("heads always right: %+v", f)
	}
	if f := by(nil)[KeepKind]; f.N != 0 || !f.Few() {
		t.Errorf("nothing: %+v", f)
	}
}

// Three people, two vines: by hand after Fleiss 1971.
func TestGroup(t *testing.T) {
	s := vine(t)
	a, b := sealed(t, s, nil), sealed(t, s, func(c *Choice) { c.Canes[1] = Decision{Cane: 2, Fate: Remove} })
	n, k := Group([][]Choice{{a, a, b}, {a, a, a}})
	if n != 10 || k == nil || k.Raters != 3 {
		t.Fatalf("%d canes, %+v", n, k)
	}
	// Nine of ten canes alike by all, one 2 to 1: raw (9 + 1/3) / 10. Of 30 votes
	// 11 lay, 6 spur, 13 away.
	raw, chance := (9+1.0/3)/10, (11*11+6*6+13*13)/900.0
	if d := k.Value - (raw-chance)/(1-chance); d > 1e-9 || d < -1e-9 {
		t.Errorf("kappa %v, want %v", k.Value, (raw-chance)/(1-chance))
	}
	if n, k := Group([][]Choice{{a, b}}); n != 5 || k != nil {
		t.Errorf("five canes: %d, %+v", n, k)
	}
}

// What happens once is no habit; what recurs is told as narrow as it recurs.
func TestMistakes(t *testing.T) {
	s := vine(t)
	trainer := func(c *Choice) { c.Canes[1] = Decision{Cane: 2, Fate: Remove}; c.Head = HeadHigh }
	one := Pair{sealed(t, s, nil), sealed(t, s, trainer), &s}
	none := Pair{sealed(t, s, nil), sealed(t, s, nil), &s}
	if got := Mistakes([]Pair{one, none}); len(got) != 0 {
		t.Errorf("once: %+v", got)
	}
	got := Mistakes([]Pair{one, none, one})
	if len(got) != 2 || got[1].What != "keeps" || got[1].Finding != assess.ShortNoded || got[1].Near != "near" || got[1].Times != 2 || !slices.Equal(got[1].Vines, []int{0, 2}) || got[0].What != "head" {
		t.Errorf("recurring: %+v", got)
	}
	// Different canes: what they have in common is told, and no more.
	other := Pair{sealed(t, s, nil), sealed(t, s, func(c *Choice) { c.Canes[0] = Decision{Cane: 1, Fate: Remove} }), &s}
	got = Mistakes([]Pair{one, other})
	if len(got) != 1 || got[0].What != "keeps" || got[0].Finding != "" || got[0].Near != "near" {
		t.Errorf("in common: %+v", got)
	}
	more := Pair{sealed(t, s, nil), sealed(t, s, func(c *Choice) { c.Canes[0].CutPx = cut(1, 4); c.Canes[2] = Decision{Cane: 3, Fate: Remove} }), &s}
	var whats []string
	for _, m := range Mistakes([]Pair{more, more}) {
		whats = append(whats, m.What)
	}
	if !slices.Equal(whats, []string{"keeps", "more_buds", "needless_spur"}) {
		t.Errorf("differences %v", whats)
	}
}

// The program's choice as a column beside others.
func TestOfProgram(t *testing.T) {
	s := vine(t)
	c := s.OfProgram(assess.Choice{
		Keep:  []assess.Kept{{}, {Cane: 4, Buds: 6, Cut: assess.Cut{AfterNode: 6, AlongMM: 500, Px: &assess.Point{400, 400}}, Place: assess.Place{Wire: assess.LowerWire, Direction: assess.ToRight}}},
		Spurs: []assess.Spur{{Cane: 1, Buds: 2}}, Remove: []assess.Removed{{Cane: 2}}, Ask: []assess.Doubt{{Cane: 3}},
	})
	want := []Fate{Spur, Remove, Unsure, Lay, Unsure}
	for i, d := range c.Canes {
		if d.Fate != want[i] {
			t.Errorf("cane %d: %s, want %s", d.Cane, d.Fate, want[i])
		}
	}
	if c.Canes[3].Place != 2 || c.Canes[3].Buds != 6 || c.Head != "" {
		t.Errorf("%+v", c)
	}
}

func TestRemarksAndDone(t *testing.T) {
	s := vine(t)
	p := func(x, y float64) *assess.Point { return &assess.Point{x, y} }
	for _, r := range []Remark{{Text: "look here"}, {From: p(10, 10), To: p(90, 90)}, {Cane: 3, Text: "why?"}} {
		if err := r.Check(&s); err != nil {
			t.Errorf("%+v: %v", r, err)
		}
	}
	for _, r := range []Remark{{}, {Cane: 9, Text: "x"}, {From: p(1, 1), Text: "x"}, {From: p(1, 1), To: p(2, 2)}, {From: p(-5, 1), To: p(90, 90)}, {Text: strings.Repeat("x", longestWords+1)}} {
		if err := r.Check(&s); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%+v: %v", r, err)
		}
	}
	done := Done{Canes: []DoneCane{{1, Lay}, {2, Remove}}}
	if err := done.Check(&s); err != nil {
		t.Fatal(err)
	}
	held := HoldDone(choice(), done)
	if len(held) != 5 || !held[0].Same || held[1].Same || held[1].Done != Remove || held[2].Done != "" || held[2].Same {
		t.Errorf("%+v", held)
	}
	for _, d := range []Done{{Canes: []DoneCane{{9, Lay}}}, {Canes: []DoneCane{{1, Lay}, {1, Lay}}}, {Canes: []DoneCane{{1, "x"}}}} {
		if err := d.Check(&s); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%+v: %v", d, err)
		}
	}
}
