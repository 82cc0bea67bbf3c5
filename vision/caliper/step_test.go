package caliper

import (
	"math"
	"testing"
)

// TestStep: what two canes side by side gave is dropped below the step to the
// single one; an even taper with swollen nodes has no step, a step up none that
// is believed, and where hardly anything lies above nothing is dropped.
func TestStep(t *testing.T) {
	single := func(s float64) float64 {
		d := 10 - 0.004*s
		if math.Mod(s, 80) < 8 {
			d *= 1.33
		}
		return d
	}
	for _, c := range []struct {
		name   string
		length float64
		at     func(s float64) float64
		from   float64 // where readings begin afterwards, mm
	}{
		{"a single cane", 900, single, 0},
		{"two as one over the first 300 mm", 900, func(s float64) float64 {
			if s < 300 {
				return 1.7 * single(s)
			}
			return single(s)
		}, 300},
		{"half lost over the first 300 mm", 900, func(s float64) float64 {
			if s < 300 {
				return 0.6 * single(s)
			}
			return single(s)
		}, 0},
		{"two as one nearly to the tip", 400, func(s float64) float64 {
			if s < 330 {
				return 1.7 * single(s)
			}
			return single(s)
		}, 0},
	} {
		var st []Station
		for s := 0.0; s <= c.length; s += 2 {
			st = append(st, Station{AlongMM: s, DiameterMM: c.at(s), U: 0.1})
		}
		dropBelowStep(st, DefaultParams())
		first := -1.0
		for _, q := range st {
			if q.U > 0 {
				first = q.AlongMM
				break
			}
		}
		if math.Abs(first-c.from) > 25 { // a node beside the step may hide it for so long
			t.Errorf("%s: want readings from %.0f mm on, got from %.0f", c.name, c.from, first)
		}
	}
}
