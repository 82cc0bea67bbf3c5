package figure

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// The numbers at an axis are round, few, within it, and written no longer than
// they need be.
func TestEvenTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		whole     bool
		want      string
	}{
		{4, 18, false, "4 6 8 10 12 14 16 18"},
		{0, 130, false, "0 20 40 60 80 100 120"},
		{-75, 60, false, "-60 -40 -20 0 20 40 60"},
		{0, 2, true, "0 1 2"},
		{0, 2, false, "0.0 0.5 1.0 1.5 2.0"},
		{-0.004, 0.004, false, "-0.004 -0.003 -0.002 -0.001 0.000 0.001 0.002 0.003 0.004"},
		{0, 100000, true, "0 20000 40000 60000 80000 100000"},
		{3, 3, false, "3"},
	} {
		var got []string
		for _, k := range (even{c.whole}).Ticks(c.low, c.high) {
			got = append(got, k.Label)
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%g to %g: %s, want %s", c.low, c.high, text, c.want)
		}
	}
	if got := (even{}).Ticks(0, math.Inf(1)); len(got) != 1 {
		t.Errorf("without an end: %v", got)
	}
}

// What the lines and marks mean stands below the figure, so a figure with a key
// is taller than one without, and names all of them.
func TestKeyStandsBelow(t *testing.T) {
	groups := []Group{{"early", []float64{1, 2}, []float64{1, 2}}, {"late", []float64{1, 3}, []float64{2, 3}}}
	with, err := Scatter("a", "x", "y", groups, []Line{{At: 2, Label: "short below 2 mm"}}, []Line{{At: 2, Label: "weak below 2 mm"}})
	if err != nil {
		t.Fatal(err)
	}
	without, err := Scatter("a", "x", "y", []Group{{"", []float64{1}, []float64{1}}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"early", "late", "short below 2 mm", "weak below 2 mm"} {
		if !strings.Contains(string(with), ">"+name+"<") {
			t.Errorf("the key lacks %q", name)
		}
	}
	heights := func(svg string) string {
		f := strings.Fields(svg)
		i := slices.IndexFunc(f, func(s string) bool { return strings.HasPrefix(s, "height=") })
		return f[i]
	}
	if heights(string(with)) != `height="322pt"` || heights(string(without)) != `height="280pt"` {
		t.Errorf("heights %s and %s", heights(string(with)), heights(string(without)))
	}
}

// Bars begin at whole steps, hold every value once, and stay few.
func TestHistogramSteps(t *testing.T) {
	h := histogramOf([]float64{-0.1, 0, 0.4, 0.5, 2.2}, 0.5)
	var got []float64
	for _, b := range h.Bins {
		got = append(got, b.Weight)
	}
	if !slices.Equal(got, []float64{1, 2, 1, 0, 0, 1}) || h.Bins[0].Min != -0.5 || h.Bins[5].Max != 2.5 {
		t.Errorf("%+v", h.Bins)
	}
	wide := histogramOf([]float64{0, 1000}, 0.5)
	if n := len(wide.Bins); n > mostBars+1 || wide.Bins[0].Weight != 1 || wide.Bins[n-1].Weight != 1 {
		t.Errorf("%d bars", n)
	}
	if one := histogramOf([]float64{3}, 0.5); len(one.Bins) != 1 || one.Bins[0].Weight != 1 {
		t.Errorf("%+v", one.Bins)
	}
}
