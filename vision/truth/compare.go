package truth

import (
	"math"
	"sort"

	"nodespan/assess"
)

// Rules of comparison.
type Rules struct {
	// NodeTolMM is how far along the cane a reported node may lie from a true
	// one (8 mm). Larger forgives more, beyond half an internode anything.
	NodeTolMM float64
	// MinVisible and MinLengthMM say which true canes count (0.7 of the part in
	// the frame, 250 mm visible): what nobody could see is not asked for.
	MinVisible, MinLengthMM float64
	// MinOverlap is the share of a reported line that must lie within one true
	// diameter of the true line (0.5), at least MinDistPx (3 px) for thin canes.
	MinOverlap, MinDistPx float64
	// MinCoverMM is how much of the cane the reported line must cover (100 mm),
	// or MinCoverShare of its visible length (0.25) if that is less.
	MinCoverMM, MinCoverShare float64
	// Rival is the share of a line's best overlap below which it may not match
	// another cane that it merely crosses or runs beside (0.7).
	Rival float64
	// NearMM is the depth within which a cane counts as in the wire plane (30 mm).
	NearMM float64
	// StepPx is the distance at which reported lines are sampled (3 px).
	StepPx float64
}

// DefaultRules are those of the project's targets.
func DefaultRules() Rules {
	return Rules{NodeTolMM: 8, MinVisible: 0.7, MinLengthMM: 250, MinOverlap: 0.5, MinDistPx: 3, MinCoverMM: 100, MinCoverShare: 0.25, Rival: 0.7, NearMM: 30, StepPx: 3}
}

// Eligible tells whether a true cane counts in recall.
func (r Rules) Eligible(c *Cane) bool {
	return c.VisibleFraction >= r.MinVisible && c.VisibleLengthMM >= r.MinLengthMM && c.LengthMM >= r.MinLengthMM
}

// Pair is a true cane that counts and the reported one that matches it.
type Pair struct {
	CaneID    string // of the truth
	Reported  int    // index in Measurement.Canes
	DepthMM   float64
	CoverMM   float64
	Diameter  Reading
	Internode Reading
	Nodes     Nodes
	BoxPx     [4]float64 // left, top, right, bottom of the true line in the frame
	// What a picture of the comparison needs: lines and nodes, px.
	TrueLine, SaidLine, TrueNodes, SaidNodes [][2]float64
}

// Reading is a true value and what was said of it, mm. Known is false when
// either is missing.
type Reading struct {
	Known bool
	Truth float64
	Said  assess.Interval
}

// Error is what was said less the truth.
func (r Reading) Error() float64 { return r.Said.Value - r.Truth }

// Inside tells whether the interval holds the truth.
func (r Reading) Inside() bool { return r.Said.Low <= r.Truth && r.Truth <= r.Said.High }

// Nodes count reported nodes, those of them that are right, the visible true
// nodes along the covered part, and those of them that were found.
type Nodes struct {
	Reported, Right, True, Found int
	AbsErrorMM                   float64 // sum over the right ones
}

// Result is one photo's comparison.
type Result struct {
	Photo      string
	Background string
	Light      string
	Reference  string // kind; "none" without one
	Refused    bool
	// FairRefusal: the reference is missing, so that refusing is right, or so
	// hard to see that it may be refused; such a photo's canes don't count.
	FairRefusal bool
	// MeasuredWithout: millimetres where nothing of known size is in the picture.
	MeasuredWithout bool

	Standing                     int // true canes of which the picture shows anything
	Eligible, Found              int // those that count
	Reported, Good, Ignored      int // reported canes; Ignored match a cane that doesn't count
	Duplicate, OnWood, Elsewhere int // false ones: second pieces, old wood or trunk, anything else
	OnNothing                    int // reported where no cane stands, with or without a reference
	Pairs                        []Pair
	MissedIDs                    []string
	Failed                       string // the measurer's error, if it gave one
}

