package nodes

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"nodespan/vision/caliper"
)

// traitCount is how many traits of every place are compared.
const traitCount = 8

// traits are what may tell a node from the wood between, at every millimetre of
// a cane, each in units of its own usual scatter on that cane: how swollen it
// is on the side where it is more and on the other, how much brighter or darker
// its middle, its darkest and its brightest part, how unlike its two sides are,
// how red, and how much brighter it is above than below. Where nothing could be read they are 0: neither one nor the
// other.
type traits struct {
	v     [][traitCount]float64
	blind []bool // a wire or another cane lies here
}

// traitsOf reads a cane's traits.
func traitsOf(p *caliper.Profile, s *signal, wires []float64, par Params) *traits {
	n := len(s.swelling)
	t := &traits{v: make([][traitCount]float64, n), blind: make([]bool, n)}
	raw := make([][traitCount]float64, n)
	got := make([]bool, n)
	k := 0
	st := p.Stations
	for i := range n {
		x := float64(i)
		for k+2 < len(st) && st[k+1].AlongMM <= x {
			k++
		}
		a, b := &st[k], &st[min(k+1, len(st)-1)]
		if a.Across == [5]float64{} || b.Across == [5]float64{} {
			continue
		}
		f := 0.0
		if b.AlongMM > a.AlongMM {
			f = max(0, min(1, (x-a.AlongMM)/(b.AlongMM-a.AlongMM)))
		}
		var q [5]float64
		for j := range q {
			q[j] = a.Across[j] + f*(b.Across[j]-a.Across[j])
		}
		got[i] = true
		raw[i] = [traitCount]float64{0, 0, (q[1] + q[2] + q[3]) / 3, slices.Min(q[:]), slices.Max(q[:]), (q[0] + q[1] - q[3] - q[4]) / 2, a.Red + f*(b.Red-a.Red), 0}
		t.blind[i] = a.Crossed || b.Crossed
	}
	for _, w := range wires {
		for i := max(0, int(w-par.NearWire)); i <= min(n-1, int(w+par.NearWire)); i++ {
			t.blind[i] = true
		}
	}
	usable := make([]bool, n)
	for i := range usable {
		usable[i] = got[i] && !t.blind[i]
	}
	for c := 2; c < traitCount-1; c++ {
		col := make([]float64, n)
		for i := range col {
			col[i] = raw[i][c]
		}
		level := runningQuantile(col, usable, int(par.BaseReach), 0.5)
		var off []float64
		for i := range col {
			col[i] -= level[i]
			if usable[i] {
				off = append(off, math.Abs(col[i]))
			}
		}
		if len(off) < 20 {
			continue
		}
		slices.Sort(off)
		sd := max(1.5*off[len(off)/2], 0.02)
		for i := range col {
			if usable[i] {
				t.v[i][c] = max(-4, min(4, col[i]/sd))
			}
		}
	}
	for i := range n {
		t.v[i][traitCount-1] = max(-4, min(4, s.step[i]))
		t.v[i][5] = math.Abs(t.v[i][5]) - 0.8 // buds stand on either side
		if !usable[i] {
			t.v[i][5] = 0
		}
		if s.known[i] {
			// A misread edge leaps on one side and by much.
			l, r := 2*s.left[i]/s.noise[i], 2*s.right[i]/s.noise[i]
			t.v[i][0], t.v[i][1] = max(-3, min(3, max(l, r))), max(-3, min(3, min(l, r)))
		}
	}
	return t
}

// about gathers the traits of a node's surroundings; false where too little of
// them could be read.
func (t *traits) about(at int, par Params, out []float64) bool {
	j, blind, all := 0, 0, 0
	for d := -par.LookMM; d <= par.LookMM; d += par.LookStep {
		i := at + d
		all++
		if i < 0 || i >= len(t.v) || t.blind[i] {
			blind++
		}
		for c := range traitCount {
			out[j] = 0
			if i >= 0 && i < len(t.v) {
				out[j] = t.v[i][c]
			}
			j++
		}
	}
	return blind*4 < all*3
}

// size is how many numbers about gives.
func (par Params) size() int { return (2*par.LookMM/par.LookStep + 1) * traitCount }

