package trace

import "math"

// A Territory says which line's wood covers a place in the picture, so that
// one cane's edges aren't read on another.
type Territory struct {
	w, h int
	id   []uint16 // 0 nobody's, k+1 line k's, shared when several
}

const (
	plot   = 2 // px per cell
	shared = 0xffff
)

// NewTerritory maps the bands of lines in a picture of w x h px, each as wide
// as it was followed and grow px wider on both sides.
func NewTerritory(w, h int, lines []Line, grow float64) *Territory {
	t := &Territory{w: w/plot + 1, h: h/plot + 1}
	t.id = make([]uint16, t.w*t.h)
	for k := range lines {
		l := &lines[k]
		usual := l.MedianWidth()
		for i := 1; i < len(l.Points); i++ {
			a, b := l.Points[i-1], l.Points[i]
			width := l.Width[i]
			if math.IsNaN(width) {
				width = usual
			}
			r := 0.5*width + grow
			steps := int(math.Hypot(b[0]-a[0], b[1]-a[1])/plot) + 1
			for s := range steps {
				f := float64(s) / float64(steps)
				t.disc(a[0]+f*(b[0]-a[0]), a[1]+f*(b[1]-a[1]), r, uint16(k+1))
			}
		}
	}
	return t
}

func (t *Territory) disc(x, y, r float64, id uint16) {
	for j := int((y - r) / plot); j <= int((y+r)/plot); j++ {
		for i := int((x - r) / plot); i <= int((x+r)/plot); i++ {
			if i < 0 || j < 0 || i >= t.w || j >= t.h {
				continue
			}
			dx, dy := (float64(i)+0.5)*plot-x, (float64(j)+0.5)*plot-y
			if dx*dx+dy*dy > r*r {
				continue
			}
			switch c := &t.id[j*t.w+i]; *c {
			case 0, id:
				*c = id
			default:
				*c = shared
			}
		}
	}
}

// Foreign tells whether wood of another line than the given one covers a place.
func (t *Territory) Foreign(x, y float64, line int) bool {
	if t == nil {
		return false
	}
	i, j := int(x/plot), int(y/plot)
	if x < 0 || y < 0 || i >= t.w || j >= t.h {
		return false
	}
	id := t.id[j*t.w+i]
	return id != 0 && id != uint16(line+1)
}
