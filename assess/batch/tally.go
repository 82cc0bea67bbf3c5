package batch

import (
	"cmp"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/assess/agreement"
)

// A fact is what the summary keeps of one cane.
type fact struct {
	photo, sha, with string
	cane             int
	at               Place
	d, l             float64 // NaN when not known
	base             assess.Point
	hasBase          bool
	depth            float64 // NaN without a second photo that shows it
	finding          assess.Finding
}

// tally gathers what the summary tells: of the photo by which each vine counts,
// and how far several photos of a vine agree. Its memory grows by some hundred
// bytes a cane and a photo, whatever the photos' size.
type tally struct {
	photos, waiting, measured, refused, failed, same int
	reasons, warnings                                map[assess.Reason]int
	refusals                                         []PhotoRow // refused and failed ones
	unplaced                                         []PhotoRow
	placedBy                                         map[string]int
	facts                                            []fact // of the counted photos
	further                                          int    // photos that were measured and aren't counted
	pairs, deepened                                  int    // counted photos measured with a second one; those that got depth by it
	internodes                                       int
	bare                                             int // canes without a diameter or internode length
	references                                       map[string]int
	vines                                            map[string]bool
	views                                            map[string][][]fact // by vine and winter: each photo's canes
}

func newTally() *tally {
	return &tally{reasons: map[assess.Reason]int{}, warnings: map[assess.Reason]int{}, placedBy: map[string]int{}, references: map[string]int{}, vines: map[string]bool{}, views: map[string][][]fact{}}
}

func (t *tally) photo(s *sighting, row PhotoRow) {
	t.photos++
	t.placedBy[s.at.By]++
	if key := s.at.vineKey(); key != "" {
		t.vines[key] = true
	} else {
		t.unplaced = append(t.unplaced, row)
	}
	if s.samePhoto != "" {
		t.same++
	}
	switch row.Outcome {
	case string(assess.Measured):
		t.measured++
		for _, w := range s.seen.Reasons {
			t.warnings[w]++
		}
		if s.seen.Reference != nil {
			t.references[s.seen.Reference.Kind]++
		}
		var canes []fact
		for i := range s.seen.Canes {
			canes = append(canes, factOf(s, &s.seen.Canes[i]))
		}
		// A photo that showed another one depth is no reading of its own.
		if key := s.at.vineKey(); key != "" && s.samePhoto == "" && s.secondOf == "" {
			key += " " + s.at.Winter
			t.views[key] = append(t.views[key], canes)
		}
		if !s.counted {
			t.further++
			break
		}
		t.count(s, canes)
	case string(assess.Refused):
		t.refused++
		for _, w := range s.seen.Reasons {
			t.reasons[w]++
		}
		t.refusals = append(t.refusals, row)
	case failed:
		t.failed++
		t.refusals = append(t.refusals, row)
	default:
		t.waiting++
	}
}

// count takes in the canes of a photo by which its vine counts.
func (t *tally) count(s *sighting, canes []fact) {
	t.facts = append(t.facts, canes...)
	for i, f := range canes {
		if math.IsNaN(f.d) || math.IsNaN(f.l) {
			t.bare++
		}
		t.internodes += len(s.seen.Canes[i].Internodes)
	}
	if s.rec.second != "" {
		t.pairs++
		if s.rec.depth {
			t.deepened++
		}
	}
}

func factOf(s *sighting, c *assess.Cane) fact {
	f := fact{photo: s.rec.path, sha: s.rec.sha, with: s.rec.with, cane: c.ID, at: s.at, d: math.NaN(), l: math.NaN(), depth: math.NaN(), finding: c.Finding}
	if c.Depth != nil {
		f.depth = rounded(c.Depth.Value, 1)
	}
	if c.Diameter.Known() {
		f.d = rounded(c.Diameter.Value, 3)
	}
	if c.Internode.Known() {
		f.l = rounded(c.Internode.Value, 2)
	}
	if len(c.CentreLine) > 0 {
		f.base, f.hasBase = s.seen.Reference.ToMM(c.CentreLine[0])
	}
	return f
}

