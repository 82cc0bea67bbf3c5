package stance

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"nodespan/assess"
	"nodespan/vision/scale"
)

// place is a place on a cane of the first photo, and where its line of sight
// meets a cane's line of the second.
type place struct {
	along float64 // mm on the card's plane from the base
	sight sight
	px    assess.Point
	hits  []hit
	shown bool // the second photo could show it
}

type hit struct {
	d       float64
	perMM   float64 // px across the line for each mm of depth
	p, q    assess.Point
	at      assess.Point
	longway float64 // px along the second photo's line
}

// Course is the depth along one cane.
type Course struct {
	Other     int     // the second photo's cane, by index
	MeanMM, U float64 // over the stretch that was asked for; standard uncertainty
	// ScaleU is the relative standard uncertainty of the cane's millimetres that
	// depth and poses leave; the card's printed size isn't in it.
	ScaleU float64
	// LeanU is the standard uncertainty of its lean, degrees.
	LeanU float64
	// LeftPx is what the pair leaves over, px (1.48 median absolute deviations).
	LeftPx float64

	from, to  float64 // of the places that agree, mm along
	coef      []float64
	distance  float64 // of the first lens from the plane, mm
	cam       camera
	score     float64
	spanMM    float64
	placesHit []hit
}

// At is the depth at a place along the cane, mm on the card's plane from its
// base; beyond where it was seen it stays as it is at the end.
func (c *Course) At(along float64) float64 {
	t := c.unit(math.Max(c.from, math.Min(c.to, along)))
	d, p := 0.0, 1.0
	for _, k := range c.coef {
		d += k * p
		p *= t
	}
	return d
}

func (c *Course) unit(along float64) float64 {
	return (2*along - c.from - c.to) / math.Max(c.to-c.from, 1)
}

// Factors gives, for each point of the cane's line, by how much a diameter that
// was read there as if it lay in the card's plane is larger in truth: by its
// depth, and by what the two photos together know better of the plane than
// the card alone.
func (c *Course) Factors(m *scale.Map, line []assess.Point, along []float64) []float64 {
	return c.factors(c.cam, m, line, along)
}

// factors is Factors for either photo, with its camera and map, and the line as it
// shows it.
func (c *Course) factors(cam camera, m *scale.Map, line []assess.Point, along []float64) []float64 {
	out := make([]float64, min(len(line), len(along)))
	for i := range out {
		out[i] = 1
		dx, dy := direction(line, i)
		if flat := m.Diameter(line[i][0], line[i][1], dx, dy); flat > 0 {
			out[i] = cam.across(line[i], dx, dy, c.At(along[i])) / flat
		}
	}
	return out
}

// direction of a line at one of its points, over some points to both sides.
func direction(line []assess.Point, i int) (dx, dy float64) {
	a, b := line[max(0, i-3)], line[min(len(line)-1, i+3)]
	return b[0] - a[0], b[1] - a[1]
}

// Lengthen gives the cane's millimetres along, anew, for a line in px with its
// millimetres on the card's plane.
func (c *Course) Lengthen(m *scale.Map, line []assess.Point, along []float64) []float64 {
	out := make([]float64, len(along))
	var before vec
	for i := range min(len(line), len(along)) {
		at := c.cam.sight(line[i]).at(c.At(along[i]))
		if i > 0 {
			step := along[i] - along[i-1]
			// The ratio, so that bends between the points stay in.
			if flat := m.Distance(line[i], line[i-1]); flat > 0 {
				step *= at.plus(before, -1).norm() / flat
			}
			out[i] = out[i-1] + step
		}
		before = at
	}
	return out
}

// places spreads places along a cane.
func places(c *assess.Cane, cam camera, par Params) []place {
	var out []place
	last := math.Inf(-1)
	for i, q := range c.CentreLine {
		if i >= len(c.AlongMM) || c.AlongMM[i]-last < par.StepMM {
			continue
		}
		last = c.AlongMM[i]
		out = append(out, place{along: last, px: q, sight: cam.sight(q)})
	}
	return out
}

// meet fills in where places' lines of sight meet a cane of the second photo.
func meet(ps []place, other []assess.Point, cam camera, par Params) []place {
	out := slices.Clone(ps)
	for k := range out {
		out[k].hits = nil
		way := 0.0
		for i := 0; i+1 < len(other); i++ {
			p, q := other[i], other[i+1]
			l := math.Hypot(q[0]-p[0], q[1]-p[1])
			if l == 0 {
				continue
			}
			d, t, per, ok := cam.depth(out[k].sight, p, q)
			if ok && t >= 0 && t < 1 && math.Abs(d) <= par.MaxDepthMM && per > 0.02 {
				out[k].hits = append(out[k].hits, hit{d, per, p, q, assess.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}, way + t*l})
			}
			way += l
		}
	}
	return out
}

