package assess

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

// A sketch is a cane of an invented vine, in mm: base relative to the head (x
// to the right, up positive), lean from upright to the right in degrees.
type sketch struct {
	id          int
	x, up       float64
	lean        float64
	diameter    float64
	internode   float64
	nodes       int
	finding     Finding
	origin      string
	leavesFrame bool
}

// vineOf makes a measurement of 1 mm a pixel with the head at (1000, 1000),
// 70 mm below the lower wire; the upper wire is 200 mm above that.
func vineOf(sketches ...sketch) *Measurement {
	head := Point{1000, 1000}
	m := &Measurement{
		Outcome: Measured, Head: &head,
		Reference: &Reference{Kind: "checker", MMPerPx: 1, PxToMM: [9]float64{1, 0, -800, 0, 1, -950, 0, 0, 1},
			Outline: []Point{{740, 910}, {860, 910}, {860, 990}, {740, 990}}},
		Wires:  []Wire{{Line: []Point{{0, 930}, {2000, 930}}, Role: "lower_fruiting"}, {Line: []Point{{0, 730}, {2000, 730}}, Role: "upper_fruiting"}},
		Timber: []Timber{{Kind: "old_wood"}},
	}
	for _, s := range sketches {
		c := straight(Point{}, every(20, s.internode, s.nodes), func(float64) float64 { return s.diameter })
		c.ID, c.Origin, c.LeavesFrame = s.id, s.origin, s.leavesFrame
		for i, a := range c.AlongMM {
			up := Point{0, -a}.turned(s.lean * 3.14159265 / 180)
			c.CentreLine[i] = Point{head[0] + s.x + up[0], head[1] - s.up + up[1]}
		}
		Derive(&c)
		JudgeCane(&c, DefaultRuleSet())
		if s.finding != "" {
			c.Finding = s.finding
		}
		m.Canes = append(m.Canes, c)
	}
	return m
}

func good(id int, x, lean float64) sketch {
	return sketch{id: id, x: x, up: 10, lean: lean, diameter: 9, internode: 75, nodes: 12, origin: "head"}
}

func mustSuggest(t testing.TB, m *Measurement, f Form) Choice {
	t.Helper()
	ch, err := Suggest(m, f, DefaultRuleSet())
	if err != nil {
		t.Fatal(err)
	}
	return ch
}

func keptBy(ch Choice) map[string]int {
	out := map[string]int{}
	for _, k := range ch.Keep {
		out[k.Place.String()] = k.Cane
	}
	return out
}

// Common practice, no source: four canes, each way on both wires, and a
// two-bud spur near the head; 8 buds a cane.
func TestFourGoodCanesAndASpur(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10), good(4, 20, 10),
		sketch{id: 5, x: 5, up: 5, diameter: 8, internode: 70, nodes: 4, origin: "head"},
		sketch{id: 6, x: 30, up: 10, diameter: 4, internode: 60, nodes: 9, origin: "head"})
	ch := mustSuggest(t, m, DefaultForm())
	if len(ch.Missing) != 0 || len(ch.Ask) != 0 {
		t.Errorf("missing %q, asks %v", ch.Missing, ch.Ask)
	}
	for place, cane := range keptBy(ch) {
		left := cane == 1 || cane == 3
		if cane < 1 || cane > 4 || left != strings.HasSuffix(place, "left") {
			t.Errorf("%s is filled with cane %d", place, cane)
		}
	}
	if len(ch.Spurs) != 1 || ch.Spurs[0].Cane != 5 || ch.Spurs[0].Cut.AfterNode != 2 {
		t.Errorf("spurs %+v", ch.Spurs)
	}
	if len(ch.Remove) != 1 || ch.Remove[0].Cane != 6 || !strings.Contains(ch.Remove[0].Why.String(), "is below 6 mm") {
		t.Errorf("removes %+v", ch.Remove)
	}
	if ch.Buds != 4*8+2 {
		t.Errorf("%d buds, want 34", ch.Buds)
	}
	for _, k := range ch.Keep {
		// The eighth node of nodes at 20, 95, 170 ... is at 545; table-grape
		// handbook: cut 19 mm past the last counted node.
		if k.Buds != 8 || k.Cut.AfterNode != 8 || k.Cut.AlongMM != 564 || k.Cut.BeyondMM != 19 || k.Cut.Px == nil {
			t.Errorf("%s: %d buds, cut %+v", k.Place, k.Buds, k.Cut)
		}
		for _, words := range []string{"9.0 mm", "75 mm internodes", "below the ", "along the wire", "from the head"} {
			if !strings.Contains(k.Why.String(), words) {
				t.Errorf("%s: %q doesn't say %q", k.Place, k.Why, words)
			}
		}
	}
	if ch.Form != "four-cane@1" || ch.RuleSet != "nodespan-default@1" || ch.Confirmed {
		t.Errorf("choice of %s, %s, confirmed %v", ch.Form, ch.RuleSet, ch.Confirmed)
	}
}

