package nodes

import (
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/caliper"
	"nodespan/vision/cores"
)

// Params are the tunables of this stage.
type Params struct {
	// Smooth is the standard deviation of the smoothing along the cane, mm.
	// Larger sees faint swellings and merges near ones. Default 2.
	Smooth float64
	// Flank is how long a swelling's two flanks are, as a share of the diameter: the
	// upper one is lit by the sky and the lower one is not. Default 0.4, from
	// MinFlank to MaxFlank, 2 and 6 mm.
	Flank, MinFlank, MaxFlank float64
	// StepWorth is how much a standard deviation of the step in brightness from the
	// lower to the upper flank counts against one of swelling, StepNoise the least
	// standard deviation of such steps, powers of two, MostStep what one step can
	// bring. Larger trusts light more. Default 1.2, 0.15 and 3.
	StepWorth, StepNoise, MostStep float64
	// BaseReach is the half length over which the even thickness between nodes
	// is looked for, mm. Default 32.
	BaseReach float64
	// BaseQuantile is which part of the readings in that reach is the even
	// thickness. Default 0.35.
	BaseQuantile float64
	// MinSwelling is the smallest relative swelling that can be a node.
	// Default 0.035.
	MinSwelling float64
	// TopMM is how far from where a node is told the top of its swelling is looked
	// for, mm. Larger takes a neighbour's. Default 4.
	TopMM int
	// Noise is the least relative noise of the swelling. Default 0.03.
	Noise float64
	// Restless is how many times the typical difference of a single reading
	// from the smoothed width counts as noise of the latter. Larger finds fewer
	// nodes where the edges are unsteady. Default 1.5.
	Restless float64
	// OneEdge is how much noisier a swelling is of which one edge alone can be
	// seen. Default 1.5.
	OneEdge float64
	// MarkWorth is how much a standard deviation of unusual brightness counts
	// against one of swelling: buds and the rings at nodes are darker or
	// lighter than the wood between. Larger trusts colour more. Default 0.7.
	MarkWorth float64
	// MostMark bounds what brightness can bring. Default 2.5.
	MostMark float64
	// NearWire is how near a wire, in mm, brightness counts nothing. Default 6.
	NearWire float64
	// Price is the score that a node must bring, in standard deviations.
	// Larger finds fewer. Default 2.6.
	Price float64
	// Lessons is how many times the look of nodes is learned from those that were
	// found and looked for again. Default 2.
	Lessons int
	// MinLearn is the fewest nodes, over all canes of a photo, from which their
	// look is learned. Fewer learns chance. Default 12.
	MinLearn int
	// LookMM is how far to both sides of a node its look reaches, LookStep the
	// distance of the places that are compared there. Default 12 and 2 mm.
	LookMM, LookStep int
	// Shrink is how much of each trait's variance is taken to be its own.
	// Larger learns less of how traits go together. Default 0.6.
	Shrink float64
	// Ridge is added to each trait's variance, which is in units of its usual
	// scatter. Larger trusts what few examples have in common less. Default 1.
	Ridge float64
	// Trust is how much of the log odds is believed that a place gets by its look:
	// neighbouring places share their traits, and examples are few, so that they
	// come out too sure of themselves. Larger weighs the rhythm less. Default 0.5.
	Trust float64
	// LearnedPrice is the price of a node that was looked for by its look, as
	// Price. Default 1.5.
	LearnedPrice float64
	// Rarity is by how much of the log of a cane's usual internode over UsualMM the
	// price of its nodes is higher: where nodes stand close, any place is more likely
	// to be one. It needs MinApart internodes that were found before, and is at most
	// MostRarity either way. Larger finds more on short-noded canes and fewer on long
	// ones. Default 1, 75 mm, 5 and 1.5.
	Rarity, UsualMM, MostRarity float64
	MinApart                    int
	// LeastScore is the least log odds of a place that is weighed at all,
	// WorstScore what is counted of less. Default -8 and -3.
	LeastScore, WorstScore float64
	// BlindScore is that of a place that can't be seen, BlindStep how far such
	// places are apart, mm. Default 0 and 6.
	BlindScore float64
	BlindStep  int
	// MostScore bounds what one node can bring. Default 8.
	MostScore float64
	// Regular is the standard deviation of the logarithm of the ratio of
	// neighbouring internodes. Smaller insists on evenness. Default 0.3.
	Regular float64
	// Grow is by how much, as a logarithm, an internode may be longer than the one
	// below at no price as long as it begins within GrowReach times its own length
	// from the base: the lowest internodes are shorter (J. Robinson (ed.), The Oxford
	// Companion to Wine, 2006, "internode"). Larger finds more at the base, and
	// splits long ones there. Default 0.34 and 1.8.
	Grow, GrowReach float64
	// MinSpacing and MaxSpacing bound internodes, mm. Default 9 and 260.
	MinSpacing, MaxSpacing float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{Smooth: 2, Flank: 0.4, MinFlank: 2, MaxFlank: 6, StepWorth: 1.2, StepNoise: 0.15, MostStep: 3, BaseReach: 32, BaseQuantile: 0.35, MinSwelling: 0.035, TopMM: 4, Noise: 0.03, Restless: 2, OneEdge: 1.5, MarkWorth: 0.7, MostMark: 2.5, NearWire: 6, Price: 2.6,
		MostScore: 8, Lessons: 2, MinLearn: 12, LookMM: 12, LookStep: 2, Shrink: 0.6, Ridge: 1, Trust: 0.5, LearnedPrice: 1.5, Rarity: 1, UsualMM: 75, MostRarity: 1.5, MinApart: 5, LeastScore: -8, WorstScore: -3, BlindScore: 0, BlindStep: 6, Regular: 0.3, Grow: 0.34, GrowReach: 1.8, MinSpacing: 9, MaxSpacing: 260}
}

