package scale

import (
	"math"
	"math/rand/v2"
	"testing"

	"nodespan/assess"
)

// hung is a photo of four level wires on a plane that the camera sees under a yaw
// and a pitch, and the map of a card that is turned out of that plane and leans out of
// it, degrees, its middle on the plane. Wires' ends are off by so many px.
func hung(yaw, pitch, turn, lean, off float64) (plane stance, card *Map, wires []assess.Wire) {
	const rad = math.Pi / 180
	const f, w, h = 2300.0, 3000, 2250
	cx, cy := (w-1)/2., (h-1)/2.
	plane = pinhole(f, cx, cy, 1600, yaw*rad, pitch*rad, 0, 40, 60)
	c := pinhole(f, cx, cy, 1600, (yaw+turn)*rad, (pitch+lean)*rad, 0, 40, 60)
	rnd := rand.New(rand.NewPCG(7, 7))
	for _, y := range []float64{-650, -330, 0, 210} {
		var w assess.Wire
		for _, x := range []float64{-900, 900} {
			u, v := plane.h.Apply(x, y)
			w.Line = append(w.Line, assess.Point{u, v + off*rnd.NormFloat64()})
		}
		wires = append(wires, w)
	}
	return plane, newMap("checker", c.h, 0.05, nil, 67.5, 45, finderOf(w, h, f)), wires
}

// worst is the largest relative error of the scale, level and upright, over the
// middle of the picture.
func worst(m *Map, plane stance) float64 {
	e := 0.0
	for _, x := range []float64{-700, 0, 700} {
		for _, y := range []float64{-600, 0, 200} {
			u, v := plane.h.Apply(x, y)
			for _, d := range [][2]float64{{50, 0}, {0, 50}} {
				p, q := plane.h.Apply(x+d[0], y+d[1])
				e = max(e, math.Abs(m.Distance(assess.Point{u, v}, assess.Point{p, q})/50-1))
			}
		}
	}
	return e
}

// Cards that hang askew by more than cameras are held are put right by the wires
// and by how cameras are held; those that hang flat are left as they are, also
// before a camera that looks from the side, up or down.
func TestStraighten(t *testing.T) {
	for name, c := range map[string]struct {
		yaw, pitch, turn, lean float64
		before, after          float64 // relative error: at least, at most
		changed                bool
	}{
		"flat, seen squarely": {0, 0, 0, 0, 0, 0.01, false},
		"flat, from the side": {25, 0, 0, 0, 0, 0.01, false},
		"flat, from below":    {5, 12, 0, 0, 0, 0.01, false},
		"swings by a degree":  {5, -8, 1, 1, 0, 0.03, false},
		// How the camera itself looks up or down stays unknown once a card hangs askew.
		"turned":                     {-8, 6, 25, 0, 0.15, 0.06, true},
		"turned, from the other way": {25, 0, -25, 0, 0.15, 0.04, true},
		"turned and leaning":         {5, 3, 20, 30, 0.15, 0.06, true},
		"leaning alone":              {0, -3, 0, 32, 0.12, 0.08, true},
	} {
		plane, m, wires := hung(c.yaw, c.pitch, c.turn, c.lean, 2)
		if e := worst(m, plane); e < c.before {
			t.Fatalf("%s: by the card alone the scale is off by %.3f, too little to test by", name, e)
		}
		flat, by := m.Straighten(wires)
		if e := worst(flat, plane); e > c.after || (by > 0) != c.changed {
			t.Errorf("%s: off by %.3f, by the card alone %.3f; put right by %.1f degrees", name, e, worst(m, plane), by*180/math.Pi)
		}
		if c.changed {
			if x, y := flat.MMToPx.Apply(0, 0); math.Hypot(x-m.Centre[0], y-m.Centre[1]) > 0.01 {
				t.Errorf("%s: the card's middle moved", name)
			}
			if c.lean != 0 && flat.RelativeUAt(m.Centre[0]+900, m.Centre[1]) < m.RelativeUAt(m.Centre[0]+900, m.Centre[1]) {
				t.Errorf("%s: nobody saw how the plane leans, and it is surer than before", name)
			}
		}
	}
}

// One wire, or two of a pair, don't tell how their plane turns.
func TestStraightenByTooFewWires(t *testing.T) {
	_, m, wires := hung(0, 0, 25, 0, 0)
	a, b := wires[0].Line[0], wires[0].Line[1]
	close := assess.Wire{Line: []assess.Point{{a[0], a[1] + 12}, {b[0], b[1] + 13}}}
	for _, few := range [][]assess.Wire{nil, wires[:1], {wires[0], close}, {wires[0], {}}} {
		if _, by := m.Straighten(few); by != 0 {
			t.Errorf("%d wires: put right by %.1f degrees", len(few), by*180/math.Pi)
		}
	}
}
