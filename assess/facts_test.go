package assess

import (
	"strings"
	"testing"
)

func TestEveryReasonIsExplained(t *testing.T) {
	if len(Reasons()) != len(explained) {
		t.Errorf("%d reasons are listed, %d explained", len(Reasons()), len(explained))
	}
	seen := map[string]Reason{}
	for _, r := range Reasons() {
		s := Explain(r)
		if _, ok := explained[r]; !ok || len(s) < 60 || !strings.HasSuffix(s, ".") || strings.Count(s, ". ") < 1 {
			t.Errorf("%s: %q doesn't say what was wrong and what to do", r, s)
		}
		if other, twice := seen[s]; twice {
			t.Errorf("%s and %s have one text", r, other)
		}
		seen[s] = r
	}
	if s := Explain("odd_thing"); !strings.Contains(s, "odd_thing") {
		t.Errorf("an unknown reason reads %q", s)
	}
	if a := Advise([]Reason{NoReference, PhotoBlurred}); len(a) != 2 || a[1] != Explain(PhotoBlurred) {
		t.Errorf("advice %q", a)
	}
}

func TestCautionsHaveSources(t *testing.T) {
	for _, c := range Cautions() {
		if c.Text == "" || c.Source == "" {
			t.Errorf("caution %+v", c)
		}
	}
}

// The scale of the Italian Central Ampelographic Committee (G. Dalmasso, VITE,
// Enciclopedia Italiana): short 50 to 60, medium 90 to 100, long from 120 mm.
func TestInternodeClasses(t *testing.T) {
	for _, c := range []struct {
		mm   float64
		want string
	}{
		{40, "below short"}, {50, "short"}, {55, "short"}, {60, "short"}, {75, "between short and medium"},
		{90, "medium"}, {100, "medium"}, {110, "between medium and long"}, {120, "long"}, {250, "long"},
	} {
		if got := classOf(c.mm, InternodeScale()); got != c.want {
			t.Errorf("%v mm is %q, want %q", c.mm, got, c.want)
		}
	}
}

// The protocol of the Italian user manual for the OIV vine sheet: at least ten
// internodes, of the middle third, of several shoots.
func TestInternodeProtocol(t *testing.T) {
	// Thirteen internodes; those of the middle third are 95 mm, others 30 mm.
	cane := func() Cane {
		at := every(10, 30, 9)
		for range 4 {
			at = append(at, at[len(at)-1]+95)
		}
		at = append(at, every(at[len(at)-1]+30, 30, 6)...)
		c := straight(Point{}, at, func(float64) float64 { return 9 })
		return c
	}
	// Three of the 95 mm internodes of each have their middle in its middle third.
	canes := []Cane{cane(), cane(), cane(), cane()}
	k, err := ClassifyInternodes(canes)
	if err != nil {
		t.Fatal(err)
	}
	if k.Internodes != 12 || k.Shoots != 4 || k.Class != "medium" || k.Source == "" {
		t.Errorf("classed as %+v", k)
	}
	near(t, "mean", k.MeanMM.Value, 95, 1e-9)

	refuse := func(name string, canes []Cane) {
		t.Helper()
		if _, err := ClassifyInternodes(canes); ErrorCode(err) != EInvalid || !strings.Contains(err.Error(), "at least 10") {
			t.Errorf("%s: %v, want a refusal that names the protocol", name, err)
		}
	}
	refuse("nothing", nil)
	refuse("three canes with nine internodes", canes[:3])
	few := cane()
	few.Nodes = few.Nodes[:11]
	refuse("few internodes", []Cane{few, few, few})
	cut := cane()
	cut.LeavesFrame = true
	refuse("canes that run out of the picture", []Cane{cut, cut, cut, cane()})
}

// Balanced pruning, by the arithmetic of the published rules: 30+10 leaves 30
// buds for 1 lb and 50 for 3 lb (Univ. of Illinois Extension, Pruning and
// training grape vines); 20+20 leaves 40 for 2 lb (cooksplace.us, Pruning
// 2013); the others follow from a + b (pounds - 1).
func TestBalancedPruning(t *testing.T) {
	const pound = 0.45359237
	for _, c := range []struct {
		name string
		kg   float64
		want int
	}{
		{"30+10", 1 * pound, 30}, {"30+10", 2 * pound, 40}, {"30+10", 3 * pound, 50},
		{"20+20", 2 * pound, 40}, {"20+10", 2 * pound, 30}, {"14+10", 2 * pound, 24},
		{"30+10", 0.907, 40}, {"30+10", 1.20, 46},
	} {
		found := false
		for _, f := range BalancedFormulas() {
			if f.Name != c.name {
				continue
			}
			found = true
			if got, err := f.Buds(c.kg); err != nil || got != c.want {
				t.Errorf("%s of %.3f kg: %d, %v; want %d", c.name, c.kg, got, err, c.want)
			}
			if f.Source == "" {
				t.Errorf("%s has no source", f.Name)
			}
		}
		if !found {
			t.Errorf("no formula %s", c.name)
		}
	}
	f := BalancedFormulas()[0]
	for _, kg := range []float64{0, -1, 0.3, 100} {
		if n, err := f.Buds(kg); ErrorCode(err) != EInvalid || n != 0 {
			t.Errorf("%v kg: %d, %v", kg, n, err)
		}
	}
}

// Two canes with many internodes aren't several.
func TestInternodeClassNeedsSeveralCanes(t *testing.T) {
	c := straight(Point{}, every(10, 40, 40), func(float64) float64 { return 9 })
	if _, err := ClassifyInternodes([]Cane{c, c}); ErrorCode(err) != EInvalid {
		t.Errorf("two canes: %v", err)
	}
	if k, err := ClassifyInternodes([]Cane{c, c, c}); err != nil || k.Class != "below short" {
		t.Errorf("three canes: %+v, %v", k, err)
	}
}
