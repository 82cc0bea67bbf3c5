package agreement

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"nodespan/assess"
)

// level of all intervals of this package.
const level = 0.95

// normal95 is the factor of a two-sided 95 % range of a normal distribution.
var normal95 = distuv.UnitNormal.Quantile((1 + level) / 2)

// Pair is one thing measured by two methods, in the same unit.
type Pair struct {
	A float64 // the method on trial
	B float64 // the method that it is held against
}

// Bounded is an estimate with its 95 % confidence interval.
type Bounded struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Agreement is how far two methods agree: what Limits gives.
type Agreement struct {
	N int `json:"n"`
	// Bias is the mean of A - B.
	Bias Bounded `json:"bias"`
	// SD is the standard deviation of A - B.
	SD float64 `json:"sd"`
	// Lower and Upper are the limits of agreement: about 95 % of the
	// differences between the methods lie between them.
	Lower Bounded `json:"lower"`
	Upper Bounded `json:"upper"`
	// Trend is the slope of A - B over (A + B) / 2: not 0 where the methods
	// differ by more the larger the thing is. Known with five pairs and more.
	Trend *Bounded `json:"trend,omitempty"`
	// MAE is the mean of |A - B|.
	MAE float64 `json:"mae"`
}

// factor of the standard deviation in the limits of agreement. Bland & Altman
// 1986 take 2 in the text's worked figures and say that 1.96 is the exact one.
const (
	factorExact  = 1.96
	factor1986   = 2
	fewestPairs  = 3
	fewestTrend  = 5
	limitVarOver = 3 // the variance of a limit is about 3 s^2 / n (Bland & Altman 1986)
)

// Limits compares two methods by the limits of agreement, bias -+ 1.96 SD,
// after Bland & Altman 1986, with confidence intervals by Student's t with
// n - 1 degrees of freedom: of the bias by s / sqrt(n), of a limit by
// sqrt(3 s^2 / n). EInvalid with fewer than three pairs or a value that is no
// number.
func Limits(pairs []Pair) (Agreement, error) { return limitsBy(pairs, factorExact) }

func limitsBy(pairs []Pair, factor float64) (Agreement, error) {
	n := len(pairs)
	if n < fewestPairs {
		return Agreement{}, assess.Errorf(assess.EInvalid, "There are %d pairs; to say how far two methods agree at least %d are needed. Measure more by hand.", n, fewestPairs)
	}
	d, m := make([]float64, n), make([]float64, n)
	var abs float64
	for i, p := range pairs {
		if !finite(p.A) || !finite(p.B) {
			return Agreement{}, assess.Errorf(assess.EInvalid, "Pair %d has a value that is no number. Correct it or leave it out.", i+1)
		}
		d[i], m[i] = p.A-p.B, (p.A+p.B)/2
		abs += math.Abs(d[i]) / float64(n)
	}
	mean, s := stat.MeanStdDev(d, nil)
	t := student(n - 1)
	a := Agreement{N: n, SD: s, MAE: abs, Bias: about(mean, t*s/math.Sqrt(float64(n)))}
	h := t * math.Sqrt(limitVarOver*s*s/float64(n))
	a.Lower, a.Upper = about(mean-factor*s, h), about(mean+factor*s, h)
	if n >= fewestTrend {
		a.Trend = slope(m, d)
	}
	return a, nil
}

// slope is the least-squares slope of y over x with its confidence interval;
// nil when all x are the same.
func slope(x, y []float64) *Bounded {
	n := float64(len(x))
	mx := stat.Mean(x, nil)
	var sxx float64
	for _, v := range x {
		sxx += (v - mx) * (v - mx)
	}
	if sxx < 1e-12*(1+mx*mx) {
		return nil
	}
	alpha, beta := stat.LinearRegression(x, y, nil, false)
	var rest float64
	for i := range x {
		e := y[i] - alpha - beta*x[i]
		rest += e * e
	}
	b := about(beta, student(len(x)-2)*math.Sqrt(rest/(n-2)/sxx))
	return &b
}

// student is Student's t for a two-sided 95 % interval.
func student(dof int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(max(1, dof))}.Quantile((1 + level) / 2)
}

func about(v, half float64) Bounded { return Bounded{Value: v, Low: v - half, High: v + half} }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Mean is the mean of independent values with its confidence interval by
// Student's t; for one value the bounds are the value, for none all is 0.
func Mean(xs []float64) Bounded {
	switch len(xs) {
	case 0:
		return Bounded{}
	case 1:
		return about(xs[0], 0)
	}
	m, s := stat.MeanStdDev(xs, nil)
	return about(m, student(len(xs)-1)*s/math.Sqrt(float64(len(xs))))
}