// Compare holds a measurement against a photo's truth. A nil measurement
// counts as one that reports nothing.
func Compare(p *Photo, m *assess.Measurement, r Rules) Result {
	res := Result{Photo: p.Image, Background: plainBackground(p.Background), Light: p.Light, Reference: "none"}
	if m == nil {
		m = &assess.Measurement{Outcome: assess.Refused}
	}
	for i := range p.Canes {
		if p.Canes[i].VisibleLengthMM > 0 {
			res.Standing++
		}
	}
	res.OnNothing = len(m.Canes)
	if res.Standing > 0 {
		res.OnNothing = 0
	}
	res.Refused = m.Outcome != assess.Measured
	has := false
	for _, c := range m.Canes {
		has = has || c.Diameter.Known() || c.Internode.Known()
	}
	if p.Reference == nil {
		res.FairRefusal = res.Refused && !has
		res.MeasuredWithout = has || !res.Refused
		return res
	}
	res.Reference = p.Reference.Kind
	if hard := res.Reference == "card_tilted" || res.Reference == "card_occluded"; hard && res.Refused && !has {
		res.FairRefusal = true
		return res
	}
	lines := make([][][2]float64, len(m.Canes))
	for i, c := range m.Canes {
		lines[i] = resample(c.CentreLine, r.StepPx)
	}
	axes := make([]axis, len(p.Canes))
	for j := range p.Canes {
		axes[j] = newAxis(&p.Canes[j])
	}
	pairs, touched := r.match(lines, axes)
	byCane := map[int]overlap{}
	byLine := map[int]int{}
	for _, o := range pairs {
		byCane[o.cane], byLine[o.line] = o, o.cane
	}
	for j := range p.Canes {
		if !r.Eligible(&p.Canes[j]) {
			continue
		}
		res.Eligible++
		o, ok := byCane[j]
		if !ok {
			res.MissedIDs = append(res.MissedIDs, p.Canes[j].ID)
			continue
		}
		res.Found++
		res.Pairs = append(res.Pairs, r.pair(p, axes[j], &m.Canes[o.line], o))
	}
	for i := range m.Canes {
		res.Reported++
		j, ok := byLine[i]
		switch {
		case ok && r.Eligible(&p.Canes[j]):
			res.Good++
		case ok:
			res.Ignored++
		case touched[i]:
			res.Duplicate++
		case onOtherWood(p, lines[i]):
			res.OnWood++
		default:
			res.Elsewhere++
		}
	}
	return res
}

// overlap is how a reported line lies on a true cane.
type overlap struct {
	line, cane int
	share      float64 // of the line within reach
	lo, hi     float64 // mm along the cane that it covers
}

func (o overlap) weight() float64 { return (o.hi - o.lo) * o.share }

// match pairs lines and canes one to one, largest overlap first. touched says
// which lines lie on a cane at all.
func (r Rules) match(lines [][][2]float64, axes []axis) (pairs []overlap, touched map[int]bool) {
	touched = map[int]bool{}
	best := map[int]float64{}
	var all []overlap
	for i, l := range lines {
		if len(l) < 2 {
			continue
		}
		for j, a := range axes {
			if a.far(l, 60) {
				continue
			}
			o := overlap{line: i, cane: j, lo: math.Inf(1), hi: math.Inf(-1)}
			in := 0
			for _, q := range l {
				d, mm := a.project(q)
				if d <= math.Max(a.widthPx(mm), r.MinDistPx) {
					in++
					o.lo, o.hi = math.Min(o.lo, mm), math.Max(o.hi, mm)
				}
			}
			o.share = float64(in) / float64(len(l))
			need := math.Min(r.MinCoverMM, r.MinCoverShare*math.Max(a.c.VisibleLengthMM, 1))
			if o.share >= r.MinOverlap && o.hi-o.lo >= need {
				all = append(all, o)
				touched[i] = true
				best[i] = math.Max(best[i], o.weight())
			}
		}
	}
	sort.SliceStable(all, func(x, y int) bool { return all[x].weight() > all[y].weight() })
	lineTaken, caneTaken := map[int]bool{}, map[int]bool{}
	for _, o := range all {
		if o.weight() < r.Rival*best[o.line] || lineTaken[o.line] || caneTaken[o.cane] {
			continue
		}
		lineTaken[o.line], caneTaken[o.cane] = true, true
		pairs = append(pairs, o)
	}
	return pairs, touched
}