// A look is what tells this photo's nodes from its internodes: a linear
// discriminant (R. A. Fisher, Annals of Eugenics 7(2), 1936) with the shared
// covariance drawn towards its diagonal, as is needed where examples are few
// (J. H. Friedman, J. Am. Stat. Assoc. 84(405), 1989).
type look struct {
	w      []float64
	middle float64 // of both means, along w
}

// learn makes the look from what was chosen so far; false when too few were.
func learn(ts []*traits, chosen [][]candidate, par Params) (*look, bool) {
	n := par.size()
	var nodes, others [][]float64
	for k, t := range ts {
		if t == nil {
			continue
		}
		near := make([]bool, len(t.v))
		for _, c := range chosen[k] {
			for i := max(0, c.at-par.LookMM); i <= min(len(near)-1, c.at+par.LookMM); i++ {
				near[i] = true
			}
			if x := make([]float64, n); c.score > par.Price && t.about(c.at, par, x) {
				nodes = append(nodes, x)
			}
		}
		for i := 4; i < len(near); i += 4 {
			if x := make([]float64, n); !near[i] && t.about(i, par, x) {
				others = append(others, x)
			}
		}
	}
	if len(nodes) < par.MinLearn || len(others) < 3*par.MinLearn {
		return nil, false
	}
	mean := func(xs [][]float64) []float64 {
		m := make([]float64, n)
		for _, x := range xs {
			for i, v := range x {
				m[i] += v / float64(len(xs))
			}
		}
		return m
	}
	mn, mo := mean(nodes), mean(others)
	cov := mat.NewSymDense(n, nil)
	add := func(xs [][]float64, m []float64, weight float64) {
		d := make([]float64, n)
		for _, x := range xs {
			for i := range d {
				d[i] = x[i] - m[i]
			}
			cov.SymRankOne(cov, weight/float64(len(xs)), mat.NewVecDense(n, d))
		}
	}
	add(nodes, mn, 0.5)
	add(others, mo, 0.5)
	for i := range n {
		for j := i; j < n; j++ {
			v := cov.At(i, j)
			if i == j {
				v += par.Ridge
			} else {
				v *= 1 - par.Shrink
			}
			cov.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return nil, false
	}
	diff := make([]float64, n)
	for i := range diff {
		diff[i] = mn[i] - mo[i]
	}
	var w mat.VecDense
	if err := chol.SolveVecTo(&w, mat.NewVecDense(n, diff)); err != nil {
		return nil, false
	}
	l := &look{w: w.RawVector().Data}
	for i, v := range l.w {
		l.middle += v * (mn[i] + mo[i]) / 2
	}
	return l, true
}

// candidates lists the places of a cane that look like a node, with the log odds.
func (l *look) candidates(t *traits, par Params) []candidate {
	n := len(t.v)
	f := make([]float64, n)
	x := make([]float64, par.size())
	for i := range n {
		f[i] = math.Inf(-1)
		if i < 3 || i > n-4 {
			continue
		}
		if !t.about(i, par, x) {
			continue
		}
		f[i] = -l.middle
		for k, v := range x {
			f[i] += l.w[k] * v
		}
		f[i] *= par.Trust
	}
	var out []candidate
	last := -par.BlindStep
	for i := 1; i+1 < n; i++ {
		if math.IsInf(f[i], -1) {
			// Hidden: a node may be here as well as not. Only the rhythm of the
			// others can tell.
			if i-last >= par.BlindStep && i >= 3 && i <= n-4 {
				last = i
				out = append(out, candidate{at: i, score: par.BlindScore, exact: float64(i)})
			}
			continue
		}
		if f[i] < par.LeastScore || f[i] < f[i-1] || f[i] <= f[i+1] {
			continue
		}
		// The best of its near surroundings only.
		best := true
		for k := max(0, i-4); k <= min(n-1, i+4); k++ {
			best = best && f[k] <= f[i]
		}
		if !best {
			continue
		}
		exact := float64(i)
		if a, b := f[i-1], f[i+1]; !math.IsInf(a, -1) && !math.IsInf(b, -1) {
			exact += summit(a, f[i], b)
		}
		out = append(out, candidate{at: i, score: max(par.WorstScore, min(f[i], par.MostScore)), exact: exact})
	}
	return out
}
