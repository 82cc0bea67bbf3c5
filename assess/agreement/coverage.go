package agreement

import (
	"math"
	"slices"

	"nodespan/assess"
)

// Claim is a value with its 95 % interval, and what it turned out to be.
type Claim struct {
	Said  assess.Interval
	True  float64
	TrueU float64 // standard uncertainty of True; 0 for one that is exact
}

// Held is how well intervals held: what Coverage gives.
type Held struct {
	N         int     `json:"n"`
	Inside    int     `json:"inside"`
	Share     Bounded `json:"share"`      // by Wilson
	MeanWidth float64 `json:"mean_width"` // of the intervals
	// Stretch is the factor by which every interval's two sides would have to
	// be multiplied so that 95 % of these claims held: the 95th percentile of
	// |truth - value| over the side's length. Below 1 the intervals are wider
	// than needed. Its interval is by order statistics (the binomial
	// distribution of how many lie below a percentile); High is 0 where there
	// are too few claims to bound it.
	Stretch Bounded `json:"stretch"`
	// Extra is the standard uncertainty that, added in quadrature to what the
	// intervals claim, makes the mean square of the normalised differences one
	// (Paule & Mandel 1982); 0 where they scatter no more than claimed.
	Extra float64 `json:"extra"`
	// ExtraShare is the same as a share of the value.
	ExtraShare float64 `json:"extra_share"`
	// Normalised is the
	// root mean square of the normalised differences: 1 when the intervals are
	// right, below it when they are wide.
	Normalised float64 `json:"rms_normalised"`
}

// fewestClaims is how many claims it takes to propose a change: with fewer, one
// of them decides the 95th percentile.
const fewestClaims = 20

// Coverage tells how often intervals held the truth, and by how much they
// would have to change. EInvalid with fewer than one claim that has an
// interval.
func Coverage(claims []Claim) (Held, error) {
	var h Held
	var ratios []float64
	var known []Claim
	for _, c := range claims {
		if !c.Said.Known() || !finite(c.True) {
			continue
		}
		known = append(known, c)
		h.N++
		h.MeanWidth += c.Said.Width()
		if c.True >= c.Said.Low && c.True <= c.Said.High {
			h.Inside++
		}
		side := c.Said.High - c.Said.Value
		if c.True < c.Said.Value {
			side = c.Said.Value - c.Said.Low
		}
		ratios = append(ratios, math.Abs(c.True-c.Said.Value)/math.Max(side, 1e-9))
	}
	if h.N == 0 {
		return Held{}, assess.Errorf(assess.EInvalid, "No value has an interval to be held against a hand measurement.")
	}
	h.MeanWidth /= float64(h.N)
	h.Share, _ = Wilson(h.Inside, h.N)
	slices.Sort(ratios)
	h.Stretch = percentileBounds(ratios, level)
	h.Normalised = math.Sqrt(meanNormalised(known, 0, false))
	h.Extra = extra(known, false)
	h.ExtraShare = extra(known, true)
	return h, nil
}

// Enough tells whether there were enough claims to propose a change from.
func (h Held) Enough() bool { return h.N >= fewestClaims }

// meanNormalised is the mean square of the differences over their claimed
// standard uncertainty, with extra added to it.
func meanNormalised(claims []Claim, extra float64, relative bool) float64 {
	var sum float64
	for _, c := range claims {
		side := c.Said.High - c.Said.Value
		if c.True < c.Said.Value {
			side = c.Said.Value - c.Said.Low
		}
		u := side / normal95
		x := extra
		if relative {
			x *= c.Said.Value
		}
		d := c.True - c.Said.Value
		sum += d * d / math.Max(u*u+c.TrueU*c.TrueU+x*x, 1e-18)
	}
	return sum / float64(len(claims))
}

// extra finds by bisection what makes the mean square of the normalised
// differences one; it falls as extra grows.
func extra(claims []Claim, relative bool) float64 {
	if meanNormalised(claims, 0, relative) <= 1 {
		return 0
	}
	lo, hi := 0.0, 1e-3
	for meanNormalised(claims, hi, relative) > 1 && hi < 1e6 {
		hi *= 2
	}
	for range 80 {
		mid := (lo + hi) / 2
		if meanNormalised(claims, mid, relative) > 1 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// percentileBounds is the p-th quantile of sorted values with a 95 % interval
// by order statistics: the k-th smallest value lies below the quantile with
// the probability that a binomial variable of n and p is at least k.
func percentileBounds(sorted []float64, p float64) Bounded {
	n := len(sorted)
	at := p*float64(n+1) - 1
	i := int(math.Floor(at))
	b := Bounded{}
	switch {
	case i < 0:
		b.Value = sorted[0]
	case i >= n-1:
		b.Value = sorted[n-1]
	default:
		b.Value = sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
	}
	lower, upper := 0, 0 // orders from 1; 0 means there is none
	cum := 0.0
	for k := 0; k <= n; k++ {
		cum += binomial(n, k, p)
		// P(X <= k) is now cum.
		if cum <= (1-level)/2 {
			lower = k + 1
		}
		if upper == 0 && cum >= (1+level)/2 && k+1 <= n {
			upper = k + 1
		}
	}
	if lower > 0 {
		b.Low = sorted[lower-1]
	}
	if upper > 0 {
		b.High = sorted[upper-1]
	}
	return b
}

func binomial(n, k int, p float64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return math.Exp(a - b - c + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
}
