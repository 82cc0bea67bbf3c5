package study

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"nodespan/assess"
)

// vine makes up a photo with canes of which everything is known; biasMM is
// added to what the program reads, scatterMM scattered about it, while its
// intervals claim claimMM (two standard uncertainties).
func vine(r *rand.Rand, n int, biasMM, scatterMM, claimMM float64) (Photo, map[[2]int]float64) {
	p := Photo{Name: fmt.Sprintf("North-1-%d.jpg", n), Block: "North", Row: 1, Vine: n, Reference: &assess.Reference{PxToMM: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}, Outline: []assess.Point{{0, 0}}}}
	truth := map[[2]int]float64{}
	for id := 1; id <= 4; id++ {
		c := assess.Cane{ID: id, CentreLine: []assess.Point{{float64(100 * id), 0}, {float64(100 * id), 400}}, AlongMM: []float64{0, 400}}
		for k := range 5 {
			c.Nodes = append(c.Nodes, assess.Node{AlongMM: 20 + 80*float64(k)})
		}
		for k := range 4 {
			d := 5 + 6*r.Float64()
			truth[[2]int{id, k + 1}] = d
			v := d + biasMM + scatterMM*r.NormFloat64()
			c.Internodes = append(c.Internodes, assess.Internode{
				Diameter: assess.Interval{Value: v, Low: v - claimMM, High: v + claimMM},
				Length:   assess.Interval{Value: 80, Low: 76, High: 84},
			})
		}
		p.Canes = append(p.Canes, c)
	}
	return p, truth
}

func handCSV(truths []map[[2]int]float64) string {
	var b strings.Builder
	b.WriteString("vine,cane,node_from,node_to,diameter_mm,internode_mm,who,with\n")
	for i, truth := range truths {
		for id := 1; id <= 4; id++ {
			for k := 1; k <= 4; k++ {
				fmt.Fprintf(&b, "North-1-%d,%d,%d,%d,%.3f,80,Ada,caliper\n", i+1, id, k, k+1, truth[[2]int{id, k}])
			}
		}
	}
	return b.String()
}

// A program that reads 0.4 mm too thin and claims a third of its scatter: the
// study finds the bias, the limits, and the factor of about three.
func TestFindsBiasAndNarrowIntervals(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var photos []Photo
	var truths []map[[2]int]float64
	for n := 1; n <= 40; n++ {
		p, truth := vine(r, n, -0.4, 0.3, 1.96*0.1)
		photos, truths = append(photos, p), append(truths, truth)
	}
	hands, err := ReadHand(strings.NewReader(handCSV(truths)), "hand.csv")
	if err != nil {
		t.Fatal(err)
	}
	rep := NewReport(hands, photos, "test")
	if len(rep.Unpaired) != 0 || rep.Hands != 640 {
		t.Fatalf("%d of %d unpaired", len(rep.Unpaired), rep.Hands)
	}
	d := rep.Results[0]
	a := d.Agreement
	for _, c := range []struct {
		what              string
		got, want, within float64
	}{
		{"pairs", float64(a.N), 640, 0},
		{"bias", a.Bias.Value, -0.4, 0.05},
		{"scatter", a.SD, 0.3, 0.03},
		{"lower limit", a.Lower.Value, -0.4 - 1.96*0.3, 0.06},
		{"upper limit", a.Upper.Value, -0.4 + 1.96*0.3, 0.06},
		// |d| below its 95th percentile: of a normal distribution about 0.4 with
		// 0.3 that is 0.4 + 1.645 x 0.3 = 0.89 (the other side adds nothing).
		{"factor", d.Held.Stretch.Value, 0.89 / (1.96 * 0.1), 0.4},
		{"hand's own uncertainty", d.HandU, HandU, 0},
	} {
		if math.Abs(c.got-c.want) > c.within {
			t.Errorf("%s: %.3f, want %.3f", c.what, c.got, c.want)
		}
	}
	all := strings.Join(d.Proposals, " ")
	if !strings.Contains(all, "thinner than the hand") || !strings.Contains(all, "too narrow") {
		t.Errorf("proposals: %s", all)
	}
	if l := rep.Results[1]; l.Agreement.SD != 0 || l.Held.Share.Value != 1 {
		t.Errorf("internode lengths that agree wholly: %+v", l)
	}
	var out bytes.Buffer
	if err := rep.Page(&out); err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"<svg", "Bias", "640 on 40 occasions"} {
		if !strings.Contains(out.String(), s) {
			t.Errorf("the page has no %q", s)
		}
	}
	for _, s := range []string{"<script", "href=", "src="} {
		if strings.Contains(out.String(), s) {
			t.Errorf("the page needs %q", s)
		}
	}
}

