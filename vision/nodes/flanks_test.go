package nodes_test

import (
	"math"
	"testing"

	"nodespan/vision/nodes"
)

// TestFlanks: swellings that hardly rise above restless edges are told by light,
// which falls on their upper flanks and not on their lower ones, whichever way a
// cane grows. With the light upside down, as no sky lights wood, they are not.
// That the sky lights what faces up is geometry; the strength of the step, one
// power of two, is what rendered canes show, no published figure.
func TestFlanks(t *testing.T) {
	at := []float64{40, 110, 180, 250, 320, 390, 460}
	for _, c := range []struct {
		name  string
		angle float64 // of the cane, y down
		light float64 // towards the tip it grows so much brighter at a node, powers of two
		found bool
	}{
		{"growing up, lit from above", -math.Pi / 2, 1, true},
		{"hanging down, lit from above", math.Pi / 2, -1, true},
		{"growing up, lit from below", -math.Pi / 2, -1, false},
		{"growing up, in even light", -math.Pi / 2, 0, false},
	} {
		p := profile(500, 8, 0.07, 0.03, at, true)
		for i := range p.Stations {
			s := &p.Stations[i]
			s.Angle = c.angle
			for k := range s.Across {
				s.Across[k] = -2
				for _, a := range at {
					d := (s.AlongMM - a) / 4
					s.Across[k] += c.light * d * math.Exp(0.5-0.5*d*d) / 2
				}
			}
		}
		right := 0
		for _, n := range nodes.Find(p, nil, nodes.DefaultParams()) {
			for _, a := range at {
				if math.Abs(n.AlongMM-a) < 6 {
					right++
				}
			}
		}
		if c.found != (right >= len(at)-1) {
			t.Errorf("%s: found %d of %d nodes, want them found: %v", c.name, right, len(at), c.found)
		}
	}
}
