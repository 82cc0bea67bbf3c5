package trace

import (
	"math"
	"slices"

	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// sortLearned tells canes from the rest among what was followed on the
// likeness to recognised wood. There the wood's own colour says most; what bears
// a cane is asked only of what is short or looks less like the others.
func sortLearned(p *photo.Photo, m *scale.Map, rs []ribbon, like *wood.Likeness, usual float64, before *Result, par Params) *Result {
	out := &Result{Wires: before.Wires, OldWood: slices.Clone(before.OldWood)}
	for _, d := range before.Dropped {
		if d.Why == belowWire {
			out.Dropped = append(out.Dropped, d) // a trunk, maybe
		}
	}
	ground := fruiting(m, out.Wires)
	upper := upperFruiting(m, out.Wires, ground)
	white := whiteOf(p, m)
	bearers := bearing(p, m, ground, upper, white, out, par)
	plain := plainBackdrop(p, m, ground, par)
	var canes []Line
	for i := range rs {
		l := rs[i].line()
		l.Learned = true
		if isWire(m, &l) {
			continue
		}
		l, why := asCane(m, l, ground, par)
		l.fromHead(m, ground, par.HeadMM)
		base := l.Points[0]
		rise := (ground(base[0]) - base[1]) * m.At(base[0], base[1])
		tip := l.Points[len(l.Points)-1]
		reaches := (ground(tip[0]) - tip[1]) * m.At(tip[0], tip[1])
		length := pathLength(l.mm(m))
		alike := l.odds(like) / max(usual, 0.5)
		borne := nearAny(m, base, bearers, par.BearMM)
		least := par.LeastAlike
		if borne && math.Abs(rise) < par.BaseMM && length > par.LongMM && l.MedianWidth()*m.At(base[0], base[1]) < par.MixedMM {
			least = par.LeastMixed
		}
		if why == bridged && math.Abs(rise) < par.BaseMM && length > par.BridgedMM && alike > par.LeastAlike {
			why = "" // hidden by others near the head, and of their colour where it shows
		}
		if why == inAir && !borne {
			l.LostMM = max(rise, 0)
		}
		switch {
		case why == oldWood:
			out.OldWood = append(out.OldWood, l)
			continue
		case why != "" && why != inAir:
		case alike < least:
			why = "unlike the other canes"
		case looksLike(p, m, &l, white, par) == shadow:
			why = shadow
		case why == "":
		case l.straight(m, jitterPx):
			why = tooStraight
		case alike > par.VeryAlike && rise > -par.HeadMM && rise < par.LowMM,
			alike > par.VeryAlike && length > par.AloneMM && rise > 0 && rise < par.AirRiseMM && reaches > par.AirTipMM,
			atSide(p, base) && (length > par.SideLengthMM || alike > par.VeryAlike && length > par.SideAlikeMM),
			plain && rise > -150 && rise < 700,
			math.Abs(rise) < 450 && borne:
			why = ""
		}
		if why != "" {
			out.Dropped = append(out.Dropped, Dropped{l, why})
			continue
		}
		canes = append(canes, l)
	}
	// What was found without knowing the colour counts only where nothing
	// else runs, and where it turned out to have the colour.
	for _, l := range before.Canes {
		if l.odds(like)/max(usual, 0.5) > par.VeryAlike && !slices.ContainsFunc(canes, func(o Line) bool { return l.inside(&o) > par.MostShared || o.inside(&l) > par.MostShared }) {
			canes = append(canes, l)
		}
	}
	out.once(canes)
	return out
}

// fromHead cuts off what runs down the trunk: no cane arises more than so many
// millimetres below the fruiting wire.
func (l *Line) fromHead(m *scale.Map, ground func(x float64) float64, below float64) {
	k := 0
	for k < len(l.Points)-8 && (l.Points[k][1]-ground(l.Points[k][0]))*m.At(l.Points[k][0], l.Points[k][1]) > below {
		k++
	}
	l.Points, l.Width, l.Seen = l.Points[k:], l.Width[k:], l.Seen[k:]
}

// odds is the mean log odds of wood along a line, where it was seen.
func (l *Line) odds(like *wood.Likeness) float64 {
	sum, n := 0.0, 0.0
	for i, q := range l.Points {
		if l.Seen[i] {
			sum, n = sum+like.At(q[0], q[1]), n+1
		}
	}
	return sum / max(n, 1)
}
