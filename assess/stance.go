package assess

import (
	"math"
	"slices"
)

// What a second photo from a step aside leaves unsure, beside the card's own
// scale: relative standard uncertainty of a cane's millimetres (its section
// isn't round, 1 %; the pair's own part, some 0.4 %), and of its lean, degrees.
// As measured on pairs with known truth: see "A second stance: figures
// reached" in DEVELOPERS.md.
const (
	pairU    = 0.011
	pairLean = 2.0
)

// pairEdges is what a second reading of the edges leaves of their doubt, when the
// two differ by as much as their doubts say. When the two agree, less is left, which
// nobody can foresee.
const pairEdges = math.Sqrt2 / 2

// PairFloor is what the edges of two photos may have wrong together, relative: the
// same sun, the same bark.
const PairFloor = 0.03

// A second photo is worth the way from this share on by which it would narrow
// the interval of a diameter that is too close to call (ours). Edges that are read
// twice always narrow it by three tenths.
const worthNarrowing = 1. / 3

// quartile of the normal distribution, in standard deviations: one time in four
// a value lies farther up than that, and one in four farther down.
const quartile = 0.6744897501960817

// Foreseen is a cane as it would stand, read alike, with one more photo.
type Foreseen struct {
	Cane Cane // with the interval that would be left; its value may turn out otherwise
	// Settles tells that it would then be called something at its present value.
	Settles bool
	// Edges tells that most of what it would take away is doubt of its edges, not
	// of its depth.
	Edges bool
}

// WithSecondStance is a cane as it would stand, read alike, with one more photo
// from a step aside, the card left hanging. It shows how far the cane stands
// off the wire, which is a doubt that one photo leaves open, and reads the edges
// a second time; helps tells whether that matters: the cane's thickness is too
// close to call, and it would be called one time in four at least, or its
// diameter's interval would narrow by a third. It can't where the scale is no
// card, or where a second photo was used already. c isn't changed.
func WithSecondStance(m *Measurement, c Cane, rs RuleSet) (f Foreseen, helps bool) {
	if !TakesSecondStance(m) || c.Depth != nil || c.Finding != TooCloseToCall {
		return Foreseen{Cane: cloneCane(c)}, false
	}
	thickness := c
	thickness.Internode = Interval{Value: c.Internode.Value, Low: c.Internode.Value, High: c.Internode.Value}
	if JudgeCane(&thickness, rs); thickness.Finding != TooCloseToCall {
		return Foreseen{Cane: cloneCane(c)}, false // the doubt is its nodes'
	}
	doubt := math.Max(0, finiteOr(c.EdgeDoubt, 0))
	left := math.Min(doubt, math.Max(doubt*pairEdges, PairFloor))
	f.Cane = foreseen(c, math.Hypot(m.Reference.RelativeU, pairU), left, pairLean, rs)
	if !f.Cane.Diameter.Known() || !c.Diameter.Known() {
		return f, false
	}
	f.Settles = f.Cane.Finding != TooCloseToCall
	// Depth and edges also move the value itself, by what is unsure of them now.
	byDepth := math.Max(0, c.RelativeU*c.RelativeU-f.Cane.RelativeU*f.Cane.RelativeU)
	byEdges := doubt*doubt - left*left
	f.Edges = byEdges > byDepth
	moved := quartile * math.Sqrt(byDepth+byEdges)
	called := f.Settles
	for _, by := range []float64{1 - moved, 1 + moved} {
		other := f.Cane
		other.Diameter, other.Internode = other.Diameter.over(by), other.Internode.over(by)
		JudgeCane(&other, rs)
		called = called || other.Finding != TooCloseToCall
	}
	return f, called || f.Cane.Diameter.Width() <= (1-worthNarrowing)*c.Diameter.Width()
}

// TakesSecondStance tells whether a photo can be measured together with a
// second one: its scale is a card, and none was used yet.
func TakesSecondStance(m *Measurement) bool {
	return m.Outcome == Measured && m.With == "" && m.Reference != nil && m.Reference.Kind == "checker"
}

// SecondUnused gives the reason why a second photo changed nothing; false when
// there is none.
func SecondUnused(m *Measurement) (Reason, bool) {
	for _, r := range m.Reasons {
		if slices.Contains([]Reason{SecondTooNear, SecondDisagrees, SecondUnscaled}, r) {
			return r, true
		}
	}
	return "", false
}

// InWords says how far a cane stands off the card's plane, as seen by whoever
// holds the camera.
func (d Depth) InWords() Sentence {
	length := func(v float64) Length { return Length{MM: math.Abs(v), Decimals: 0} }
	bare := func(v float64) Length { return Length{MM: math.Abs(v), Decimals: 0, Bare: true} }
	switch {
	case d.High < 0:
		return Tell("Stands %s nearer to you than the card hangs (%s to %s).", length(d.Value), bare(d.High), bare(d.Low))
	case d.Low > 0:
		return Tell("Stands %s farther from you than the card hangs (%s to %s).", length(d.Value), bare(d.Low), bare(d.High))
	}
	return Tell("Stands about where the card hangs: at most %s nearer to you or farther.", length(math.Max(-d.Low, d.High)))
}

// foreseen is a cane read alike, with other uncertainties of what its readings
// share, of its edges, and of its lean (degrees), where those are less than now.
func foreseen(c Cane, relativeU, edgeDoubt, leanU float64, rs RuleSet) Cane {
	out := cloneCane(c)
	out.RelativeU, out.EdgeDoubt = math.Min(c.RelativeU, relativeU), edgeDoubt
	if leanU > 0 && (c.LeanU == 0 || leanU < c.LeanU) {
		out.LeanU = leanU
	}
	Derive(&out)
	JudgeCane(&out, rs)
	return out
}

// Corner is a part of the picture, as one says where a cane stands.
type Corner struct {
	Side   string `json:"side"`   // "left", "middle" or "right"
	Height string `json:"height"` // "upper", "middle" or "lower"
}

// CornerOf tells in which third of the picture, across and up, the middle of a
// cane lies.
func CornerOf(m *Measurement, c Cane) Corner {
	at := Corner{"middle", "middle"}
	if len(c.CentreLine) == 0 || m.WidthPx <= 0 || m.HeightPx <= 0 {
		return at
	}
	p := c.CentreLine[len(c.CentreLine)/2]
	third := func(share float64, low, high string) string {
		switch {
		case share < 1./3:
			return low
		case share > 2./3:
			return high
		}
		return "middle"
	}
	at.Side = third(p[0]/float64(m.WidthPx), "left", "right")
	at.Height = third(p[1]/float64(m.HeightPx), "upper", "lower")
	return at
}

// StepTo is the side, "left" or "right" of whoever holds the camera, to which a
// step for a second photo goes: that on which the card hangs, so that it stays
// well in the picture. Depth shows as well from either.
func StepTo(m *Measurement) string {
	if m.Reference == nil || len(m.Reference.Outline) == 0 {
		return "left"
	}
	var x float64
	for _, p := range m.Reference.Outline {
		x += p[0] / float64(len(m.Reference.Outline))
	}
	if x > float64(m.WidthPx)/2 {
		return "right"
	}
	return "left"
}