func (r Rules) pair(p *Photo, a axis, c *assess.Cane, o overlap) Pair {
	t := a.c
	out := Pair{CaneID: t.ID, Reported: o.line, CoverMM: o.hi - o.lo, BoxPx: box(p, t)}
	var depths []float64
	for i, n := range t.Internodes {
		if i < 8 {
			depths = append(depths, a.at(t.LineDepthMM, n.MidMM))
		}
	}
	out.DepthMM = t.MeanDepthMM
	if len(depths) > 0 {
		sort.Float64s(depths)
		out.DepthMM = quantile(depths, 0.5)
	}
	if t.MedianDiameter != nil && c.Diameter.Known() {
		out.Diameter = Reading{true, *t.MedianDiameter, c.Diameter}
	}
	if t.MedianInternode != nil && c.Internode.Known() {
		out.Internode = Reading{true, *t.MedianInternode, c.Internode}
	}
	out.Nodes = r.nodes(a, c, o)
	out.TrueLine = t.LinePx
	for _, q := range c.CentreLine {
		out.SaidLine = append(out.SaidLine, q)
	}
	for _, n := range t.Nodes {
		out.TrueNodes = append(out.TrueNodes, n.Px)
	}
	for _, n := range c.Nodes {
		out.SaidNodes = append(out.SaidNodes, n.Px)
	}
	return out
}

// nodes matches reported and true nodes one to one, nearest first.
func (r Rules) nodes(a axis, c *assess.Cane, o overlap) Nodes {
	lo, hi := o.lo-r.NodeTolMM, o.hi+r.NodeTolMM
	n := Nodes{Reported: len(c.Nodes)}
	type hit struct {
		i, j int
		d    float64
	}
	var hits []hit
	for _, t := range a.c.Nodes {
		if t.Visible && t.MM >= lo && t.MM <= hi {
			n.True++
		}
	}
	for i, q := range c.Nodes {
		d, mm := a.project(q.Px)
		if d > 2*math.Max(a.widthPx(mm), r.MinDistPx) {
			continue // beside the cane
		}
		for j, t := range a.c.Nodes {
			if e := math.Abs(mm - t.MM); e <= r.NodeTolMM {
				hits = append(hits, hit{i, j, e})
			}
		}
	}
	sort.SliceStable(hits, func(x, y int) bool { return hits[x].d < hits[y].d })
	usedI, usedJ := map[int]bool{}, map[int]bool{}
	for _, h := range hits {
		if usedI[h.i] || usedJ[h.j] {
			continue
		}
		usedI[h.i], usedJ[h.j] = true, true
		n.Right++
		n.AbsErrorMM += h.d
		if t := a.c.Nodes[h.j]; t.Visible && t.MM >= lo && t.MM <= hi {
			n.Found++
		}
	}
	return n
}

// onOtherWood tells whether at least half of a line lies on trunk, old wood or
// a tendril.
func onOtherWood(p *Photo, line [][2]float64) bool {
	if len(line) < 2 || p.MMPerPx <= 0 {
		return false
	}
	for _, w := range p.Wood {
		if w.Class == "cane" || len(w.PolylinePx) < 2 {
			continue
		}
		in := 0
		for _, q := range line {
			d, i, f := nearest(w.PolylinePx, q)
			wide := (w.DiameterMM[i] + (w.DiameterMM[i+1]-w.DiameterMM[i])*f) / p.MMPerPx
			if d <= math.Max(wide, 4) {
				in++
			}
		}
		if 2*in >= len(line) {
			return true
		}
	}
	return false
}

func box(p *Photo, c *Cane) [4]float64 {
	b := [4]float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, q := range c.LinePx {
		x, y := clampTo(q[0], p.ImageSize[0]), clampTo(q[1], p.ImageSize[1])
		b = [4]float64{math.Min(b[0], x), math.Min(b[1], y), math.Max(b[2], x), math.Max(b[3], y)}
	}
	return b
}

func clampTo(v float64, n int) float64 { return math.Max(0, math.Min(v, float64(n-1))) }

// plainBackground gives the words for the letters that some truth files use.
func plainBackground(s string) string {
	switch s {
	case "a":
		return "sky_grass"
	case "c":
		return "next_row"
	case "d":
		return "soil"
	case "b/white", "b/blue":
		return "sheet" + s[1:]
	}
	return s
}

// quantile of sorted values, linear between them.
func quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	x := q * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (sorted[i+1]-sorted[i])*(x-float64(i))
}
