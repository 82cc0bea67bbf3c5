package vision

import (
	"cmp"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/scale"
	"nodespan/vision/stance"
)

// A reading of a cane's thickness in the second photo, at a place of its profile
// in the first.
type reading struct {
	mm, u   float64
	carried bool
	ok      bool
}

// secondReadings gives, for each place of a cane's profile in the first photo, what
// the second photo's own measurement read there, in mm at the cane's depth. The
// profile's millimetres along are still those on the card's plane.
func secondReadings(c *assess.Cane, course *stance.Course, r *stance.Result, other *assess.Cane, m *scale.Map) []reading {
	out := make([]reading, len(c.Profile))
	line := r.Transfer(c, course)
	if len(line) < 2 || len(other.CentreLine) < 2 || len(other.Profile) == 0 {
		return out
	}
	factors := r.Factors(course, m, line, c.AlongMM)
	for k, q := range c.Profile {
		i, _ := slices.BinarySearch(c.AlongMM, q.AlongMM)
		i = min(i, len(line)-1)
		at, away := nearest(other, line[i])
		p := other.Profile[nearestPlace(other.Profile, at)]
		// Beside the other's line it isn't this cane's thickness.
		if math.Abs(p.AlongMM-at) > 6 || !(p.U > 0) || away > max(3, 0.6*p.DiameterMM/m.At(line[i][0], line[i][1])) {
			continue
		}
		out[k] = reading{p.DiameterMM * factors[i], p.U * factors[i], p.Carried, true}
	}
	return out
}

// nearest is the place of a cane's line that is nearest to a pixel: mm along, and how
// many px away.
func nearest(c *assess.Cane, q assess.Point) (along, away float64) {
	away = math.Inf(1)
	for i := 1; i < min(len(c.CentreLine), len(c.AlongMM)); i++ {
		a, b := c.CentreLine[i-1], c.CentreLine[i]
		dx, dy := b[0]-a[0], b[1]-a[1]
		l := dx*dx + dy*dy
		if l == 0 {
			continue
		}
		t := max(0, min(1, ((q[0]-a[0])*dx+(q[1]-a[1])*dy)/l))
		if d := math.Hypot(q[0]-a[0]-t*dx, q[1]-a[1]-t*dy); d < away {
			along, away = c.AlongMM[i-1]+t*(c.AlongMM[i]-c.AlongMM[i-1]), d
		}
	}
	return along, away
}

// nearestPlace is the index of the place of a profile that is nearest to along.
func nearestPlace(ps []assess.ProfilePoint, along float64) int {
	k, _ := slices.BinarySearchFunc(ps, along, func(p assess.ProfilePoint, a float64) int { return cmp.Compare(p.AlongMM, a) })
	if k > 0 && (k == len(ps) || along-ps[k-1].AlongMM < ps[k].AlongMM-along) {
		k--
	}
	return k
}

// Pooling is how two photos' edges speak for one cane.
type Pooling struct {
	// Places is the least number of places that both photos read. Default 12.
	Places int
	// Prior is how many differences between two photos the doubts of the photos
	// alone count for. Edges are mostly read well and now and then far off, so that
	// readings that agree say more than doubts that must allow for both: smaller
	// believes agreement more. Default 1.
	Prior float64
	// Floor is what two photos may have wrong together, relative: the same sun, the
	// same bark. Default 0.03.
	Floor float64
}

// pool lets both photos' readings of a cane's thickness speak, each photo by the
// inverse square of its doubt. It brings them to one level first, where both read,
// so that a place that only one could read doesn't stand apart. The doubt that is
// left follows from those of both and from how far the two differ: with the doubts
// as Prior differences, the scatter is as estimated from those and this one
// together; where the two differ more than their doubts allow, it grows by the
// ratio (R. T. Birge, 1932).
func (p Pooling) pool(c *assess.Cane, second []reading, doubt float64) {
	var diff []float64
	for i, q := range c.Profile {
		if r := second[i]; r.ok && !r.carried && !q.Carried && q.U > 0 && q.DiameterMM > 0 && r.mm > 0 {
			diff = append(diff, math.Log(r.mm/q.DiameterMM))
		}
	}
	if len(diff) < p.Places || !(c.EdgeDoubt > 0) || !(doubt > 0) {
		return
	}
	slices.Sort(diff)
	apart := diff[len(diff)/2]
	w1, w2 := 1/(c.EdgeDoubt*c.EdgeDoubt), 1/(doubt*doubt)
	both := 1 / math.Sqrt(w1+w2)
	w1, w2 = w1/(w1+w2), w2/(w1+w2)
	first, other := math.Exp(w2*apart), math.Exp(-w1*apart)
	for i := range c.Profile {
		q, r := &c.Profile[i], second[i]
		read := q.U > 0 && !q.Carried
		q.DiameterMM *= first
		switch {
		case !r.ok || r.carried && read: // the first knows better
		case r.carried == q.Carried && q.U > 0: // as well as each other
			q.DiameterMM = w1*q.DiameterMM + w2*r.mm*other
			q.U = math.Hypot(w1*q.U, w2*r.u)
		default:
			q.DiameterMM, q.U, q.Carried = r.mm*other, r.u, r.carried
		}
		q.DiameterMM, q.U = round(q.DiameterMM, 3), round(q.U, 3)
	}
	expected := math.Hypot(c.EdgeDoubt, doubt)
	ratio := math.Sqrt((p.Prior + apart*apart/(expected*expected)) / (p.Prior + 1))
	c.EdgeDoubt = round(math.Max(both*math.Max(ratio, math.Abs(apart)/expected), p.Floor), 4)
}
