package scale

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"nodespan/assess"
)

// How cards hang and how cameras are held, degrees: a card on clips swings by
// cardSD, or hangs quite askew one time in fifteen, then by askewSD; a camera
// looks up or down by cameraSD. Supposed; no published figure was at hand.
const (
	cardSD     = 2.0
	askewSD    = 20.0
	askewShare = 1.0 / 15
	cameraSD   = 7.0
)

// wireSD is how far wires are from parallel, radians: they sag, and are followed a
// little beside their middle.
const wireSD = 0.004

// believed is how likely a card must hang askew for its lean not to be believed.
const believed = 0.75

// least is the smallest turn of the card out of the wires' plane that is put right,
// radians; below it the card itself tells the plane better.
const least = 3 * math.Pi / 180

// Straighten gives the map of the wires' plane where the card doesn't hang in it,
// and by what angle it doesn't, radians; m itself, and 0, where nothing says so.
//
// Wires run parallel on their plane, so that where they meet in the picture tells
// how the plane turns about the upright (Hartley & Zisserman, Multiple View
// Geometry, 2nd ed., 8.6): what the card turns more than that is its own. How
// far the plane leans nothing in the picture tells. So a card that leans much
// farther from the camera's upright than cameras are held is taken to hang askew, and
// the plane to lean as cameras usually do, which is the less sure.
func (m *Map) Straighten(wires []assess.Wire) (flat *Map, by float64) {
	if m.Kind != "checker" || m.FocalPx <= 0 {
		return m, 0
	}
	x, y, t := m.frame()
	s := (x.norm() + y.norm()) / 2
	if s == 0 || t[2] == 0 {
		return m, 0
	}
	x, y, t = x.unit(), y.unit(), t.times(1/s)
	n := x.cross(y)
	card := n.unit()
	turned, share := false, askewShare
	if d, u, ok := m.alongWires(wires); ok {
		if d.dot(x) < 0 {
			d = d.times(-1)
		}
		if turn := math.Atan2(d.dot(n), d.dot(x)); math.Abs(turn) > max(least, 3*u) {
			x, turned = d, true
			// What is turned far may well lean too.
			share = min(0.9, askewOdds(turn, 0, askewShare))
		}
	}
	upright := vec{0, 1, 0}.beside(x)
	lean := y.beside(x)
	if lean.dot(upright) < 0 {
		upright = upright.times(-1)
	}
	angle := math.Atan2(upright.cross(lean).dot(x), upright.dot(lean))
	askew := askewOdds(angle, cameraSD, share)
	if !turned && askew < believed {
		return m, 0
	}
	// The mean of both cases, and their spread: it hangs askew, and the plane leans
	// as cameras are held, or it shows the plane's lean itself.
	rest := angle * cameraSD * cameraSD / (cameraSD*cameraSD + askewSD*askewSD)
	held := cameraSD * askewSD / math.Hypot(cameraSD, askewSD) * math.Pi / 180
	back := angle + askew*(rest-angle)
	lean = upright.times(math.Cos(back)).add(x.cross(upright), math.Sin(back))
	out := *m
	out.leanU = math.Sqrt(askew*held*held + askew*(1-askew)*(rest-angle)*(rest-angle))
	f := m.FocalPx
	col := func(v vec) (a, b, c float64) { return f*v[0] + m.cx*v[2], f*v[1] + m.cy*v[2], v[2] }
	var h Homography
	h[0], h[3], h[6] = col(x)
	h[1], h[4], h[7] = col(lean)
	h[2], h[5], h[8] = col(t)
	for i := range h {
		h[i] /= t[2]
	}
	out.MMToPx, out.PxToMM = h, h.Inverse()
	by = math.Acos(min(1, math.Abs(card.dot(x.cross(lean)))))
	out.MMPerPx = out.At(m.Centre[0], m.Centre[1])
	return &out, by
}

// askewOdds is how likely a card hangs askew that leans or turns by an angle,
// radians, when such a share of cards does and what it is held against is itself known
// to besideSD degrees.
func askewOdds(angle, besideSD, share float64) float64 {
	deg := angle * 180 / math.Pi
	of := func(sd float64) float64 { return math.Exp(-0.5*deg*deg/(sd*sd)) / sd }
	flat, askew := (1-share)*of(math.Hypot(besideSD, cardSD)), share*of(math.Hypot(besideSD, askewSD))
	return askew / (flat + askew)
}

// alongWires is the direction in space in which wires run, with the standard
// uncertainty of its turn towards the camera, radians; false for fewer than two
// wires, or where they hang too near each other.
func (m *Map) alongWires(wires []assess.Wire) (d vec, u float64, ok bool) {
	sight := func(q assess.Point) vec { return vec{(q[0] - m.cx) / m.FocalPx, (q[1] - m.cy) / m.FocalPx, 1} }
	sum := mat.NewSymDense(3, nil)
	n := 0
	for _, w := range wires {
		if len(w.Line) < 2 {
			continue
		}
		p := sight(w.Line[0]).cross(sight(w.Line[len(w.Line)-1]))
		if p.norm() < 0.3 {
			continue // less than a sixth of the picture
		}
		p = p.unit()
		sum.SymRankOne(sum, 1, mat.NewVecDense(3, p[:]))
		n++
	}
	var e mat.EigenSym
	if n < 2 || !e.Factorize(sum, true) {
		return vec{}, 0, false
	}
	v := e.Values(nil) // rising
	var q mat.Dense
	e.VectorsTo(&q)
	spread := math.Sqrt(v[1])
	if spread < 0.08 {
		return vec{}, 0, false
	}
	return vec{q.At(0, 0), q.At(1, 0), q.At(2, 0)}, math.Hypot(wireSD, math.Sqrt(v[0]/float64(n))) / spread, true
}
