package assess

import (
	"fmt"
	"slices"
	"strings"
)

// Judge fills Finding and Because of every cane of m by rs and sets m.RuleSet.
// A refused measurement keeps its canes, if any, unjudged.
//
// The logic is that of JCGM 106:2012: a cane is called something only when
// the whole 95 % interval lies on one side of the limit; when the interval
// holds the limit, the finding is TooCloseToCall.
func Judge(m *Measurement, rs RuleSet) {
	m.RuleSet = rs.ID()
	if m.Outcome == Refused {
		return
	}
	for i := range m.Canes {
		JudgeCane(&m.Canes[i], rs)
	}
}

// JudgedBy is m as another rule set judges it; m itself isn't changed.
func JudgedBy(m *Measurement, rs RuleSet) *Measurement {
	out := *m
	out.Canes = slices.Clone(m.Canes) // JudgeCane replaces Because, it doesn't change it
	Judge(&out, rs)
	return &out
}

// JudgeCane fills Finding and Because of one cane. Because is never empty: it
// holds a sentence for each quantity, the one that decided first.
//
// A fault that is sure stands even where another quantity couldn't be
// measured; "sound" needs both. Of short-noded and over-vigorous together,
// short-noded is the finding, since it is the one that speaks against laying
// the cane, and Because tells both.
func JudgeCane(c *Cane, rs RuleSet) {
	j := findingOf(c, rs)
	c.Finding = j.finding
	diameter := diameterSentence(c, rs, j.weak, j.vigorous)
	internode := internodeSentence(c, rs, j.short, j.vigorous)
	c.Because = []string{diameter, internode}
	// The sentence that decided goes first.
	internodeDecides := c.Finding == ShortNoded ||
		c.Finding == NotMeasurable && c.Diameter.Known() ||
		c.Finding == TooCloseToCall && j.weak != TooClose && j.vigorous != TooClose
	if internodeDecides {
		c.Because = []string{internode, diameter}
	}
}

// A judgement is a finding with the comparisons that it follows from.
type judgement struct {
	finding               Finding
	weak, vigorous, short Verdict
}

func findingOf(c *Cane, rs RuleSet) judgement {
	d, l := c.Diameter, c.Internode
	j := judgement{weak: No, vigorous: No, short: No}
	if d.Known() {
		j.weak, j.vigorous = d.Below(rs.Weak.Limit), d.Above(rs.OverVigorous.Limit)
	}
	if l.Known() {
		j.short = l.Below(rs.ShortNoded.Limit)
	}
	switch {
	case j.weak == Yes && j.short == Yes:
		j.finding = WeakAndShortNoded
	case j.weak == Yes:
		j.finding = Weak
	case j.short == Yes:
		j.finding = ShortNoded
	case j.vigorous == Yes:
		j.finding = OverVigorous
	case !d.Known() || !l.Known():
		j.finding = NotMeasurable
	case j.weak == TooClose || j.vigorous == TooClose || j.short == TooClose:
		j.finding = TooCloseToCall
	default:
		j.finding = Sound
	}
	return j
}

func diameterSentence(c *Cane, rs RuleSet, weak, vigorous Verdict) string {
	q := c.Diameter
	switch {
	case !q.Known():
		return "diameter can't be measured here: " + whyNoDiameter(c)
	case weak == Yes:
		return "diameter " + against(q, rs.Weak.Limit) + " is below " + rs.Weak.String()
	case vigorous == Yes:
		return "diameter " + against(q, rs.OverVigorous.Limit) + " is above " + rs.OverVigorous.String()
	case weak == TooClose && vigorous == TooClose:
		return fmt.Sprintf("diameter %s holds both %s and %s: too close to call, measure it by hand",
			against(q, rs.Weak.Limit, rs.OverVigorous.Limit), rs.Weak, rs.OverVigorous)
	case weak == TooClose:
		return straddles("diameter", q, rs.Weak)
	case vigorous == TooClose:
		return straddles("diameter", q, rs.OverVigorous)
	}
	return fmt.Sprintf("diameter %s lies between %s and %s",
		against(q, rs.Weak.Limit, rs.OverVigorous.Limit), trimNumber(rs.Weak.Limit), rs.OverVigorous)
}

func internodeSentence(c *Cane, rs RuleSet, short, vigorous Verdict) string {
	q := c.Internode
	switch {
	case !q.Known():
		return "internode length can't be measured here: " + whyNoInternode(c)
	case short == Yes:
		return "internodes of " + against(q, rs.ShortNoded.Limit) + " are below " + rs.ShortNoded.String()
	case short == TooClose:
		return straddles("internode length", q, rs.ShortNoded)
	case vigorous == Yes && q.Above(rs.LongNoded.Limit) == Yes:
		return fmt.Sprintf("internodes of %s are above %s as well: bull type", against(q, rs.LongNoded.Limit), rs.LongNoded)
	}
	return "internodes of " + against(q, rs.ShortNoded.Limit) + " aren't below " + rs.ShortNoded.String()
}

func straddles(what string, q Interval, t Threshold) string {
	return fmt.Sprintf("%s %s holds the limit of %s: too close to call, measure it by hand", what, against(q, t.Limit), t)
}

func whyNoDiameter(c *Cane) string {
	if len(c.Profile) == 0 {
		return "no diameter was read along this cane"
	}
	return "too much of the cane is hidden by other wood, wires or ties"
}

func whyNoInternode(c *Cane) string {
	switch len(c.Nodes) {
	case 0:
		return "no node was seen; tap the nodes on the photo, or look at the cane itself"
	case 1:
		return "only one node was seen; tap the others on the photo, or look at the cane itself"
	}
	return "the nodes lie too close together to be told apart"
}

// against writes q in mm with as many decimals as it takes that no bound that
// differs from a limit is rounded onto it: "5.97", not "6.0 is below 6 mm".
func against(q Interval, limits ...float64) string {
	decimals := 1
	for ; decimals < 4; decimals++ {
		clear := true
		for _, limit := range limits {
			for _, v := range []float64{q.Low, q.High} {
				if v != limit && fmt.Sprintf("%.*f", decimals, v) == fmt.Sprintf("%.*f", decimals, limit) {
					clear = false
				}
			}
		}
		if clear {
			break
		}
	}
	n := func(v float64) string {
		s := fmt.Sprintf("%.*f", decimals, v)
		// Internodes of tens of millimetres need no tenths.
		if decimals == 1 && q.Value >= 20 {
			s = fmt.Sprintf("%.0f", v)
		}
		return s
	}
	low, high := n(q.Low), n(q.High)
	for _, limit := range limits {
		// Whole millimetres may round onto the limit where tenths don't.
		if l := fmt.Sprintf("%.0f", limit); decimals == 1 && q.Value >= 20 && (low == l && q.Low != limit || high == l && q.High != limit) {
			return strings.Replace(q.String(), " (", " mm (", 1)
		}
	}
	return n(q.Value) + " mm (" + low + " to " + high + ")"
}
