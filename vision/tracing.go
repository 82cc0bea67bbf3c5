package vision

import (
	"context"

	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
	"nodespan/vision/wood"
)

// A tracing is what was found of wood in a photo.
type tracing struct {
	seeds   []wood.Seed
	found   *trace.Result
	learned *wood.Likeness // nil where nothing was learned
}

// traced finds the photo's canes: a first look that knows nothing of the wood's
// colour, what it looks like learned from that, and a second look that knows
// it. All is done on a copy of the photo as coarse as will do for that. seeded
// is called between looking for wood and following it.
func (v *Measurer) traced(ctx context.Context, p *photo.Photo, m *scale.Map, seeded func()) (*tracing, error) {
	f := max(1, v.Params.WorkMM/m.MMPerPx)
	small, err := p.Reduced(f)
	if err != nil {
		return nil, err
	}
	defer small.Close()
	ms := m.Reduced(f)
	seeds, err := wood.Find(ctx, small, ms, v.Params.Wood)
	if err != nil {
		return nil, err
	}
	seeded()
	t, err := trace.Find(ctx, small, ms, seeds, v.Params.Trace)
	if err != nil {
		return nil, err
	}
	out := &tracing{seeds: seeds, found: t}
	colours := wood.ColoursOf(small, v.Params.AroundMM/ms.MMPerPx, v.Params.Learn)
	from := t.Telling(ms, v.Params.Trace)
	if known, ok := colours.Learn(pieces(from)); ok {
		like, hue := known.Likeness(), known.ByColour()
		view, err := like.Over(small)
		if err != nil {
			return nil, err
		}
		defer view.Close()
		again, err := wood.Find(ctx, view, ms, v.Params.Wood)
		if err != nil {
			return nil, err
		}
		if out.found, err = trace.Again(ctx, small, like, hue, ms, again, from, t, v.Params.Trace); err != nil {
			return nil, err
		}
		// The second look knows more wood, and its widths better.
		if fine, ok := colours.Fine(p, f, pieces(out.found.Canes)); ok {
			out.learned = fine
		}
	}
	wood.Enlarge(out.seeds, f)
	out.found.Enlarge(f)
	return out, nil
}

// pieces gives lines to learn the wood's colour from.
func pieces(ls []trace.Line) []wood.Piece {
	out := make([]wood.Piece, len(ls))
	for k, l := range ls {
		for i, q := range l.Points {
			if l.Seen[i] {
				out[k].X, out[k].Y, out[k].Width = append(out[k].X, q[0]), append(out[k].Y, q[1]), append(out[k].Width, l.Width[i])
			}
		}
	}
	return out
}
