package assess

import (
	"math"
	"slices"
)

// BudsPointing counts the kept buds of a laid cane by the way they look.
type BudsPointing struct {
	Up      int `json:"up"`
	Out     int `json:"out"`
	Down    int `json:"down"`
	Rising  int `json:"rising"`  // on the part that rises from the head to the wire: they look along the row
	Unknown int `json:"unknown"` // their side couldn't be seen
}

// Turn is how a cane is turned about itself when it's laid.
type Turn string

// The ways to turn a cane.
const (
	NoTurn      Turn = "none"
	HalfTurn    Turn = "half"    // up and down change places
	QuarterTurn Turn = "quarter" // all look out, to either side of the row
)

// Tie is one place at which a laid cane is fastened.
type Tie struct {
	AlongMM float64 `json:"along_mm"` // from the cane's base
	Px      *Point  `json:"px,omitempty"`
}

// Laying says how a kept cane is brought to its wire.
type Laying struct {
	Ties []Tie `json:"ties"` // in the order in which they're made
	// Buds as the cane falls when it's bent over without being turned, after a
	// half turn about itself, and after a quarter turn.
	Buds        BudsPointing `json:"buds"`
	HalfTurn    BudsPointing `json:"buds_after_half_turn"`
	QuarterTurn BudsPointing `json:"buds_after_quarter_turn"`
	// Turn brings the most buds up; Turned are the buds after it, and Watch the
	// nodes, counted from the head, whose buds then look down: those to watch
	// in spring.
	Turn   Turn         `json:"turn"`
	Turned BudsPointing `json:"buds_turned"`
	Watch  []int        `json:"watch"`
	Steps  []Sentence   `json:"steps"` // in words, in order
}

// Tying says where ties go. Common practice, no source: flat along the wire,
// fastened at several points so that wind can't loosen it.
type Tying struct {
	// EveryMM is the most wire between two ties, mm. Larger makes fewer ties.
	EveryMM float64
	// EndMM is how far before the cut the last tie goes, mm.
	EndMM float64
	// Least is the fewest ties of a cane.
	Least int
}

// DefaultTying is what Suggest uses.
func DefaultTying() Tying { return Tying{EveryMM: 250, EndMM: 40, Least: 3} }

// lay plans how the cane of o is laid. The first tie goes where the cane meets
// its wire, the last just before its end, the others evenly between them, none
// on a node.
func (s *stand) lay(o *option, p Tying) *Laying {
	c := &s.canes[o.cane]
	l := &Laying{Ties: []Tie{}, Turn: NoTurn, Watch: []int{}}
	end := o.cut.AlongMM
	if o.cut.AfterNode == 0 {
		l.Steps = []Sentence{Tell("no node was seen on it: count the buds on the vine before cutting")}
		return l
	}

	from := 0.0
	if rise, ok := s.riseTo(c, o.place.Wire); ok {
		from = math.Max(0, rise)
	} else {
		// The wire wasn't seen: from the second node on, as far as that's known.
		from = c.Nodes[min(1, len(c.Nodes)-1)].AlongMM
	}
	to := math.Max(from, end-p.EndMM)
	ties := max(p.Least, 1+int(math.Ceil((to-from)/p.EveryMM)))
	for i := range ties {
		at := from + (to-from)*float64(i)/float64(max(1, ties-1))
		at = math.Min(offNodes(at, c.Nodes), end)
		if n := len(l.Ties); n > 0 && at-l.Ties[n-1].AlongMM < 20 {
			continue // too short a stretch for one more
		}
		tie := Tie{AlongMM: math.Round(at)}
		if px, ok := c.PxAt(at); ok {
			tie.Px = &px
		}
		l.Ties = append(l.Ties, tie)
	}

	kept := c.Nodes[:min(o.buds, len(c.Nodes))]
	if _, known := s.riseTo(c, o.place.Wire); !known {
		from = 0
	}
	l.Buds, l.HalfTurn, l.QuarterTurn = budsPointing(kept, o.place.Direction, from)
	l.Turned = l.Buds
	if l.HalfTurn.Up > l.Buds.Up {
		l.Turn, l.Turned = HalfTurn, l.HalfTurn
	}
	for i, n := range kept {
		if looksUp, seen := upAfter(n, o.place.Direction, l.Turn); seen && !looksUp && n.AlongMM >= from {
			l.Watch = append(l.Watch, i+1)
		}
	}
	l.Steps = []Sentence{
		Tell("take off tendrils, stubs and side shoots"),
		Tell("cut %s past node %d, counted from the head", mm(o.cut.BeyondMM, 0), o.cut.AfterNode),
		Tell("bend it slowly to the %s wire, %s, and lay it flat along it", o.place.Wire, o.place.Direction),
		l.budsInWords(),
		Tell("tie it at %d points, first where it meets the wire", len(l.Ties)),
	}
	return l
}

