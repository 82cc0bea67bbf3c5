package assess

import (
	"cmp"
	"math"
	"slices"
)

// Combining holds what Derive needs to know of how well things are read. Each
// field says its unit and what happens when it's larger.
type Combining struct {
	// NodeU is the standard uncertainty of one node's place along the cane, mm:
	// a node is a swelling about as long as the cane is thick, and its middle
	// is a matter of judgement. Larger widens internode lengths.
	NodeU float64
	// MiddleShare is the share of an internode, about its middle, from which
	// its diameter is read. Larger takes more readings, but swellings at the
	// nodes come into them.
	MiddleShare float64
	// FallbackShare is the share that is used when too few readings lie in the
	// middle, because a wire or another cane hides it.
	FallbackShare float64
	// MinReadings is the fewest readings that make a diameter. Larger refuses
	// more internodes.
	MinReadings int
	// IndependentMM: readings nearer together than this along the cane see the
	// same bark and the same blur and count as one, mm. Larger widens diameters.
	IndependentMM float64
	// EdgeU is the standard uncertainty of an edge that all readings of one
	// internode share, mm: light, bark and blur move it the same way all along.
	// Larger widens diameters, however many readings there are.
	EdgeU float64
	// FirstInternodes is how many internodes from the base make the cane's
	// medians. Larger lets the thinner, shorter end of the cane in.
	FirstInternodes int
	// Gap is how many typical internodes long a stretch must be to have nodes in
	// it that weren't seen. Larger sees fewer gaps, and takes the diameter from
	// farther up where nodes were missed.
	Gap float64
	// BareFrom and BareTo bound the part of a cane without nodes from which its
	// diameter is read, mm from the base: beyond the swelling at the base, and
	// about as far as eight internodes of the limit for short ones reach.
	BareFrom, BareTo float64
	// LeanSD is the standard deviation of the angle by which a cane leans
	// towards the lens or away from it, degrees. One photo can't see it, and it
	// only ever shortens. Larger raises the upper bound of lengths.
	LeanSD float64
	// HandU is the standard uncertainty of a diameter that a person measured
	// with a caliper, mm. Larger widens those.
	HandU float64
	// Level is the level of confidence of the intervals.
	Level float64
	// MiddleWidth is the width, in standard uncertainties of one value, of the
	// neighbourhood of the median in which a value could have been the middle
	// one. Larger takes more values to share in the median, and narrows it.
	MiddleWidth float64
}

// DefaultCombining is what Derive uses.
func DefaultCombining() Combining {
	return Combining{
		NodeU:           1.5,
		MiddleShare:     0.6,
		FallbackShare:   0.8,
		MinReadings:     3,
		IndependentMM:   10,
		EdgeU:           0.05, // middle of 0.03 to 0.1 mm for edges averaged along an internode
		FirstInternodes: 8,
		Gap:             1.7,
		BareFrom:        60,
		BareTo:          400,
		LeanSD:          8,    // a cane that stays within +-60 mm over 400 mm leans by up to 8.5 degrees
		HandU:           0.15, // planning value of +-0.2 to 0.3 mm at one marked spot
		Level:           0.95,
		MiddleWidth:     0.7, // by simulation within 15 % of the true scatter of a median, on average
	}
}

// Derive computes Length, Internodes, Diameter and Internode of c anew from
// AlongMM, Nodes, Profile and RelativeU, with DefaultCombining. It sorts the
// nodes by AlongMM. Length is that of the traced part: where LeavesFrame is
// set, the cane itself is longer. What can't be had is left unknown, the zero Interval.
// It leaves Finding alone: JudgeCane comes after it.
func Derive(c *Cane) { DeriveWith(c, DefaultCombining()) }

