package study

import (
	"cmp"
	"embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"

	"nodespan/assess/agreement"
	"nodespan/assess/figure"
)

// HandU is the standard uncertainty of one reading by hand where the study has
// no repeated readings, mm. A caliper on a vine cane has no published
// repeatability; 0.15 is the planning value of +-0.2 to 0.3 mm at one marked
// spot, and 1 mm one for a rule between two nodes (common practice, no source).
const (
	HandU       = 0.15
	HandLengthU = 1.0
)

// Result is what a study says of one quantity.
type Result struct {
	What      Quantity            `json:"what"`
	Agreement agreement.Agreement `json:"agreement"`
	Held      agreement.Held      `json:"held"`
	// HandRepeats is how the hand repeats itself; nil without repeated readings.
	HandRepeats *agreement.Repeatability `json:"hand_repeats,omitempty"`
	HandU       float64                  `json:"hand_u_mm"` // that was reckoned with
	Proposals   []string                 `json:"proposals"`
	Problem     string                   `json:"problem,omitempty"` // why there is no result
	// Occasions is on how many occasions a vine was photographed for these pairs:
	// one photo each, or two stances measured together.
	Occasions int `json:"occasions"`
	Deep      int `json:"occasions_of_two_stances"` // of them, those that two stances show
	// Repeats is how the program repeats itself from one occasion to another of
	// the same vine; nil without things that were measured on several.
	Repeats *agreement.Repeatability `json:"program_repeats,omitempty"`

	pairs []Paired
}

// Report is a whole study.
type Report struct {
	Program  string
	RuleSet  string
	Photos   []Photo
	Hands    int
	Results  []Result
	Unpaired []Unpaired
	People   []string
	With     []string
}

// NewReport computes the study of hand measurements and photos.
func NewReport(hands []Hand, photos []Photo, program string) Report {
	pairs, left := Pair(hands, photos)
	r := Report{Program: program, Photos: photos, Hands: len(hands), Unpaired: left}
	for _, h := range hands {
		r.People, r.With = once(r.People, h.Who), once(r.With, h.With)
	}
	for _, q := range []struct {
		what Quantity
		of   func(Hand) float64
		u    float64
	}{{Diameter, func(h Hand) float64 { return h.Diameter }, HandU}, {Internode, func(h Hand) float64 { return h.Length }, HandLengthU}} {
		res := Result{What: q.what, HandU: q.u}
		if rep, err := agreement.Repeat(handRepeats(hands, q.of)); err == nil {
			res.HandRepeats, res.HandU = &rep, rep.WithinSD.Value
		}
		for _, p := range pairs {
			if p.What == q.what {
				res.pairs = append(res.pairs, p)
			}
		}
		res.compute()
		r.Results = append(r.Results, res)
	}
	return r
}

// Read is how many occasions gave a reading.
func (r Report) Read() (n int) {
	for i := range r.Photos {
		if r.Photos[i].read() {
			n++
		}
	}
	return n
}

func once(list []string, s string) []string {
	if s == "" || slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}

func (r *Result) compute() {
	var pairs []agreement.Pair
	var claims []agreement.Claim
	occasions := map[string]bool{}
	for _, p := range r.pairs {
		pairs = append(pairs, agreement.Pair{A: p.Said.Value, B: p.Truth})
		claims = append(claims, agreement.Claim{Said: p.Said, True: p.Truth, TrueU: r.HandU / math.Sqrt(float64(p.Readings))})
		if !occasions[p.Photo] && p.Deep {
			r.Deep++
		}
		occasions[p.Photo] = true
	}
	r.Occasions = len(occasions)
	if rep, err := agreement.Repeat(programRepeats(r.pairs)); err == nil {
		r.Repeats = &rep
	}
	var err error
	if r.Agreement, err = agreement.Limits(pairs); err != nil {
		r.Problem = err.Error()
		return
	}
	if r.Held, err = agreement.Coverage(claims); err != nil {
		r.Problem = err.Error()
		return
	}
	r.propose()
}

