package agreement

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"nodespan/assess"
)

// Repeatability is how far repeated measurements of the same things scatter.
type Repeatability struct {
	Things   int `json:"things"`   // that were measured at least twice
	Readings int `json:"readings"` // of those
	// WithinSD is the standard deviation of repeated measurements of one thing,
	// with its confidence interval by the chi-squared distribution.
	WithinSD Bounded `json:"within_sd"`
	// Coefficient is 1.96 sqrt(2) WithinSD = 2.77 WithinSD: two measurements of
	// the same thing differ by less in 95 % of cases.
	Coefficient Bounded `json:"coefficient"`
	// BetweenSD is the standard deviation of the things' own values, without
	// the scatter of measuring; 0 where measuring scatters more than they do.
	BetweenSD float64 `json:"between_sd"`
	// Intraclass is the share of all variance that is the things' own.
	Intraclass float64 `json:"intraclass_correlation"`
}

// Repeat computes the repeatability from groups of readings, one group a
// thing: the root of the residual mean square of a one-way analysis of
// variance (Bland & Altman 1996). Things with fewer than two readings are left
// out. EInvalid unless two things were measured at least twice.
func Repeat(groups [][]float64) (Repeatability, error) {
	var r Repeatability
	var within, sum, squares float64
	var means, counts []float64
	for _, g := range groups {
		if len(g) < 2 {
			continue
		}
		for _, v := range g {
			if !finite(v) {
				return Repeatability{}, assess.Errorf(assess.EInvalid, "A repeated measurement is no number. Correct it or leave it out.")
			}
			sum += v
		}
		r.Things++
		r.Readings += len(g)
		m, variance := stat.MeanVariance(g, nil)
		within += variance * float64(len(g)-1)
		means, counts = append(means, m), append(counts, float64(len(g)))
		squares += float64(len(g) * len(g))
	}
	if r.Things < 2 {
		return Repeatability{}, assess.Errorf(assess.EInvalid, "%d things were measured more than once; at least two are needed to say how well measuring repeats. Take several photos of the same vines.", r.Things)
	}
	n, k := float64(r.Readings), float64(r.Things)
	dof := n - k
	ms := within / dof
	chi := distuv.ChiSquared{K: dof}
	r.WithinSD = Bounded{
		Value: math.Sqrt(ms),
		Low:   math.Sqrt(within / chi.Quantile((1+level)/2)),
		High:  math.Sqrt(within / chi.Quantile((1-level)/2)),
	}
	c := factorExact * math.Sqrt2
	r.Coefficient = Bounded{Value: c * r.WithinSD.Value, Low: c * r.WithinSD.Low, High: c * r.WithinSD.High}
	grand := sum / n
	var between float64
	for i, m := range means {
		between += counts[i] * (m - grand) * (m - grand)
	}
	// With groups of unequal size the expected mean square between things is
	// ms + n0 times their variance, n0 = (n - sum n_i^2 / n) / (k - 1).
	n0 := (n - squares/n) / (k - 1)
	own := math.Max(0, (between/(k-1)-ms)/n0)
	r.BetweenSD = math.Sqrt(own)
	if own+ms > 0 {
		r.Intraclass = own / (own + ms)
	}
	return r, nil
}
