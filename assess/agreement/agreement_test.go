package agreement

import (
	"math"
	"math/rand/v2"
	"testing"

	"nodespan/assess"
)

// Peak expiratory flow of 17 people, l/min, two readings by each of two
// meters: the data of Bland & Altman 1986, as their author gives them at
// https://www-users.york.ac.uk/~mb55/meas/repeated.htm.
var (
	wright1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	wright2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	mini1   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	mini2   = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s: got %.4f, want %.4f", what, got, want)
	}
}

// The worked figures of the paper itself. They are from memory, as printed to
// one decimal, with the limits at two standard deviations. The paper goes on
// from rounded figures: 2 x 38.8 = 77.6, -2.1 + 77.6 = 75.5, 2.12 x 16.3 = 34.6,
// 75.5 + 34.6 = 110.1, where unrounded ones give 109.93: hence 0.2 for bounds.
func TestLimitsOfLancetExample(t *testing.T) {
	var pairs []Pair
	for i := range wright1 {
		pairs = append(pairs, Pair{A: wright1[i], B: mini1[i]})
	}
	a, err := limitsBy(pairs, factor1986)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", a.Bias.Value, -2.1, 0.05)
	near(t, "standard deviation", a.SD, 38.8, 0.05)
	near(t, "bias, lower bound", a.Bias.Low, -22.0, 0.1)
	near(t, "bias, upper bound", a.Bias.High, 17.8, 0.1)
	near(t, "lower limit", a.Lower.Value, -79.7, 0.1)
	near(t, "upper limit", a.Upper.Value, 75.5, 0.1)
	near(t, "lower limit, low", a.Lower.Low, -114.3, 0.2)
	near(t, "lower limit, high", a.Lower.High, -45.1, 0.2)
	near(t, "upper limit, low", a.Upper.Low, 40.9, 0.2)
	near(t, "upper limit, high", a.Upper.High, 110.1, 0.2)
	exact, err := Limits(pairs)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "lower limit at 1.96", exact.Lower.Value, a.Bias.Value-1.96*a.SD, 1e-9)
}

