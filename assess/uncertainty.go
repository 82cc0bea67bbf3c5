package assess

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A part is one input's contribution to a combined standard uncertainty, in
// the result's unit: the sensitivity coefficient is already in it.
type part struct {
	u   float64 // standard uncertainty
	dof float64 // degrees of freedom; +Inf for one that isn't from few readings
}

// combine adds uncorrelated parts in quadrature (JCGM 100:2008, 5.1.2) and
// gives the effective degrees of freedom of the sum by the Welch-Satterthwaite
// formula (G.4.1); +Inf when no part has few.
func combine(parts ...part) part {
	var u2, sum float64
	for _, p := range parts {
		u2 += p.u * p.u
		if p.u > 0 && !math.IsInf(p.dof, 1) {
			sum += math.Pow(p.u, 4) / p.dof
		}
	}
	dof := math.Inf(1)
	if sum > 0 {
		dof = u2 * u2 / sum
	}
	return part{u: math.Sqrt(u2), dof: dof}
}

// coverage is the factor k by which a standard uncertainty with dof degrees
// of freedom is multiplied for a two-sided interval of level p: Student's t,
// with dof truncated to a whole number (JCGM 100:2008, G.4.1 and G.6.4), and
// the normal distribution where dof is beyond a thousand. Below one degree of
// freedom it takes one.
func coverage(p, dof float64) float64 {
	q := (1 + p) / 2
	if dof > 1000 {
		return distuv.UnitNormal.Quantile(q)
	}
	nu := math.Max(1, math.Floor(dof))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(q)
}

// median of xs, which it leaves alone; NaN for none.
func median(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	s := slices.Clone(xs)
	slices.Sort(s)
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// madToSD turns a median absolute deviation into the standard deviation of a
// normal distribution with that deviation, 1/Phi^-1(3/4).
const madToSD = 1.482602218505602

// spread is the robust standard deviation of xs about their median, from the
// median absolute deviation.
func spread(xs []float64) float64 {
	m := median(xs)
	dev := make([]float64, len(xs))
	for i, x := range xs {
		dev[i] = math.Abs(x - m)
	}
	return madToSD * median(dev)
}

// middleWeights says how much each of xs, read with standard uncertainties us,
// makes up the median m of them all: one that lies farther from m than the
// nearest does, counted in width times its own u, could hardly have been the
// middle one and has little weight. The weights sum to one.
func middleWeights(xs, us []float64, m, width float64) []float64 {
	w := make([]float64, len(xs))
	nearest := math.Inf(1)
	for i, x := range xs {
		// A value without uncertainty gets one that can't be told from none.
		z := (x - m) / (width * math.Max(us[i], 1e-9))
		w[i] = z * z / 2
		nearest = math.Min(nearest, w[i])
	}
	var sum float64
	for i := range w {
		w[i] = math.Exp(nearest - w[i])
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}
