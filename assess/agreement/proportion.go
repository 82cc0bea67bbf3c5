package agreement

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"nodespan/assess"
)

// Wilson is the score interval of a proportion, hits of n (Wilson 1927, which
// Newcombe 1998 recommends). EInvalid when n is 0 or hits isn't among 0 to n.
func Wilson(hits, n int) (Bounded, error) {
	if err := checkCount(hits, n); err != nil {
		return Bounded{}, err
	}
	z, m := normal95, float64(n)
	p := float64(hits) / m
	mid := p + z*z/(2*m)
	half := z * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	b := Bounded{Value: p, Low: math.Max(0, (mid-half)/(1+z*z/m)), High: math.Min(1, (mid+half)/(1+z*z/m))}
	// At the ends the bound is exactly 0 or 1; rounding leaves a trace.
	if hits == 0 {
		b.Low = 0
	}
	if hits == n {
		b.High = 1
	}
	return b, nil
}

// ClopperPearson is the exact interval of a proportion (Clopper & Pearson
// 1934), by the beta distribution. It never covers less than 95 %, and is
// wider for it. Errors as Wilson's.
func ClopperPearson(hits, n int) (Bounded, error) {
	if err := checkCount(hits, n); err != nil {
		return Bounded{}, err
	}
	b := Bounded{Value: float64(hits) / float64(n), Low: 0, High: 1}
	x, m := float64(hits), float64(n)
	if hits > 0 {
		b.Low = distuv.Beta{Alpha: x, Beta: m - x + 1}.Quantile((1 - level) / 2)
	}
	if hits < n {
		b.High = distuv.Beta{Alpha: x + 1, Beta: m - x}.Quantile((1 + level) / 2)
	}
	return b, nil
}

func checkCount(hits, n int) error {
	if n < 1 || hits < 0 || hits > n {
		return assess.Errorf(assess.EInvalid, "%d of %d is no proportion: at least one must have been looked at.", hits, n)
	}
	return nil
}

// SampleSize is how many of all things must be drawn at random so that the 95 %
// interval of their error rate reaches no farther than within to either side
// (both as shares): n0 = z^2 p (1 - p) / within^2, lessened for a finite number
// by n0 / (1 + (n0 - 1) / all) (Cochran 1977, 4.4). expected is the rate that
// is expected; 0 takes 0.5, the largest sample. EInvalid when within isn't
// between 0 and 0.5 or expected not between 0 and 1.
func SampleSize(all int, expected, within float64) (int, error) {
	if !(within > 0 && within < 0.5) {
		return 0, assess.Errorf(assess.EInvalid, "The wanted precision is %g: give a share between 0 and 0.5, such as 0.05.", within)
	}
	if !(expected >= 0 && expected < 1) {
		return 0, assess.Errorf(assess.EInvalid, "The expected error rate is %g: give a share between 0 and 1.", expected)
	}
	if expected == 0 {
		expected = 0.5
	}
	if all <= 0 {
		return 0, nil
	}
	n0 := normal95 * normal95 * expected * (1 - expected) / (within * within)
	n := n0 / (1 + (n0-1)/float64(all))
	return min(all, int(math.Ceil(n-1e-9))), nil
}
