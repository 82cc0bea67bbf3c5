package vision

import (
	"slices"

	"nodespan/assess"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// alike drops canes that look clearly less like the photo's wood than most of
// its canes do: far posts and the next row's canes, hazier and bluer with
// distance, and bands of old wood. Where even most canes don't stand out by
// their colour, none is dropped. Guided canes stay: a person vouches for them.
func (v *Measurer) alike(cs []assess.Cane, like *wood.Likeness, m *scale.Map) []assess.Cane {
	if like == nil || len(cs) < 3 {
		return cs
	}
	odds := make([]float64, len(cs))
	narrow := make([]bool, len(cs))
	for i, c := range cs {
		mid := c.CentreLine[len(c.CentreLine)/2]
		narrow[i] = c.Diameter.Value < v.Params.ThinPx*m.At(mid[0], mid[1])
		odds[i] = like.Mean(c.CentreLine)
	}
	sorted := slices.Clone(odds)
	slices.Sort(sorted)
	usual := sorted[len(sorted)/2]
	if usual < v.Params.AlikeFrom {
		return cs
	}
	var out []assess.Cane
	for i, c := range cs {
		least := v.Params.Alike
		if narrow[i] {
			least = v.Params.AlikeThin
		}
		if c.Traced == "guided" || odds[i] >= least*usual {
			c.ID = len(out) + 1
			out = append(out, c)
		}
	}
	return out
}
