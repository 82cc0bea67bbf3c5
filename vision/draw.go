package vision

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/caliper"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
	"nodespan/vision/wood"
)

// pen draws over a copy of the photo, with strokes that suit its size.
type pen struct {
	m gocv.Mat
	w int // stroke, px
}

var (
	ink    = color.RGBA{R: 20, G: 20, B: 20, A: 255}
	paper  = color.RGBA{R: 255, G: 255, B: 255, A: 255}
	blue   = color.RGBA{R: 30, G: 90, B: 255, A: 255}
	orange = color.RGBA{R: 255, G: 140, B: 0, A: 255}
	pink   = color.RGBA{R: 255, G: 0, B: 170, A: 255}
	cyan   = color.RGBA{R: 0, G: 220, B: 255, A: 255}
	yellow = color.RGBA{R: 255, G: 230, B: 0, A: 255}
)

func newPen(p *photo.Photo) *pen {
	return &pen{m: p.BGR.Clone(), w: max(1, max(p.Width, p.Height)/900)}
}

func at(q assess.Point) image.Point {
	return image.Pt(int(math.Round(q[0])), int(math.Round(q[1])))
}

func (d *pen) line(pts []assess.Point, c color.RGBA, w int) {
	for i := 1; i < len(pts); i++ {
		gocv.Line(&d.m, at(pts[i-1]), at(pts[i]), c, w)
	}
}

func (d *pen) text(q assess.Point, s string) {
	size := 0.45 * float64(d.w)
	gocv.PutText(&d.m, s, at(q), gocv.FontHersheySimplex, size, paper, 3*d.w)
	gocv.PutText(&d.m, s, at(q), gocv.FontHersheySimplex, size, ink, d.w)
}

// jpeg encodes the drawing and frees it.
func (d *pen) jpeg() ([]byte, error) {
	defer d.m.Close()
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, d.m, []int{gocv.IMWriteJpegQuality, 88})
	if err != nil {
		return nil, err
	}
	defer buf.Close()
	return append([]byte(nil), buf.GetBytes()...), nil
}

// Picture draws a measurement over its photo, as JPEG: the reference's
// outline, wires, each cane's centre line with its number and diameter, its
// nodes as rings, and a dashed line for canes too close to call or not
// measurable. The error is an assess.Error when data is no readable photo.
func (v *Measurer) Picture(_ context.Context, data []byte, m *assess.Measurement) ([]byte, error) {
	p, err := photo.Decode(data, v.Params.Limits)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	d := newPen(p)
	if m.Reference != nil {
		d.line(append(append([]assess.Point{}, m.Reference.Outline...), m.Reference.Outline[0]), cyan, 2*d.w)
	}
	for _, w := range m.Wires {
		d.line(w.Line, cyan, d.w)
	}
	for _, c := range m.Canes {
		col, dashed := blue, false
		switch c.Finding {
		case assess.Sound:
		case assess.TooCloseToCall, assess.NotMeasurable:
			dashed = true
		default:
			col = orange
		}
		if dashed {
			for i := 0; i+4 < len(c.CentreLine); i += 8 {
				d.line(c.CentreLine[i:i+5], col, 2*d.w)
			}
		} else {
			d.line(c.CentreLine, col, 2*d.w)
		}
		for _, n := range c.Nodes {
			gocv.Circle(&d.m, at(n.Px), 5*d.w, paper, 2*d.w)
			gocv.Circle(&d.m, at(n.Px), 5*d.w, ink, d.w)
		}
		label := fmt.Sprintf("%d: ", c.ID)
		if c.Diameter.Known() {
			label += fmt.Sprintf("%.1f mm", c.Diameter.Value)
		} else {
			label += "?"
		}
		q := c.CentreLine[min(len(c.CentreLine)-1, len(c.CentreLine)/3)]
		d.text(assess.Point{q[0] + float64(8*d.w), q[1]}, label)
	}
	return d.jpeg()
}

// A story is what the stages made of a photo, for drawing it.
type story struct {
	seeds    []wood.Seed
	like     *wood.Likeness
	trace    *trace.Result
	profiles []*caliper.Profile
	canes    []assess.Cane
}

