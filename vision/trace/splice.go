package trace

import (
	"math"
	"slices"
)

// splice lets a ribbon go on along another one that overlaps its end: two
// followers on the same cane may each have stopped where the other had not. A
// ribbon of which little is left beyond the longer one is dropped.
func splice(rs []ribbon, mmpx func(x, y float64) float64) []ribbon {
	rs = slices.Clone(rs)
	for range 200 {
		changed := false
		for i := range rs {
			for _, last := range []bool{false, true} {
				a := rs[i]
				if !last {
					a = a.reversed()
				}
				best := -1
				more := 0
				var head, tail []step
				for j := range rs {
					if j == i {
						continue
					}
					for _, turn := range []bool{false, true} {
						b := rs[j]
						if turn {
							b = b.reversed()
						}
						// The last steps may have gone astray: try without them.
						for cut := 0; cut <= 24 && cut+8 < len(a.steps); cut += 3 {
							short := ribbon{steps: a.steps[:len(a.steps)-cut]}
							if !short.steps[len(short.steps)-1].seen {
								continue
							}
							if k, ok := goesOn(&short, &b, mmpx); ok && len(b.steps)-k-cut > max(more, 4) {
								best, head, tail, more = j, short.steps, b.steps[k:], len(b.steps)-k-cut
							}
						}
					}
				}
				if best < 0 {
					continue
				}
				merged := ribbon{steps: append(slices.Clone(head), tail...)}
				rs[i] = merged
				m, b := merged.line(), rs[best].line()
				if b.inside(&m) > 0.6 {
					rs = slices.Delete(rs, best, best+1)
				}
				changed = true
				break
			}
			if changed {
				break
			}
		}
		if !changed {
			break
		}
	}
	return rs
}

// goesOn tells whether b runs over a's last steps and on beyond them, and from
// which of its steps on.
func goesOn(a, b *ribbon, mmpx func(x, y float64) float64) (int, bool) {
	e := a.ending(true)
	mm := mmpx(e.x, e.y)
	near, at := math.Inf(1), -1
	for k, s := range b.steps {
		if d := math.Hypot(s.x-e.x, s.y-e.y); d < near {
			near, at = d, k
		}
	}
	if at > len(b.steps)-5 || near > 0.35*e.width+1.5 {
		return 0, false
	}
	s := b.steps[at]
	ratio := s.width / e.width
	if ratio < 0.6 || ratio > 1.67 {
		return 0, false
	}
	// b's own direction there, from its neighbours.
	p, q := b.steps[max(0, at-4)], b.steps[min(len(b.steps)-1, at+4)]
	if math.Abs(math.Remainder(math.Atan2(q.y-p.y, q.x-p.x)-e.angle, 2*math.Pi)) > 0.2 {
		return 0, false
	}
	// They must have run together for a while before.
	along := 0
	for k := max(0, at-8); k < at; k++ {
		for i := max(0, len(a.steps)-14); i < len(a.steps); i++ {
			if math.Hypot(a.steps[i].x-b.steps[k].x, a.steps[i].y-b.steps[k].y) < 0.35*e.width+4 {
				along++
				break
			}
		}
	}
	if along < min(3, at) {
		return 0, false
	}
	if at == 0 && (s.x-e.x)*math.Cos(e.angle)+(s.y-e.y)*math.Sin(e.angle) < -3 {
		return 0, false // b begins beside a, not behind it
	}
	// What it adds must be worth it, and new.
	length := 0.0
	for k := at + 1; k < len(b.steps); k++ {
		length += math.Hypot(b.steps[k].x-b.steps[k-1].x, b.steps[k].y-b.steps[k-1].y)
	}
	if length*mm < 25 {
		return 0, false
	}
	end := b.steps[len(b.steps)-1]
	for _, s := range a.steps {
		if math.Hypot(s.x-end.x, s.y-end.y) < e.width+3 {
			return 0, false
		}
	}
	return at + 1, true
}

// trim cuts off a ribbon's ends where it looks clearly less like the
// recognised wood than it mostly does: there it has run into old wood or the
// ground.
func (r *ribbon) trim(odds func(x, y float64) float64, share float64) {
	n := len(r.steps)
	if n < 8 {
		return
	}
	f := make([]float64, n)
	for i, s := range r.steps {
		f[i] = odds(s.x, s.y)
	}
	sorted := slices.Clone(f)
	slices.Sort(sorted)
	limit := share * sorted[n/2]
	good := func(i, dir int) bool {
		sum, c := 0.0, 0.0
		for k := range 4 {
			if j := i + dir*k; j >= 0 && j < n {
				sum, c = sum+f[j], c+1
			}
		}
		return sum/c >= limit && r.steps[i].seen
	}
	lo, hi := 0, n-1
	for lo < n && !good(lo, 1) {
		lo++
	}
	for hi > lo && !good(hi, -1) {
		hi--
	}
	if hi-lo >= 4 {
		r.steps = r.steps[lo : hi+1]
	}
}
