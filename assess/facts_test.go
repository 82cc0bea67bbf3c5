package assess

import (
	"slices"
	"strings"
	"testing"
)

func TestEveryReasonIsExplained(t *testing.T) {
	if len(Reasons()) != len(explained) {
		t.Errorf("%d reasons are listed, %d explained", len(Reasons()), len(explained))
	}
	seen := map[string]Reason{}
	for _, r := range Reasons() {
		s := Explain(r).String()
		if _, ok := explained[r]; !ok || len(s) < 60 || !strings.HasSuffix(s, ".") || strings.Count(s, ". ") < 1 {
			t.Errorf("%s: %q doesn't say what was wrong and what to do", r, s)
		}
		if other, twice := seen[s]; twice {
			t.Errorf("%s and %s have one text", r, other)
		}
		seen[s] = r
	}
	if s := Explain("odd_thing").String(); !strings.Contains(s, "odd_thing") {
		t.Errorf("an unknown reason reads %q", s)
	}
	if a := Advise([]Reason{NoReference, PhotoBlurred}); len(a) != 2 || a[1] != Explain(PhotoBlurred).String() {
		t.Errorf("advice %q", a)
	}
}

func TestCautionsHaveSources(t *testing.T) {
	for _, c := range Cautions() {
		if c.Text.Empty() || c.Source.Empty() {
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
		if got, _ := InternodeTable().classOf(c.mm); got.String() != c.want {
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
	if k.Sample != 12 || k.Shoots != 4 || k.Class.String() != "medium" || k.Source.Empty() {
		t.Errorf("classed as %+v", k)
	}
	near(t, "mean", k.MeanMM.Value, 95, 1e-9)
	// Its scale is known to 4 %, and lean reaches up alone: the mean may lie above 100 mm.
	if !slices.Equal(Texts(k.Also), []string{"between medium and long"}) || k.Sure() || !strings.Contains(k.Because.String(), "too close to call") {
		t.Errorf("also %q, because %q", k.Also, k.Because)
	}

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
		{"20+20", 2 * pound, 40}, {"60+10", 2 * pound, 70}, {"20+10", 2 * pound, 30}, {"14+10", 2 * pound, 24},
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
	if k, err := ClassifyInternodes([]Cane{c, c, c}); err != nil || k.Class.String() != "below short" {
		t.Errorf("three canes: %+v, %v", k, err)
	}
}

// A table that a user entered is used like the built-in one, and the figures
// come from nowhere else.
func TestUserDescriptorTable(t *testing.T) {
	table := DescriptorTable{
		Name: "estate list", Version: 1, Quantity: InternodeDiameter, Internodes: 10, Shoots: 3, Source: "made up for this test",
		Classes: []DescriptorClass{{Note: "3", Name: "thin", From: 0, Through: 7}, {Note: "7", Name: "thick", From: 7, Through: 20}},
	}
	c := straight(Point{}, every(10, 40, 40), func(float64) float64 { return 9 })
	Derive(&c)
	k, err := ClassifyBy(table, []Cane{c, c, c})
	if err != nil || k.Class.String() != "thick" || k.Note != "7" || !k.Sure() || !strings.Contains(k.Source.String(), "made up for this test") {
		t.Errorf("%+v, %v", k, err)
	}
	for name, change := range map[string]func(*DescriptorTable){
		"no source":          func(d *DescriptorTable) { d.Source = " " },
		"one class":          func(d *DescriptorTable) { d.Classes = d.Classes[:1] },
		"backwards":          func(d *DescriptorTable) { d.Classes[1].Through = 6.5; d.Classes[1].From = 7 },
		"overlap":            func(d *DescriptorTable) { d.Classes[1].From = 5 },
		"open in the middle": func(d *DescriptorTable) { d.Classes[0].Through = 0 },
		"no name":            func(d *DescriptorTable) { d.Classes[0].Name = "" },
		"another quantity":   func(d *DescriptorTable) { d.Quantity = "leaf_area" },
		"too small a sample": func(d *DescriptorTable) { d.Internodes = 2 },
		"one shoot":          func(d *DescriptorTable) { d.Shoots = 1 },
	} {
		bad := table
		bad.Classes = slices.Clone(table.Classes)
		change(&bad)
		if _, err := ClassifyBy(bad, []Cane{c, c, c}); ErrorCode(err) != EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Balanced pruning tells which input is missing, and guesses none.
func TestBudAdvice(t *testing.T) {
	f, err := FormulaByName("30+10")
	if err != nil {
		t.Fatal(err)
	}
	weighed := func(kg float64) *Prunings { p, _ := WeighedPrunings(kg); return &p }
	for _, c := range []struct {
		name    string
		p       *Prunings
		left    int
		verdict string
		says    string // of the error; "" for none
	}{
		{"nothing weighed", nil, 34, "", "needs the mass of the prunings"},
		{"below a pound", weighed(0.3), 34, "", "isn't defined below one pound"},
		{"3 lb, 50 buds", weighed(3 * 0.45359237), 50, "within", ""},
		{"3 lb, 60 buds", weighed(3 * 0.45359237), 60, "above", ""},
		{"3 lb, 30 buds", weighed(3 * 0.45359237), 30, "below", ""},
		{"no choice yet", weighed(1), 0, "", ""},
		{"wood unseen", &Prunings{KG: Interval{0.9, 0.8, 1}, Missing: []Sentence{Tell("the ends")}}, 60, "too close to call", ""},
	} {
		a, err := f.Advise(c.p, c.left)
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) || a.Verdict != c.verdict {
			t.Errorf("%s: %+v, %v", c.name, a, err)
		}
	}
	// 20+20 of 1 kg is 44 buds, 43 to 45 for 20 g more or less.
	twenty, _ := FormulaByName("20+20")
	a, err := twenty.Advise(weighed(1), 34)
	if want := "20+20 leaves 44 buds for 1.00 kg of prunings, weighed (43 to 45 by its interval); the 34 that are left lie below that"; err != nil || a.InWords(weighed(1)).String() != want {
		t.Errorf("in words %q, %v", a.InWords(weighed(1)), err)
	}
	if _, err := FormulaByName("99+1"); ErrorCode(err) != ENotFound {
		t.Errorf("no such formula: %v", err)
	}
}