// explain sends each stage's drawing to v.Explain, in the stages' order.
func (v *Measurer) explain(p *photo.Photo, m *scale.Map, s story) error {
	if v.Explain == nil {
		return nil
	}
	send := func(stage string, draw func(d *pen)) error {
		d := newPen(p)
		draw(d)
		jpg, err := d.jpeg()
		if err != nil {
			return err
		}
		return v.Explain(stage, jpg)
	}
	stages := []struct {
		name string
		draw func(d *pen)
	}{
		{"1-photo", func(d *pen) {
			d.text(assess.Point{20, 40 * float64(d.w)}, fmt.Sprintf("%d x %d px, upright", p.Width, p.Height))
		}},
		{"2-scale", func(d *pen) {
			if m == nil {
				d.text(assess.Point{20, 40 * float64(d.w)}, "no reference found")
				return
			}
			d.line(append(append([]assess.Point{}, m.Outline...), m.Outline[0]), pink, 2*d.w)
			d.text(m.Outline[0], fmt.Sprintf("%s, %.3f mm/px, off %.2f px, tilt %.0f deg", m.Kind, m.MMPerPx, m.ResidualPx, m.TiltDeg))
			// A grid of 100 mm on the wire plane shows how the mapping goes on.
			for k := -15; k <= 15; k++ {
				for _, up := range []bool{false, true} {
					var pts []assess.Point
					for j := -15; j <= 15; j++ {
						a, b := float64(100*k), float64(100*j)
						if up {
							a, b = b, a
						}
						x, y := m.MMToPx.Apply(a, b)
						pts = append(pts, assess.Point{x, y})
					}
					d.line(pts, cyan, 1)
				}
			}
		}},
		{"3-wood", func(d *pen) {
			for _, q := range s.seeds {
				l := 4 * float64(d.w)
				gocv.Line(&d.m, image.Pt(int(q.X-l*math.Cos(q.Angle)), int(q.Y-l*math.Sin(q.Angle))), image.Pt(int(q.X+l*math.Cos(q.Angle)), int(q.Y+l*math.Sin(q.Angle))), yellow, d.w)
			}
		}},
		{"3-wood-learned", func(d *pen) {
			if s.like == nil {
				d.text(assess.Point{20, 40 * float64(d.w)}, "too little wood was recognised to learn its colour")
				return
			}
			grey, err := gocv.NewMatFromBytes(s.like.H, s.like.W, gocv.MatTypeCV8UC1, s.like.Values())
			if err != nil {
				return
			}
			defer grey.Close()
			gocv.CvtColor(grey, &d.m, gocv.ColorGrayToBGR)
		}},
		{"4-trace", func(d *pen) {
			t := s.trace
			if t == nil {
				return
			}
			for _, o := range t.Dropped {
				d.line(o.Line.Points, yellow, d.w)
				if len(o.Line.Points) > 25 {
					d.text(o.Line.Points[len(o.Line.Points)/2], o.Why)
				}
			}
			for _, w := range t.Wires {
				d.line(w.Line, cyan, d.w)
				d.text(w.Line[0], w.Role)
			}
			for _, o := range t.OldWood {
				d.line(o.Points, blue, 2*d.w)
			}
			for _, c := range t.Canes {
				d.line(c.Points, pink, 2*d.w)
				gocv.Circle(&d.m, at(c.Points[0]), 6*d.w, pink, 2*d.w)
			}
		}},
		{"5-caliper", func(d *pen) {
			for _, pr := range s.profiles {
				for _, q := range pr.Stations {
					if q.U == 0 {
						continue
					}
					nx, ny := -math.Sin(q.Angle), math.Cos(q.Angle)
					for _, o := range []float64{-q.Left, q.Right} {
						gocv.Circle(&d.m, at(assess.Point{q.Px[0] + o*nx, q.Px[1] + o*ny}), 1, pink, -1)
					}
				}
			}
		}},
		{"6-nodes", func(d *pen) {
			for _, c := range s.canes {
				d.line(c.CentreLine, blue, d.w)
				for i, n := range c.Nodes {
					gocv.Circle(&d.m, at(n.Px), 5*d.w, pink, d.w)
					d.text(assess.Point{n.Px[0] + float64(6*d.w), n.Px[1]}, fmt.Sprint(i+1))
				}
			}
		}},
	}
	for _, st := range stages {
		if err := send(st.name, st.draw); err != nil {
			return err
		}
	}
	return nil
}

func distance(a, b assess.Point) float64 { return math.Hypot(a[0]-b[0], a[1]-b[1]) }
