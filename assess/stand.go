package assess

import (
	"math"
	"slices"
)

// A stand is a vine as the choice sees it: its canes by number, and where
// each arises, in mm on the wire plane with x along the lower wire and y down.
type stand struct {
	canes []standing
	mm    bool // places are millimetres; else pixels, good for left and right alone
	head  bool // the head was seen
	lower bool // the lower fruiting wire was seen
	upper bool
	// headDrop is how far the head stands below the lower wire, mm; NaN when
	// either wasn't seen.
	headDrop float64
}

// A standing is one cane and where it arises.
type standing struct {
	Cane
	old       bool       // a person said that it's old wood
	from      Descent    // what it grew from, as far as last winter's record tells
	placed    bool       // x and the rest are known
	x, y      float64    // of the base relative to the head, mm; x to the right, y down
	away      float64    // of the base from the head, mm
	rise      [2]float64 // from the base up to the lower and upper wire, mm; negative when it arises above
	leanRight float64    // degrees from upright, to the right
}

// newStand places canes of m. It sorts them by number, so that nothing depends
// on the order in which they came.
func newStand(m *Measurement, canes []standing, leanOver float64) stand {
	s := stand{canes: canes}
	slices.SortStableFunc(s.canes, func(a, b standing) int { return a.ID - b.ID })

	toMM := m.Reference.ToMM
	if m.Reference == nil || m.Reference.PxToMM == [9]float64{} {
		toMM = func(p Point) (Point, bool) { return p, finite(p[0]) && finite(p[1]) }
	} else {
		s.mm = true
	}
	lower, upper := wireOf(m, "lower_fruiting", toMM), wireOf(m, "upper_fruiting", toMM)
	s.lower, s.upper = lower != nil && s.mm, upper != nil && s.mm
	// The card may hang askew: the wire tells what level is.
	turn := 0.0
	if lower != nil {
		turn = lower.angle()
	} else if upper != nil {
		turn = upper.angle()
	}
	at := func(p Point) (Point, bool) {
		q, ok := toMM(p)
		return q.turned(-turn), ok
	}

	var head Point
	if m.Head != nil {
		head, s.head = at(*m.Head)
	}
	if !s.head {
		head = middleOfBases(s.canes, at)
	}
	s.head = s.head && s.mm
	s.headDrop = math.NaN()
	if s.head && s.lower {
		s.headDrop = head[1] - lower.turned(-turn).yAt(head[0])
	}
	for i := range s.canes {
		c := &s.canes[i]
		if len(c.CentreLine) == 0 {
			continue
		}
		base, ok := at(c.CentreLine[0])
		if !ok {
			continue
		}
		c.placed = true
		c.x, c.y = base[0]-head[0], base[1]-head[1]
		c.away = math.Hypot(c.x, c.y)
		for k, w := range []*levelLine{lower, upper} {
			if w != nil {
				c.rise[k] = base[1] - w.turned(-turn).yAt(base[0])
			}
		}
		if p, ok := c.PxAt(leanOver); ok {
			if q, ok := at(p); ok && (q[0] != base[0] || q[1] != base[1]) {
				c.leanRight = math.Atan2(q[0]-base[0], base[1]-q[1]) * 180 / math.Pi
			}
		}
	}
	return s
}

// middleOfBases stands in for a head that wasn't seen: the middle of where the
// canes arise.
func middleOfBases(canes []standing, at func(Point) (Point, bool)) Point {
	var xs, ys []float64
	for _, c := range canes {
		if len(c.CentreLine) > 0 {
			if q, ok := at(c.CentreLine[0]); ok {
				xs, ys = append(xs, q[0]), append(ys, q[1])
			}
		}
	}
	if len(xs) == 0 {
		return Point{}
	}
	return Point{median(xs), median(ys)}
}

// A levelLine is a wire as a straight line through its ends.
type levelLine struct{ a, b Point }

func wireOf(m *Measurement, role string, at func(Point) (Point, bool)) *levelLine {
	for _, w := range m.Wires {
		if w.Role != role || len(w.Line) < 2 {
			continue
		}
		a, okA := at(w.Line[0])
		b, okB := at(w.Line[len(w.Line)-1])
		if a[0] > b[0] {
			a, b = b, a
		}
		if okA && okB && b[0] > a[0] {
			return &levelLine{a, b}
		}
	}
	return nil
}

func (l levelLine) angle() float64 { return math.Atan2(l.b[1]-l.a[1], l.b[0]-l.a[0]) }

func (l levelLine) turned(by float64) levelLine { return levelLine{l.a.turned(by), l.b.turned(by)} }

func (l levelLine) yAt(x float64) float64 {
	return l.a[1] + (x-l.a[0])*(l.b[1]-l.a[1])/(l.b[0]-l.a[0])
}

// turned turns p about the origin by an angle in radians.
func (p Point) turned(by float64) Point {
	sin, cos := math.Sincos(by)
	return Point{p[0]*cos - p[1]*sin, p[0]*sin + p[1]*cos}
}
