package trace

import (
	"math"
)

// A step is one place of a ribbon while it is followed.
type step struct {
	x, y, angle float64
	width       float64
	score       float64
	seen        bool // edges were found here; else bridged
}

// A ribbon is what following gave, in order along it.
type ribbon struct {
	steps []step
}

type follower struct {
	c    *canvas
	par  Params
	mmpx func(x, y float64) float64
}

// start looks for a band at a seed; ok is false when there is none.
func (f *follower) start(x, y, angle, width float64) (step, bool) {
	mm := f.mmpx(x, y)
	length := max(2.2*f.par.WindowMM/mm, 24)
	half := int(max(2.2*width, 12)) + 3
	var s section
	f.c.cut(&s, x, y, angle, length, half)
	minW := max(f.par.MinWidthMM/mm, 2.2)
	maxW := f.par.MaxWidthMM / mm
	var best band
	for _, b := range s.bands(minW, min(maxW, 2*width), f.par.MinEdge) {
		if math.Abs(b.mid) > 0.8*width+3 {
			continue
		}
		if b.score > best.score {
			best = b
		}
	}
	if best.score < f.par.MinContrast*1.2 {
		return step{}, false
	}
	nx, ny := -math.Sin(angle), math.Cos(angle)
	return step{x: x + best.mid*nx, y: y + best.mid*ny, angle: angle, width: best.width, score: best.score, seen: true}, true
}

// run follows from a step in direction sign (1 along its angle, -1 against),
// and returns the steps after it.
func (f *follower) run(from step, sign float64) []step {
	angle := from.angle
	if sign < 0 {
		angle += math.Pi
	}
	width := from.width
	x, y := from.x, from.y
	var out []step
	recent := []step{{x: x, y: y, angle: angle, width: width, seen: true}}
	// How many steps the direction comes from: lately, and when in doubt.
	const short, long = 8, 18
	missed := 0.0
	// What the wood looks like, learned while its edges are clear.
	var s, other section
	f.c.cut(&s, x, y, angle, f.par.WindowMM/f.mmpx(x, y), int(width)+3)
	look := s.mean(0, 0.3*width)
	for range 4000 {
		mm := f.mmpx(x, y)
		if !(mm > 0) {
			break
		}
		st := max(f.par.StepMM/mm, 5)
		px, py := x+st*math.Cos(angle), y+st*math.Sin(angle)
		if !f.c.inside(px, py) {
			break
		}
		window := max(f.par.WindowMM/mm, 14)
		half := int(1.4*width+0.2*st) + 9
		f.c.cut(&s, px, py, angle, window, half)
		minW, maxW := max(f.par.MinWidthMM/mm*0.8, 2, 0.72*width), min(f.par.MaxWidthMM/mm, 1.35*width+1)
		var best band
		value := 0.0
		offU := 1.0 + 0.16*st + 0.1*missed*mm/6
		for _, b := range s.bands(minW, maxW, f.par.MinEdge*0.8) {
			du := b.mid / offU
			dw := (b.width - width) / (0.12*width + 0.8)
			v := min(b.score, 6) * math.Exp(-0.5*(du*du+dw*dw))
			if v > value {
				best, value = b, v
			}
		}
		n := step{angle: angle, width: width}
		clear := value > 0.6*f.par.MinContrast && best.score > f.par.MinContrast*0.8
		if !clear {
			best, clear = f.byLook(&other, px, py, angle, window, width, offU, look)
		}
		if clear {
			n.x, n.y = px-best.mid*math.Sin(angle), py+best.mid*math.Cos(angle)
			n.seen, n.score = true, best.score
			// Width follows slowly: nodes swell, crossings pretend.
			width += 0.05 * max(-0.2*width, min(0.2*width, best.width-width))
			n.width = best.width
			c := s.mean(best.mid, 0.3*width)
			for ch := range look {
				look[ch] += 0.08 * (c[ch] - look[ch])
			}
			missed = 0
			recent = append(recent, n)
			if len(recent) > long {
				recent = recent[1:]
			}
			if len(recent) >= 3 {
				angle = direction(recent[max(0, len(recent)-short):], angle)
			}
		} else {
			n.x, n.y = px, py
			if missed == 0 && len(recent) >= 8 {
				// Whatever led astray did so lately: go on along the line of
				// the longer past.
				angle = direction(recent, angle)
				var mx, my float64
				for _, r := range recent {
					mx += r.x / float64(len(recent))
					my += r.y / float64(len(recent))
				}
				d := (px-mx)*math.Cos(angle) + (py-my)*math.Sin(angle)
				lx, ly := mx+d*math.Cos(angle), my+d*math.Sin(angle)
				n.x, n.y = (px+lx)/2, (py+ly)/2
			}
			missed += st * mm
		}
		out = append(out, n)
		x, y = n.x, n.y
		if missed > f.par.GapMM {
			break
		}
	}
	for len(out) > 0 && !out[len(out)-1].seen {
		out = out[:len(out)-1]
	}
	return out
}