// A signal is what of the profile speaks for nodes, at every millimetre.
type signal struct {
	swelling    []float64 // relative to the even thickness
	left, right []float64 // each edge's share of it
	known       []bool
	mark        []float64 // how much darker or brighter the wood is than nearby, in standard deviations
	noise       []float64
	// step is how much brighter the wood is just above a place than just below it, in
	// standard deviations.
	step []float64
}

// candidate is a place that may be a node.
type candidate struct {
	at    int // mm along
	score float64
	exact float64
}

// Find gives the nodes of one cane; wires are the places along it, in mm, where
// a wire crosses.
func Find(p *caliper.Profile, wires []float64, par Params) []assess.Node {
	return FindAll([]*caliper.Profile{p}, [][]float64{wires}, par)[0]
}

// FindAll gives the nodes of all canes of one photo, which have the same light
// and much the same bark: what nodes look like is learned from the clear ones
// (learn.go) and looked for again. wires[i] are the places along cane i, in mm,
// where a wire crosses.
func FindAll(ps []*caliper.Profile, wires [][]float64, par Params) [][]assess.Node {
	signals := make([]*signal, len(ps))
	looks := make([]*traits, len(ps))
	chosen := make([][]candidate, len(ps))
	cores.Each(len(ps), func(i int) {
		if signals[i] = signalOf(ps[i], wires[i], par); signals[i] != nil {
			chosen[i] = sequence(candidates(signals[i], par), par.Price, par)
			looks[i] = traitsOf(ps[i], signals[i], wires[i], par)
		}
	})
	for range par.Lessons {
		l, ok := learn(looks, chosen, par)
		if !ok {
			break
		}
		cores.Each(len(ps), func(i int) {
			if signals[i] != nil {
				chosen[i] = sequence(l.candidates(looks[i], par), par.LearnedPrice+par.rarity(chosen[i]), par)
			}
		})
	}
	out := make([][]assess.Node, len(ps))
	for i, p := range ps {
		for _, c := range chosen[i] {
			if k := signals[i].top(c.at, par); k >= 0 {
				v := signals[i].swelling
				c.exact = float64(k) + summit(v[k-1], v[k], v[k+1])
			}
			out[i] = append(out[i], assess.Node{AlongMM: c.exact, Px: placeAt(p, c.exact), Side: side(signals[i], c.at), Confidence: confidence(c.score, par)})
		}
	}
	return out
}

// rarity is what a node's price is more where internodes are long and less
// where they are short: the log of how far apart the nodes that were found
// stand, over the usual distance.
func (par Params) rarity(found []candidate) float64 {
	var apart []float64
	for i := 1; i < len(found); i++ {
		apart = append(apart, found[i].exact-found[i-1].exact)
	}
	if len(apart) < par.MinApart {
		return 0
	}
	slices.Sort(apart)
	return par.Rarity * max(-par.MostRarity, min(par.MostRarity, math.Log(apart[len(apart)/2]/par.UsualMM)))
}

