package vision

import (
	"math"
	"testing"

	"nodespan/assess"
)

// twice is a cane read at 60 places with a true diameter of 10 mm, off by a share
// in each photo; from onwards the first photo couldn't read it.
func twice(off1, off2 float64, from int) (*assess.Cane, []reading) {
	c := &assess.Cane{EdgeDoubt: 0.1}
	var second []reading
	for i := range 60 {
		q := assess.ProfilePoint{AlongMM: 3 * float64(i), DiameterMM: 10 * (1 + off1), U: 0.2}
		if i >= from {
			q.DiameterMM, q.Carried = 8, true // a taper gone wrong
		}
		c.Profile = append(c.Profile, q)
		second = append(second, reading{mm: 10 * (1 + off2), u: 0.2, ok: true})
	}
	return c, second
}

// Two photos that are as sure as each other meet in the middle, also where only
// one could read. What is left of the doubt is less than of two that differ by
// as much as expected where they agree, and more where they don't.
func TestPool(t *testing.T) {
	p := Pooling{Places: 12, Prior: 1, Floor: 0.03}
	for _, x := range []struct {
		name               string
		off1, off2, doubt2 float64
		want, left         float64 // mm, relative
	}{
		{"agree", 0, 0, 0.1, 10, 0.05},
		{"differ as expected", -0.066, 0.066, 0.1, 10, 0.0707},
		{"one reads a pair as one", 0, 0.6, 0.1, 12.65, 0.0707 * math.Log(1.6) / math.Sqrt(0.02)},
		{"the second is hardly sure", 0, 0.6, 0.4, 10.28, 0.097 * math.Log(1.6) / math.Hypot(0.1, 0.4)},
		{"nothing is surer than what both may have wrong", 0, 0, 0.02, 10, 0.03},
	} {
		c, second := twice(x.off1, x.off2, 40)
		p.pool(c, second, x.doubt2)
		if math.Abs(c.EdgeDoubt-x.left) > 0.05*x.left {
			t.Errorf("%s: a doubt of %.4f is left, want %.4f", x.name, c.EdgeDoubt, x.left)
		}
		for i, q := range c.Profile {
			if math.Abs(q.DiameterMM-x.want) > 0.02*x.want || q.Carried {
				t.Errorf("%s: place %d: %.2f mm, carried %v; want %.2f read", x.name, i, q.DiameterMM, q.Carried, x.want)
				break
			}
		}
	}
	// A few places in common are no second reading.
	c, second := twice(0, 0.1, 10)
	if p.pool(c, second, 0.1); c.EdgeDoubt != 0.1 || c.Profile[0].DiameterMM != 10 {
		t.Errorf("pooled by 10 places: %.4f, %.2f mm", c.EdgeDoubt, c.Profile[0].DiameterMM)
	}
}
