package figure

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/plotter"
)

func TestOutline(t *testing.T) {
	got := outlineOf([]Step{{5, 5.5, 1}, {5.5, 6, 3}, {7, 7.5, 2}})
	want := plotter.XYs{{X: 5, Y: 0}, {X: 5, Y: 1}, {X: 5.5, Y: 1}, {X: 5.5, Y: 3}, {X: 6, Y: 3}, {X: 6, Y: 0}, {X: 7, Y: 0}, {X: 7, Y: 2}, {X: 7.5, Y: 2}, {X: 7.5, Y: 0}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("%v, want %v", got, want)
		}
	}
}

func TestSeasonFigures(t *testing.T) {
	d, err := Distributions(".", "Diameter", "mm", "%", []Distribution{{"2024/25", []Step{{5, 5.5, 1}}}, {"2025/26", nil}, {"2026/27", []Step{{6, 6.5, 4}, {6.5, 7, 2}}}}, []Line{{At: 6, Label: "weak"}})
	if err != nil || !strings.HasPrefix(string(d), "<svg role") || strings.Contains(string(d), "NaN") {
		t.Errorf("%.200s, %v", d, err)
	}
	tr, err := Trend(".", "Diameter", "mm", []Season{{"2024/25", 7, 8, 9, 30}, {Name: "2025/26"}, {"2026/27", 6, 7, 8, 20}}, []Line{{At: 6, Label: "weak"}, {At: math.NaN()}})
	if err != nil || strings.Contains(string(tr), "NaN") {
		t.Errorf("%.200s, %v", tr, err)
	}
	st, err := Stacks(".", "Choices", "vines", []string{"2025/26", "2026/27"}, []Part{{"made", []float64{3, 1}}, {"waiting", []float64{0, 4}}, {"slip", []float64{1}}})
	if err != nil || strings.Contains(string(st), "NaN") || !strings.Contains(string(st), "waiting") || strings.Contains(string(st), "slip") {
		t.Errorf("%.200s, %v", st, err)
	}
	// Nothing at all is a figure with axes, not an error.
	for _, f := range []func() error{
		func() error { _, err := Distributions(".", "", "", "", nil, nil); return err },
		func() error { _, err := Trend(".", "", "", nil, nil); return err },
		func() error { _, err := Stacks(".", "", "", nil, nil); return err },
		func() error {
			_, err := Stacks(".", "", "", []string{"2026/27"}, []Part{{"none", []float64{0}}})
			return err
		},
	} {
		if err := f(); err != nil {
			t.Error(err)
		}
	}
}

// The numbers at the axes have the decimal sign that's asked for.
func TestDecimalSign(t *testing.T) {
	steps := []Distribution{{"2026/27", []Step{{6, 6.5, 4}, {6.5, 7, 2}}}}
	for sign, want := range map[string]string{".": ">6.4<", ",": ">6,4<"} {
		got, err := Distributions(sign, "Diameter", "mm", "%", steps, nil)
		if err != nil || !strings.Contains(string(got), want) {
			t.Errorf("with %q at the axes there's no %s: %v\n%s", sign, want, err, got)
		}
	}
}
