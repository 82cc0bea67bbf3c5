package caliper

import (
	"math"
	"testing"

	"nodespan/assess"
)

// litCane is an upright cane, 8 px wide, whose brightness grows by so many
// powers of two from its left side to its right one, followed upwards or
// downwards.
func litCane(more float64, climbs bool) *Course {
	c := &Course{par: DefaultParams()}
	for i := range 60 {
		y := 400 - 3*float64(i)
		if !climbs {
			y = 3 * float64(i)
		}
		c.pts = append(c.pts, assess.Point{100, y})
		s := &section{}
		for v := -10.0; v <= 10; v += 0.5 {
			x := v // to the right in the picture
			if !climbs {
				x = -v
			}
			b := 0.2 * math.Exp2(more*x/8)
			s.v, s.y = append(s.v, v), append(s.y, [3]float64{b, b, b})
		}
		c.sections = append(c.sections, s)
		c.left, c.right = append(c.left, -4), append(c.right, 4)
		c.rimL, c.rimR = append(c.rimL, 1), append(c.rimR, 2)
	}
	return c
}

// The sun comes from one side for all canes, whichever way they were followed;
// one that is lit otherwise is outvoted, and where they disagree no side is lit.
func TestLightOf(t *testing.T) {
	for name, c := range map[string]struct {
		more []float64
		want float64
	}{
		"from the right":         {[]float64{1.5, 1, 2}, 1},
		"from the left":          {[]float64{-1.5, -1, -2}, -1},
		"one of five is shaded":  {[]float64{1.5, 1, 2, 1.2, -1}, 1},
		"every which way":        {[]float64{1.5, -1, 2, -1.2}, 0},
		"under a cloudy sky":     {[]float64{0.1, 0.3, -0.2, 0.1}, 0},
		"no cane at all":         {nil, 0},
		"alone, and lit clearly": {[]float64{1.5}, 1},
	} {
		var cs []*Course
		for i, m := range c.more {
			cs = append(cs, litCane(m, i%2 == 0))
		}
		if got := LightOf(cs).From(100); got != c.want {
			t.Errorf("%s: from %v, want %v", name, got, c.want)
		}
	}
}

// With the sun before or behind the camera, canes on one side of the photo are
// lit from the left and on the other from the right.
func TestLightAcrossPhoto(t *testing.T) {
	var cs []*Course
	for i, more := range []float64{-1.2, -0.9, -0.5, 0.1, 0.6, 1, 1.3} {
		c := litCane(more, true)
		for k := range c.pts {
			c.pts[k][0] += 500 * float64(i)
		}
		cs = append(cs, c)
	}
	l := LightOf(cs)
	for x, want := range map[float64]float64{100: -1, 1600: 0, 3100: 1} {
		if got := l.From(x); got != want {
			t.Errorf("at column %v: from %v, want %v", x, got, want)
		}
	}
}

// A rim can be in the shade only on the side that the light doesn't reach, and
// on none where no side is lit.
func TestRimsInLight(t *testing.T) {
	for _, climbs := range []bool{true, false} {
		c := litCane(1, climbs)
		for from, want := range map[float64][2]float64{0: {0, 0}, 1: {1, 0}, -1: {0, 2}} {
			if !climbs && from != 0 {
				want = [2]float64{1 - want[0], 2 - want[1]}
			}
			got := Light{half: 1, more: from}.allow(c)
			if l, r := got.left, got.right; l[30] != want[0] || r[30] != want[1] {
				t.Errorf("climbing %v, light from %v: rims of %v and %v px, want %v", climbs, from, got.left[30], got.right[30], want)
			}
		}
	}
}