// DeriveWith is Derive with other assumptions.
//
// Uncertainties are combined after JCGM 100:2008 (GUM): what is read anew at
// each place (edges, nodes) is taken as independent, what all readings of the
// cane share (scale, distance from the wire plane: RelativeU) is added in
// quadrature only after the median, since no number of readings lessens it.
func DeriveWith(c *Cane, p Combining) {
	slices.SortStableFunc(c.Nodes, func(a, b Node) int { return cmp.Compare(a.AlongMM, b.AlongMM) })
	rel := math.Max(0, finiteOr(c.RelativeU, 0))
	relD := math.Hypot(rel, math.Max(0, finiteOr(c.EdgeDoubt, 0)))
	lean := p.LeanSD
	if u := finiteOr(c.LeanU, 0); u > 0 && u < lean {
		lean = u // seen from two places
	}

	c.Length = Interval{}
	if n := len(c.AlongMM); n > 0 && c.AlongMM[n-1] > 0 {
		// The traced ends are as uncertain as nodes are.
		c.Length = p.length(c.AlongMM[n-1], part{math.Sqrt2 * p.NodeU, math.Inf(1)}, rel, lean)
	}

	c.Internodes = make([]Internode, 0, max(0, len(c.Nodes)-1))
	var diameters []reading // of the first internodes, those that were readable
	var lengths []float64
	typical := p.typical(c.Nodes)
	// How many internodes lie between the base and here, those whose nodes
	// weren't seen included: the median is that of the cane's first ones.
	count := 0
	missing := func(from, to float64) {
		k := p.parts(to-from, typical)
		for j := 0; j < k && count < p.FirstInternodes; j++ {
			a, b := from+(to-from)*float64(j)/float64(k), from+(to-from)*float64(j+1)/float64(k)
			if d, ok := p.between(c.Profile, a, b); ok {
				diameters = append(diameters, d)
			}
			count++
		}
	}
	if len(c.Nodes) > 2 && c.Nodes[0].AlongMM > p.Gap*typical {
		missing(0, c.Nodes[0].AlongMM)
	}
	for i := 0; i+1 < len(c.Nodes); i++ {
		from, to := c.Nodes[i].AlongMM, c.Nodes[i+1].AlongMM
		var in Internode
		if to > from {
			in.Length = p.length(to-from, part{math.Sqrt2 * p.NodeU, math.Inf(1)}, rel, lean)
		}
		d, ok := p.between(c.Profile, from, to)
		if ok {
			in.Diameter = p.symmetric(d.v, combine(d.part, part{p.EdgeU, math.Inf(1)}, part{relD * d.v, math.Inf(1)}))
		}
		c.Internodes = append(c.Internodes, in)
		if i < p.FirstInternodes {
			lengths = append(lengths, to-from)
		}
		switch {
		case count >= p.FirstInternodes:
		case to-from > p.Gap*typical:
			missing(from, to)
		default:
			if ok {
				diameters = append(diameters, d)
			}
			count++
		}
	}

	c.Diameter = p.diameter(c, diameters, relD)
	c.Internode = Interval{}
	if m := median(lengths); len(lengths) > 0 && m > 0 {
		doubt := math.Max(0, finiteOr(c.NodeDoubt, 0))
		c.Internode = p.length(m, part{math.Hypot(p.medianLengthU(lengths, m), doubt*m), math.Inf(1)}, rel, lean)
	}
}

// typical is the median distance of the first nodes, mm.
func (p Combining) typical(ns []Node) float64 {
	var l []float64
	for i := 0; i+1 < len(ns) && i < p.FirstInternodes; i++ {
		l = append(l, ns[i+1].AlongMM-ns[i].AlongMM)
	}
	if len(l) == 0 {
		return math.Inf(1)
	}
	return median(l)
}

// parts is how many internodes of the typical length make a stretch.
func (p Combining) parts(length, typical float64) int {
	if !(typical > 0) || math.IsInf(typical, 1) {
		return 1
	}
	return max(1, int(math.Round(length/typical)))
}

// SetDiameterByHand puts a diameter that was measured with a caliper in place
// of the photo's, mm.
func (p Combining) SetDiameterByHand(c *Cane, mm float64) {
	c.Diameter = p.symmetric(mm, part{p.HandU, math.Inf(1)})
}

// A reading is a value with the part of its uncertainty that it doesn't share
// with its neighbours.
type reading struct {
	v float64
	part
}

// diameter is the cane's own: the median over its first internodes, or, where
// none of them has one, over the bare stretch of the profile.
func (p Combining) diameter(c *Cane, ds []reading, rel float64) Interval {
	var own part
	var m float64
	if len(ds) == 0 {
		d, ok := p.over(c.Profile, p.BareFrom, p.BareTo)
		if !ok {
			return Interval{}
		}
		m, own = d.v, combine(d.part, part{p.EdgeU, math.Inf(1)})
	} else {
		vs, us := make([]float64, len(ds)), make([]float64, len(ds))
		for i, d := range ds {
			vs[i], us[i] = d.v, math.Hypot(d.u, p.EdgeU)
		}
		m = median(vs)
		w := middleWeights(vs, us, m, p.MiddleWidth)
		loss := medianLossFor(w)
		var parts []part
		for i, d := range ds {
			parts = append(parts, part{loss * w[i] * d.u, d.dof})
			parts = append(parts, part{loss * w[i] * p.EdgeU, math.Inf(1)})
		}
		own = combine(parts...)
	}
	return p.symmetric(m, combine(own, part{rel * m, math.Inf(1)}))
}