// With three sound canes one place stays empty, the last of the form.
func TestEmptyRatherThanPoor(t *testing.T) {
	poor := []sketch{
		{id: 4, x: 10, up: 10, diameter: 4.5, internode: 75, nodes: 12, origin: "head"},                        // weak
		{id: 5, x: 10, up: 10, diameter: 9, internode: 30, nodes: 20, origin: "head"},                          // short-noded
		{id: 6, x: 500, up: 60, diameter: 9, internode: 75, nodes: 12, origin: "old_wood"},                     // far out
		{id: 7, x: 10, up: 200, diameter: 9, internode: 75, nodes: 12, origin: "old_wood"},                     // above the wire
		{id: 8, x: 10, up: 10, diameter: 9, internode: 75, nodes: 4, origin: "head"},                           // didn't grow far
		{id: 9, x: 10, up: 10, diameter: 9, internode: 75, nodes: 12, origin: "head", finding: TooCloseToCall}, // the person's
		{id: 10, x: 10, up: 10, diameter: 15, internode: 140, nodes: 12, origin: "head"},                       // over-vigorous
		{id: 11, x: 10, up: 10, diameter: 9, internode: 75, nodes: 4, origin: "head", leavesFrame: true},
	}
	m := vineOf(append([]sketch{good(1, -60, -20), good(2, 60, 20), good(3, -20, -10)}, poor...)...)
	ch := mustSuggest(t, m, DefaultForm())
	kept := keptBy(ch)
	if kept["upper right"] != 0 || kept["lower left"] == 0 || kept["lower right"] != 2 || kept["upper left"] == 0 {
		t.Errorf("kept %v", kept)
	}
	if len(ch.Missing) == 0 || !strings.Contains(ch.Missing[0].String(), "only 3 canes are sure and sound for 4 places: upper right stays empty") {
		t.Errorf("missing %q", ch.Missing)
	}
	asked := map[int]bool{}
	for _, a := range ch.Ask {
		asked[a.Cane] = true
	}
	if !asked[9] || !asked[10] || !asked[11] || len(asked) != 3 {
		t.Errorf("asks %+v; want the doubtful, the over-vigorous and the cut-off one", ch.Ask)
	}
	// Cane 8 is sound, but too short to lay: it's the spur.
	if len(ch.Spurs) != 1 || ch.Spurs[0].Cane != 8 {
		t.Errorf("spurs %+v", ch.Spurs)
	}
}

// A cane far out may be the next vine's: nobody is told to cut it.
func TestNextVinesCanesAreAskedFor(t *testing.T) {
	far := good(7, 900, 0)
	thin := good(8, -1000, 0)
	thin.diameter = 4
	ch := mustSuggest(t, vineOf(good(1, -60, -20), far, thin), DefaultForm())
	if len(ch.Remove) != 0 || len(ch.Ask) != 2 || !strings.Contains(ch.Ask[0].Why.String(), "next vine's") || !strings.Contains(ch.Ask[1].Why.String(), "next vine's") {
		t.Errorf("removes %v, asks %v", ch.Remove, ch.Ask)
	}
}

