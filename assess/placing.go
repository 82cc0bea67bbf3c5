package assess

import (
	"math"
)

// An option is one cane for one place, with what speaks for and against it.
type option struct {
	cane   int // index in the stand
	place  Place
	buds   int
	cut    Cut
	terms  []Term
	points float64 // sum of terms
}

// findingReason is the text by which a cane is left out because of its finding.
const findingReason = "%s: %s"

// fruiting tells whether a cane is sure enough and good enough to be laid in
// any place; if not, why, and whether a person must decide that.
func (c *standing) fruiting(s *stand, f Form, p Choosing) (ok bool, why Sentence, ask bool) {
	finding := c.Finding.InWords()
	if len(c.Because) > 0 && c.Finding == TooCloseToCall {
		finding = c.Because[0] // which says that it is too close
	} else if len(c.Because) > 0 {
		finding = Tell("%s: %s", finding, c.Because[0])
	}
	// Along a cordon, canes may stand anywhere on it.
	fromHead := len(f.Places) > 0
	switch {
	case c.old:
		return false, Tell("old wood"), false
	case fromHead && s.head && c.placed && c.away > p.NextVineMM:
		return false, Tell("arises %s from the head: leave it if it's the next vine's; if it's this one's, it goes with last winter's fruiting wood", mm(c.away, 0)), true
	case c.Finding == Weak || c.Finding == ShortNoded || c.Finding == WeakAndShortNoded:
		return false, finding, false
	case c.Finding == TooCloseToCall || c.Finding == NotMeasurable || c.Finding == "":
		return false, finding, true
	case fromHead && s.head && c.placed && c.away > p.FarMM:
		return false, Tell("arises %s from the head, so that last winter's fruiting wood would have to stay", mm(c.away, 0)), false
	case fromHead && s.lower && c.placed && c.rise[0] < -p.AboveMM:
		return false, Tell("arises %s above the lower wire: keeping it would lift the head", mm(-c.rise[0], 0)), false
	case len(c.Nodes) < f.BudsMin && c.LeavesFrame:
		return false, TellCount(len(c.Nodes), "only %d node is in the picture, fewer than %d: count them on the vine", "only %d nodes are in the picture, fewer than %d: count them on the vine", len(c.Nodes), f.BudsMin), true
	case len(c.Nodes) < f.BudsMin:
		return false, TellCount(len(c.Nodes), "has only %d node, fewer than %d: it didn't grow far", "has only %d nodes, fewer than %d: it didn't grow far", len(c.Nodes), f.BudsMin), false
	case c.Finding == OverVigorous:
		return false, finding, false
	}
	return true, Sentence{}, false
}

// cutAfter is the cut that leaves so many nodes, counted from the head.
func (c *standing) cutAfter(nodes int, rs RuleSet) Cut {
	if nodes < 1 || nodes > len(c.Nodes) {
		return Cut{}
	}
	beyond := rs.CutBeyond.Limit
	at := c.Nodes[nodes-1].AlongMM
	why := Tell("%s past the node (%s)", rs.CutBeyond.said(), Sentence{Text: rs.CutBeyond.Source})
	// Never into the next bud: at most to the middle of the internode.
	if nodes < len(c.Nodes) {
		if half := (c.Nodes[nodes].AlongMM - at) / 2; half < beyond {
			beyond = half
			why = Tell("half way to the next node, which is nearer than twice %s", rs.CutBeyond.said())
		}
	} else if n := len(c.AlongMM); n > 0 && c.AlongMM[n-1]-at < beyond {
		beyond = math.Max(0, c.AlongMM[n-1]-at)
		why = Tell("where the traced cane ends")
	}
	cut := Cut{AfterNode: nodes, AlongMM: at + beyond, BeyondMM: beyond, Why: why, Check: c.missedNode(nodes)}
	if px, ok := c.PxAt(cut.AlongMM); ok {
		cut.Px = &px
	}
	return cut
}

// gapFactor: a stretch without a node that is so many times as long as the
// cane's own internodes may hide one. Common practice, no source; smaller asks
// more often.
const gapFactor = 1.8

// missedNode tells where a node may be missed among the first so many, or
// between them and the base; empty for nowhere.
func (c *standing) missedNode(nodes int) Sentence {
	usual := c.Internode.Value
	if !c.Internode.Known() || nodes > len(c.Nodes) {
		return Sentence{}
	}
	before := 0.0
	for i, n := range c.Nodes[:nodes] {
		if n.AlongMM-before > gapFactor*usual {
			bare := mm(n.AlongMM-before, 0)
			if i == 0 {
				return Tell("count the buds on the vine: below the first one seen lie %s without a node, so one may be missed", bare)
			}
			return Tell("count the buds on the vine: between node %d and node %d lie %s without a node, so one may be missed", i, i+1, bare)
		}
		before = n.AlongMM
	}
	return Sentence{}
}

