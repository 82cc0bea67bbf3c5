package truth

import (
	"fmt"
	"io"
	"math"
	"sort"
	"text/tabwriter"
)

// Stats are errors of one quantity.
type Stats struct {
	N    int     `json:"n"`
	MAE  float64 `json:"mae"`
	Bias float64 `json:"bias"`
	P95  float64 `json:"p95"` // of the absolute error
}

func statsOf(errs []float64) Stats {
	s := Stats{N: len(errs)}
	if s.N == 0 {
		return s
	}
	abs := make([]float64, len(errs))
	for i, e := range errs {
		abs[i] = math.Abs(e)
		s.MAE += abs[i] / float64(s.N)
		s.Bias += e / float64(s.N)
	}
	sort.Float64s(abs)
	s.P95 = quantile(abs, 0.95)
	return s
}

// Coverage tells how often an interval holds the truth and how wide it is.
type Coverage struct {
	N         int     `json:"n"`
	Inside    int     `json:"inside"`
	MeanWidth float64 `json:"mean_width"`
}

// Share is Inside over N.
func (c Coverage) Share() float64 { return share(c.Inside, c.N) }

// Summary brings the results of many photos together.
type Summary struct {
	Name   string `json:"name"`
	Photos int    `json:"photos"`

	Eligible  int `json:"canes"`
	Found     int `json:"found"`
	Reported  int `json:"reported"`
	Good      int `json:"good"`
	Ignored   int `json:"on_canes_that_do_not_count"`
	Duplicate int `json:"duplicates"`
	OnWood    int `json:"on_other_wood"`
	Elsewhere int `json:"elsewhere"`

	Diameter     Stats `json:"diameter_mm"`
	DiameterNear Stats `json:"diameter_near_mm"` // canes within Rules.NearMM of the wire plane
	Internode    Stats `json:"internode_percent"`

	NodesReported int     `json:"nodes_reported"`
	NodesRight    int     `json:"nodes_right"`
	NodesTrue     int     `json:"nodes_true"`
	NodesFound    int     `json:"nodes_found"`
	NodeMAE       float64 `json:"node_position_mae_mm"`

	DiameterInterval  Coverage `json:"diameter_interval"`
	InternodeInterval Coverage `json:"internode_interval"`

	// Refusals: of photos without a reference, how many were refused; of those
	// with one in plain view, how many were; of the hard ones, how many.
	Without, WithoutRefused int
	Plain, PlainRefused     int
	Hard, HardRefused       int
	// OnEmpty are canes reported on photos that show none.
	OnEmpty int `json:"canes_reported_where_none_stands"`
	// MeasuredWithout are photos measured though nothing of known size is in them.
	MeasuredWithout int `json:"measured_without_reference"`
	Failed          int `json:"failed"`
}

// Recall, Precision and NodeF1 are NaN when there is nothing to judge by.
func (s Summary) Recall() float64    { return share(s.Found, s.Eligible) }
func (s Summary) Precision() float64 { return share(s.Good, s.Reported-s.Ignored) }

// NodeF1 is the harmonic mean of node precision and recall.
func (s Summary) NodeF1() float64 {
	p, r := share(s.NodesRight, s.NodesReported), share(s.NodesFound, s.NodesTrue)
	if p+r == 0 {
		return 0
	}
	return 2 * p * r / (p + r)
}

func share(a, b int) float64 {
	if b == 0 {
		return math.NaN()
	}
	return float64(a) / float64(b)
}

// Summarise brings results together under a name.
func Summarise(name string, results []Result, r Rules) Summary {
	s := Summary{Name: name, Photos: len(results)}
	var dia, near, inter []float64
	var nodeErr float64
	for _, x := range results {
		switch x.Reference {
		case "none":
			s.Without++
			if x.FairRefusal {
				s.WithoutRefused++
			}
		case "card_tilted", "card_occluded":
			s.Hard++
			if x.Refused {
				s.HardRefused++
			}
		default:
			s.Plain++
			if x.Refused {
				s.PlainRefused++
			}
		}
		if x.Failed != "" {
			s.Failed++
		}
		s.Eligible, s.Found = s.Eligible+x.Eligible, s.Found+x.Found
		s.Reported, s.Good, s.Ignored = s.Reported+x.Reported, s.Good+x.Good, s.Ignored+x.Ignored
		s.Duplicate, s.OnWood, s.Elsewhere = s.Duplicate+x.Duplicate, s.OnWood+x.OnWood, s.Elsewhere+x.Elsewhere
		s.OnEmpty += x.OnNothing
		if x.MeasuredWithout {
			s.MeasuredWithout++
		}
		for _, p := range x.Pairs {
			if p.Diameter.Known {
				dia = append(dia, p.Diameter.Error())
				if math.Abs(p.DepthMM) < r.NearMM {
					near = append(near, p.Diameter.Error())
				}
				s.DiameterInterval.add(p.Diameter)
			}
			if p.Internode.Known && p.Internode.Truth > 0 {
				inter = append(inter, 100*p.Internode.Error()/p.Internode.Truth)
				s.InternodeInterval.add(p.Internode)
			}
			s.NodesReported, s.NodesRight = s.NodesReported+p.Nodes.Reported, s.NodesRight+p.Nodes.Right
			s.NodesTrue, s.NodesFound = s.NodesTrue+p.Nodes.True, s.NodesFound+p.Nodes.Found
			nodeErr += p.Nodes.AbsErrorMM
		}
	}
	s.Diameter, s.DiameterNear, s.Internode = statsOf(dia), statsOf(near), statsOf(inter)
	if s.NodesRight > 0 {
		s.NodeMAE = nodeErr / float64(s.NodesRight)
	}
	return s
}