func TestPairing(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	p, _ := vine(r, 7, 0, 0, 0.5)
	refused := Photo{Name: "North-1-8.jpg", Block: "North", Row: 1, Vine: 8, Why: "refused: no reference"}
	ruled := p
	ruled.Name, ruled.Vine, ruled.Ruled, ruled.Canes = "North-1-9.jpg", 9, true, p.Canes[:1]
	photos := []Photo{p, refused, ruled}
	for _, c := range []struct {
		name, row string
		how, why  string
	}{
		{"by number", "North-1-7,2,3,4,8.1,,Ada,caliper,,,", "number", ""},
		{"whole cane", "North-1-7,2,,,8.1,,Ada,caliper,,,", "", "has no diameter there"},
		{"by place", "North-1-7,,1,2,8.1,,Ada,caliper,206,,", "place", ""},
		{"no cane there", "North-1-7,,1,2,8.1,,Ada,caliper,250,,", "", "no cane arises within 25 mm of 250 mm"},
		{"by the place along it", "North-1-7,2,,,8.1,,Ada,caliper,,150,", "number", ""},
		{"beyond the nodes", "North-1-7,2,,,8.1,,Ada,caliper,,390,", "", "no internode of cane 2 lies at 390 mm"},
		{"no such cane", "North-1-7,9,1,2,8.1,,Ada,caliper,,,", "", "has no cane 9"},
		{"no such node", "North-1-7,2,5,6,8.1,,Ada,caliper,,,", "", "has no nodes 5 and 6"},
		{"refused photo", "North-1-8,2,1,2,8.1,,Ada,caliper,,,", "", "refused: no reference"},
		{"other vine", "South-1-7,2,1,2,8.1,,Ada,caliper,,,", "", "no photo shows this vine"},
		{"confirmed", "North-1-9,1,1,2,8.1,,Ada,caliper,,,", "ruling", ""},
		{"not confirmed", "North-1-9,2,1,2,8.1,,Ada,caliper,,,", "", "nobody has confirmed a cane 2"},
		{"by the photo's name", ",2,1,2,8.1,,Ada,caliper,,,North-1-7.jpg", "number", ""},
	} {
		hands, err := ReadHand(strings.NewReader("vine,cane,node_from,node_to,diameter_mm,internode_mm,who,with,at_mm,along_mm,photo\n"+c.row+"\n"), "hand.csv")
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		pairs, left := Pair(hands, photos)
		switch {
		case c.why == "":
			if len(pairs) != 1 || pairs[0].How != c.how || len(left) != 0 {
				t.Errorf("%s: %+v, left %+v", c.name, pairs, left)
			}
		case len(pairs) != 0 || len(left) != 1 || !strings.Contains(left[0].Why, c.why):
			t.Errorf("%s: %+v, left %+v; want %q", c.name, pairs, left, c.why)
		}
	}
}

// Two readings by hand of one place are one pair with their mean, and tell how
// the hand repeats itself.
func TestRepeatedHandReadings(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	p, _ := vine(r, 7, 0, 0, 0.5)
	hands, err := ReadHand(strings.NewReader(`vine;cane;node_from;node_to;diameter_mm;internode_mm;who;with
North-1-7;1;1;2;8,0;;Ada;caliper
North-1-7;1;1;2;8,4;;Ben;caliper
North-1-7;2;1;2;9,0;;Ada;caliper
North-1-7;2;1;2;9,2;;Ben;caliper
North-1-7;3;1;2;7,0;;Ada;caliper
`), "hand.csv")
	if err != nil {
		t.Fatal(err)
	}
	rep := NewReport(hands, []Photo{p}, "test")
	d := rep.Results[0]
	// Half the squared differences: (0.08 + 0.02) / 2 = 0.05.
	if d.Agreement.N != 3 || d.HandRepeats == nil || math.Abs(d.HandU-math.Sqrt(0.05)) > 1e-9 {
		t.Errorf("%d pairs, hand %v %v", d.Agreement.N, d.HandU, d.HandRepeats)
	}
	if got := d.pairs[0].Truth; math.Abs(got-8.2) > 1e-12 {
		t.Errorf("mean of 8.0 and 8.4: %v", got)
	}
	if rep.Results[1].Problem == "" {
		t.Error("no internode length was measured, and nothing says so")
	}
}

func TestBadHandFiles(t *testing.T) {
	const head = "vine,cane,node_from,node_to,diameter_mm,internode_mm,who,with\n"
	for _, bad := range []string{
		"", "a,b\n", head,
		head + "North-1-7,1,1,2,8.0,,,caliper\n",        // nobody
		head + "North-1-7,1,1,2,,,Ada,caliper\n",        // no value
		head + "North-1-7,1,1,2,0.8,,Ada,caliper\n",     // centimetres
		head + "North-1-7,1,1,2,8.0.1,,Ada,caliper\n",   // no number
		head + "North-1-7,1,1,3,8.0,,Ada,caliper\n",     // not neighbours
		head + "North-1-7,1,1,,8.0,,Ada,caliper\n",      // half
		head + "North-1-7,,1,2,8.0,,Ada,caliper\n",      // no cane
		head + ",1,1,2,8.0,,Ada,caliper\n",              // no vine
		head + "North-1-7,zero,1,2,8.0,,Ada,caliper\n",  // no number
		head + "North-1-7,1,1,2,8.0,5000,Ada,caliper\n", // too long
		head + "North-1-7,1,1,2,NaN,,Ada,caliper\n",     // no number
		head + "\"North-1-7,1,1,2,8.0,,Ada,caliper\n",   // broken
	} {
		if _, err := ReadHand(strings.NewReader(bad), "hand.csv"); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%q: %v", bad, err)
		}
	}
}
