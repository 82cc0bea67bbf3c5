package agreement

import (
	"math"
	"math/rand/v2"
	"testing"

	"nodespan/assess"
)

// Two raters, 100 people in three diagnoses: Fleiss, Statistical Methods for
// Rates and Proportions, 2nd ed. 1981, table 13.1. The table also stands in
// http://www.stattutorials.com/SAS/TUTORIAL-KAPPA.htm. By hand: the diagonal
// is 0.89, chance 0.8*0.8 + 0.1*0.05 + 0.1*0.15 = 0.66, kappa 0.23/0.34.
func TestKappaOfFleissBook(t *testing.T) {
	k, err := CohenKappa([][]int{{75, 1, 4}, {5, 4, 1}, {0, 0, 10}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "raw", k.Raw, 0.89, 1e-12)
	near(t, "chance", k.Chance, 0.66, 1e-12)
	near(t, "kappa", k.Value.Value, 0.23/0.34, 1e-12)
}

// Cohen's own illustration of 1968, 200 cases in three diagnoses, with his
// weights of disagreement 0, 1, 3 / 1, 0, 6 / 3, 6, 0: kappa 0.492, weighted
// kappa 0.348 (his printed figures from memory; the table and weights as in
// https://stat.ethz.ch/CRAN/web/packages/DMAR/vignettes/weighted_kappa.html).
// By hand: kappa (0.70 - 0.41) / 0.59; weighted 1 - 0.90 / 1.38.
func TestKappaOfCohen1968(t *testing.T) {
	table := [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}
	k, err := CohenKappa(table)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kappa", k.Value.Value, 0.29/0.59, 1e-12)
	near(t, "kappa as printed", k.Value.Value, 0.492, 0.0005)
	against := [][]float64{{0, 1, 3}, {1, 0, 6}, {3, 6, 0}}
	weights := make([][]float64, 3)
	for i, row := range against {
		for _, v := range row {
			weights[i] = append(weights[i], 1-v/6)
		}
	}
	w, err := WeightedKappa(table, weights)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "weighted kappa", w.Value.Value, 1-0.90/1.38, 1e-12)
	near(t, "weighted kappa as printed", w.Value.Value, 0.348, 0.0005)
}

// Two dermatologists, 88 patients in four ordered classes: the example of the
// SAS/STAT user's guide,
// https://support.sas.com/documentation/cdl/en/procstat/67528/HTML/default/procstat_freq_gettingstarted02.htm,
// for the table; its figures (simple kappa 0.3449, ASE 0.0724, limits 0.2030 and
// 0.4868; weighted kappa with linear weights 0.5082, ASE 0.0655, limits 0.3798
// and 0.6366) are from memory.
func TestKappaOfSkinCondition(t *testing.T) {
	table := [][]int{{10, 4, 1, 0}, {5, 10, 12, 2}, {2, 4, 12, 5}, {0, 2, 6, 13}}
	k, err := CohenKappa(table)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "kappa", k.Value.Value, 0.3449, 0.00005)
	near(t, "ASE", k.SE, 0.0724, 0.00005)
	near(t, "low", k.Value.Low, 0.2030, 0.00006)
	near(t, "high", k.Value.High, 0.4868, 0.00006)
	w, err := WeightedKappa(table, LinearWeights(4))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "weighted kappa", w.Value.Value, 0.5082, 0.00005)
	near(t, "weighted ASE", w.SE, 0.0655, 0.00005)
	near(t, "weighted low", w.Value.Low, 0.3798, 0.00006)
	near(t, "weighted high", w.Value.High, 0.6366, 0.00006)
}