func confidence(score float64, par Params) float64 {
	return math.Round(100/(1+math.Exp(-(score-par.Price)))) / 100
}

// placeAt gives the picture position at a distance along the profile.
func placeAt(p *caliper.Profile, along float64) assess.Point {
	st := p.Stations
	k, _ := slices.BinarySearchFunc(st, along, func(s caliper.Station, a float64) int {
		switch {
		case s.AlongMM < a:
			return -1
		case s.AlongMM > a:
			return 1
		}
		return 0
	})
	if k == 0 {
		return st[0].Px
	}
	if k >= len(st) {
		return st[len(st)-1].Px
	}
	a, b := st[k-1], st[k]
	t := (along - a.AlongMM) / max(b.AlongMM-a.AlongMM, 1e-9)
	return assess.Point{a.Px[0] + t*(b.Px[0]-a.Px[0]), a.Px[1] + t*(b.Px[1]-a.Px[1])}
}

func signalOf(p *caliper.Profile, wires []float64, par Params) *signal {
	st := p.Stations
	if len(st) < 10 {
		return nil
	}
	n := int(st[len(st)-1].AlongMM) + 1
	if n < 20 {
		return nil
	}
	// Gaussian-weighted means of the readings about each millimetre.
	gather := func(get func(caliper.Station) (float64, bool), sd float64) (v []float64, ok []bool) {
		v, ok = make([]float64, n), make([]bool, n)
		lo := 0
		for i := range n {
			x := float64(i)
			for lo < len(st) && st[lo].AlongMM < x-3*sd {
				lo++
			}
			sw, sv := 0.0, 0.0
			for k := lo; k < len(st) && st[k].AlongMM <= x+3*sd; k++ {
				y, is := get(st[k])
				if !is {
					continue
				}
				d := (st[k].AlongMM - x) / sd
				w := math.Exp(-0.5 * d * d)
				sw, sv = sw+w, sv+w*y
			}
			if sw > 0.3 {
				v[i], ok[i] = sv/sw, true
			}
		}
		return v, ok
	}
	// Each edge by itself: where other wood hides one, the other may still
	// show the swelling.
	left, knownL := gather(func(s caliper.Station) (float64, bool) { return s.Left * s.MMPerPx, s.LeftRead }, par.Smooth)
	right, knownR := gather(func(s caliper.Station) (float64, bool) { return s.Right * s.MMPerPx, s.RightRead }, par.Smooth)
	s := &signal{known: make([]bool, n), swelling: make([]float64, n), left: make([]float64, n), right: make([]float64, n)}
	baseL := runningQuantile(left, knownL, int(par.BaseReach), par.BaseQuantile)
	baseR := runningQuantile(right, knownR, int(par.BaseReach), par.BaseQuantile)
	alone := make([]float64, n) // how much noisier than both edges
	for i := range n {
		l, r := knownL[i] && baseL[i] > 0, knownR[i] && baseR[i] > 0
		switch {
		case l && r:
			base := baseL[i] + baseR[i]
			s.left[i], s.right[i] = (left[i]-baseL[i])/base, (right[i]-baseR[i])/base
			s.swelling[i], alone[i] = s.left[i]+s.right[i], 1
		case l:
			s.left[i] = 0.5 * (left[i] - baseL[i]) / baseL[i]
			s.swelling[i], alone[i] = 2*s.left[i], par.OneEdge
		case r:
			s.right[i] = 0.5 * (right[i] - baseR[i]) / baseR[i]
			s.swelling[i], alone[i] = 2*s.right[i], par.OneEdge
		}
		s.known[i] = l || r
	}
	// Noise, place by place: how restless single readings are about the
	// smoothed width. Before grass they are, before the sky they aren't.
	s.noise = make([]float64, n)
	rest := make([]float64, n)
	got := make([]bool, n)
	for _, t := range st {
		i := int(t.AlongMM)
		if i >= n || !s.known[i] {
			continue
		}
		sum, base := 0.0, 0.0
		if t.LeftRead && baseL[i] > 0 {
			sum, base = sum+t.Left*t.MMPerPx-left[i], base+baseL[i]
		}
		if t.RightRead && baseR[i] > 0 {
			sum, base = sum+t.Right*t.MMPerPx-right[i], base+baseR[i]
		}
		if base > 0 {
			rest[i], got[i] = math.Abs(sum)/base, true
		}
	}
	local := runningQuantile(rest, got, 2*int(par.BaseReach), 0.5)
	for i := range n {
		s.noise[i] = max(1, alone[i]) * math.Hypot(par.Noise, par.Restless*local[i])
	}
	s.step = steps(p, n, wires, par)
	// Brightness against its neighbourhood.
	inner, seen := gather(func(s caliper.Station) (float64, bool) { return math.Log(max(s.Inner, 1e-3)), s.Inner > 0 }, 0.8*par.Smooth)
	usual := runningQuantile(inner, seen, int(par.BaseReach), 0.5)
	dev := make([]float64, n)
	var all []float64
	for i := range n {
		if seen[i] {
			dev[i] = math.Abs(inner[i] - usual[i])
			all = append(all, dev[i])
		}
	}
	s.mark = make([]float64, n)
	if len(all) > 20 {
		slices.Sort(all)
		sd := max(1.5*all[len(all)/2], 0.02)
		for i := range n {
			s.mark[i] = dev[i] / sd
			for _, w := range wires {
				if math.Abs(float64(i)-w) < par.NearWire {
					s.mark[i] = 0
				}
			}
		}
	}
	return s
}

