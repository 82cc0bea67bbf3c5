package trace

import "math"

// A Territory says which lines' wood covers a place in the picture, so that
// one cane's edges aren't read on another.
type Territory struct {
	w, h  int
	lines []uint64 // a bit for each line; the last bit is for all beyond the 63rd
	same  []uint64 // lines that run along the same wood as a line, itself included
}

// plot is the width of a territory's cells, px.
const plot = 2

func mark(line int) uint64 { return 1 << min(line, 63) }

// NewTerritory maps the bands of lines in a picture of w x h px, each as wide
// as it was followed. Of two lines that run alongside for more than a third of
// the shorter one, each may be the other's rim: neither hides the other.
func NewTerritory(w, h int, lines []Line) *Territory {
	t := &Territory{w: w/plot + 1, h: h/plot + 1, same: make([]uint64, len(lines))}
	t.lines = make([]uint64, t.w*t.h)
	for k := range lines {
		l := &lines[k]
		usual := l.MedianWidth()
		for i := 1; i < len(l.Points); i++ {
			a, b := l.Points[i-1], l.Points[i]
			width := l.Width[i]
			if math.IsNaN(width) {
				width = usual
			}
			steps := int(math.Hypot(b[0]-a[0], b[1]-a[1])/plot) + 1
			for s := range steps {
				f := float64(s) / float64(steps)
				t.disc(a[0]+f*(b[0]-a[0]), a[1]+f*(b[1]-a[1]), 0.5*width, mark(k))
			}
		}
		t.same[k] = mark(k)
	}
	for i := range lines {
		for j := range lines {
			if i != j && lines[i].inside(&lines[j]) > 0.35 {
				t.same[i] |= mark(j)
				t.same[j] |= mark(i)
			}
		}
	}
	return t
}

func (t *Territory) disc(x, y, r float64, line uint64) {
	for j := int((y - r) / plot); j <= int((y+r)/plot); j++ {
		for i := int((x - r) / plot); i <= int((x+r)/plot); i++ {
			if i < 0 || j < 0 || i >= t.w || j >= t.h {
				continue
			}
			dx, dy := (float64(i)+0.5)*plot-x, (float64(j)+0.5)*plot-y
			if dx*dx+dy*dy <= r*r {
				t.lines[j*t.w+i] |= line
			}
		}
	}
}

// Foreign tells whether other wood than the given line's covers a place.
func (t *Territory) Foreign(x, y float64, line int) bool {
	i, j := int(x/plot), int(y/plot)
	if x < 0 || y < 0 || i >= t.w || j >= t.h {
		return false
	}
	return t.lines[j*t.w+i]&^t.same[line] != 0
}
