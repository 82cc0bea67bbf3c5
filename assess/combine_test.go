package assess

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// straight makes a cane with a straight centre line at 1 mm a pixel going up
// from base, nodes at the given places and a profile every 4 mm.
func straight(base Point, nodes []float64, diameter func(along float64) float64) Cane {
	c := Cane{ID: 1, Traced: "automatic", RelativeU: 0.02, Origin: "head"}
	length := 100.0
	if n := len(nodes); n > 0 {
		length = nodes[n-1] + 50
	}
	for a := 0.0; a <= length; a += 4 {
		c.CentreLine = append(c.CentreLine, Point{base[0], base[1] - a})
		c.AlongMM = append(c.AlongMM, a)
		c.Profile = append(c.Profile, ProfilePoint{AlongMM: a, DiameterMM: diameter(a), U: 0.08})
	}
	for _, a := range nodes {
		c.Nodes = append(c.Nodes, Node{Px: Point{base[0], base[1] - a}, AlongMM: a, Side: "left", Confidence: 0.9})
	}
	return c
}

func every(from, step float64, n int) []float64 {
	at := make([]float64, n)
	for i := range at {
		at[i] = from + step*float64(i)
	}
	return at
}

func TestDeriveByHand(t *testing.T) {
	// Ten nodes 70 mm apart; 9 mm thick, with a swelling of 4 mm about each node
	// that the middle of an internode must not see.
	c := straight(Point{500, 1000}, every(40, 70, 10), func(a float64) float64 {
		d := math.Abs(math.Mod(a-40+35, 70) - 35)
		if d < 12 {
			return 13
		}
		return 9
	})
	Derive(&c)
	if len(c.Internodes) != 9 {
		t.Fatalf("%d internodes of ten nodes, want 9", len(c.Internodes))
	}
	near(t, "diameter", c.Diameter.Value, 9, 1e-9)
	near(t, "internode", c.Internode.Value, 70, 1e-9)
	for i, in := range c.Internodes {
		near(t, "internode length", in.Length.Value, 70, 1e-9)
		near(t, "internode diameter", in.Diameter.Value, 9, 1e-9)
		// sqrt(2) * 1.5 mm for two nodes, 0.02 * 70 mm shared: 2.54 mm, k 1.96.
		near(t, "lower half-width", in.Length.Value-in.Length.Low, 1.96*math.Hypot(math.Sqrt2*1.5, 1.4), 0.01)
		if up, down := in.Length.High-in.Length.Value, in.Length.Value-in.Length.Low; up <= down {
			t.Errorf("internode %d: lean makes no longer upper bound, %v", i, in.Length)
		}
	}
	// The shared part alone is 0.02 * 9 = 0.18 mm; no number of internodes may
	// take the interval below it.
	if half := c.Diameter.High - c.Diameter.Value; half < 1.96*0.18 || half > 1.96*0.18*1.3 {
		t.Errorf("half-width of the diameter %.3f mm, want a little above %.3f", half, 1.96*0.18)
	}
	near(t, "length", c.Length.Value, c.AlongMM[len(c.AlongMM)-1], 1e-9)
}

// Only internodes 1-8 count for the medians.
func TestMediansAreOfTheFirstEightInternodes(t *testing.T) {
	nodes := every(0, 80, 9)
	for range 12 {
		nodes = append(nodes, nodes[len(nodes)-1]+30)
	}
	c := straight(Point{}, nodes, func(a float64) float64 {
		if a > 640 {
			return 4
		}
		return 10
	})
	Derive(&c)
	near(t, "internode", c.Internode.Value, 80, 1e-9)
	near(t, "diameter", c.Diameter.Value, 10, 1e-9)
}

func TestDeriveWithLittle(t *testing.T) {
	flat := func(float64) float64 { return 7 }
	tests := []struct {
		name                string
		change              func(*Cane)
		diameter, internode bool
	}{
		{"no nodes", func(c *Cane) { c.Nodes = nil }, true, false},
		{"one node", func(c *Cane) { c.Nodes = c.Nodes[:1] }, true, false},
		{"no profile", func(c *Cane) { c.Profile = nil }, false, true},
		{"no readings", func(c *Cane) {
			for i := range c.Profile {
				c.Profile[i].U = 0
			}
		}, false, true},
		{"nothing at all", func(c *Cane) { *c = Cane{} }, false, false},
		{"all nodes in one place", func(c *Cane) {
			for i := range c.Nodes {
				c.Nodes[i].AlongMM = 40
			}
		}, true, false},
		{"readings only in one internode", func(c *Cane) {
			for i := range c.Profile {
				if a := c.Profile[i].AlongMM; a < 110 || a > 180 {
					c.Profile[i].U = 0
				}
			}
		}, true, true},
		{"relative uncertainty not a number", func(c *Cane) { c.RelativeU = math.NaN() }, true, true},
	}
	for _, tt := range tests {
		c := straight(Point{}, every(40, 70, 8), flat)
		tt.change(&c)
		Derive(&c)
		if c.Diameter.Known() != tt.diameter || c.Internode.Known() != tt.internode {
			t.Errorf("%s: diameter %v, internode %v; want known %v, %v", tt.name, c.Diameter, c.Internode, tt.diameter, tt.internode)
		}
		if tt.diameter {
			near(t, tt.name+": diameter", c.Diameter.Value, 7, 1e-9)
		}
	}
}

