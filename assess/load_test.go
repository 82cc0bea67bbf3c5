package assess

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// Arithmetic of cylinders, fresh density 0.9 g/cm3, for shoots of published
// mass and length (AJEV tables, Oakville 1992-95): 36 g at 152 cm is 5.8 mm
// thick, 38 g at 103 cm 7.2 mm, 64 g at 130 cm 8.4 mm.
func TestPruningsOfCylinders(t *testing.T) {
	w := DefaultWood()
	w.DensityLow, w.DensityHigh = 0.9, 0.9
	for _, c := range []struct{ mm, cm, grams float64 }{{5.8, 152, 36}, {7.2, 103, 38}, {8.4, 130, 64}} {
		cane := straight(Point{}, []float64{0, c.cm*10 - 50}, func(float64) float64 { return c.mm })
		p, err := EstimatePrunings([]Cane{cane}, w)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "grams", 1000*p.KG.Value, c.grams, 1)
		if !(p.KG.Low < p.KG.Value && p.KG.Value < p.KG.High) || p.Weighed || p.Canes != 1 || len(p.Missing) != 0 {
			t.Errorf("estimate %+v", p)
		}
	}
}

func TestPruningsUncertainty(t *testing.T) {
	c := straight(Point{}, every(20, 80, 14), func(float64) float64 { return 8 })
	one, _ := EstimatePrunings([]Cane{c}, DefaultWood())
	// 3 x 2 % scale, 2 x 0.05 / 8 edges, (0.1 / sqrt 3) / 0.95 density, 5 % section.
	rel := math.Sqrt(0.06*0.06 + 0.0125*0.0125 + 0.0608*0.0608 + 0.05*0.05)
	near(t, "relative half-width", (one.KG.Value-one.KG.Low)/one.KG.Value, 1.96*rel, 0.002)
	// Errors that canes share aren't averaged away.
	ten, _ := EstimatePrunings([]Cane{c, c, c, c, c, c, c, c, c, c}, DefaultWood())
	near(t, "ten canes", ten.KG.Value, 10*one.KG.Value, 1e-9)
	near(t, "width of ten", ten.KG.Width(), 10*one.KG.Width(), 1e-9)
}