// course finds the smooth course of depth that most places agree with; nil
// when there is none.
func course(ps []place, par Params) *Course {
	shown := 0
	var few []int // places from which straight courses are tried
	for i := range ps {
		if ps[i].shown {
			shown++
		}
		if len(ps[i].hits) > 0 {
			few = append(few, i)
		}
	}
	if float64(len(few))*par.StepMM < par.MinMM {
		return nil
	}
	if n := len(few); n > 20 {
		thin := make([]int, 20)
		for i := range thin {
			thin[i] = few[i*(n-1)/19]
		}
		few = thin
	}
	near := func(p *place, want, tol float64) (hit, bool) {
		best, ok := hit{}, false
		for _, h := range p.hits {
			if e := math.Abs(h.d - want); e <= tol+1.5/h.perMM && (!ok || e < math.Abs(best.d-want)) {
				best, ok = h, true
			}
		}
		return best, ok
	}
	most, at, slope := 0, 0.0, 0.0
	for a, i := range few {
		for _, j := range few[a+1:] {
			run := ps[j].along - ps[i].along
			if run < 80 {
				continue
			}
			for _, hi := range ps[i].hits {
				for _, hj := range ps[j].hits {
					m := (hj.d - hi.d) / run
					if math.Abs(m) > par.MaxSlope {
						continue
					}
					n := 0
					for k := range ps {
						if _, ok := near(&ps[k], hi.d+m*(ps[k].along-ps[i].along), par.FirstTolMM); ok {
							n++
						}
					}
					if n > most {
						most, at, slope = n, hi.d-m*ps[i].along, m
					}
				}
			}
		}
	}
	if float64(most)*par.StepMM < par.MinMM {
		return nil
	}
	c := &Course{from: ps[0].along, to: ps[len(ps)-1].along}
	c.coef = []float64{at + slope*(c.from+c.to)/2, slope * (c.to - c.from) / 2}
	tol := par.FirstTolMM
	for round := range 6 {
		var ss, ds, ws []float64
		var hs []hit
		for k := range ps {
			if h, ok := near(&ps[k], c.at(ps[k].along), tol); ok {
				ss, ds, ws, hs = append(ss, ps[k].along), append(ds, h.d), append(ws, h.perMM), append(hs, h)
			}
		}
		if float64(len(ss))*par.StepMM < par.MinMM {
			return nil
		}
		next := &Course{from: ss[0], to: ss[len(ss)-1], placesHit: hs}
		best := math.Inf(1)
		for deg := 1; deg <= 3; deg++ {
			if next.to-next.from < 110*float64(deg) && deg > 1 || round < 1 && deg > 2 {
				break
			}
			coef, left := fit(ss, ds, ws, next, deg)
			if coef == nil {
				break
			}
			if left < 0.88*best {
				best, next.coef = left, coef
			}
		}
		if next.coef == nil {
			return nil
		}
		var off []float64
		per := 0.0
		for i := range ss {
			off = append(off, math.Abs(ds[i]-next.at(ss[i]))*ws[i])
			per += ws[i] / float64(len(ss))
		}
		slices.Sort(off)
		next.LeftPx = 1.4826 * off[len(off)/2]
		next.spanMM = float64(len(ss)) * par.StepMM
		next.U = next.LeftPx / per
		c = next
		tol = math.Max(4, 3*next.LeftPx/per)
		if round < 2 {
			tol = math.Max(tol, par.FirstTolMM*0.8)
		}
	}
	if shown == 0 || c.spanMM < par.MinShare*float64(shown)*par.StepMM {
		return nil
	}
	return c
}

// at is At without the hold at the ends.
func (c *Course) at(along float64) float64 {
	t := math.Max(-1.15, math.Min(1.15, c.unit(along)))
	d, p := 0.0, 1.0
	for _, k := range c.coef {
		d += k * p
		p *= t
	}
	return d
}

// fit finds the polynomial of a degree through depths, weighted by how well
// each is seen, and what it leaves over, px root mean square.
func fit(ss, ds, ws []float64, on *Course, deg int) ([]float64, float64) {
	n := len(ss)
	if n <= deg+1 {
		return nil, 0
	}
	coef := make([]float64, deg+1)
	w := slices.Clone(ws)
	left := 0.0
	for range 4 {
		a, b := mat.NewDense(n, deg+1, nil), mat.NewVecDense(n, nil)
		for i := range ss {
			p := 1.0
			for k := range coef {
				a.Set(i, k, w[i]*p)
				p *= on.unit(ss[i])
			}
			b.SetVec(i, w[i]*ds[i])
		}
		var x mat.VecDense
		if err := x.SolveVec(a, b); err != nil {
			return nil, 0
		}
		copy(coef, x.RawVector().Data)
		left = 0
		for i := range ss {
			d, p := 0.0, 1.0
			for _, k := range coef {
				d += k * p
				p *= on.unit(ss[i])
			}
			e := (ds[i] - d) * ws[i]
			left += e * e / float64(n)
			w[i] = ws[i] / math.Sqrt(1+e*e/4) // Cauchy's weight at 2 px
		}
	}
	return coef, math.Sqrt(left)
}