// between reads the diameter of the internode from one node to the next.
func (p Combining) between(profile []ProfilePoint, from, to float64) (reading, bool) {
	if to <= from {
		return reading{}, false
	}
	for _, share := range []float64{p.MiddleShare, p.FallbackShare} {
		rim := (to - from) * (1 - share) / 2
		if d, ok := p.over(profile, from+rim, to-rim); ok {
			return d, true
		}
	}
	return reading{}, false
}

// over is the median of the profile's readings from one place to another, and
// how sure it is of itself; false when there are too few.
func (p Combining) over(profile []ProfilePoint, from, to float64) (reading, bool) {
	var ds, us []float64
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range profile {
		if r.U > 0 && r.AlongMM >= from && r.AlongMM <= to && r.DiameterMM > 0 {
			ds, us = append(ds, r.DiameterMM), append(us, r.U)
			lo, hi = math.Min(lo, r.AlongMM), math.Max(hi, r.AlongMM)
		}
	}
	if len(ds) < max(1, p.MinReadings) {
		return reading{}, false
	}
	m := median(ds)
	independent := float64(len(ds))
	if p.IndependentMM > 0 {
		independent = math.Min(independent, 1+math.Floor((hi-lo)/p.IndependentMM))
	}
	// The readings' own scatter counts when it is more than edge finding says
	// of itself: bark, taper and what the edge model doesn't know are in it.
	u, dof := median(us), math.Inf(1)
	if s := spread(ds); s > u {
		u, dof = s, math.Max(1, independent-1)
	}
	if independent > 1 {
		u *= medianLossOf(independent) / math.Sqrt(independent)
	}
	return reading{m, part{u, dof}}, true
}

// medianLengthU is the standard uncertainty of the median of consecutive
// internode lengths. Neighbours share a node, so what one gains the other
// loses: the weighted sum is taken node by node.
func (p Combining) medianLengthU(lengths []float64, m float64) float64 {
	us := make([]float64, len(lengths))
	for i := range us {
		us[i] = math.Sqrt2 * p.NodeU
	}
	w := middleWeights(lengths, us, m, p.MiddleWidth)
	var u2, before float64
	for i := 0; i <= len(w); i++ {
		var after float64
		if i < len(w) {
			after = w[i]
		}
		u2 += (before - after) * (before - after)
		before = after
	}
	// The median isn't the weighted sum itself: never claim less than
	// independent lengths would give.
	var independent float64
	for _, wi := range w {
		independent += 2 * wi * wi
	}
	return p.NodeU * medianLossFor(w) * math.Sqrt(math.Max(u2, independent))
}

// symmetric is the interval of v with the combined uncertainty c.
func (p Combining) symmetric(v float64, c part) Interval {
	h := coverage(p.Level, c.dof) * c.u
	return Interval{Value: v, Low: math.Max(0, v-h), High: v + h}
}

// length is the interval of a length along the cane. Lean can only have
// shortened it, so the upper bound alone takes the lean's term, the length by
// which 1/cos of the lean at that level exceeds one, a cosine error; the value
// stays the apparent one.
func (p Combining) length(v float64, own part, rel, leanSD float64) Interval {
	c := combine(own, part{rel * v, math.Inf(1)})
	h := coverage(p.Level, c.dof) * c.u
	lean := coverage(p.Level, math.Inf(1)) * leanSD * math.Pi / 180
	lean = math.Min(lean, math.Pi/3)
	up := math.Hypot(h, v*(1/math.Cos(lean)-1))
	return Interval{Value: v, Low: math.Max(0, v-h), High: v + up}
}

// medianLossFor is medianLossOf for weights: 1 where one value alone makes
// the median, nearing sqrt(pi/2) where many share in it.
func medianLossFor(w []float64) float64 {
	var sum2 float64
	for _, wi := range w {
		sum2 += wi * wi
	}
	return medianLossOf(1 / sum2)
}

// medianLossOf is how much wider the median of n normal readings is than
// their mean: 1 for one and two, nearing sqrt(pi/2) from below; within 6 % of
// the exact values for small n, 1.16 (3), 1.09 (4), 1.20 (5), 1.16 (8).
func medianLossOf(n float64) float64 {
	if n <= 2 {
		return 1
	}
	return math.Sqrt(1 + (math.Pi/2-1)*(n-2)/(n-0.5))
}

func finiteOr(v, other float64) float64 {
	if !finite(v) {
		return other
	}
	return v
}