// Two neurologists, 149 patients of Winnipeg in four classes of multiple
// sclerosis: Landis & Koch, The measurement of observer agreement for
// categorical data, Biometrics 1977; 33: 159-174; table and kappa of 0.208 from
// memory. By hand: (64/149 - 6211/149^2) / (1 - 6211/149^2).
func TestKappaOfLandisKoch(t *testing.T) {
	k, err := CohenKappa([][]int{{38, 5, 0, 1}, {33, 11, 3, 0}, {10, 14, 5, 6}, {3, 7, 3, 10}})
	if err != nil {
		t.Fatal(err)
	}
	chance := 6211.0 / (149 * 149)
	near(t, "kappa", k.Value.Value, (64.0/149-chance)/(1-chance), 1e-12)
	near(t, "kappa as printed", k.Value.Value, 0.208, 0.0005)
}

// Thirty patients, each diagnosed by six psychiatrists in five categories: the
// data of Fleiss, Measuring nominal scale agreement among many raters,
// Psychological Bulletin 1971; 76: 378-382, table 1, from memory. The column
// totals 26, 26, 30, 55, 43 and the figures 0.555, 0.220 and 0.430 are the
// paper's.
func TestFleiss1971(t *testing.T) {
	counts := [][]int{
		{0, 0, 0, 6, 0}, {0, 3, 0, 0, 3}, {0, 1, 4, 0, 1}, {0, 0, 0, 0, 6}, {0, 3, 0, 3, 0}, {2, 0, 4, 0, 0},
		{0, 0, 4, 0, 2}, {2, 0, 3, 1, 0}, {2, 0, 0, 4, 0}, {0, 0, 0, 0, 6}, {1, 0, 0, 5, 0}, {1, 1, 0, 4, 0},
		{0, 3, 3, 0, 0}, {1, 0, 0, 5, 0}, {0, 2, 0, 3, 1}, {0, 0, 5, 0, 1}, {3, 0, 0, 1, 2}, {5, 1, 0, 0, 0},
		{0, 2, 0, 4, 0}, {1, 0, 2, 0, 3}, {0, 0, 0, 0, 6}, {0, 1, 0, 5, 0}, {0, 2, 0, 1, 3}, {2, 0, 0, 4, 0},
		{1, 0, 0, 4, 1}, {0, 5, 0, 1, 0}, {4, 0, 0, 0, 2}, {0, 2, 0, 4, 0}, {1, 0, 5, 0, 0}, {0, 0, 0, 0, 6},
	}
	totals := [5]int{}
	for _, row := range counts {
		for j, c := range row {
			totals[j] += c
		}
	}
	if totals != [5]int{26, 26, 30, 55, 43} {
		t.Fatalf("column totals %v aren't the paper's", totals)
	}
	k, err := FleissKappa(counts)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "raw", k.Raw, 0.555, 0.0007)
	near(t, "chance", k.Chance, 0.220, 0.0007)
	near(t, "kappa", k.Value, 0.430, 0.0005)
	if k.N != 30 || k.Raters != 6 {
		t.Errorf("%d things by %d raters", k.N, k.Raters)
	}
}

// Fourteen raters, ten things, five categories: the worked example that the
// encyclopaedic article "Fleiss' kappa" goes through, with 0.378, 0.213 and
// 0.210 (from memory; the column totals make up 140).
func TestFleissOfFourteenRaters(t *testing.T) {
	k, err := FleissKappa([][]int{
		{0, 0, 0, 0, 14}, {0, 2, 6, 4, 2}, {0, 0, 3, 5, 6}, {0, 3, 9, 2, 0}, {2, 2, 8, 1, 1},
		{7, 7, 0, 0, 0}, {3, 2, 6, 3, 0}, {2, 5, 3, 2, 2}, {6, 5, 2, 1, 0}, {0, 2, 2, 3, 7},
	})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "raw", k.Raw, 0.378, 0.0005)
	near(t, "chance", k.Chance, 0.213, 0.0005)
	near(t, "kappa", k.Value, 0.210, 0.0005)
}

