package render

import (
	"bytes"
	"image"
	"math"
	"runtime"
	"testing"

	"nodespan/assess"
	"nodespan/vision/truth"
)

func drawn(t testing.TB, p Params) (*image.RGBA, *truth.Photo) {
	t.Helper()
	img, tr, err := Draw(p)
	if err != nil {
		t.Fatal(err)
	}
	return img.(*image.RGBA), tr
}

// linear undoes the transfer curve of IEC 61966-2-1.
func linear(v uint8) float64 {
	c := float64(v) / 255
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

func cleanRods(width int, rods ...Rod) Params {
	p := Random(5, Options{Kind: Rods, Width: width, Background: WhiteSheet, Light: Overcast, Reference: "card", Clean: true, Rods: rods})
	p.DistanceMM, p.CameraXMM, p.CameraZMM, p.HFOVDeg = 1500, 0, 1150, 65
	return p
}

// A rod at x off the optical axis lies between the two tangent planes through
// the lens: it is f (tan(a+b) - tan(a-b)) pixels wide, with tan a = x/D and
// sin b = r / sqrt(x^2 + D^2) (tangents from a point to a circle, Euclid III.17).
// The rods are painted black; what light is missing, compared with the same
// scene without them, is their coverage.
func TestRodsAreAsWideAsGeometrySays(t *testing.T) {
	const width, dist = 1500, 1500.0
	f := width / 2 / math.Tan(65.0/2*math.Pi/180)
	rods := []Rod{{DiameterMM: 4, XMM: -400.3}, {DiameterMM: 6, XMM: -200.7}, {DiameterMM: 9, XMM: 0.37}, {DiameterMM: 12, XMM: 150.1}, {DiameterMM: 15, XMM: 420.9}}
	p := cleanRods(width, rods...)
	s := Grow(p)
	for _, c := range s.canes {
		c.t.tint = rgb{}
	}
	with, cam, _ := s.expose(p)
	tr := describe(p, s, cam, with)
	p.Rods = nil
	without, _, _, _ := expose(p)
	for i, r := range rods {
		a, b := math.Atan(r.XMM/dist), math.Asin(r.DiameterMM/2/math.Hypot(r.XMM, dist))
		want := f * (math.Tan(a+b) - math.Tan(a-b))
		mid := (f*math.Tan(a+b)+f*math.Tan(a-b))/2 + float64(width-1)/2
		var got, at, n float64
		for y := 520; y < 640; y += 3 {
			var sum, first float64
			for x := int(mid) - 40; x < int(mid)+40; x++ {
				k := 3 * (y*width + x)
				cover := 1 - float64(with.pix[k])/float64(without.pix[k])
				sum, first = sum+cover, first+cover*float64(x)
			}
			got, at, n = got+sum, at+first/sum, n+1
		}
		got, at = got/n, at/n
		if math.Abs(got-want) > 0.02 || math.Abs(at-mid) > 0.02 {
			t.Errorf("rod of %g mm: want %.3f px wide at %.3f, got %.3f at %.3f", r.DiameterMM, want, mid, got, at)
		}
		c := tr.Canes[i]
		if len(c.Nodes) != 0 || c.MedianInternode != nil || c.MedianDiameter == nil || *c.MedianDiameter != r.DiameterMM {
			t.Errorf("rod of %g mm: truth has %d nodes, median diameter %v, internode %v", r.DiameterMM, len(c.Nodes), c.MedianDiameter, c.MedianInternode)
		}
		if w := r.DiameterMM / c.LineMMPerPx[20]; math.Abs(w-want) > 0.005*want {
			t.Errorf("rod of %g mm: truth makes it %.3f px wide, geometry %.3f", r.DiameterMM, w, want)
		}
	}
}

func TestProjectionAndRayAreInverse(t *testing.T) {
	for _, k1 := range []float64{-0.03, 0, 0.03} {
		p := Random(3, Options{Width: 2000})
		p.K1, p.HFOVDeg = k1, 75
		c := newCamera(p)
		for _, q := range [][2]float64{{0, 0}, {1999, 1499}, {1000, 750}, {312.4, 1200.7}} {
			x, y, z, ok := c.project(c.pos.add(c.ray(q[0], q[1]).mul(1700)))
			if !ok || math.Hypot(x-q[0], y-q[1]) > 0.01 || math.Abs(z-1700) > 1e-6 {
				t.Errorf("k1 %g: pixel %v came back as (%.4f, %.4f), depth %.3f", k1, q, x, y, z)
			}
		}
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	p := Random(11, Options{Width: 400, Background: SkyGrass, Light: Sun})
	a, ta := drawn(t, p)
	old := runtime.GOMAXPROCS(1)
	b, tb := drawn(t, p)
	runtime.GOMAXPROCS(old)
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("two pictures of one seed differ")
	}
	ja, _ := ta.Encode()
	jb, _ := tb.Encode()
	if !bytes.Equal(ja, jb) {
		t.Error("two truths of one seed differ")
	}
	p.Seed++
	if c, _ := drawn(t, p); bytes.Equal(a.Pix, c.Pix) {
		t.Error("another seed gives the same picture")
	}
}

// What stands before a rod hides it, what stands behind doesn't.
func TestVisibleFractionFollowsDepth(t *testing.T) {
	for _, c := range []struct {
		name   string
		depth  float64 // of the wide rod
		lo, hi float64 // visible share of the thin one
	}{{"wide rod in front", -60, 0, 0.02}, {"wide rod behind", 60, 0.9, 1}} {
		p := cleanRods(900, Rod{DiameterMM: 8, LengthMM: 500}, Rod{DiameterMM: 60, DepthMM: c.depth, LengthMM: 560})
		_, tr := drawn(t, p)
		if v := tr.Canes[0].VisibleFraction; v < c.lo || v > c.hi {
			t.Errorf("%s: visible fraction of the thin rod want %g to %g, got %g", c.name, c.lo, c.hi, v)
		}
	}
}

// The squares are where the truth says: their middles are black and white by turns.
func TestCardSquaresLieWhereTheTruthSays(t *testing.T) {
	for _, ref := range []string{"card", "bar", "rotated", "tilted"} {
		for seed := uint64(1); seed <= 2; seed++ {
			p := Random(seed, Options{Kind: CardOnly, Width: 1000, Light: Overcast, Reference: ref, Background: WhiteSheet})
			img, tr := drawn(t, p)
			r := tr.Reference
			if r == nil {
				t.Fatalf("%s: no reference in the truth", ref)
			}
			if r.VisibleFraction < 1 {
				continue // the card leaves the frame
			}
			per := r.Squares[0] + 1
			for j := 0; j < r.Squares[1]; j++ {
				for i := 0; i < r.Squares[0]; i++ {
					a, b := r.GridPx[j*per+i], r.GridPx[(j+1)*per+i+1]
					v := linear(img.Pix[img.PixOffset(int((a[0]+b[0])/2+0.5), int((a[1]+b[1])/2+0.5))+1])
					white := (i+j)%2 == 0 == p.Reference.WhiteFirst
					if white != (v > 0.25) {
						t.Errorf("%s, seed %d: square (%d, %d) should be white: %v, its light is %.2f", ref, seed, i, j, white, v)
					}
				}
			}
		}
	}
}

func TestSceneKinds(t *testing.T) {
	_, tr := drawn(t, Random(2, Options{Kind: Empty, Width: 300, Reference: "card"}))
	if len(tr.Canes) != 0 || len(tr.Wood) != 0 || tr.Head != nil || len(tr.Wires) != 6 {
		t.Errorf("an empty trellis has %d canes, %d pieces of wood, head %v, %d wires", len(tr.Canes), len(tr.Wood), tr.Head, len(tr.Wires))
	}
	_, tr = drawn(t, Random(2, Options{Kind: Vine, Width: 300, Reference: "none"}))
	if tr.Reference != nil || len(tr.Canes) < 6 || tr.Head == nil {
		t.Errorf("a vine without reference: reference %v, %d canes, head %v", tr.Reference, len(tr.Canes), tr.Head)
	}
	for ref, kind := range map[string]string{"hidden": "card_occluded", "tilted": "card_tilted", "bar": "bar", "rotated": "card"} {
		_, tr = drawn(t, Random(8, Options{Kind: CardOnly, Width: 800, Reference: ref}))
		if tr.Reference.Kind != kind {
			t.Errorf("asked for %s, the truth calls it %s (corners visible: %.2f)", ref, tr.Reference.Kind, tr.Reference.VisibleFraction)
		}
	}
}

// The ranges are those that the measuring chain is asked to cope with.
func TestRandomStaysInRange(t *testing.T) {
	backs, lights := map[Background]int{}, map[Light]int{}
	for seed := uint64(0); seed < 60; seed++ {
		p := Random(seed, Options{})
		backs[p.Background]++
		lights[p.Light]++
		if err := p.Check(); err != nil {
			t.Fatal(err)
		}
		in := func(name string, v, lo, hi float64) {
			if v < lo || v > hi {
				t.Errorf("seed %d: %s is %g, outside %g to %g", seed, name, v, lo, hi)
			}
		}
		in("distance", p.DistanceMM, 1200, 2200)
		in("yaw", p.YawDeg, -12, 12)
		in("pitch", p.PitchDeg, -12, 12)
		in("field of view", p.HFOVDeg, 55, 75)
		in("k1", p.K1, -0.03, 0.03)
		in("JPEG quality", float64(p.JPEGQuality), 75, 95)
		s := Grow(p)
		for _, c := range s.canes {
			if c.vine != 0 {
				continue
			}
			for _, q := range c.t.st {
				in("cane depth", q.p[1], -125, 125)
			}
			for i, q := range c.nodeS {
				if d := c.diaAt(q); d <= c.diaAt(q-12) && i > 1 && q > 12 && q-c.nodeS[i-1] > 30 {
					t.Errorf("seed %d: no swelling at node %d: %.2f mm, %.2f mm before it", seed, i, d, c.diaAt(q-12))
				}
			}
		}
	}
	if len(backs) != 5 || len(lights) != 3 {
		t.Errorf("60 seeds show backgrounds %v and lights %v: some never come", backs, lights)
	}
}

// Two canes may cross, but not run inside one another.
func TestCanesDoNotGrowThroughOneAnother(t *testing.T) {
	for seed := uint64(0); seed < 12; seed++ {
		s := Grow(Random(seed, Options{}))
		for i, a := range s.canes {
			for _, b := range s.canes[:i] {
				in, seen := 0, 0
				for k := 0; k < len(a.t.st); k += 7 {
					q := a.t.st[k]
					seen++
					for l := 0; l < len(b.t.st); l += 3 {
						w := b.t.st[l]
						if q.p.sub(w.p).len() < 0.7*(q.r+w.r) {
							in++
							break
						}
					}
				}
				if f := float64(in) / float64(seen); f > 0.15 {
					t.Errorf("seed %d: %.0f %% of cane %s lie inside cane %s", seed, 100*f, a.t.name, b.t.name)
				}
			}
		}
	}
}

func TestTruthOfACaneIsConsistent(t *testing.T) {
	_, tr := drawn(t, Random(21, Options{Width: 700, Background: WhiteSheet}))
	for _, c := range tr.Canes {
		arc := c.LineMM[len(c.LineMM)-1]
		if math.Abs(arc-c.LengthMM) > 1e-6 {
			t.Errorf("cane %s: its line ends at %.2f mm, its length is %.2f", c.ID, arc, c.LengthMM)
		}
		for i, n := range c.Internodes {
			if d := c.Nodes[i+1].MM - c.Nodes[i].MM; math.Abs(d-n.LengthMM) > 1e-9 {
				t.Errorf("cane %s internode %d: %.3f mm between its nodes, length %.3f", c.ID, i, d, n.LengthMM)
			}
			if r := n.ApparentMM / n.DiameterMM; r < 0.93 || r > 1.07 {
				t.Errorf("cane %s internode %d: apparent over mean diameter is %.3f, more than its ellipticity %.3f allows", c.ID, i, r, c.Ellipticity)
			}
		}
		for i := 1; i+1 < len(c.Nodes); i++ {
			if c.Nodes[i].BudSide == c.Nodes[i-1].BudSide && math.Abs(c.Nodes[i].BudTowardsCamera) < 0.5 && math.Abs(c.Nodes[i-1].BudTowardsCamera) < 0.5 {
				t.Errorf("cane %s: buds %d and %d sit on the same side (%s); they alternate", c.ID, i-1, i, c.Nodes[i].BudSide)
			}
		}
	}
}

func TestParamsThatCannotBeDrawn(t *testing.T) {
	good := Random(1, Options{Width: 100})
	for name, change := range map[string]func(*Params){
		"no size":            func(p *Params) { p.Width = 0 },
		"enormous":           func(p *Params) { p.Height = 1 << 20 },
		"no field of view":   func(p *Params) { p.HFOVDeg = 0 },
		"not a number":       func(p *Params) { p.DistanceMM = math.NaN() },
		"unknown background": func(p *Params) { p.Background = "sea" },
		"unknown light":      func(p *Params) { p.Light = "moon" },
		"unknown kind":       func(p *Params) { p.Kind = "tree" },
		"unknown reference":  func(p *Params) { p.Reference.Kind = "coin" },
	} {
		p := good
		change(&p)
		if _, _, err := Draw(p); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: want an error with code %q, got %v", name, assess.EInvalid, err)
		}
	}
}
