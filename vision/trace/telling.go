package trace

import (
	"slices"

	"nodespan/vision/scale"
)

// Telling gives the lines that tell the wood's colour: the canes, and where they
// are few, also what is long and was dropped only because it starts in the air.
// Before soil of their colour, canes show in pieces of which hardly one reaches
// its base, and most long pieces are canes nevertheless; but not on a trellis where
// nothing is found that could bear one: there they are posts, far rows and grass.
func (r *Result) Telling(m *scale.Map, par Params) []Line {
	seen := 0.0
	for i := range r.Canes {
		seen += r.Canes[i].seenLength(m)
	}
	if seen >= par.FewMM || len(r.Canes) == 0 && !r.borne {
		return r.Canes
	}
	out := slices.Clone(r.Canes)
	for _, d := range r.Dropped {
		if d.Why == inAir && pathLength(d.Line.mm(m)) > par.HintMM {
			out = append(out, d.Line)
		}
	}
	return out
}

// seenLength is how much of a line was seen, mm.
func (l *Line) seenLength(m *scale.Map) float64 {
	sum := 0.0
	for i := 1; i < len(l.Points); i++ {
		if l.Seen[i] {
			sum += m.Distance(l.Points[i-1], l.Points[i])
		}
	}
	return sum
}