// consider weighs a cane for the i-th place of the form, which asks for so many
// buds; false when it can't be laid there. Asked for by a person, it may be
// laid even so.
func (s *stand) consider(k, i int, place Place, asks int, f Form, rs RuleSet, p Choosing, asked bool) (option, bool) {
	c := &s.canes[k]
	o := option{cane: k, place: place, buds: min(asks, len(c.Nodes))}
	o.cut = c.cutAfter(o.buds, rs)
	add := func(name string, points float64, words Sentence) {
		points = math.Round(points*10) / 10
		o.terms = append(o.terms, Term{name, points, words})
		o.points += points
	}
	add("place", p.Filled-p.PlaceStep*float64(i), Tell("place %d of %d in the form's order", i+1, len(f.Places)))

	if d := c.Diameter; d.Known() {
		room := math.Min((d.Value-rs.Weak.Limit)/p.DiameterRoom, rs.OverVigorous.Limit-d.Value)
		add("diameter", p.Diameter*clamp(room, 0, 1), Tell("%s", mm(d.Value, 1)))
	}
	if l := c.Internode; l.Known() {
		room := math.Min((l.Value-rs.ShortNoded.Limit)/p.InternodeRoom, (rs.LongNoded.Limit-l.Value)/p.InternodeRoom)
		add("internodes", p.Internode*clamp(room, 0, 1), Tell("%s internodes", mm(l.Value, 0)))
	}
	if s.head && c.placed {
		add("near", p.Near*clamp(1-c.away/p.FarMM, 0, 1), Tell("arises %s from the head", mm(c.away, 0)))
	}
	switch {
	case c.from.From == FromSpur:
		add("origin", p.FromHead, Tell("grows from %s", c.from))
	case c.from.From == FromHeadWood || c.from.From == "" && c.Origin == "head":
		add("origin", p.FromHead, Tell("grows from the head"))
	case c.from.From == FromOldWood || c.from.From == "" && c.Origin == "old_wood":
		add("origin", -p.FromOld, Tell("grows from older wood, which would have to stay with it"))
	}
	if s.lower && c.placed {
		theWire := Tell("wire")
		if place.Wire == UpperWire {
			theWire = Tell("lower wire")
		}
		if c.rise[0] >= 0 {
			add("height", p.Below, Tell("rises %s below the %s", mm(c.rise[0], 0), theWire))
		} else {
			add("height", p.Below*(1+2*c.rise[0]/p.AboveMM), Tell("rises %s above the %s", mm(-c.rise[0], 0), theWire))
		}
	}
	if c.placed {
		toward := 1.0
		if place.Direction == ToLeft {
			toward = -1
		}
		// Without the head there's no middle to stand to the left of.
		if s.head {
			add("side", p.Side*clamp(toward*c.x/p.SideMM, -1, 1), Tell("stands %s %s of the head", mm(math.Abs(c.x), 0), sideOf(c.x)))
		}
		lean := Tell("grows upright")
		if deg := math.Round(math.Abs(c.leanRight)); deg > 0 {
			lean = TellCount(int(deg), "leans %.0f degree %s", "leans %.0f degrees %s", deg, sideOf(c.leanRight))
		}
		add("lean", p.Lean*clamp(toward*c.leanRight/p.LeanDeg, -1, 1), lean)
		if rise, ok := s.riseTo(c, place.Wire); ok && o.cut.AfterNode > 0 {
			reach := o.cut.AlongMM - math.Max(0, rise)
			if reach < p.LeastReachMM && !asked {
				return o, false
			}
			add("reach", p.Reach*clamp(reach/p.ReachMM, 0, 1), Tell("reaches %s along the wire", mm(math.Max(0, reach), 0)))
		}
	}
	if short := asks - o.buds; short > 0 {
		add("buds", -p.PerBud*float64(short), Tell("has %d of the %d buds asked", o.buds, asks))
	}
	return o, true
}

func (s *stand) riseTo(c *standing, w Level) (float64, bool) {
	if w == UpperWire {
		return c.rise[1], s.upper
	}
	return c.rise[0], s.lower
}

// against lists what speaks against two canes together, told of the second:
// that they cross, and that they arise too near to each other.
func (s *stand) against(a, b *option, p Choosing) []Term {
	var out []Term
	x, y := &s.canes[a.cane], &s.canes[b.cane]
	if !x.placed || !y.placed {
		return nil
	}
	switch {
	case a.place.Wire == b.place.Wire && a.place.Direction != b.place.Direction:
		// The one that goes left arises to the right of the one that goes right.
		left, right := x, y
		if a.place.Direction == ToRight {
			left, right = y, x
		}
		if left.x > right.x {
			out = append(out, Term{"crossing", -p.Crossing, Tell("crosses cane %d on the %s wire", x.ID, a.place.Wire)})
		}
	case a.place.Wire != b.place.Wire:
		// The one on the lower wire lies across the other's way up.
		low, up, way := x, y, a.place.Direction
		if a.place.Wire == UpperWire {
			low, up, way = y, x, b.place.Direction
		}
		if way == ToLeft && up.x < low.x || way == ToRight && up.x > low.x {
			out = append(out, Term{"crossing", -p.CrossingUp, Tell("crosses cane %d where one rises past the other", x.ID)})
		}
	}
	if d := math.Hypot(x.x-y.x, x.y-y.y); s.mm && d < p.CrowdMM {
		out = append(out, Term{"crowding", -p.Crowding, Tell("arises only %s from cane %d", mm(d, 0), x.ID)})
	}
	return out
}

// why lists what was weighed of a cane.
func (o *option) why() sentences {
	var words []Sentence
	for _, t := range o.terms {
		if t.Name != "place" {
			words = append(words, t.Words)
		}
	}
	return joined(words, ", ")
}

func sideOf(x float64) Direction {
	if x < 0 {
		return ToLeft
	}
	return ToRight
}

func clamp(v, low, high float64) float64 {
	if !(v > low) { // NaN too
		return low
	}
	return math.Min(v, high)
}
