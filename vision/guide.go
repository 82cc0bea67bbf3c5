package vision

import (
	"context"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
	"nodespan/vision/wood"
)

// Guide fulfils assess.Measurer: it follows one cane from base to tip on a
// photo that was measured before, and reads it as any other. The reference is
// looked for again, so that nothing is lost on the way through the record.
func (v *Measurer) Guide(ctx context.Context, data []byte, on *assess.Measurement, base, tip assess.Point) (*assess.Cane, error) {
	if on == nil || on.Reference == nil {
		return nil, assess.Errorf(assess.ERefused, "this photo has no reference, so no cane can be measured on it: mark two places of known distance first")
	}
	p, err := photo.Decode(data, v.Params.Limits)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	m, why, err := v.scaleAgain(ctx, p, on)
	if err != nil {
		return nil, err
	}
	if m == nil {
		return nil, assess.Errorf(assess.ERefused, "%s", assess.Explain(why[0]))
	}
	line, err := trace.Guide(ctx, p, m, base, tip, v.Params.Trace)
	if err != nil {
		return nil, err
	}
	// The wood's colour is learned from what was measured before, and from the
	// tapped cane itself.
	known := append(pieces([]trace.Line{*line}), measured(on.Canes)...)
	like, _ := wood.Learn(p, known, v.Params.Learn)
	profs, err := v.profiles(ctx, p, m, []trace.Line{*line}, on.Wires, like)
	if err != nil {
		return nil, err
	}
	c, ok := v.cane(m, line, profs[0], v.joints(profs, []int{0}, on.Wires)[0], like, p)
	if !ok {
		return nil, assess.Errorf(assess.EInvalid, "the cane's edges can't be told from what is behind it: measure it by hand, or hold a sheet behind it and take another photo")
	}
	return c, nil
}

// marksOf gives back the two marks that a reference was made of, nil for card
// and bar.
func marksOf(r *assess.Reference) *assess.Marks {
	if r.Kind != "marks" || len(r.Outline) < 2 {
		return nil
	}
	a, okA := r.ToMM(r.Outline[0])
	b, okB := r.ToMM(r.Outline[1])
	if !okA || !okB {
		return nil
	}
	return &assess.Marks{A: r.Outline[0], B: r.Outline[1], DistanceMM: distance(a, b)}
}

// scaleAgain finds the scale of a photo that was measured before.
func (v *Measurer) scaleAgain(ctx context.Context, p *photo.Photo, on *assess.Measurement) (*scale.Map, []assess.Reason, error) {
	m, why, err := scale.Find(ctx, p, marksOf(on.Reference), v.Params.Scale)
	if err != nil || m == nil {
		return nil, why, err
	}
	m, _ = m.Straighten(on.Wires)
	return m, nil, nil
}

// measured gives canes that were measured before as pieces to learn from.
func measured(cs []assess.Cane) []wood.Piece {
	var out []wood.Piece
	for _, c := range cs {
		var q wood.Piece
		for i, at := range c.CentreLine {
			if i >= len(c.AlongMM) || i == 0 || c.AlongMM[i] <= c.AlongMM[i-1] || !c.Diameter.Known() {
				continue
			}
			perPx := (c.AlongMM[i] - c.AlongMM[i-1]) / max(distance(at, c.CentreLine[i-1]), 1e-9)
			q.X, q.Y, q.Width = append(q.X, at[0]), append(q.Y, at[1]), append(q.Width, c.Diameter.Value/perPx)
		}
		out = append(out, q)
	}
	return out
}
