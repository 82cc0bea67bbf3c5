package assess

import (
	"math"
	"testing"
)

// A cane whose lean a second photo showed has a shorter upper half of its
// length's interval: 1/cos of 1.96 times the lean's standard uncertainty, a
// cosine error, by geometry: 3.9 % for 8 degrees, 0.23 % for 2.
func TestLeanSeenShortensIntervals(t *testing.T) {
	c := Cane{AlongMM: []float64{0, 1000}, Nodes: []Node{{AlongMM: 100}, {AlongMM: 200}}}
	for _, l := range []struct{ lean, up float64 }{{0, 1/math.Cos(1.96*8*math.Pi/180) - 1}, {2, 1/math.Cos(1.96*2*math.Pi/180) - 1}, {30, 1/math.Cos(1.96*8*math.Pi/180) - 1}} {
		c.LeanU = l.lean
		Derive(&c)
		down := c.Length.Value - c.Length.Low
		want := math.Hypot(down, 1000*l.up)
		if got := c.Length.High - c.Length.Value; math.Abs(got-want) > 0.05 {
			t.Errorf("lean of %g degrees: want %.2f mm up, got %.2f", l.lean, want, got)
		}
	}
}