// add takes one more interval in; MeanWidth is kept as a running mean.
func (c *Coverage) add(r Reading) {
	c.N++
	if r.Inside() {
		c.Inside++
	}
	c.MeanWidth += (r.Said.Width() - c.MeanWidth) / float64(c.N)
}

// ByCondition summarises all results, then those of each background, light and
// kind of reference.
func ByCondition(results []Result, r Rules) []Summary {
	out := []Summary{Summarise("all", results, r)}
	for _, key := range []struct {
		title string
		of    func(Result) string
	}{
		{"background", func(x Result) string { return x.Background }},
		{"light", func(x Result) string { return x.Light }},
		{"reference", func(x Result) string { return x.Reference }},
	} {
		groups := map[string][]Result{}
		for _, x := range results {
			groups[key.of(x)] = append(groups[key.of(x)], x)
		}
		var names []string
		for n := range groups {
			names = append(names, n)
		}
		sort.Strings(names)
		for _, n := range names {
			out = append(out, Summarise(key.title+" "+n, groups[n], r))
		}
	}
	return out
}

// header and cells are shared by the table for a terminal and that in HTML.
var header = []string{"condition", "photos", "canes", "recall", "precision", "diameter MAE", "bias", "near: MAE", "bias", "node F1", "internode MAE", "bias",
	"diameter in interval", "width", "internode in interval", "width", "refused: without / plain / hard"}

func (s Summary) cells() []string {
	mm := func(st Stats, v float64) string {
		if st.N == 0 {
			return "-"
		}
		return fmt.Sprintf("%.2f", v)
	}
	width := func(c Coverage, digits int) string {
		if c.N == 0 {
			return "-"
		}
		return fmt.Sprintf("%.*f", digits, c.MeanWidth)
	}
	pct := func(st Stats, v float64) string {
		if st.N == 0 {
			return "-"
		}
		return fmt.Sprintf("%.1f %%", v)
	}
	f1 := "-"
	if s.NodesReported+s.NodesTrue > 0 {
		f1 = three(s.NodeF1())
	}
	return []string{s.Name, fmt.Sprint(s.Photos), fmt.Sprint(s.Eligible), three(s.Recall()), three(s.Precision()),
		mm(s.Diameter, s.Diameter.MAE), mm(s.Diameter, s.Diameter.Bias), mm(s.DiameterNear, s.DiameterNear.MAE), mm(s.DiameterNear, s.DiameterNear.Bias),
		f1, pct(s.Internode, s.Internode.MAE), pct(s.Internode, s.Internode.Bias),
		three(s.DiameterInterval.Share()), width(s.DiameterInterval, 2), three(s.InternodeInterval.Share()), width(s.InternodeInterval, 1),
		fmt.Sprintf("%d/%d  %d/%d  %d/%d", s.WithoutRefused, s.Without, s.PlainRefused, s.Plain, s.HardRefused, s.Hard)}
}

func three(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.3f", v)
}

// WriteTable writes the summaries for a terminal, the first one's counts of
// false canes and failures below.
func WriteTable(w io.Writer, sums []Summary) error {
	t := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for i, h := range header {
		if i > 0 {
			fmt.Fprint(t, "\t")
		}
		fmt.Fprint(t, h)
	}
	fmt.Fprintln(t)
	for _, s := range sums {
		for i, c := range s.cells() {
			if i > 0 {
				fmt.Fprint(t, "\t")
			}
			fmt.Fprint(t, c)
		}
		fmt.Fprintln(t)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(sums) == 0 {
		return nil
	}
	a := sums[0]
	_, err := fmt.Fprintf(w, "\nreported %d: right %d, on canes that don't count %d, second pieces %d, on other wood %d, elsewhere %d\nnodes: %d reported, %d right, %d of %d visible ones found, mean distance of the right ones %.1f mm\ncanes reported where none stands: %d; photos measured without a reference: %d; photos that failed: %d\nlengths in mm; \"near\" is within %.0f mm of the wire plane\n",
		a.Reported, a.Good, a.Ignored, a.Duplicate, a.OnWood, a.Elsewhere, a.NodesReported, a.NodesRight, a.NodesFound, a.NodesTrue, a.NodeMAE, a.OnEmpty, a.MeasuredWithout, a.Failed, DefaultRules().NearMM)
	return err
}
