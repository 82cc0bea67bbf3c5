package trace

import (
	"math"
	"slices"

	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// plainBackdrop tells whether a sheet, a wall or the sky stands behind the
// fruiting zone, so that nothing far away can pass for a cane: in most places
// of the half metre above the wire the brightness hardly changes within a few
// pixels. There a cane needn't show what bears it.
func plainBackdrop(p *photo.Photo, m *scale.Map, ground func(float64) float64, par Params) bool {
	pix := p.Pix()
	var spread []float64
	for i := 1; i < 80; i++ {
		x := float64(p.Width) * float64(i) / 80
		mm := m.At(x, ground(x))
		if !(mm > 0) {
			continue
		}
		for rise := 40.0; rise < 500; rise += 20 {
			y := ground(x) - rise/mm
			if x < 10 || y < 10 || x > float64(p.Width-10) || y > float64(p.Height-10) {
				continue
			}
			var s, s2, n float64
			for dy := -6; dy <= 6; dy += 2 {
				for dx := -6; dx <= 6; dx += 2 {
					k := 3 * ((int(y)+dy)*p.Width + int(x) + dx)
					v := (float64(pix[k]) + float64(pix[k+1]) + float64(pix[k+2])) / 3
					s, s2, n = s+v, s2+v*v, n+1
				}
			}
			spread = append(spread, math.Sqrt(max(0, s2/n-s*s/n/n)))
		}
	}
	if len(spread) < 100 {
		return false
	}
	slices.Sort(spread)
	return spread[int(par.PlainShare*float64(len(spread)))] < par.PlainSpread
}