// byLook finds the ribbon again where its edges drown in clutter: by the
// colour that it had so far, against what is on both sides. The window is
// longer than for edges, since colour must average out the clutter's.
func (f *follower) byLook(s *section, x, y, angle, window, width, offU float64, look [3]float64) (band, bool) {
	half := int(1.5*width+2*offU) + 6
	f.c.cut(s, x, y, angle, 1.6*window, half)
	apart := 0.6*width + 1
	var best band
	for u := -2 * offU; u <= 2*offU; u++ {
		in := s.mean(u, 0.35*width)
		left, right := s.mean(u-apart-0.35*width, 0.35*width), s.mean(u+apart+0.35*width, 0.35*width)
		away := min(colourGap(in, left), colourGap(in, right))
		off := colourGap(in, look)
		score := (away - off) / f.par.MinColour * math.Exp(-0.5*u*u/(offU*offU))
		if score > best.score {
			best = band{mid: u, width: width, score: score}
		}
	}
	if best.score < 1 {
		return band{}, false
	}
	best.score *= f.par.MinContrast * 0.8
	return best, true
}

func colourGap(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// direction is the direction of the line through the last steps, newer ones
// weighing more, turned to agree with the old angle.
func direction(s []step, old float64) float64 {
	var sw, mx, my float64
	for i, p := range s {
		w := float64(i + 2)
		sw += w
		mx += w * p.x
		my += w * p.y
	}
	mx, my = mx/sw, my/sw
	var a, b, c float64
	for i, p := range s {
		w := float64(i + 2)
		dx, dy := p.x-mx, p.y-my
		a += w * dx * dx
		b += w * dx * dy
		c += w * dy * dy
	}
	t := 0.5 * math.Atan2(2*b, a-c)
	if math.Cos(t-old) < 0 {
		t += math.Pi
	}
	// No cane turns by more than this in one step.
	d := math.Remainder(t-old, 2*math.Pi)
	const most = 0.22
	return old + max(-most, min(most, d))
}

// bothWays is what following gives from a step, ahead and back.
func bothWays(from step, run func(from step, sign float64) []step) ribbon {
	var r ribbon
	back := run(from, -1)
	for i := len(back) - 1; i >= 0; i-- {
		b := back[i]
		b.angle -= math.Pi
		r.steps = append(r.steps, b)
	}
	r.steps = append(r.steps, from)
	r.steps = append(r.steps, run(from, 1)...)
	return r
}

// length is the ribbon's length in px, and the share of it that was seen.
func (r *ribbon) length() (px, seen float64) {
	n := 0
	for i, s := range r.steps {
		if i > 0 {
			px += math.Hypot(s.x-r.steps[i-1].x, s.y-r.steps[i-1].y)
		}
		if s.seen {
			n++
		}
	}
	return px, float64(n) / float64(max(len(r.steps), 1))
}