// The within-subject standard deviations of the same data are 15.3 and 19.9
// l/min (Bland & Altman 1999, Measuring agreement in method comparison studies,
// from memory). By definition, with two readings each, they are the root of half
// the mean squared difference.
func TestRepeatabilityOfLancetExample(t *testing.T) {
	for _, c := range []struct {
		name          string
		first, second []float64
		want          float64
	}{{"large meter", wright1, wright2, 15.3}, {"mini meter", mini1, mini2, 19.9}} {
		var groups [][]float64
		var squares float64
		for i := range c.first {
			groups = append(groups, []float64{c.first[i], c.second[i]})
			squares += (c.first[i] - c.second[i]) * (c.first[i] - c.second[i])
		}
		r, err := Repeat(groups)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name, r.WithinSD.Value, c.want, 0.05)
		near(t, c.name+" by definition", r.WithinSD.Value, math.Sqrt(squares/2/17), 1e-9)
		near(t, c.name+" coefficient", r.Coefficient.Value, 2.77*r.WithinSD.Value, 0.05)
		if r.Things != 17 || r.Readings != 34 || r.BetweenSD < 90 || r.Intraclass < 0.9 {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

// The analysis of variance of unequal groups, worked by hand: groups (1, 3),
// (4, 6, 8): within (2 + 8) / 3, between 2 * 2.4^2 + 3 * 1.6^2 = 19.2 with one
// degree of freedom, n0 = 5 - 13/5 = 2.4.
func TestRepeatUnequalGroups(t *testing.T) {
	r, err := Repeat([][]float64{{1, 3}, {4, 6, 8}, {99}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "within", r.WithinSD.Value, math.Sqrt(10.0/3), 1e-9)
	near(t, "between", r.BetweenSD, math.Sqrt((19.2-10.0/3)/2.4), 1e-9)
	if _, err := Repeat([][]float64{{1, 2}, {3}}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("one thing measured twice: %v", err)
	}
}

// Newcombe 1998, table I: the four worked cases (from memory; the exact ones
// were also held against the beta distribution of SciPy).
func TestProportions(t *testing.T) {
	for _, c := range []struct {
		hits, n                              int
		wilsonLow, wilsonHigh, cpLow, cpHigh float64
	}{
		{81, 263, 0.2553, 0.3662, 0.2527, 0.3676},
		{15, 148, 0.0624, 0.1605, 0.0578, 0.1617},
		{0, 20, 0, 0.1611, 0, 0.1684},
		{1, 29, 0.0061, 0.1718, 0.0009, 0.1776},
		{29, 29, 0.8830, 1, 0.8806, 1},
	} {
		w, err := Wilson(c.hits, c.n)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Wilson low", w.Low, c.wilsonLow, 6e-5)
		near(t, "Wilson high", w.High, c.wilsonHigh, 6e-5)
		p, err := ClopperPearson(c.hits, c.n)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Clopper-Pearson low", p.Low, c.cpLow, 6e-5)
		near(t, "Clopper-Pearson high", p.High, c.cpHigh, 6e-5)
	}
	for _, c := range [][2]int{{0, 0}, {-1, 3}, {4, 3}} {
		if _, err := Wilson(c[0], c[1]); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%v: %v", c, err)
		}
	}
}

// Cochran 1977, 4.4: n0 = 1.96^2 * 0.5 * 0.5 / 0.05^2 = 384.2, 385 things; of
// 1000 things 384.15 / (1 + 383.15/1000) = 277.7.
func TestSampleSize(t *testing.T) {
	for _, c := range []struct {
		all              int
		expected, within float64
		want             int
	}{
		{1 << 30, 0, 0.05, 385}, {1000, 0, 0.05, 278}, {1000, 0.1, 0.05, 122}, {10, 0, 0.05, 10}, {0, 0, 0.05, 0}, {100000, 0.05, 0.02, 455},
	} {
		if got, err := SampleSize(c.all, c.expected, c.within); err != nil || got != c.want {
			t.Errorf("SampleSize(%d, %g, %g) = %d, %v; want %d", c.all, c.expected, c.within, got, err, c.want)
		}
	}
	for _, bad := range [][2]float64{{0, 0}, {0, 0.5}, {1, 0.1}, {-0.1, 0.1}, {0, math.NaN()}} {
		if _, err := SampleSize(100, bad[0], bad[1]); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("SampleSize with %v: %v", bad, err)
		}
	}
}

// Intervals that claim half of the scatter that there is: the proposal must
// find the factor of two, and the missing part sqrt(3) of the claimed one.
func TestCoverageFindsWhatIsMissing(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	var short, right []Claim
	for range 4000 {
		e := r.NormFloat64()
		short = append(short, Claim{Said: assess.Interval{Value: 50, Low: 50 - 0.98, High: 50 + 0.98}, True: 50 + e})
		right = append(right, Claim{Said: assess.Interval{Value: 50, Low: 50 - 1.96, High: 50 + 1.96}, True: 50 + e})
	}
	h, err := Coverage(short)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share inside +-0.98 SD", h.Share.Value, 0.673, 0.03)
	near(t, "factor", h.Stretch.Value, 2, 0.1)
	near(t, "missing part", h.Extra, math.Sqrt(0.75), 0.05)
	near(t, "missing share", h.ExtraShare, math.Sqrt(0.75)/50, 0.001)
	if !(h.Stretch.Low < 2 && h.Stretch.High > 2) {
		t.Errorf("the factor's interval %+v doesn't hold 2", h.Stretch)
	}
	h, err = Coverage(right)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share inside +-1.96 SD", h.Share.Value, 0.95, 0.01)
	near(t, "factor of right ones", h.Stretch.Value, 1, 0.05)
}

// Order statistics: of 59 values the largest is above the 95th percentile with
// a probability of 1 - 0.95^59 = 0.951, and of 72 with 0.975: a two-sided upper
// bound needs 72 (sample sizes of the kind of Wilks 1941).
func TestFewClaimsHaveNoUpperBound(t *testing.T) {
	for _, c := range []struct {
		n       int
		bounded bool
	}{{71, false}, {72, true}, {73, true}} {
		s := make([]float64, c.n)
		for i := range s {
			s[i] = float64(i)
		}
		if b := percentileBounds(s, 0.95); (b.High > 0) != c.bounded {
			t.Errorf("%d values: upper bound %v, want one: %v", c.n, b.High, c.bounded)
		}
	}
}

func TestTooFew(t *testing.T) {
	if _, err := Limits([]Pair{{1, 2}, {2, 3}}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("two pairs: %v", err)
	}
	if _, err := Limits([]Pair{{1, 2}, {2, 3}, {math.NaN(), 1}}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("no number: %v", err)
	}
	if _, err := Coverage(nil); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("no claims: %v", err)
	}
	a, err := Limits([]Pair{{1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}})
	if err != nil || a.Trend != nil || a.SD != 0 {
		t.Errorf("the same thing five times: %+v, %v", a, err)
	}
}