// runningQuantile of the known values within reach.
func runningQuantile(v []float64, ok []bool, reach int, q float64) []float64 {
	out := make([]float64, len(v))
	var sorted []float64 // those within reach
	for i := -reach; i < len(v); i++ {
		if j := i + reach; j < len(v) && ok[j] {
			at, _ := slices.BinarySearch(sorted, v[j])
			sorted = slices.Insert(sorted, at, v[j])
		}
		if j := i - reach - 1; j >= 0 && ok[j] {
			at, _ := slices.BinarySearch(sorted, v[j])
			sorted = slices.Delete(sorted, at, at+1)
		}
		if i >= 0 && len(sorted) > 0 {
			out[i] = sorted[int(q*float64(len(sorted)-1))]
		}
	}
	return out
}

func candidates(s *signal, par Params) []candidate {
	var out []candidate
	n := len(s.swelling)
	total := s.evidence(par)
	for i := 2; i < n-2; i++ {
		v := total[i]
		if v < 1 || v < total[i-1] || v <= total[i+1] {
			continue
		}
		// It stands out from both sides.
		lo := func(step int) float64 {
			m := v
			for k := 1; k <= 14; k++ {
				j := i + step*k
				if j < 0 || j >= n {
					break
				}
				m = min(m, total[j])
				if total[j] > v {
					break
				}
			}
			return m
		}
		prom := v - max(lo(-1), lo(1))
		score := min(v, prom*1.5)
		mark := 0.0
		for k := max(0, i-4); k <= min(n-1, i+4); k++ {
			mark = max(mark, s.mark[k])
		}
		score += min(par.MarkWorth*max(0, mark-1), par.MostMark)
		if score < 1 {
			continue
		}
		out = append(out, candidate{at: i, score: score, exact: float64(i) + summit(total[i-1], v, total[i+1])})
	}
	return out
}

// evidence is what swelling and light say for a node at every millimetre, in
// standard deviations.
func (s *signal) evidence(par Params) []float64 {
	total := make([]float64, len(s.swelling))
	for i := range total {
		if s.known[i] {
			total[i] = max(-1, min(s.swelling[i]/s.noise[i], par.MostScore))
		}
		total[i] += par.StepWorth * max(-1, min(s.step[i], par.MostStep))
	}
	return total
}

// top is the place of the highest swelling within TopMM of a place, -1 where
// nothing swells: light tells that a node is near, the swelling where.
func (s *signal) top(at int, par Params) int {
	best := -1
	for i := max(1, at-par.TopMM); i <= min(len(s.swelling)-2, at+par.TopMM); i++ {
		v := s.swelling[i]
		if s.known[i] && v >= par.MinSwelling && v >= s.swelling[i-1] && v > s.swelling[i+1] && (best < 0 || v > s.swelling[best]) {
			best = i
		}
	}
	return best
}

