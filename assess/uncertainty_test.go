package assess

import (
	"math"
	"math/rand/v2"
	"testing"
)

func near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, within)
	}
}

// JCGM 100:2008, annex H.1 (calibration of an end gauge): the contributions
// and their degrees of freedom of table H.1, the combined standard uncertainty
// of H.1.4 and the expanded one of H.1.6. The figures are from memory; that
// they agree with each other to the last digit is what can be checked here.
func TestEndGaugeOfTheGUM(t *testing.T) {
	parts := []part{
		{25, 18},    // nm, the standard's calibration
		{9.7, 25.6}, // the comparator's difference
		{2.9, 50},   // difference of expansion coefficients
		{16.6, 2},   // difference of temperatures
	}
	c := combine(parts...)
	near(t, "combined standard uncertainty, nm", math.Round(c.u), 32, 0)
	near(t, "its square, nm^2", c.u*c.u, 1002, 1.5)
	near(t, "effective degrees of freedom", math.Floor(c.dof), 16, 0)
	near(t, "t99 of 16", coverage(0.99, c.dof), 2.92, 0.005)
	near(t, "expanded uncertainty, nm", math.Round(coverage(0.99, c.dof)*math.Round(c.u)), 93, 0)
}

// JCGM 100:2008, table G.2: t for a two-sided interval. Figures from memory;
// they're those of any table of Student's t.
func TestCoverageFactors(t *testing.T) {
	for _, c := range []struct{ p, dof, want float64 }{
		{0.95, 1, 12.71}, {0.95, 2, 4.30}, {0.95, 3, 3.18}, {0.95, 4, 2.78}, {0.95, 5, 2.57},
		{0.95, 7, 2.36}, {0.95, 10, 2.23}, {0.95, 20, 2.09}, {0.95, 50, 2.01}, {0.95, 100, 1.984},
		{0.95, math.Inf(1), 1.960}, {0.99, 5, 4.03}, {0.99, math.Inf(1), 2.576}, {0.6827, math.Inf(1), 1.0},
		{0.95, 16.9, 2.12}, // truncated to 16, G.4.1
		{0.95, 0.3, 12.71}, // never fewer than one
	} {
		near(t, "t", coverage(c.p, c.dof), c.want, 0.005)
	}
}

func TestCombineWithoutFewReadings(t *testing.T) {
	c := combine(part{3, math.Inf(1)}, part{4, math.Inf(1)})
	near(t, "3 and 4 in quadrature", c.u, 5, 1e-12)
	if !math.IsInf(c.dof, 1) {
		t.Errorf("degrees of freedom %v, want infinite", c.dof)
	}
	if c := combine(); c.u != 0 || !math.IsInf(c.dof, 1) {
		t.Errorf("nothing combined gave %v", c)
	}
	// One part alone keeps its own degrees of freedom (G.4.1).
	near(t, "dof of one part", combine(part{2, 7}).dof, 7, 1e-9)
}

// The standard uncertainty that is told of a median is held against how much
// medians really scatter, for values that are equal, spread a little, and
// spread far: it may be a fifth off, not more.
func TestMedianUncertaintyAgainstSimulation(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	p := DefaultCombining()
	for _, step := range []float64{0, 0.3, 1, 2, 5, 20} {
		for _, n := range []int{3, 5, 8} {
			const draws = 4000
			var got, sum, sum2 float64
			xs, us := make([]float64, n), make([]float64, n)
			for range draws {
				for i := range xs {
					xs[i], us[i] = step*float64(i)+r.NormFloat64(), 1
				}
				m := median(xs)
				sum, sum2 = sum+m, sum2+m*m
				w := middleWeights(xs, us, m, p.MiddleWidth)
				var s float64
				for _, wi := range w {
					s += wi * wi
				}
				got += medianLossFor(w) * medianLossFor(w) * s
			}
			got = math.Sqrt(got / draws)
			truly := math.Sqrt(sum2/draws - (sum/draws)*(sum/draws))
			if got < truly/1.2 || got > truly*1.2 {
				t.Errorf("%d values %v apart: told %.3f, medians scatter by %.3f", n, step, got, truly)
			}
		}
	}
}

func TestMedianAndSpread(t *testing.T) {
	xs := []float64{9, 1, 5}
	near(t, "median of three", median(xs), 5, 0)
	if xs[0] != 9 {
		t.Error("median changed its argument")
	}
	near(t, "median of four", median([]float64{4, 1, 3, 2}), 2.5, 0)
	if !math.IsNaN(median(nil)) {
		t.Error("the median of nothing isn't NaN")
	}
	near(t, "spread of 1 to 5", spread([]float64{1, 2, 3, 4, 5}), 1.4826, 1e-4)
	near(t, "spread with an outlier", spread([]float64{1, 2, 3, 4, 500}), 1.4826, 1e-4)
}
