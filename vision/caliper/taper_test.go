package caliper_test

import (
	"math"
	"testing"

	"nodespan/vision/caliper"
)

// cane makes stations of a cane that tapers from 10 mm by 4 mm over a metre,
// with nodes that swell by a third, a stretch that wasn't read and one that was
// misread as half as thick.
func cane() []caliper.Station {
	var st []caliper.Station
	for s := 0.0; s <= 1000; s += 2 {
		d := 10 - 0.004*s
		if math.Mod(s, 80) < 8 {
			d *= 1.33
		}
		q := caliper.Station{AlongMM: s, DiameterMM: d, U: 0.1}
		switch {
		case s < 200:
			q.DiameterMM, q.U = 0, 0
		case s > 600 && s < 700:
			q.DiameterMM = d / 2
		}
		st = append(st, q)
	}
	return st
}

// TestTapering: neither nodes nor a misread stretch move the line much, and it
// reaches back to where nothing was read, with a wider uncertainty there.
func TestTapering(t *testing.T) {
	tp := caliper.Tapering(cane())
	for _, s := range []float64{0, 60, 120} {
		d, u, ok := tp.At(s)
		want := 10 - 0.004*s
		if !ok || math.Abs(d-want) > 0.4 {
			t.Errorf("at %.0f mm: want about %.2f, got %.2f (%v)", s, want, d, ok)
		}
		if u <= 0 {
			t.Errorf("at %.0f mm: want an uncertainty, got %v", s, u)
		}
	}
	_, near, _ := tp.At(400)
	_, far, _ := tp.At(0)
	if far <= near {
		t.Errorf("want less certainty outside of the readings, got %.3f there and %.3f among them", far, near)
	}
}

// TestTaperingFew: a handful of readings say nothing of a taper.
func TestTaperingFew(t *testing.T) {
	st := cane()[100:108]
	if _, _, ok := caliper.Tapering(st).At(100); ok {
		t.Error("want no answer from eight readings")
	}
	if _, _, ok := caliper.Tapering(nil).At(0); ok {
		t.Error("want no answer from none")
	}
}
