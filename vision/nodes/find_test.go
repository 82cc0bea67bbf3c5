package nodes_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"nodespan/assess"
	"nodespan/vision/caliper"
	"nodespan/vision/nodes"
)

// profile makes the readings of an upright cane: even thickness d mm, swollen
// by the given share over some millimetres at each node, towards one side.
func profile(length, d, swelling, noise float64, at []float64, left bool) *caliper.Profile {
	rnd := rand.New(rand.NewPCG(1, 2))
	p := &caliper.Profile{}
	const px = 0.5 // mm per pixel
	for s := 0.0; s <= length; s += 1.5 {
		bump := 0.0
		for _, a := range at {
			bump += swelling * math.Exp(-0.5*(s-a)*(s-a)/9)
		}
		l, r := d/2/px, d/2/px
		if left {
			l += d * bump / px
		} else {
			r += d * bump / px
		}
		w := (l+r)*px + noise*d*rnd.NormFloat64()
		p.Stations = append(p.Stations, caliper.Station{Px: assess.Point{100, 2000 - s/px}, Angle: -math.Pi / 2,
			AlongMM: s, Left: l * w / ((l + r) * px), Right: r * w / ((l + r) * px), DiameterMM: w, U: 0.05, Inner: 0.3, LeftRead: true, RightRead: true, MMPerPx: px})
	}
	return p
}

func TestFind(t *testing.T) {
	even := []float64{40, 110, 180, 250, 320, 390, 460}
	near := []float64{20, 44, 68, 92, 116, 140, 164, 188}
	for _, c := range []struct {
		name                       string
		length, d, swelling, noise float64
		at                         []float64
		left                       bool
		side                       string
		missing, surplus           int // allowed
	}{
		{"even internodes, buds on the left", 500, 8, 0.25, 0.01, even, true, "left", 0, 0},
		{"even internodes, buds on the right", 500, 8, 0.25, 0.01, even, false, "right", 0, 0},
		{"short internodes", 210, 12, 0.25, 0.01, near, true, "left", 0, 0},
		{"restless edges", 500, 8, 0.30, 0.04, even, true, "left", 1, 1},
		{"a rod", 500, 8, 0, 0.01, nil, true, "", 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := nodes.Find(profile(c.length, c.d, c.swelling, c.noise, c.at, c.left), nil, nodes.DefaultParams())
			right := 0
			for _, a := range c.at {
				for _, n := range got {
					if math.Abs(n.AlongMM-a) < 3 {
						right++
						if c.side != "" && c.noise < 0.02 && n.Side != c.side {
							t.Errorf("node at %.0f mm: want the bud on the %s, got %s", a, c.side, n.Side)
						}
						break
					}
				}
			}
			if miss := len(c.at) - right; miss > c.missing {
				t.Errorf("want %d nodes, missed %d: %v", len(c.at), miss, got)
			}
			if more := len(got) - right; more > c.surplus {
				t.Errorf("%d nodes where none is: %v", more, got)
			}
		})
	}
}

// TestFindOnNothing: too little to judge by gives no node and no panic.
func TestFindOnNothing(t *testing.T) {
	for _, p := range []*caliper.Profile{{}, profile(10, 8, 0, 0, nil, true)} {
		if got := nodes.Find(p, nil, nodes.DefaultParams()); len(got) != 0 {
			t.Errorf("want none, got %v", got)
		}
	}
}
