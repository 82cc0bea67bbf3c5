package scale

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"nodespan/assess"
)

// Map takes pixels to millimetres on the wire plane.
type Map struct {
	Kind           string // "checker", "bar" or "marks"
	PxToMM, MMToPx Homography
	Outline        []assess.Point // of the pattern, in pixels, clockwise from its top left
	Centre         assess.Point   // of the pattern, in pixels
	MMPerPx        float64        // at Centre
	ResidualPx     float64        // root mean square per coordinate
	RelativeU      float64        // of the scale at Centre, one standard uncertainty
	TiltDeg        float64        // between the pattern's normal and the line of sight
	FocalPx        float64        // known or supposed
	FocalKnown     bool
	DistanceMM     float64 // from the lens to the pattern

	turned        bool       // the card hangs with its long side upright
	blur          [2]float64 // across upright and level edges, px
	cx, cy        float64    // principal point: the picture's middle
	leanU         float64    // standard uncertainty of the plane's lean beside planeU, radians
	shoulder      float64
	shoulderKnown bool
	cov           *mat.Dense // of MMToPx's eight elements, px and mm
}

// supposedHFOV is the horizontal field of view of a phone's main camera when
// the file doesn't tell, in degrees; phones lie between 55 and 75.
const supposedHFOV = 65

func newMap(kind string, mmToPx Homography, rms float64, cov *mat.Dense, halfW, halfH float64, f *finder) *Map {
	m := &Map{Kind: kind, MMToPx: mmToPx, ResidualPx: rms}
	m.FocalPx, m.FocalKnown = f.photo.FocalPx, f.photo.FocalPx > 0
	if !m.FocalKnown {
		m.FocalPx = float64(max(f.photo.Width, f.photo.Height)) / 2 / math.Tan(supposedHFOV/2*math.Pi/180)
	}
	// The pattern looks the same in four turns (two for the card); choose
	// the one whose x runs to the right in the picture, so that the frame of
	// the millimetres stands as the photo does.
	a, b, c, d := mmToPx.Jacobian(0, 0)
	t := [4]float64{1, 0, 0, 1}
	best := math.Inf(-1)
	for _, r := range [][4]float64{{1, 0, 0, 1}, {-1, 0, 0, -1}, {0, -1, 1, 0}, {0, 1, -1, 0}, {1, 0, 0, -1}, {-1, 0, 0, 1}, {0, 1, 1, 0}, {0, -1, -1, 0}} {
		// Columns of J*R are where the new x and y axes go.
		ux, vy := a*r[0]+b*r[2], c*r[1]+d*r[3]
		if det := (a*d - b*c) * (r[0]*r[3] - r[1]*r[2]); det > 0 && ux+vy > best {
			best, t = ux+vy, r
		}
	}
	h := mmToPx
	m.MMToPx = Homography{
		h[0]*t[0] + h[1]*t[2], h[0]*t[1] + h[1]*t[3], h[2],
		h[3]*t[0] + h[4]*t[2], h[3]*t[1] + h[4]*t[3], h[5],
		h[6]*t[0] + h[7]*t[2], h[6]*t[1] + h[7]*t[3], h[8],
	}
	if t[0] == 0 {
		halfW, halfH = halfH, halfW
		m.turned = true
	}
	m.PxToMM = m.MMToPx.Inverse()
	for _, p := range [][2]float64{{-halfW, -halfH}, {halfW, -halfH}, {halfW, halfH}, {-halfW, halfH}} {
		x, y := m.MMToPx.Apply(p[0], p[1])
		m.Outline = append(m.Outline, assess.Point{x, y})
	}
	x, y := m.MMToPx.Apply(0, 0)
	m.Centre = assess.Point{x, y}
	m.MMPerPx = m.At(x, y)
	m.cx, m.cy = float64(f.photo.Width-1)/2, float64(f.photo.Height-1)/2
	m.pose()
	m.cov = cov
	n := 1.0
	if cov != nil {
		n = max(rms, 0.05)
		m.cov = mat.NewDense(8, 8, nil)
		m.cov.Scale(n*n, turnedCov(cov, t))
	}
	m.RelativeU = f.par.PrintU
	m.RelativeU = math.Hypot(m.RelativeU, n/math.Sqrt(40)/(2*halfW/m.MMPerPx)*2)
	return m
}