// For a place that stays empty, one more spur is left where there's wood for it.
func TestSpursForEmptyPlaces(t *testing.T) {
	short := func(id int, x float64) sketch {
		return sketch{id: id, x: x, up: 5, diameter: 8, internode: 70, nodes: 4, origin: "head"}
	}
	ch := mustSuggest(t, vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10), short(4, 5), short(5, -10), short(6, 12)), DefaultForm())
	if len(ch.Spurs) != 2 || ch.Spurs[0].Cane != 4 || ch.Spurs[1].Cane != 5 || ch.Buds != 3*8+2*2 {
		t.Errorf("spurs %+v, %d buds", ch.Spurs, ch.Buds)
	}
	if !strings.Contains(strings.Join(Texts(ch.Missing), ";"), "for upper right, which stays empty, leave a spur on cane 5, 11 mm from the head") {
		t.Errorf("missing %q", ch.Missing)
	}
}

func TestOverVigorousIsRemovedWhenNotNeeded(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20), sketch{id: 3, x: 0, up: 10, diameter: 15, internode: 140, nodes: 12})
	two, _ := FormByName("two-cane")
	ch := mustSuggest(t, m, two)
	if len(ch.Ask) != 0 || len(ch.Remove) != 1 || !strings.Contains(ch.Remove[0].Why.String(), "over-vigorous") {
		t.Errorf("asks %v, removes %v", ch.Ask, ch.Remove)
	}
}

// A cane too short to come up to the upper wire and along it isn't laid there.
func TestReach(t *testing.T) {
	short := good(1, -40, 0)
	short.internode, short.nodes = 55, 6 // six nodes end at 295 mm; the wire is 260 mm up
	f := DefaultForm()
	f.Places = []Place{{UpperWire, ToLeft}}
	ch := mustSuggest(t, vineOf(short), f)
	if ch.Keep[0].Cane != 0 {
		t.Errorf("laid on the upper wire: %s", ch.Keep[0].Why)
	}
	if len(ch.Spurs) == 0 && (len(ch.Ask) != 1 || !strings.Contains(ch.Ask[0].Why.String(), "not long enough")) {
		t.Errorf("asks %v", ch.Ask)
	}
	f.Places = []Place{{LowerWire, ToLeft}}
	if ch := mustSuggest(t, vineOf(short), f); ch.Keep[0].Cane != 1 {
		t.Errorf("not laid on the lower wire, which it reaches: %s", ch.Keep[0].Why)
	}
}

func TestOneCaneGoesTheWayItLeans(t *testing.T) {
	one, _ := FormByName("one-cane-and-spur")
	for _, c := range []struct {
		lean float64
		want Direction
	}{{-25, ToLeft}, {25, ToRight}} {
		ch := mustSuggest(t, vineOf(good(1, 0, c.lean)), one)
		if ch.Keep[0].Cane != 1 || ch.Keep[0].Place.Direction != c.want {
			t.Errorf("leaning %v: kept for %s", c.lean, ch.Keep[0].Place)
		}
	}
}

func TestCutStaysBeforeTheNextBud(t *testing.T) {
	c := straight(Point{}, every(20, 30, 6), func(float64) float64 { return 9 })
	rs := DefaultRuleSet()
	s := standing{Cane: c}
	if cut := s.cutAfter(2, rs); cut.BeyondMM != 15 || cut.AlongMM != 65 {
		t.Errorf("between nodes 30 mm apart: %+v, want the middle", cut)
	}
	if cut := s.cutAfter(6, rs); cut.BeyondMM != 19 {
		t.Errorf("after the last node: %+v", cut)
	}
	s.AlongMM = s.AlongMM[:len(s.AlongMM)-10]
	if cut := s.cutAfter(6, rs); cut.BeyondMM > 14 {
		t.Errorf("beyond the tip: %+v", cut)
	}
	for _, n := range []int{0, 7, -1} {
		if cut := s.cutAfter(n, rs); cut.AfterNode != 0 {
			t.Errorf("after node %d of six: %+v", n, cut)
		}
	}
}

