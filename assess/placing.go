package assess

import (
	"fmt"
	"math"
	"strings"
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

// fruiting tells whether a cane is sure enough and good enough to be laid in
// any place; if not, why, and whether a person must decide that.
func (c *standing) fruiting(s *stand, f Form, p Choosing) (ok bool, why string, ask bool) {
	because := ""
	if len(c.Because) > 0 {
		because = ": " + c.Because[0]
	}
	// Along a cordon, canes may stand anywhere on it.
	fromHead := len(f.Places) > 0
	switch {
	case c.old:
		return false, "old wood", false
	case fromHead && s.head && c.placed && c.away > p.NextVineMM:
		return false, fmt.Sprintf("arises %.0f mm from the head: leave it if it's the next vine's; if it's this one's, it goes with last winter's fruiting wood", c.away), true
	case c.Finding == Weak || c.Finding == ShortNoded || c.Finding == WeakAndShortNoded:
		return false, c.Finding.InWords() + because, false
	case c.Finding == TooCloseToCall || c.Finding == NotMeasurable || c.Finding == "":
		return false, c.Finding.InWords() + because, true
	case fromHead && s.head && c.placed && c.away > p.FarMM:
		return false, fmt.Sprintf("arises %.0f mm from the head, so that last winter's fruiting wood would have to stay", c.away), false
	case fromHead && s.lower && c.placed && c.rise[0] < -p.AboveMM:
		return false, fmt.Sprintf("arises %.0f mm above the lower wire: keeping it would lift the head", -c.rise[0]), false
	case len(c.Nodes) < f.BudsMin && c.LeavesFrame:
		return false, fmt.Sprintf("only %d nodes are in the picture, fewer than %d: count them on the vine", len(c.Nodes), f.BudsMin), true
	case len(c.Nodes) < f.BudsMin:
		return false, fmt.Sprintf("has only %d nodes, fewer than %d: it didn't grow far", len(c.Nodes), f.BudsMin), false
	case c.Finding == OverVigorous:
		return false, c.Finding.InWords() + because, false
	}
	return true, "", false
}

// cutAfter is the cut that leaves so many nodes, counted from the head.
func (c *standing) cutAfter(nodes int, rs RuleSet) Cut {
	if nodes < 1 || nodes > len(c.Nodes) {
		return Cut{}
	}
	beyond := rs.CutBeyond.Limit
	at := c.Nodes[nodes-1].AlongMM
	why := fmt.Sprintf("%s past the node (%s)", rs.CutBeyond, rs.CutBeyond.Source)
	// Never into the next bud: at most to the middle of the internode.
	if nodes < len(c.Nodes) {
		if half := (c.Nodes[nodes].AlongMM - at) / 2; half < beyond {
			beyond = half
			why = fmt.Sprintf("half way to the next node, which is nearer than twice %s", rs.CutBeyond)
		}
	} else if n := len(c.AlongMM); n > 0 && c.AlongMM[n-1]-at < beyond {
		beyond = math.Max(0, c.AlongMM[n-1]-at)
		why = "where the traced cane ends"
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
// between them and the base; "" for nowhere.
func (c *standing) missedNode(nodes int) string {
	usual := c.Internode.Value
	if !c.Internode.Known() || nodes > len(c.Nodes) {
		return ""
	}
	before := 0.0
	for i, n := range c.Nodes[:nodes] {
		if n.AlongMM-before > gapFactor*usual {
			where := fmt.Sprintf("between node %d and node %d", i, i+1)
			if i == 0 {
				where = "below the first one seen"
			}
			return fmt.Sprintf("count the buds on the vine: %s lie %.0f mm without a node, so one may be missed", where, n.AlongMM-before)
		}
		before = n.AlongMM
	}
	return ""
}

// consider weighs a cane for the i-th place of the form, which asks for so many
// buds; false when it can't be laid there. Asked for by a person, it may be
// laid even so.
func (s *stand) consider(k, i int, place Place, asks int, f Form, rs RuleSet, p Choosing, asked bool) (option, bool) {
	c := &s.canes[k]
	o := option{cane: k, place: place, buds: min(asks, len(c.Nodes))}
	o.cut = c.cutAfter(o.buds, rs)
	add := func(name string, points float64, format string, args ...any) {
		points = math.Round(points*10) / 10
		o.terms = append(o.terms, Term{name, points, fmt.Sprintf(format, args...)})
		o.points += points
	}
	add("place", p.Filled-p.PlaceStep*float64(i), "place %d of %d in the form's order", i+1, len(f.Places))

	if d := c.Diameter; d.Known() {
		room := math.Min((d.Value-rs.Weak.Limit)/p.DiameterRoom, rs.OverVigorous.Limit-d.Value)
		add("diameter", p.Diameter*clamp(room, 0, 1), "%.1f mm", d.Value)
	}
	if l := c.Internode; l.Known() {
		room := math.Min((l.Value-rs.ShortNoded.Limit)/p.InternodeRoom, (rs.LongNoded.Limit-l.Value)/p.InternodeRoom)
		add("internodes", p.Internode*clamp(room, 0, 1), "%.0f mm internodes", l.Value)
	}
	if s.head && c.placed {
		add("near", p.Near*clamp(1-c.away/p.FarMM, 0, 1), "arises %.0f mm from the head", c.away)
	}
	switch {
	case c.from.From == FromSpur:
		add("origin", p.FromHead, "grows from %s", c.from.InWords())
	case c.from.From == FromHeadWood || c.from.From == "" && c.Origin == "head":
		add("origin", p.FromHead, "grows from the head")
	case c.from.From == FromOldWood || c.from.From == "" && c.Origin == "old_wood":
		add("origin", -p.FromOld, "grows from older wood, which would have to stay with it")
	}
	if s.lower && c.placed {
		theWire := "wire"
		if place.Wire == UpperWire {
			theWire = "lower wire"
		}
		if c.rise[0] >= 0 {
			add("height", p.Below, "rises %.0f mm below the %s", c.rise[0], theWire)
		} else {
			add("height", p.Below*(1+2*c.rise[0]/p.AboveMM), "rises %.0f mm above the %s", -c.rise[0], theWire)
		}
	}
	if c.placed {
		toward := 1.0
		if place.Direction == ToLeft {
			toward = -1
		}
		// Without the head there's no middle to stand to the left of.
		if s.head {
			add("side", p.Side*clamp(toward*c.x/p.SideMM, -1, 1), "stands %.0f mm %s of the head", math.Abs(c.x), sideWord(c.x))
		}
		lean := "grows upright"
		if deg := math.Round(math.Abs(c.leanRight)); deg > 0 {
			lean = fmt.Sprintf("leans %.0f degrees %s", deg, sideWord(c.leanRight))
		}
		add("lean", p.Lean*clamp(toward*c.leanRight/p.LeanDeg, -1, 1), "%s", lean)
		if rise, ok := s.riseTo(c, place.Wire); ok && o.cut.AfterNode > 0 {
			reach := o.cut.AlongMM - math.Max(0, rise)
			if reach < p.LeastReachMM && !asked {
				return o, false
			}
			add("reach", p.Reach*clamp(reach/p.ReachMM, 0, 1), "reaches %.0f mm along the wire", math.Max(0, reach))
		}
	}
	if short := asks - o.buds; short > 0 {
		add("buds", -p.PerBud*float64(short), "has %d of the %d buds asked", o.buds, asks)
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
			out = append(out, Term{"crossing", -p.Crossing, fmt.Sprintf("crosses cane %d on the %s wire", x.ID, a.place.Wire)})
		}
	case a.place.Wire != b.place.Wire:
		// The one on the lower wire lies across the other's way up.
		low, up, way := x, y, a.place.Direction
		if a.place.Wire == UpperWire {
			low, up, way = y, x, b.place.Direction
		}
		if way == ToLeft && up.x < low.x || way == ToRight && up.x > low.x {
			out = append(out, Term{"crossing", -p.CrossingUp, fmt.Sprintf("crosses cane %d where one rises past the other", x.ID)})
		}
	}
	if d := math.Hypot(x.x-y.x, x.y-y.y); s.mm && d < p.CrowdMM {
		out = append(out, Term{"crowding", -p.Crowding, fmt.Sprintf("arises only %.0f mm from cane %d", d, x.ID)})
	}
	return out
}

// why is the sentence for a kept cane.
func (o *option) why(what string) string {
	var words []string
	for _, t := range o.terms {
		if t.Name != "place" {
			words = append(words, t.Words)
		}
	}
	return what + ": " + strings.Join(words, ", ")
}

func sideWord(x float64) string {
	if x < 0 {
		return "left"
	}
	return "right"
}

func clamp(v, low, high float64) float64 {
	if !(v > low) { // NaN too
		return low
	}
	return math.Min(v, high)
}