func TestPruningsTellWhatIsMissing(t *testing.T) {
	whole := straight(Point{}, every(20, 80, 14), func(float64) float64 { return 8 })
	cut := cloneCane(whole)
	cut.LeavesFrame = true
	p, err := EstimatePrunings([]Cane{whole, cut, {ID: 3}}, DefaultWood())
	if err != nil || len(p.Missing) != 2 || !strings.Contains(p.Missing[0].String(), "runs out of the picture") || p.Canes != 2 {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := EstimatePrunings([]Cane{{}}, DefaultWood()); ErrorCode(err) != EInvalid {
		t.Errorf("nothing to estimate from: %v", err)
	}
	bad := DefaultWood()
	bad.DensityHigh = 900
	if _, err := EstimatePrunings([]Cane{whole}, bad); ErrorCode(err) != EInvalid {
		t.Errorf("density in kg/m3: %v", err)
	}
	bad = DefaultWood()
	bad.Source = " "
	if _, err := EstimatePrunings([]Cane{whole}, bad); ErrorCode(err) != EInvalid {
		t.Errorf("density from nowhere: %v", err)
	}
	for _, kg := range []float64{0, -1, 25, math.NaN()} {
		if _, err := WeighedPrunings(kg); ErrorCode(err) != EInvalid {
			t.Errorf("%v kg: %v", kg, err)
		}
	}
	// A gap in the profile is bridged.
	gap := cloneCane(whole)
	for i := range gap.Profile {
		if a := gap.Profile[i].AlongMM; a > 300 && a < 500 {
			gap.Profile[i].U = 0
		}
	}
	a, _ := EstimatePrunings([]Cane{whole}, DefaultWood())
	b, _ := EstimatePrunings([]Cane{gap}, DefaultWood())
	near(t, "with a gap", b.KG.Value, a.KG.Value, 1e-9)
}

// Of a kept cane only what lies beyond its cut is prunings.
func TestPruningsOfAChoice(t *testing.T) {
	c := straight(Point{}, every(20, 80, 14), func(float64) float64 { return 8 })
	c.ID = 1
	other := cloneCane(c)
	other.ID = 2
	whole, _ := EstimatePrunings([]Cane{c}, DefaultWood())
	ch := Choice{Keep: []Kept{{Cane: 1, Cut: Cut{AfterNode: 8, AlongMM: 600}}}, Spurs: []Spur{{Cane: 3, Cut: Cut{AfterNode: 2, AlongMM: 100}}}}
	got, err := EstimateCutOff([]Cane{c, other}, ch, DefaultWood())
	if err != nil {
		t.Fatal(err)
	}
	length := c.AlongMM[len(c.AlongMM)-1]
	near(t, "mass", got.KG.Value, whole.KG.Value*(1+(length-600)/length), 1e-3*whole.KG.Value)
	if !strings.Contains(got.Because.String(), "what the choice cuts off") || got.Canes != 2 {
		t.Errorf("%+v", got)
	}
}

// Ranges of Kliewer & Dokoozlian (AJEV 56): prunings 0.5 to 1.0 kg/m and yield
// to prunings 4 to 10 for a single canopy, 0.4 to 0.8 and 5 to 10 for a
// divided one.
func TestBalanced(t *testing.T) {
	weighed := func(kg float64) *Prunings { p, _ := WeighedPrunings(kg); return &p }
	verdict := func(b Balance, name string) string {
		for _, f := range b.Figures {
			if f.Name.String() == name {
				return f.Verdict
			}
		}
		return "missing"
	}
	const perMetre, ratio = "prunings per metre of row", "yield to prunings"
	for _, c := range []struct {
		kg, spacing, yield   float64
		divided              bool
		wantPerMetre, wantYP string
	}{
		{0.9, 1.2, 6, false, "within", "within"},
		{0.3, 1.2, 6, false, "below", "above"},
		{1.5, 1.2, 3, false, "above", "below"},
		{0.6, 1.2, 6, false, "too close to call", "too close to call"},
		{1.1, 1.2, 5, true, "above", "below"},
		{1.1, 1.2, 5, false, "within", "within"},
	} {
		b := Balanced(VineLoad{Prunings: weighed(c.kg), SpacingM: c.spacing, YieldKG: c.yield, Buds: 34, Canes: 24, Divided: c.divided})
		if got := verdict(b, perMetre); got != c.wantPerMetre {
			t.Errorf("%+v: prunings per metre %s", c, got)
		}
		if got := verdict(b, ratio); got != c.wantYP {
			t.Errorf("%+v: yield to prunings %s", c, got)
		}
		if len(b.Missing) != 0 {
			t.Errorf("%+v: missing %q", c, b.Missing)
		}
	}
	// The mean mass of a cane needs to know how many there were.
	if b := Balanced(VineLoad{Prunings: weighed(0.9), SpacingM: 1.2, YieldKG: 6, Buds: 34, Canes: 24}); len(b.Missing) != 0 || verdict(b, "mean cane mass") != "within" {
		t.Errorf("with the number of canes: %+v", b)
	}
	if b := Balanced(VineLoad{}); len(b.Figures) != 0 || len(b.Missing) != 4 {
		t.Errorf("nothing entered: %+v", b)
	}
	// Wood that wasn't seen can only add.
	if w := (Figure{Name: Tell("mean cane mass"), Unit: "g", Value: Interval{73.12, 55.94, 90.53}}).InWords().String(); w != "mean cane mass: 73 g (56 to 91)" {
		t.Errorf("in words: %q", w)
	}
	part := weighed(0.3)
	part.Missing = []Sentence{Tell("the ends of 2 canes")}
	b := Balanced(VineLoad{Prunings: part, SpacingM: 1.2, YieldKG: 6, Buds: 20})
	if verdict(b, perMetre) != "too close to call" || verdict(b, ratio) != "too close to call" {
		t.Errorf("with wood unseen: %+v", b.Figures)
	}
	if w := b.Figures[0].InWords().String(); !strings.Contains(w, "prunings per metre of row: 0.25 kg/m (0.23 to 0.27), too close to call against 0.5 to 1") {
		t.Errorf("in words: %q", w)
	}
}

func TestPreview(t *testing.T) {
	var canes []Cane
	for _, l := range []float64{40, 52, 53, 70, 90} {
		c := Cane{Diameter: Interval{9, 8.6, 9.4}, Internode: Interval{l, l - 1, l + 1}, Finding: "kept as it was"}
		canes = append(canes, c)
	}
	stricter := DefaultRuleSet()
	stricter.ShortNoded.Limit = 55
	e := Preview(canes, DefaultRuleSet(), stricter)
	if e.Canes != 5 || e.Changed != 2 || e.Before[ShortNoded] != 1 || e.After[ShortNoded] != 3 || e.After[Sound] != 2 {
		t.Errorf("effect %+v", e)
	}
	if a, b := e.Flagged(); a != 1 || b != 3 {
		t.Errorf("flagged %d, then %d", a, b)
	}
	stricter.CutBeyond.Limit = 25
	each := PreviewEach(canes, DefaultRuleSet(), stricter)
	want := []LimitEffect{
		{Name: "short_noded", Was: 50, Now: 55, Unit: "mm", More: 2, Canes: 5, Judges: true},
		{Name: "cut_beyond", Was: 19, Now: 25, Unit: "mm", Canes: 5},
	}
	if !slices.Equal(each, want) {
		t.Errorf("limit by limit %+v, want %+v", each, want)
	}
	if canes[0].Finding != "kept as it was" {
		t.Error("a preview changed a cane")
	}
}

func TestBudsPointing(t *testing.T) {
	nodes := []Node{{Side: "left", AlongMM: 10}, {Side: "left", AlongMM: 80}, {Side: "right", AlongMM: 150}, {Side: "left", AlongMM: 220}, {Side: "unknown", AlongMM: 290}, {AlongMM: 360}}
	for d, want := range map[Direction][2]BudsPointing{
		ToRight: {{Up: 2, Down: 1, Rising: 1, Unknown: 2}, {Up: 1, Down: 2, Rising: 1, Unknown: 2}}, // bent to the right, the left side comes up
		ToLeft:  {{Up: 1, Down: 2, Rising: 1, Unknown: 2}, {Up: 2, Down: 1, Rising: 1, Unknown: 2}},
	} {
		straight, half, quarter := budsPointing(nodes, d, 60)
		if straight != want[0] || half != want[1] || quarter != (BudsPointing{Out: 3, Rising: 1, Unknown: 2}) {
			t.Errorf("laid to the %s: %+v, half turned %+v, quarter turned %+v", d, straight, half, quarter)
		}
	}
}

// The turn brings as many buds up as can be, and the plan names those that
// then look down.
func TestTurn(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20))
	for i := range m.Canes {
		for j := range m.Canes[i].Nodes {
			m.Canes[i].Nodes[j].Side = []string{"left", "right", "right"}[j%3]
		}
	}
	two, _ := FormByName("two-cane")
	for _, k := range mustSuggest(t, m, two).Keep {
		// Eight buds at 20, 95, ... mm; the first lies below the wire, 60 mm up.
		// The others are right, right, left, right, right, left, right.
		want, watch, turn := BudsPointing{Up: 5, Down: 2, Rising: 1}, []int{4, 7}, HalfTurn
		if k.Place.Direction == ToLeft {
			turn = NoTurn
		}
		if k.Laying.Turn != turn || k.Laying.Turned != want || !slices.Equal(k.Laying.Watch, watch) {
			t.Errorf("%s: turned %q, %+v, watch %v", k.Place, k.Laying.Turn, k.Laying.Turned, k.Laying.Watch)
		}
		if !strings.Contains(k.Laying.Steps[3].String(), "watch the buds at node 4 and 7") {
			t.Errorf("%s: %q", k.Place, k.Laying.Steps[3])
		}
	}
}

