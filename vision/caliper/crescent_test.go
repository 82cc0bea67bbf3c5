package caliper

import (
	"math"
	"testing"

	"nodespan/assess"
	"nodespan/vision/scale"
)

// Half of the peak's light reaches as far as Lambert's cosine law says, with what
// the sky adds: cos(angle from the sun) = (0.5 - sky) / (1 - sky). Before a bright
// ground the other end is the limb itself.
func TestWholeOfByLambert(t *testing.T) {
	for _, deg := range []float64{20, 30, 40, 50, 60} {
		turn := deg * math.Pi / 180
		inner := math.Sin(turn - math.Acos((0.5-skyShare)/(1-skyShare)))
		if got, want := wholeOf(turn, true), 2/(1-inner); math.Abs(got-want) > 0.01 {
			t.Errorf("sun at %v degrees: whole over lit %.3f, want %.3f", deg, got, want)
		}
		for _, limb := range []bool{true, false} {
			if got := turnOf(wholeOf(turn, limb), limb); math.Abs(got-turn) > 0.02 {
				t.Errorf("sun at %v degrees came back as %.1f (limb %v)", deg, got*180/math.Pi, limb)
			}
		}
	}
}

// sunlit is an upright cane of a true width in px at a column, lit from turn
// radians beside the line of sight, before a ground of the shaded wood's own
// colour; its course takes in the share of it from the lit edge that is given.
func sunlit(x, width, turn, taken, rim float64) *Course {
	const blur = 0.8
	c := &Course{par: DefaultParams(), m: &scale.Map{FocalPx: 2300}, cx: 1500, blur: blur, stationPx: 3, mm: 0.7}
	half := width / 2
	var wide []*section
	for i := range 200 {
		c.pts = append(c.pts, assess.Point{x, 1400 - 3*float64(i)})
		s := &section{}
		for v := -2 * width; v <= 2*width; v += 0.5 {
			var y [3]float64
			for k := -8; k <= 8; k++ { // blurred
				d := float64(k) / 4
				g := 0.25 * gauss(d/blur) / blur
				l := 0.09
				if u := (v + d) / half; math.Abs(u) < 1 {
					l = 0.09 + 0.6*max(0, math.Sqrt(1-u*u)*math.Cos(turn)+u*math.Sin(turn))
				}
				for ch := range y {
					y[ch] += g * l
				}
			}
			s.v, s.y = append(s.v, v), append(s.y, y)
		}
		// Followed upwards, the right side in the picture is the right one.
		c.left, c.right = append(c.left, half-taken*width), append(c.right, half)
		c.rimL, c.rimR = append(c.rimL, rim), append(c.rimR, 0)
		wide = append(wide, s)
	}
	c.sections = wide
	c.bands = bands(wide, c.left, c.right, 43)
	return c
}

// Four canes whose edges were seen tell where the sun stands; a fifth, of which
// only the lit part was taken, is then given its rim, to a twentieth of its width.
// The camera sees each from another side.
func TestSunTellsHiddenRim(t *testing.T) {
	const sun = 35 * math.Pi / 180
	at := func(x float64) float64 { return sun + math.Atan((x-1500)/2300) }
	hidden := sunlit(1900, 9, at(1900), 0.7, 0)
	cs := []*Course{sunlit(900, 12, at(900), 1, 0), sunlit(1300, 10, at(1300), 0.8, 2), sunlit(1600, 14, at(1600), 1, 0), sunlit(2100, 11, at(2100), 1, 0), hidden}
	l := LightOf(cs)
	if !l.turned || math.Abs(l.turn-sun) > 5*math.Pi/180 {
		t.Fatalf("sun at %.1f degrees (known: %v), want 35", l.turn*180/math.Pi, l.turned)
	}
	got := l.allow(hidden)
	for i := range got.told {
		whole := hidden.right[i] + got.lit[i] - hidden.left[i] + got.left[i]
		if got.right[i] != 0 || !got.told[i] || math.Abs(whole-9) > 0.45 {
			t.Fatalf("station %d: whole %.2f px, rims %.2f and %.2f, told %v; want 9 px with a rim on the left", i, whole, got.left[i], got.right[i], got.told[i])
		}
	}
	// Where a rim was seen, or all of the cane, nothing is told.
	for k, c := range cs[:4] {
		if l.allow(c).told[100] {
			t.Errorf("cane %d, whose edges were seen, is told a rim", k)
		}
	}
}

// Under a cloudy sky there is no crescent, and with few canes no sun.
func TestNoSun(t *testing.T) {
	cs := []*Course{sunlit(900, 12, 0.6, 1, 0), sunlit(1300, 10, 0.6, 0.8, 2)}
	if l := LightOf(cs); l.turned {
		t.Error("two canes are too few to tell the sun by")
	}
	for _, c := range cs {
		for i, s := range c.sections {
			for k := range s.y {
				s.y[k] = [3]float64{0.2, 0.2, 0.2}
			}
			c.rimL[i] = 0
		}
	}
	if l := LightOf(append(cs, cs...)); l.turned {
		t.Error("a sun under an even light")
	}
}