// Common practice, no source: the head stays below the lower wire.
func TestHeadsHeightIsTold(t *testing.T) {
	for _, c := range []struct {
		down float64 // of the whole vine against the wires, mm
		want string
	}{{0, ""}, {-60, "higher than the form's"}, {-100, "above the lower wire"}, {300, "lower than the form's"}} {
		m := vineOf(good(1, -60, -20), good(2, 60, 20))
		for i := range m.Wires {
			for j := range m.Wires[i].Line {
				m.Wires[i].Line[j][1] -= c.down
			}
		}
		told := ""
		for _, n := range mustSuggest(t, m, DefaultForm()).Notes {
			if strings.HasPrefix(n.String(), "the head stands") {
				told = n.String()
			}
		}
		if (told == "") != (c.want == "") || !strings.Contains(told, c.want) {
			t.Errorf("vine %v mm lower: %q, want %q", c.down, told, c.want)
		}
	}
}

// The card may hang askew, and the camera be held so: what counts is the wire.
func TestChoiceIsTheSameOnATiltedCard(t *testing.T) {
	ss := []sketch{good(1, -60, -20), good(2, 60, 20), good(3, -20, -10)}
	level := mustSuggest(t, vineOf(ss...), DefaultForm())
	m := vineOf(ss...)
	x, y := Point{1, 0}.turned(0.1), Point{0, 1}.turned(0.1)
	m.Reference.PxToMM = [9]float64{x[0], y[0], -1200, x[1], y[1], -400, 0, 0, 1}
	tilted := mustSuggest(t, m, DefaultForm())
	for i := range level.Keep {
		if level.Keep[i].Why.String() != tilted.Keep[i].Why.String() {
			t.Errorf("level  %q\ntilted %q", level.Keep[i].Why, tilted.Keep[i].Why)
		}
	}
}

func TestSpurCordon(t *testing.T) {
	var ss []sketch
	for i := range 14 {
		ss = append(ss, sketch{id: i + 1, x: -700 + 100*float64(i), up: 70, diameter: 8, internode: 70, nodes: 10})
	}
	ss[3].diameter = 4
	cordon, _ := FormByName("spur-cordon")
	m := vineOf(ss...)
	ch := mustSuggest(t, m, cordon)
	// 1300 mm of cordon at 150 mm or more from canes 100 mm apart: every second.
	if len(ch.Spurs) != 7 || ch.Buds != 14 {
		t.Fatalf("%d spurs, %d buds", len(ch.Spurs), ch.Buds)
	}
	for i, s := range ch.Spurs {
		if s.Cane == 4 {
			t.Error("a weak cane is left as a spur")
		}
		if i > 0 && (s.Cane-ch.Spurs[i-1].Cane)*100 < 150 {
			t.Errorf("spurs on canes %d and %d are too close", ch.Spurs[i-1].Cane, s.Cane)
		}
	}
	if len(ch.Missing) != 1 || !strings.Contains(ch.Missing[0].String(), "3 of 10 spurs") {
		t.Errorf("missing %q", ch.Missing)
	}
}

