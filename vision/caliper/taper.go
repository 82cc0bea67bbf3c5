package caliper

import (
	"math"
	"slices"
)

// A Taper is how thick a cane is along its length where no edge could be read:
// wood behind a crossing cane or against old wood has no edges, but a cane
// grows thinner evenly from base to tip.
type Taper struct {
	at, slope float64   // mm at the middle of the readings; mm per mm
	mid       float64   // mm along
	u, uSlope float64   // standard uncertainties
	known     []float64 // places that were read, mm along, in order
	off       []float64 // by how much they differ from the line, smoothed
	ok        bool
}

// steepest bounds a cane's taper, as a share of its diameter for each
// millimetre: a cane of 10 mm loses 0.2 mm in a centimetre at most. The
// canes with truth of two renderers lose 0.1 to 1.9 of their mean diameter in a
// metre; no published figure was at hand.
const steepest = 0.002

// Tapering fits the straight line of diameter against place that leaves the
// least sum of absolute differences: nodes, which swell, and misread edges
// hardly move it. It answers nothing when fewer than a dozen places were read.
func Tapering(st []Station) *Taper {
	var s, d []float64
	for _, q := range st {
		if q.U > 0 {
			s, d = append(s, q.AlongMM), append(d, q.DiameterMM)
		}
	}
	t := &Taper{}
	if len(s) < 12 {
		return t
	}
	mean := 0.0
	for _, x := range s {
		mean += x / float64(len(s))
	}
	t.mid = mean
	sorted := slices.Clone(d)
	slices.Sort(sorted)
	a, b := sorted[len(sorted)/2], 0.0
	span := s[len(s)-1] - s[0]
	// Iteratively reweighted least squares (E. J. Schlossmacher, J. Am. Stat.
	// Assoc. 68, 1973). Canes don't grow thicker outwards, nor thinner so fast
	// that a step from two pieces to one could pass for it.
	for range 30 {
		var w, wx, wxx, wy, wxy float64
		for i := range s {
			x := s[i] - mean
			k := 1 / max(math.Abs(d[i]-a-b*x), 0.05)
			w, wx, wxx, wy, wxy = w+k, wx+k*x, wxx+k*x*x, wy+k*d[i], wxy+k*x*d[i]
		}
		// A weak expectation of no taper keeps short stretches from tilting.
		wxx += w * 60 * 60
		det := w*wxx - wx*wx
		b = max(-steepest*a, min(0.1*steepest*a, (w*wxy-wx*wy)/det))
		a = (wy - b*wx) / w
	}
	res := make([]float64, len(s))
	abs := make([]float64, len(s))
	for i := range s {
		res[i] = d[i] - a - b*(s[i]-mean)
		abs[i] = math.Abs(res[i])
	}
	slices.Sort(abs)
	scatter := 1.5 * abs[len(abs)/2]
	independent := max(2, span/30)
	t.at, t.slope, t.ok = a, b, true
	t.u = max(scatter/math.Sqrt(independent), 0.02*a)
	t.uSlope = max(scatter/math.Sqrt(independent)/max(span/3.5, 30), 0.0008)
	t.known, t.off = s, res
	return t
}

// At gives the diameter to be expected at a place, mm, and its standard
// uncertainty; false when there is nothing to go by.
func (t *Taper) At(along float64) (d, u float64, ok bool) {
	if !t.ok {
		return 0, 0, false
	}
	// What the nearest readings say beyond the line fades with distance.
	i, _ := slices.BinarySearch(t.known, along)
	var near []float64
	gap := math.Inf(1)
	for k := max(0, i-12); k < min(len(t.known), i+12); k++ {
		near = append(near, t.off[k])
		gap = min(gap, math.Abs(t.known[k]-along))
	}
	slices.Sort(near)
	d = t.at + t.slope*(along-t.mid)
	if len(near) > 0 {
		d += near[len(near)/2] * math.Exp(-gap/60)
	}
	if d <= 0.3 {
		return 0, 0, false
	}
	return d, math.Hypot(t.u, t.uSlope*(along-t.mid)), true
}