// known gives the values of one quantity that are known.
func known(facts []fact, of func(fact) float64) []float64 {
	var out []float64
	for _, f := range facts {
		if v := of(f); !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

func diameterOf(f fact) float64  { return f.d }
func internodeOf(f fact) float64 { return f.l }
func depthOf(f fact) float64     { return f.depth }

// A Compared is one block or treatment beside the others.
type Compared struct {
	Name         string
	Vines, Canes int
	D, L         Spread
	// VineD is the mean over vines of each vine's median diameter: canes of one
	// vine aren't independent of each other, vines are taken to be.
	VineD agreement.Bounded
	Found map[assess.Finding]int
	facts []fact
}

// Spread is how values lie.
type Spread struct {
	N                 int
	Median, Low, High float64 // with the quartiles
	Mean, SD          float64
}

func spreadOf(xs []float64) Spread {
	s := Spread{N: len(xs)}
	if s.N == 0 {
		return s
	}
	sorted := slices.Clone(xs)
	slices.Sort(sorted)
	at := func(p float64) float64 {
		x := p * float64(len(sorted)-1)
		i := int(x)
		if i+1 >= len(sorted) {
			return sorted[len(sorted)-1]
		}
		return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
	}
	s.Median, s.Low, s.High = at(0.5), at(0.25), at(0.75)
	for _, x := range sorted {
		s.Mean += x / float64(s.N)
	}
	for _, x := range sorted {
		s.SD += (x - s.Mean) * (x - s.Mean)
	}
	if s.N > 1 {
		s.SD = math.Sqrt(s.SD / float64(s.N-1))
	}
	return s
}

// compare groups the canes by a name, by name; canes without one are left out.
func (t *tally) compare(name func(Place) string) []Compared {
	by := map[string]*Compared{}
	for _, f := range t.facts {
		n := name(f.at)
		if n == "" {
			continue
		}
		c := by[n]
		if c == nil {
			c = &Compared{Name: n, Found: map[assess.Finding]int{}}
			by[n] = c
		}
		c.facts = append(c.facts, f)
		c.Found[f.finding]++
	}
	var out []Compared
	for _, c := range by {
		c.Canes = len(c.facts)
		c.D, c.L = spreadOf(known(c.facts, diameterOf)), spreadOf(known(c.facts, internodeOf))
		vines := map[string][]float64{}
		for _, f := range c.facts {
			key := f.at.vineKey()
			vines[key] = append(vines[key], f.d)
		}
		c.Vines = len(vines)
		var medians []float64
		for _, ds := range vines {
			ds = slices.DeleteFunc(ds, math.IsNaN)
			if len(ds) > 0 {
				medians = append(medians, median(ds))
			}
		}
		slices.Sort(medians) // the same sum in the same order, whatever the map's
		c.VineD = agreement.Mean(medians)
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Compared) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

// samePlaceMM is how far apart the bases of two canes may be to be the same
// cane in two photos of a vine, on the wire plane. Canes arise some 20 mm apart
// at the least, and a base is placed within some 10 mm. Larger pairs neighbours.
const samePlaceMM = 20

// repeated gives the values of each cane that was seen in several photos of the
// same vine in the same winter, paired by the place of its base, which supposes
// that the reference hung in the same place.
func (t *tally) repeated(of func(fact) float64) [][]float64 {
	var out [][]float64
	for _, key := range sortedKeys(t.views) {
		views := t.views[key]
		if len(views) < 2 {
			continue
		}
		most := 0
		for k := range views {
			if len(views[k]) > len(views[most]) {
				most = k
			}
		}
		for i, a := range views[most] {
			group := []float64{of(a)}
			for n, v := range views {
				if n == most {
					continue
				}
				if k := nearest(a, v); k >= 0 && nearest(v[k], views[most]) == i {
					group = append(group, of(v[k]))
				}
			}
			group = slices.DeleteFunc(group, math.IsNaN)
			if len(group) > 1 {
				out = append(out, group)
			}
		}
	}
	return out
}

func nearest(a fact, view []fact) int {
	best, at := samePlaceMM+1e-9, -1
	for k, b := range view {
		if !a.hasBase || !b.hasBase {
			continue
		}
		if d := math.Hypot(a.base[0]-b.base[0], a.base[1]-b.base[1]); d < best {
			best, at = d, k
		}
	}
	return at
}

// vineMedians gives for each vine with several photos each photo's median.
func (t *tally) vineMedians(of func(fact) float64) [][]float64 {
	var out [][]float64
	for _, key := range sortedKeys(t.views) {
		var group []float64
		for _, v := range t.views[key] {
			if xs := known(v, of); len(xs) > 0 {
				group = append(group, median(xs))
			}
		}
		if len(group) > 1 {
			out = append(out, group)
		}
	}
	return out
}

func sortedKeys[K ~string, V any](m map[K]V) []K {
	keys := make([]K, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// outlying is the modified z-score beyond which a value is an outlier: 3.5 after
// Iglewicz & Hoaglin, How to detect and handle outliers, ASQC 1993 (from
// memory). Larger lists fewer.
const outlying = 3.5

// An Outlier is a cane that lies far from the others of its block.
type Outlier struct {
	Photo    string
	Cane     int
	Place    Place
	Quantity string // "diameter" or "internode"
	Value    float64
	Usual    float64 // median of its block
	Score    float64
	sha      string
}

// outliers lists the canes whose diameter or internode length lies far from the
// others of the same block, the farthest first, at most limit of them. Scores
// are of logarithms: twice as thick is as far as half as thick.
func (t *tally) outliers(limit int) []Outlier {
	byBlock := map[string][]fact{}
	for _, f := range t.facts {
		byBlock[f.at.Block] = append(byBlock[f.at.Block], f)
	}
	var out []Outlier
	for _, block := range sortedKeys(byBlock) {
		for _, q := range []struct {
			name string
			of   func(fact) float64
		}{{"diameter", diameterOf}, {"internode", internodeOf}} {
			logs := known(byBlock[block], func(f fact) float64 { return math.Log(q.of(f)) })
			if len(logs) < 8 {
				continue // too few to say what is usual
			}
			m := median(logs)
			dev := make([]float64, len(logs))
			for i, v := range logs {
				dev[i] = math.Abs(v - m)
			}
			mad := median(dev)
			if mad <= 0 {
				continue
			}
			for _, f := range byBlock[block] {
				v := q.of(f)
				if math.IsNaN(v) {
					continue
				}
				if z := 0.6745 * (math.Log(v) - m) / mad; math.Abs(z) > outlying {
					out = append(out, Outlier{Photo: f.photo, Cane: f.cane, Place: f.at, Quantity: q.name, Value: v, Usual: math.Exp(m), Score: z, sha: f.sha})
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Outlier) int { return cmp.Compare(math.Abs(b.Score), math.Abs(a.Score)) })
	return out[:min(limit, len(out))]
}
