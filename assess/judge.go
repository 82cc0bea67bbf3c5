package assess

import (
	"fmt"
	"slices"
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
	c.Because = []Sentence{diameter, internode}
	// The sentence that decided goes first.
	internodeDecides := c.Finding == ShortNoded ||
		c.Finding == NotMeasurable && c.Diameter.Known() ||
		c.Finding == TooCloseToCall && j.weak != TooClose && j.vigorous != TooClose
	if internodeDecides {
		c.Because = []Sentence{internode, diameter}
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

func diameterSentence(c *Cane, rs RuleSet, weak, vigorous Verdict) Sentence {
	q := c.Diameter
	straddles := func(t Threshold) Sentence {
		return Tell("diameter %s with the limit of %s inside: too close to call, measure it by hand", against(q, t.Limit), t.said())
	}
	switch {
	case !q.Known():
		return Tell("diameter can't be measured here: %s", whyNoDiameter(c))
	case weak == Yes:
		return Tell("diameter %s is below %s", against(q, rs.Weak.Limit), rs.Weak.said())
	case vigorous == Yes:
		return Tell("diameter %s is above %s", against(q, rs.OverVigorous.Limit), rs.OverVigorous.said())
	case weak == TooClose && vigorous == TooClose:
		return Tell("diameter %s holds both %s and %s: too close to call, measure it by hand",
			against(q, rs.Weak.Limit, rs.OverVigorous.Limit), rs.Weak.said(), rs.OverVigorous.said())
	case weak == TooClose:
		return straddles(rs.Weak)
	case vigorous == TooClose:
		return straddles(rs.OverVigorous)
	}
	return Tell("diameter %s lies between %s and %s",
		against(q, rs.Weak.Limit, rs.OverVigorous.Limit), Length{rs.Weak.Limit, -1, true}, rs.OverVigorous.said())
}

func internodeSentence(c *Cane, rs RuleSet, short, vigorous Verdict) Sentence {
	q := c.Internode
	switch {
	case !q.Known():
		return Tell("internode length can't be measured here: %s", whyNoInternode(c))
	case short == Yes:
		return Tell("internodes of %s are below %s", against(q, rs.ShortNoded.Limit), rs.ShortNoded.said())
	case short == TooClose:
		return Tell("internode length %s with the limit of %s inside: too close to call, measure it by hand", against(q, rs.ShortNoded.Limit), rs.ShortNoded.said())
	case vigorous == Yes && q.Above(rs.LongNoded.Limit) == Yes:
		return Tell("internodes of %s are above %s as well: bull type", against(q, rs.LongNoded.Limit), rs.LongNoded.said())
	}
	return Tell("internodes of %s aren't below %s", against(q, rs.ShortNoded.Limit), rs.ShortNoded.said())
}

func whyNoDiameter(c *Cane) Sentence {
	if len(c.Profile) == 0 {
		return Tell("no diameter was read along this cane")
	}
	return Tell("too much of the cane is hidden by other wood, wires or ties")
}

func whyNoInternode(c *Cane) Sentence {
	switch len(c.Nodes) {
	case 0:
		return Tell("no node was seen; tap the nodes on the photo, or look at the cane itself")
	case 1:
		return Tell("only one node was seen; tap the others on the photo, or look at the cane itself")
	}
	return Tell("the nodes lie too close together to be told apart")
}

// against writes q in mm with as many decimals as it takes that no bound that
// differs from a limit is rounded onto it: "5.97", not "6.0 is below 6 mm".
func against(q Interval, limits ...float64) Sentence {
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
	// Internodes of tens of millimetres need no tenths, where whole ones don't
	// round onto a limit.
	if decimals == 1 && q.Value >= 20 && !slices.ContainsFunc(limits, func(limit float64) bool {
		l := fmt.Sprintf("%.0f", limit)
		return q.Low != limit && fmt.Sprintf("%.0f", q.Low) == l || q.High != limit && fmt.Sprintf("%.0f", q.High) == l
	}) {
		decimals = 0
	}
	return Tell("%s (%s to %s)", mm(q.Value, decimals), Length{q.Low, decimals, true}, Length{q.High, decimals, true})
}