func TestSecondBestAndTies(t *testing.T) {
	one, _ := FormByName("one-cane-and-spur")
	one.Spurs = 0
	better := good(1, 0, -25)
	worse := good(2, 0, -25)
	worse.diameter = 6.9
	ch := mustSuggest(t, vineOf(worse, better), one)
	k := ch.Keep[0]
	if k.Cane != 1 || k.SecondBest != 2 || k.Tie || !strings.Contains(k.SecondWhy.String(), "6.9 mm") {
		t.Errorf("kept %+v", k)
	}
	ch = mustSuggest(t, vineOf(good(9, 0, -25), good(4, 0, -25)), one)
	if k := ch.Keep[0]; k.Cane != 4 || k.SecondBest != 9 || !k.Tie || !strings.Contains(k.SecondWhy.String(), "decide between them") {
		t.Errorf("equal canes: kept %+v", k)
	}
}

func TestWishes(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10),
		sketch{id: 4, x: 10, up: 10, diameter: 4.5, internode: 75, nodes: 12})
	var rulings []Ruling
	for _, c := range m.Canes {
		rulings = append(rulings, rule(m, rulings, c.ID, Agree, 0))
	}
	rs, two := DefaultRuleSet(), Forms()[2]
	cc := Confirm(m, rulings, rs)
	ch, err := SuggestConfirmed(m, cc, two, rs, Wishes{Keep: map[int]int{0: 4}, Never: []int{1}})
	if err != nil {
		t.Fatal(err)
	}
	if ch.Keep[0].Cane != 4 || !strings.Contains(ch.Keep[0].Why.String(), "wished for by a person") || ch.Keep[1].Cane != 2 || !ch.Confirmed {
		t.Errorf("kept %+v", ch.Keep)
	}
	if !slices.ContainsFunc(ch.Remove, func(r Removed) bool { return r.Cane == 1 }) {
		t.Errorf("cane 1 isn't removed: %+v", ch)
	}
	for name, w := range map[string]Wishes{
		"no such place": {Keep: map[int]int{7: 1}},
		"no such cane":  {Keep: map[int]int{0: 77}},
		"two places":    {Keep: map[int]int{0: 1, 1: 1}},
		"and never":     {Keep: map[int]int{0: 1}, Never: []int{1}},
	} {
		if _, err := SuggestConfirmed(m, cc, two, rs, w); ErrorCode(err) != EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestOldWoodAndBadInputs(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20))
	r := rule(m, nil, 1, Correct, 0)
	r.Kind = OldWood
	rs := DefaultRuleSet()
	ch, err := SuggestConfirmed(m, Confirm(m, []Ruling{r}, rs), DefaultForm(), rs, Wishes{})
	if err != nil {
		t.Fatal(err)
	}
	if len(ch.Remove) != 1 || ch.Remove[0].Cane != 1 || ch.Buds != 0 || len(ch.Ask) != 0 {
		t.Errorf("choice %+v", ch)
	}
	bad := DefaultForm()
	bad.Buds = 99
	if _, err := Suggest(m, bad, rs); ErrorCode(err) != EInvalid {
		t.Errorf("bad form: %v", err)
	}
	if _, err := Suggest(m, DefaultForm(), RuleSet{}); ErrorCode(err) != EInvalid {
		t.Errorf("bad rules: %v", err)
	}
	for name, m := range map[string]*Measurement{
		"empty":        {},
		"refused":      {Outcome: Refused},
		"bare canes":   {Outcome: Measured, Canes: []Cane{{ID: 1}, {ID: 2, Finding: Sound}}},
		"no reference": func() *Measurement { m := vineOf(good(1, -60, -20)); m.Reference = nil; return m }(),
		"no wires":     func() *Measurement { m := vineOf(good(1, -60, -20)); m.Wires = nil; return m }(),
		"no head":      func() *Measurement { m := vineOf(good(1, -60, -20)); m.Head = nil; return m }(),
	} {
		for _, f := range Forms() {
			ch, err := Suggest(m, f, rs)
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			checkChoice(t, name, m, f, ch)
			if len(ch.Notes) == 0 {
				t.Errorf("%s: no note says what wasn't weighed", name)
			}
			if _, err := json.Marshal(ch); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}