// Properties that hold whatever the table: both raters may change places, equal
// weights of 0 and 1 make the plain kappa, two categories need no weights, and
// the order in which categories stand doesn't matter.
func TestKappaProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	for range 300 {
		k := 2 + rng.IntN(4)
		table, turned, other := make([][]int, k), make([][]int, k), make([][]int, k)
		for i := range k {
			table[i], turned[i], other[i] = make([]int, k), make([]int, k), make([]int, k)
		}
		for range 4 + rng.IntN(60) {
			i, j := rng.IntN(k), rng.IntN(k)
			if rng.IntN(2) == 0 {
				j = i
			}
			table[i][j]++
			turned[j][i]++
			other[k-1-i][k-1-j]++
		}
		a, err := CohenKappa(table)
		if assess.ErrorCode(err) == assess.EInvalid {
			continue
		}
		for name, x := range map[string][][]int{"turned": turned, "reordered": other} {
			b, err := CohenKappa(x)
			if err != nil {
				t.Fatal(err)
			}
			near(t, name, b.Value.Value, a.Value.Value, 1e-9)
			near(t, name+" error", b.SE, a.SE, 1e-9)
		}
		if !(a.Value.Low <= a.Value.Value+1e-12 && a.Value.Value <= a.Value.High+1e-12 && a.Value.High <= 1) {
			t.Errorf("interval %+v", a.Value)
		}
		if k == 2 {
			b, err := WeightedKappa(table, LinearWeights(2))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "two categories", b.Value.Value, a.Value.Value, 1e-12)
		}
	}
}

// The interval holds a known kappa about as often as it says: raters drawn from
// a table with kappa 0.492 (that of Cohen 1968), 100 things each.
func TestKappaIntervalHolds(t *testing.T) {
	cells := []float64{0.44, 0.07, 0.09, 0.05, 0.20, 0.05, 0.01, 0.03, 0.06}
	rng := rand.New(rand.NewPCG(3, 5))
	const runs = 2000
	held := 0
	for range runs {
		table := [][]int{{0, 0, 0}, {0, 0, 0}, {0, 0, 0}}
		for range 100 {
			u, i := rng.Float64(), 0
			for ; i < len(cells)-1 && u > cells[i]; i++ {
				u -= cells[i]
			}
			table[i/3][i%3]++
		}
		k, err := CohenKappa(table)
		if err != nil {
			t.Fatal(err)
		}
		if want := 0.29 / 0.59; k.Value.Low <= want && want <= k.Value.High {
			held++
		}
	}
	// 95 % give or take what 2000 runs and 100 things allow: the standard error
	// is one of large samples.
	if share := float64(held) / runs; math.Abs(share-0.95) > 0.02 {
		t.Errorf("%.3f of the intervals hold the value", share)
	}
}

func TestKappaRefuses(t *testing.T) {
	for name, table := range map[string][][]int{
		"one category": {{5}}, "not square": {{1, 2}, {3}}, "nothing": {{0, 0}, {0, 0}}, "one thing": {{1, 0}, {0, 0}},
		"negative": {{-1, 2}, {3, 4}}, "both used one category": {{9, 0}, {0, 0}}, "one used one category": {{20, 3}, {0, 0}}, "none": nil,
	} {
		if _, err := CohenKappa(table); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := WeightedKappa([][]int{{1, 2}, {3, 4}}, [][]float64{{1, 2}, {0, 1}}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a weight of 2: %v", err)
	}
	for name, counts := range map[string][][]int{
		"none": nil, "one thing": {{2, 0}}, "different numbers of raters": {{2, 0}, {1, 0}}, "one rater": {{1, 0}, {0, 1}},
		"one category used": {{2, 0}, {2, 0}}, "different categories": {{2, 0}, {2}}, "negative": {{3, -1}, {1, 1}},
	} {
		if _, err := FleissKappa(counts); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Agreement in all: the interval doesn't shrink to a point.
	k, err := CohenKappa([][]int{{3, 0}, {0, 2}})
	if err != nil || k.Value.Value != 1 || k.Value.Low > 0.5 || k.Value.High != 1 {
		t.Errorf("five of five: %+v, %v", k.Value, err)
	}
}
