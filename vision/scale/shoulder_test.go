package scale

import (
	"math"
	"testing"
)

// TestOutward: with no compression the half level is where it is; with
// compression a bright ground's edge moves towards the ground, dark ground's
// hardly, and never the wrong way.
func TestOutward(t *testing.T) {
	if o := Outward(0.8, 0.1, 0); math.Abs(o) > 1e-12 {
		t.Errorf("without compression: want 0, got %v", o)
	}
	last := 0.0
	for _, g := range []float64{0.2, 0.4, 0.6, 0.8, 0.9} {
		o := Outward(g, 0.05, 1)
		if o <= last {
			t.Errorf("ground %.1f: want more than %.3f, got %.3f", g, last, o)
		}
		last = o
	}
	if o := Outward(0.15, 0.05, 1); o > 0.05 {
		t.Errorf("dark ground: want next to nothing, got %.3f", o)
	}
	// By hand: v = 0.8 and 0.1 stand for 0.8/(1-0.64) = 2.2222 and
	// 0.1/(1-0.01) = 0.1010; half way between the values, 0.45, stands for
	// 0.45/(1-0.2025) = 0.5643, which is 0.2184 of the way; the normal quantile
	// of 0.2184 is -0.7776.
	if o := Outward(0.8, 0.1, 1); math.Abs(o-0.7776) > 0.002 {
		t.Errorf("want 0.7776, got %.4f", o)
	}
}

// TestShoulderOf: what Outward says is found again.
func TestShoulderOf(t *testing.T) {
	for _, s := range []float64{0, 0.2, 0.5, 1, 1.3} {
		if got := shoulderOf(Outward(0.7, 0.03, s), 0.7, 0.03); math.Abs(got-s) > 0.001 {
			t.Errorf("want %.2f, got %.4f", s, got)
		}
	}
	if got := shoulderOf(-0.3, 0.7, 0.03); got != 0 {
		t.Errorf("edges that lean to the dark: want 0, got %v", got)
	}
	if got := shoulderOf(5, 0.7, 0.03); got < mostShoulder-0.01 {
		t.Errorf("want the bound, got %v", got)
	}
}