// frame gives the plane's directions to the right and down and its origin in the
// camera's frame (x right, y down, z ahead), all three to the same scale, with
// square pixels and the principal point in the middle of the picture
// (Zhang, IEEE PAMI 22(11), 2000, section 3.1).
func (m *Map) frame() (right, down, origin vec) {
	h, f := m.MMToPx, m.FocalPx
	col := func(k int) vec {
		return vec{(h[k] - m.cx*h[6+k]) / f, (h[3+k] - m.cy*h[6+k]) / f, h[6+k]}
	}
	return col(0), col(1), col(2)
}

// pose sets tilt and distance.
func (m *Map) pose() {
	r1, r2, t := m.frame()
	s := (r1.norm() + r2.norm()) / 2
	if s == 0 {
		return
	}
	n := r1.cross(r2)
	m.DistanceMM = t.norm() / s
	cos := math.Abs(n.dot(t)) / (n.norm() * t.norm())
	m.TiltDeg = math.Acos(min(cos, 1)) * 180 / math.Pi
}

// At gives millimetres per pixel at a place of the photo, the geometric mean
// over directions.
func (m *Map) At(x, y float64) float64 {
	a, b, c, d := m.PxToMM.Jacobian(x, y)
	return math.Sqrt(math.Abs(a*d - b*c))
}

// Along gives millimetres per pixel at a place in the direction (dx, dy).
func (m *Map) Along(x, y, dx, dy float64) float64 {
	a, b, c, d := m.PxToMM.Jacobian(x, y)
	return math.Hypot(a*dx+b*dy, c*dx+d*dy) / math.Hypot(dx, dy)
}

// Distance gives the millimetres on the wire plane between two places.
func (m *Map) Distance(p, q assess.Point) float64 {
	ax, ay := m.PxToMM.Apply(p[0], p[1])
	bx, by := m.PxToMM.Apply(q[0], q[1])
	return math.Hypot(ax-bx, ay-by)
}

// planeU is the standard uncertainty of the angle between the card and the
// wire plane, radians: a card on clips swings and turns by a degree or two.
const planeU = 0.02

// RelativeUAt is the relative standard uncertainty of the scale at a place of
// the photo: print, corners carried outwards through the homography's
// covariance (JCGM 100:2008, 5.2), and a card that doesn't hang quite in the
// wire plane, which grows with the distance from the card.
func (m *Map) RelativeUAt(x, y float64) float64 {
	u := m.RelativeU
	mx, my := m.PxToMM.Apply(x, y)
	if m.DistanceMM > 0 {
		u = math.Hypot(u, math.Hypot(planeU, m.leanU)*math.Hypot(mx, my)/m.DistanceMM)
	}
	if m.cov == nil {
		return u
	}
	scale := func(h Homography) float64 {
		a, b, c, d := h.Jacobian(mx, my)
		return math.Log(math.Abs(a*d-b*c)) / 2
	}
	var g [8]float64
	base := scale(m.MMToPx)
	for k := range g {
		h := m.MMToPx
		step := math.Sqrt(m.cov.At(k, k))
		if step == 0 {
			continue
		}
		h[k] += step
		g[k] = (scale(h) - base) / step
	}
	v := 0.0
	for i := range g {
		for j := range g {
			v += g[i] * m.cov.At(i, j) * g[j]
		}
	}
	return math.Sqrt(u*u + max(v, 0))
}

// Reference gives the part of the map that goes into a Measurement.
func (m *Map) Reference() *assess.Reference {
	return &assess.Reference{Kind: m.Kind, MMPerPx: m.MMPerPx, Outline: m.Outline, ResidualPx: m.ResidualPx,
		RelativeU: m.RelativeU, TiltDeg: m.TiltDeg, PxToMM: m.PxToMM}
}