// diameterOf is the median diameter of the readings, mm; 8 without any.
func diameterOf(p *caliper.Profile) float64 {
	var d []float64
	for _, s := range p.Stations {
		if s.U > 0 {
			d = append(d, s.DiameterMM)
		}
	}
	if len(d) == 0 {
		return 8
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// steps tells at every millimetre how much brighter the wood is just above than
// just below, along the cane but counted upwards in the picture, in standard
// deviations: light comes from above, so that the upper flank of a swelling is
// brighter than its lower one.
func steps(p *caliper.Profile, n int, wires []float64, par Params) []float64 {
	st := p.Stations
	sum, count := make([]float64, n+1), make([]float64, n+1)
	k := 0
	for i := range n {
		for k+1 < len(st) && st[k+1].AlongMM <= float64(i) {
			k++
		}
		sum[i+1], count[i+1] = sum[i], count[i]
		blind := st[k].Crossed || st[k].Across == [5]float64{}
		for _, w := range wires {
			blind = blind || math.Abs(float64(i)-w) < par.NearWire/2
		}
		if !blind {
			for _, a := range st[k].Across {
				sum[i+1] += a / 5
			}
			count[i+1]++
		}
	}
	d := diameterOf(p)
	flank := int(math.Round(max(par.MinFlank, min(par.MaxFlank, par.Flank*d))))
	out := make([]float64, n)
	var size []float64
	k = 0
	for i := range n {
		for k+1 < len(st) && st[k+1].AlongMM <= float64(i) {
			k++
		}
		a, b := max(0, i-flank), min(n, i+1+flank)
		below, above := count[i]-count[a], count[b]-count[i+1]
		if 2*below < float64(flank) || 2*above < float64(flank) {
			continue
		}
		out[i] = ((sum[b]-sum[i+1])/above - (sum[i]-sum[a])/below) * -math.Sin(st[k].Angle)
		size = append(size, math.Abs(out[i]))
	}
	if len(size) == 0 {
		return out
	}
	slices.Sort(size)
	sd := max(par.StepNoise, size[len(size)/2])
	for i := range out {
		out[i] /= sd
	}
	return out
}

// summit is how far from the middle of three neighbouring values the top of the
// parabola through them lies, in steps; 0 where it has no top.
func summit(a, v, b float64) float64 {
	if d := a - 2*v + b; d < 0 {
		return 0.5 * (a - b) / d
	}
	return 0
}

// sequence picks the nodes: the chain of candidates with the largest sum of
// scores less price, less what each pair of neighbouring internodes disagrees.
func sequence(cs []candidate, price float64, par Params) []candidate {
	n := len(cs)
	if n == 0 {
		return nil
	}
	gain := func(i int) float64 { return cs[i].score - price }
	// What an internode of a mm below and one of b above a node at so many mm cost.
	uneven := func(at, a, b float64) float64 {
		l := math.Log(b / a)
		if at < par.GrowReach*b {
			l -= max(0, min(l, par.Grow))
		}
		l /= par.Regular
		return min(0.5*l*l, 4)
	}
	// best[i][j]: the best chain that ends with nodes i, j (i before j);
	// i = n stands for "j is the first".
	best := make([][]float64, n+1)
	from := make([][]int, n+1)
	for i := range best {
		best[i] = make([]float64, n)
		from[i] = make([]int, n)
		for j := range n {
			best[i][j] = math.Inf(-1)
			from[i][j] = -1
		}
	}
	bi, bj, bv := -1, -1, 0.0
	for j := range n {
		best[n][j] = gain(j)
		if best[n][j] > bv {
			bi, bj, bv = n, j, best[n][j]
		}
		for i := range j {
			d := cs[j].exact - cs[i].exact
			if d < par.MinSpacing || d > par.MaxSpacing {
				continue
			}
			v, f := best[n][i], n
			for h := range i {
				if math.IsInf(best[h][i], -1) {
					continue
				}
				if w := best[h][i] - uneven(cs[i].exact, cs[i].exact-cs[h].exact, d); w > v {
					v, f = w, h
				}
			}
			best[i][j], from[i][j] = v+gain(j), f
			if best[i][j] > bv {
				bi, bj, bv = i, j, best[i][j]
			}
		}
	}
	if bj < 0 {
		return nil
	}
	var out []candidate
	for {
		out = append(out, cs[bj])
		if bi == n {
			break
		}
		bi, bj = from[bi][bj], bi
	}
	slices.Reverse(out)
	return out
}

// side tells on which side the bud shows: the edge that stands out more.
func side(s *signal, at int) string {
	l, r := 0.0, 0.0
	for i := max(0, at-3); i <= min(len(s.left)-1, at+6); i++ {
		l, r = max(l, s.left[i]), max(r, s.right[i])
	}
	d := l - r
	switch {
	case d > 2*s.noise[at]:
		return "left"
	case d < -2*s.noise[at]:
		return "right"
	}
	return "unknown"
}