// A bare cane's diameter is that of 60 to 400 mm from its base.
func TestBareCane(t *testing.T) {
	c := straight(Point{}, every(0, 100, 8), func(a float64) float64 {
		switch {
		case a < 60:
			return 14
		case a > 400:
			return 3
		}
		return 8
	})
	c.Nodes = nil
	Derive(&c)
	near(t, "diameter", c.Diameter.Value, 8, 1e-9)
}

func TestDeriveSortsNodesAndIsStable(t *testing.T) {
	c := straight(Point{}, every(40, 70, 8), func(float64) float64 { return 8 })
	c.Nodes[2], c.Nodes[5] = c.Nodes[5], c.Nodes[2]
	Derive(&c)
	near(t, "internode", c.Internode.Value, 70, 1e-9)
	once, _ := json.Marshal(c)
	Derive(&c)
	twice, _ := json.Marshal(c)
	if string(once) != string(twice) {
		t.Error("deriving twice changes the cane")
	}
}

// More shared uncertainty, node uncertainty or lean never narrows an interval.
func TestMoreDoubtNeverNarrows(t *testing.T) {
	base := straight(Point{}, every(40, 70, 9), func(a float64) float64 { return 9 - a/400 })
	width := func(p Combining, rel float64) (float64, float64) {
		c := cloneCane(base)
		c.RelativeU = rel
		DeriveWith(&c, p)
		return c.Diameter.Width(), c.Internode.Width()
	}
	d0, l0 := width(DefaultCombining(), 0.02)
	for name, change := range map[string]func(*Combining, *float64){
		"relative": func(_ *Combining, r *float64) { *r = 0.04 },
		"node":     func(p *Combining, _ *float64) { p.NodeU = 4 },
		"lean":     func(p *Combining, _ *float64) { p.LeanSD = 15 },
		"edge":     func(p *Combining, _ *float64) { p.EdgeU = 0.3 },
		"level":    func(p *Combining, _ *float64) { p.Level = 0.99 },
	} {
		p, r := DefaultCombining(), 0.02
		change(&p, &r)
		d, l := width(p, r)
		if d < d0-1e-9 || l < l0-1e-9 || d+l <= d0+l0 {
			t.Errorf("%s: widths %.3f, %.3f from %.3f, %.3f", name, d, l, d0, l0)
		}
	}
}

// Canes are drawn with the errors that the budget reckons with; the 95 %
// intervals must hold the truth in 93 to 97 % for the diameter (measuring to
// that is what the budget asks) and in at least 93 % for the internode, whose
// lower bound can't know that lean never lengthens.
func TestIntervalsCoverTruth(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	p := DefaultCombining()
	const draws = 3000
	var inD, inL int
	for range draws {
		rel := 0.01 + 0.03*r.Float64()
		shared := 1 + rel*r.NormFloat64()
		lean := math.Cos(p.LeanSD * math.Pi / 180 * r.NormFloat64())
		trueAt := every(30, 55+40*r.Float64(), 10)
		for i := range trueAt {
			trueAt[i] += 6 * r.NormFloat64()
		}
		d0, taper := 5+8*r.Float64(), 0.002*r.Float64()
		trueD := make([]float64, 8)
		trueL := make([]float64, 8)
		edge := make([]float64, 9)
		for i := range trueD {
			trueL[i] = trueAt[i+1] - trueAt[i]
			trueD[i] = d0 - taper*(trueAt[i+1]+trueAt[i])/2
			edge[i] = p.EdgeU * r.NormFloat64()
		}
		c := straight(Point{}, trueAt, func(a float64) float64 { return 1 })
		for i := range c.Nodes {
			c.Nodes[i].AlongMM = (trueAt[i]*lean + p.NodeU*r.NormFloat64()) * shared
		}
		// One bark error every 10 mm, shared by the readings in it.
		bark := make([]float64, 200)
		for i := range bark {
			bark[i] = 0.15 * r.NormFloat64()
		}
		for i := range c.Profile {
			a := c.Profile[i].AlongMM
			k := 0
			for k < 8 && a > trueAt[k+1] {
				k++
			}
			c.Profile[i].DiameterMM = (d0 - taper*a + bark[int(a/10)] + edge[k]) * shared
			c.Profile[i].AlongMM = a * lean * shared
			c.Profile[i].U = 0.1
		}
		c.RelativeU = rel
		Derive(&c)
		if v := median(trueD); v >= c.Diameter.Low && v <= c.Diameter.High {
			inD++
		}
		if v := median(trueL); v >= c.Internode.Low && v <= c.Internode.High {
			inL++
		}
	}
	d, l := float64(inD)/draws, float64(inL)/draws
	t.Logf("coverage: diameter %.3f, internode %.3f", d, l)
	if d < 0.93 || d > 0.97 {
		t.Errorf("diameter intervals hold the truth in %.1f %%, want 93 to 97", 100*d)
	}
	if l < 0.93 || l > 0.985 {
		t.Errorf("internode intervals hold the truth in %.1f %%, want 93 to 98.5", 100*l)
	}
}

func TestUnknownIntervalIsNull(t *testing.T) {
	b, err := json.Marshal(Cane{Diameter: Interval{8, 7, 9}})
	if err != nil {
		t.Fatal(err)
	}
	if s := string(b); !strings.Contains(s, `"diameter_mm":{"value":8,"low":7,"high":9}`) || !strings.Contains(s, `"internode_mm":null`) {
		t.Errorf("unknown interval isn't null, or a known one isn't whole: %s", s)
	}
	var back Cane
	if err := json.Unmarshal(b, &back); err != nil || back.Internode.Known() || back.Diameter.Value != 8 {
		t.Errorf("read back as %v, %v, %v", back.Diameter, back.Internode, err)
	}
}
