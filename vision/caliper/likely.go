package caliper

import "math"

// A Likelihood says how likely the pixel at a place is wood rather than
// ground: log odds, 0 when it could be either.
type Likelihood interface {
	At(x, y float64) float64
}

// likely finds the course of both edges, as course does, from log odds along
// the cross-sections: between the edges lies what looks like wood, beside them
// what doesn't. odds gives a station's log odds at the distances v.
//
// Shade and bark inside of the cane, which have edges of their own, look like
// wood too, and grass looks like grass whatever edges it has. Where another
// piece of wood crosses, nothing can be said; there the edges go on as they
// came (Viterbi's dynamic programming over the length of the cane).
func likely(v []float64, odds func(i int) []float64, width []float64, stationMM, stationPx, widthTol float64, par Params) (left, right []float64, ok bool) {
	n := len(width)
	per := max(3, int(math.Round(par.LikelyMM/stationMM)))
	var pairs [][]pairing
	var widths, mid []float64
	most := par.MaxWidthMM * stationPx / stationMM
	step := v[1] - v[0]
	for from := 0; from < n; from += per {
		to := min(from+per, n)
		if to-from < per/2 && len(pairs) > 0 {
			break
		}
		sum := make([]float64, len(v))
		for i := from; i < to; i++ {
			for k, o := range odds(i) {
				sum[k] += max(-par.MostOdds, min(par.MostOdds, o)) / float64(to-from)
			}
		}
		w := width[(from+to)/2]
		// Running integral, to weigh any stretch at once.
		total := make([]float64, len(v)+1)
		for k := range v {
			total[k+1] = total[k] + sum[k]*step
		}
		within := func(a, b float64) float64 {
			i, j := int(math.Round((a-v[0])/step)), int(math.Round((b-v[0])/step))
			i, j = max(0, min(len(v), i)), max(0, min(len(v), j))
			return total[j] - total[i]
		}
		rise, fall := turns(v, sum)
		// The followed width is always a candidate.
		rise, fall = append(rise, -w/2), append(fall, w/2)
		here := []pairing{{a: -w / 2, b: w / 2, cost: 0.5}}
		for _, a := range rise {
			for _, b := range fall {
				d := b - a
				if d < 0.4*w || d < 1.5 || d > most || a > 0.45*w || b < -0.45*w {
					continue
				}
				// Means, not sums: a wider piece of wood isn't better wood.
				q := 0.25*w + 1.5
				good := within(a, b)/d - 0.5*(within(a-q, a)+within(b, b+q))/q
				l := math.Log(d/w) / widthTol
				here = append(here, pairing{a: a, b: b, cost: -par.OddsWorth*good/(2*par.MostOdds) + min(0.3*l*l, 1.6)})
			}
		}
		pairs = append(pairs, cheapest(here))
		widths, mid = append(widths, w), append(mid, float64(from+to-1)/2)
	}
	if len(pairs) == 0 {
		return nil, nil, false
	}
	as, bs := chain(pairs, widths, par)
	left, right = between(mid, as, n), between(mid, bs, n)
	return left, right, true
}

// turns lists where the log odds change from ground to wood and back, going
// across: the crossings of the level half way between what lies on both sides.
func turns(v, odds []float64) (rise, fall []float64) {
	step := v[1] - v[0]
	run := max(1, int(math.Round(1.5/step)))
	for i := run; i+run < len(v); i++ {
		d := odds[i+run] - odds[i-run]
		if math.Abs(d) < 0.5 {
			continue
		}
		// Steepest within its neighbourhood.
		top := true
		for k := -run; k <= run && top; k++ {
			if j := i + k; j-run >= 0 && j+run < len(v) && k != 0 {
				e := odds[j+run] - odds[j-run]
				if math.Signbit(e) == math.Signbit(d) && (math.Abs(e) > math.Abs(d) || math.Abs(e) == math.Abs(d) && k < 0) {
					top = false
				}
			}
		}
		if !top {
			continue
		}
		if d > 0 {
			rise = append(rise, v[i])
		} else {
			fall = append(fall, v[i])
		}
	}
	return rise, fall
}

// between interpolates values at places mid, station numbers, to all n
// stations.
func between(mid, val []float64, n int) []float64 {
	out := make([]float64, n)
	k := 0
	for i := range n {
		x := float64(i)
		for k+1 < len(mid)-1 && mid[k+1] < x {
			k++
		}
		if len(mid) == 1 {
			out[i] = val[0]
			continue
		}
		t := max(0, min(1, (x-mid[k])/(mid[k+1]-mid[k])))
		out[i] = val[k] + t*(val[k+1]-val[k])
	}
	return out
}