func TestLaying(t *testing.T) {
	ch := mustSuggest(t, vineOf(good(1, -60, -20), good(2, 60, 20)), DefaultForm())
	for _, k := range ch.Keep {
		if k.Cane == 0 {
			if k.Laying != nil {
				t.Errorf("%s is empty, and laid", k.Place)
			}
			continue
		}
		l := k.Laying
		if l == nil || len(l.Ties) < 3 || len(l.Steps) != 5 {
			t.Fatalf("%s: laying %+v", k.Place, l)
		}
		if b := l.Buds; b.Up+b.Out+b.Down+b.Rising+b.Unknown != k.Buds {
			t.Errorf("%s: %+v are not %d buds", k.Place, b, k.Buds)
		}
		// The wire is 60 mm above the base; 20 + 75 n are nodes.
		near(t, "first tie", l.Ties[0].AlongMM, 60, 1)
		for i, tie := range l.Ties {
			if off := math.Abs(math.Mod(tie.AlongMM-20+37.5, 75) - 37.5); off < 11 {
				t.Errorf("%s: tie %d sits %.0f mm from a node", k.Place, i, off)
			}
			if tie.AlongMM > k.Cut.AlongMM || i > 0 && tie.AlongMM <= l.Ties[i-1].AlongMM || tie.Px == nil {
				t.Errorf("%s: ties %+v", k.Place, l.Ties)
			}
		}
		if !strings.Contains(l.Steps[1].String(), "cut 19 mm past node 8") || !strings.Contains(l.Steps[2].String(), string(k.Place.Direction)) {
			t.Errorf("%s: steps %q", k.Place, l.Steps)
		}
	}
}

func TestTiesKeepClearOfNodes(t *testing.T) {
	nodes := []Node{{AlongMM: 100}, {AlongMM: 115}}
	for _, at := range []float64{90, 95, 100, 105, 110, 120} {
		got := offNodes(at, nodes)
		for _, n := range nodes {
			if math.Abs(got-n.AlongMM) < 11.9 {
				t.Errorf("a tie at %v goes to %v, beside the node at %v", at, got, n.AlongMM)
			}
		}
	}
}

func TestTiesOnAShortNodedCane(t *testing.T) {
	var nodes []Node
	for _, a := range every(0, 20, 40) {
		nodes = append(nodes, Node{AlongMM: a})
	}
	near(t, "tie between nodes 20 mm apart", offNodes(402, nodes), 410, 1e-9)
	near(t, "tie beside a single node at the base", offNodes(3, nodes[:1]), 12, 1e-9)
}

func TestFormWhoseSpurHasMoreBudsThanACane(t *testing.T) {
	f := DefaultForm()
	f.Buds, f.BudsMin, f.BudsMax, f.SpurBuds = 2, 2, 2, 4
	if err := f.Validate(); ErrorCode(err) != EInvalid {
		t.Errorf("%v", err)
	}
}
