package scale

import (
	"slices"
)

// Reduced gives the map of the same photo made smaller: one pixel of the copy is
// f by f of the photo, f at least 1. It takes places of the copy to millimetres;
// what the map knows about blur and its own uncertainty stays behind, since
// nothing is measured on a copy.
func (m *Map) Reduced(f float64) *Map {
	out := *m
	o := (f - 1) / (2 * f) // centres of pixels are at whole numbers in both
	out.MMToPx = m.MMToPx
	for k := range 3 {
		out.MMToPx[k] = m.MMToPx[k]/f - o*m.MMToPx[6+k]
		out.MMToPx[3+k] = m.MMToPx[3+k]/f - o*m.MMToPx[6+k]
	}
	out.PxToMM = out.MMToPx.Inverse()
	out.Outline = slices.Clone(m.Outline)
	for i, q := range out.Outline {
		out.Outline[i][0], out.Outline[i][1] = q[0]/f-o, q[1]/f-o
	}
	out.Centre[0], out.Centre[1] = m.Centre[0]/f-o, m.Centre[1]/f-o
	out.cx, out.cy = m.cx/f-o, m.cy/f-o
	out.MMPerPx, out.FocalPx, out.ResidualPx = m.MMPerPx*f, m.FocalPx/f, m.ResidualPx/f
	out.blur = [2]float64{m.blur[0] / f, m.blur[1] / f}
	out.shoulderKnown = false
	out.cov = nil
	return &out
}