// propose puts into words what the figures say of the interval model.
func (r *Result) propose() {
	say := func(format string, args ...any) { r.Proposals = append(r.Proposals, fmt.Sprintf(format, args...)) }
	a, h := r.Agreement, r.Held
	if a.Bias.Low > 0 || a.Bias.High < 0 {
		way := "thicker"
		if r.What == Internode {
			way = "longer"
		}
		if a.Bias.Value < 0 {
			way = map[string]string{"thicker": "thinner", "longer": "shorter"}[way]
		}
		say("The program reads %.2f mm %s than the hand (%.2f to %.2f mm): subtract %.2f mm, once the cause is known.", math.Abs(a.Bias.Value), way, a.Bias.Low, a.Bias.High, a.Bias.Value)
	} else {
		say("No bias can be shown: %.2f mm (%.2f to %.2f mm).", a.Bias.Value, a.Bias.Low, a.Bias.High)
	}
	if t := a.Trend; t != nil && (t.Low > 0 || t.High < 0) {
		say("The difference changes with size, by %.3f mm a millimetre (%.3f to %.3f): a fault of scale rather than of edges.", t.Value, t.Low, t.High)
	}
	if !h.Enough() {
		say("With %d pairs the intervals can't be judged well enough to change them; measure more.", h.N)
		return
	}
	switch {
	case h.Share.High < 0.95:
		say("The 95 %% intervals hold in %.0f %% of cases (%.0f to %.0f %%): too narrow. Multiplying them by %.2f would make them hold in 95 %% of these cases; in the model, a further relative standard uncertainty of %.3f, or %.2f mm, added in quadrature, explains the scatter beyond what they claim.",
			100*h.Share.Value, 100*h.Share.Low, 100*h.Share.High, h.Stretch.Value, h.ExtraShare, h.Extra)
	case h.Share.Low > 0.95 || h.Stretch.High > 0 && h.Stretch.High < 1:
		say("The 95 %% intervals hold in %.0f %% of cases (%.0f to %.0f %%): wider than needed. Multiplied by %.2f they would hold in 95 %% of these cases.",
			100*h.Share.Value, 100*h.Share.Low, 100*h.Share.High, h.Stretch.Value)
	default:
		say("The 95 %% intervals hold in %.0f %% of cases (%.0f to %.0f %%): nothing speaks against them.", 100*h.Share.Value, 100*h.Share.Low, 100*h.Share.High)
	}
	say("A proposal from one study holds for its conditions. Check it on canes that weren't used for it before it changes the model.")
}

//go:embed study.html
var pageFile embed.FS

var page = template.Must(template.New("study.html").Funcs(template.FuncMap{
	"mm":      func(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) },
	"percent": func(v float64) string { return strconv.FormatFloat(100*v, 'f', 1, 64) },
}).ParseFS(pageFile, "study.html"))

// worstListed is how many of the farthest pairs the page lists.
const worstListed = 15

type part struct {
	Result
	Figures []template.HTML
	Worst   []Paired
}

// Page writes the report as one page that needs no other file.
func (r Report) Page(out io.Writer) error {
	var parts []part
	for _, res := range r.Results {
		p := part{Result: res}
		if res.Problem == "" {
			var err error
			if p.Figures, err = res.figures(); err != nil {
				return err
			}
			p.Worst = slices.Clone(res.pairs)
			slices.SortStableFunc(p.Worst, func(a, b Paired) int {
				return cmp.Compare(math.Abs(b.Said.Value-b.Truth), math.Abs(a.Said.Value-a.Truth))
			})
			p.Worst = p.Worst[:min(worstListed, len(p.Worst))]
		}
		parts = append(parts, p)
	}
	return page.Execute(out, struct {
		Report
		Parts []part
	}{r, parts})
}

// Off is the program's value less the hand's.
func (p Paired) Off() float64 { return p.Said.Value - p.Truth }

// Where names what was measured.
func (p Paired) Where() string {
	s := fmt.Sprintf("%s, cane %d", p.Photo, p.Hand.Cane)
	if p.Hand.Cane == 0 {
		s = fmt.Sprintf("%s, cane at %.0f mm", p.Photo, p.Hand.AtMM)
	}
	if p.Hand.NodeFrom > 0 {
		s += fmt.Sprintf(", nodes %d to %d", p.Hand.NodeFrom, p.Hand.NodeTo)
	}
	return s
}

func (r Result) figures() ([]template.HTML, error) {
	unit := ", mm"
	var mean, off, truth, value, low, high []float64
	for _, p := range r.pairs {
		mean, off = append(mean, (p.Said.Value+p.Truth)/2), append(off, p.Off())
		truth, value = append(truth, p.Truth), append(value, p.Said.Value)
		low, high = append(low, p.Said.Low), append(high, p.Said.High)
	}
	a := r.Agreement
	levels := []figure.Line{
		{At: a.Bias.Value, Label: "bias"}, {At: a.Lower.Value, Label: "limits of agreement", Dashed: true}, {At: a.Upper.Value, Dashed: true},
	}
	ba, err := figure.Scatter("Difference against mean: "+string(r.What), "mean of program and hand"+unit, "program - hand"+unit, []figure.Group{{X: mean, Y: off}}, nil, levels)
	if err != nil {
		return nil, err
	}
	spans, err := figure.Spans("Program with 95 % interval against hand: "+string(r.What), "hand"+unit, "program"+unit, truth, value, low, high)
	if err != nil {
		return nil, err
	}
	hist, err := figure.Histogram("Differences: "+string(r.What), "program - hand"+unit, "pairs", off, step(off), nil)
	if err != nil {
		return nil, err
	}
	return []template.HTML{ba, spans, hist}, nil
}

// step is a width of histogram bars by Freedman & Diaconis 1981: twice the
// distance of the quartiles over the cube root of the number.
func step(xs []float64) float64 {
	s := slices.Clone(xs)
	slices.Sort(s)
	w := 2 * (s[len(s)*3/4] - s[len(s)/4]) / math.Cbrt(float64(len(s)))
	if !(w > 1e-3) {
		return 0.1
	}
	return w
}