// offNodes moves a tie that would sit on a node to the nearest place beside
// one, so that it doesn't press on a bud; where nodes stand too close together
// for that, to the middle of the nearest internode.
func offNodes(at float64, nodes []Node) float64 {
	const (
		clear = 12.0 // mm to either side of a node
		move  = 40.0 // mm, the farthest that a tie is moved
	)
	free := func(x float64) bool {
		return !slices.ContainsFunc(nodes, func(n Node) bool { return math.Abs(n.AlongMM-x) < clear-1e-9 })
	}
	if free(at) {
		return at
	}
	best, middle := math.Inf(1), math.Inf(1)
	nearer := func(x, than float64) bool { return math.Abs(x-at) < math.Abs(than-at) }
	for i, n := range nodes {
		for _, x := range []float64{n.AlongMM - clear, n.AlongMM + clear} {
			if x >= 0 && math.Abs(x-at) <= move && free(x) && nearer(x, best) {
				best = x
			}
		}
		if i > 0 {
			if x := (nodes[i-1].AlongMM + n.AlongMM) / 2; nearer(x, middle) {
				middle = x
			}
		}
	}
	switch {
	case !math.IsInf(best, 1):
		return best
	case !math.IsInf(middle, 1):
		return middle
	}
	return at
}

// upAfter tells whether a bud looks up once its cane, which stood upright, is
// bent over in the wires' plane and turned: of one laid to the right those on
// its left, seen from base to tip, come up, of one laid to the left those on
// its right; half a turn changes them over. seen is false for a bud whose side
// isn't known.
func upAfter(n Node, d Direction, t Turn) (up, seen bool) {
	if n.Side != "left" && n.Side != "right" {
		return false, false
	}
	up = (n.Side == "left") == (d == ToRight)
	if t == HalfTurn {
		up = !up
	}
	return up, true
}

// budsPointing counts which way the buds look once the cane is laid, bent
// straight over, with half a turn, and with a quarter turn, which makes all
// look out: half of them towards this side of the row and half to the other.
// Buds below along, on the part that rises to the wire, aren't turned by
// laying.
func budsPointing(nodes []Node, d Direction, along float64) (straight, half, quarter BudsPointing) {
	count := func(t Turn) (b BudsPointing) {
		for _, n := range nodes {
			up, seen := upAfter(n, d, t)
			switch {
			case n.AlongMM < along:
				b.Rising++
			case !seen:
				b.Unknown++
			case t == QuarterTurn:
				b.Out++
			case up:
				b.Up++
			default:
				b.Down++
			}
		}
		return b
	}
	return count(NoTurn), count(HalfTurn), count(QuarterTurn)
}

func (l *Laying) budsInWords() Sentence {
	b := l.Turned
	s := Tell("bent straight over, %d of its buds look up, %d out and %d down", b.Up, b.Out, b.Down)
	if l.Turn == HalfTurn {
		s = Tell("turned by half while it's bent over, %d of its buds look up, %d out and %d down", b.Up, b.Out, b.Down)
	}
	if b.Rising > 0 {
		s = Tell("%s, and %d sit on the part that rises to the wire", s, b.Rising)
	}
	if b.Unknown > 0 {
		s = Tell("%s; of %d the side couldn't be seen", s, b.Unknown)
	}
	if len(l.Watch) > 0 {
		s = Tell("%s; watch the buds at node %s in spring", s, numbersInWords(l.Watch))
	}
	return s
}

// numbersInWords writes "2, 4 and 6".
func numbersInWords(ns []int) Sentence {
	if len(ns) == 1 {
		return Tell("%d", ns[0])
	}
	var first []Sentence
	for _, n := range ns[:len(ns)-1] {
		first = append(first, Tell("%d", n))
	}
	return Tell("%s and %d", joined(first, ", "), ns[len(ns)-1])
}
