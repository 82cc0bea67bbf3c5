package assess

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func TestRecordOf(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20), sketch{id: 3, x: 10, up: 10, diameter: 4, internode: 75, nodes: 12}, good(4, 0, 0))
	old := rule(m, nil, 4, Correct, 0)
	old.Kind = OldWood
	rs := DefaultRuleSet()
	cc := Confirm(m, []Ruling{rule(m, nil, 1, Agree, 0), rule(m, nil, 2, Agree, 0), rule(m, nil, 3, Agree, 0), old}, rs)
	ch, err := SuggestConfirmed(m, cc, DefaultForm(), rs, Wishes{})
	if err != nil {
		t.Fatal(err)
	}
	r := RecordOf("2026/27", m, cc, &ch)
	slices.Sort(r.Fruiting)
	if r.Sound != 2 || r.OldWood != 1 || !slices.Equal(r.Fruiting, []int{1, 2}) || r.Buds != 16 || r.DiameterMM != 9 {
		t.Errorf("record %+v", r)
	}
	if r.HeadBelowMM == nil {
		t.Fatal("the head's height is lost")
	}
	near(t, "head below the wire", *r.HeadBelowMM, 70, 1e-6)

	// What arises at the next vine isn't of this one.
	next := vineOf(good(1, -60, -20), good(2, 900, 0))
	if r := RecordOf("2026/27", next, confirmedOf(next), nil); r.Sound != 1 {
		t.Errorf("%d sound canes, with the next vine's", r.Sound)
	}
	if got := OfThisVine(next, confirmedOf(next)); len(got) != 1 || got[0].Cane.ID != 1 {
		t.Errorf("of this vine: %+v", got)
	}
	next.Head = nil
	if got := OfThisVine(next, confirmedOf(next)); len(got) != 2 {
		t.Errorf("without a head %d canes", len(got))
	}

	m.Head = nil
	if r := RecordOf("2026/27", m, cc, nil); r.HeadBelowMM != nil || r.Buds != 0 || len(r.Fruiting) != 0 {
		t.Errorf("without head and choice: %+v", r)
	}
	// The head's height needs no cane.
	if r := RecordOf("2026/27", vineOf(), nil, nil); r.HeadBelowMM == nil {
		t.Error("without a cane the head's height is lost")
	}
}

func TestRemarks(t *testing.T) {
	at := func(mm float64) *float64 { return &mm }
	tests := []struct {
		name    string
		winters []WinterRecord
		want    []string
	}{
		{"none", nil, nil},
		{"one winter", []WinterRecord{{Fruiting: []int{1, 2}, Sound: 2}}, nil},
		{"all as it should be", []WinterRecord{{Fruiting: []int{1, 2}}, {OldWood: 2, Sound: 3, Chosen: true}}, nil},
		{"before this winter's choice", []WinterRecord{{Fruiting: []int{1, 2}}, {OldWood: 2, Sound: 3}}, []string{"old_wood_stands"}},
		{"wood of the winter before last", []WinterRecord{{Fruiting: []int{1, 2}}, {OldWood: 3, Sound: 3, Chosen: true}}, []string{"older_wood_left"}},
		{"pruned, and no old wood confirmed", []WinterRecord{{Fruiting: []int{1, 2}}, {Sound: 3, Chosen: true, Pruned: true}}, nil},
		{"last winter's wood still there", []WinterRecord{{Fruiting: []int{1, 2}}, {OldWood: 1, Sound: 3, Chosen: true}}, []string{"expect_old_wood"}},
		{"too few to follow", []WinterRecord{{Fruiting: []int{1, 2}}, {OldWood: 2, Sound: 1, Chosen: true}}, []string{"few_followers"}},
		{"a winter without a record between", []WinterRecord{{Winter: "2024/25", Fruiting: []int{1, 2}}, {Winter: "2026/27", Sound: 1}}, nil},
		{"the winter right after", []WinterRecord{{Winter: "2025", Fruiting: []int{1, 2}}, {Winter: "2026", Sound: 1, Chosen: true}}, []string{"expect_old_wood", "few_followers"}},
		{"nothing kept before", []WinterRecord{{}, {}}, nil},
		{"head creeps up", []WinterRecord{{HeadBelowMM: at(90)}, {HeadBelowMM: at(72)}, {HeadBelowMM: at(50)}}, []string{"head_creeps"}},
		{"head creeps, one winter unseen", []WinterRecord{{HeadBelowMM: at(90)}, {}, {HeadBelowMM: at(72)}, {HeadBelowMM: at(50)}}, []string{"head_creeps"}},
		{"head stays, photos differ", []WinterRecord{{HeadBelowMM: at(90)}, {HeadBelowMM: at(70)}, {HeadBelowMM: at(92)}}, nil},
		{"head goes down", []WinterRecord{{HeadBelowMM: at(50)}, {HeadBelowMM: at(72)}, {HeadBelowMM: at(90)}}, nil},
		{"two winters say nothing of the head", []WinterRecord{{HeadBelowMM: at(90)}, {HeadBelowMM: at(40)}}, nil},
		{"more buds, thinner canes", []WinterRecord{{Buds: 20, DiameterMM: 9}, {Buds: 26, DiameterMM: 8}, {Buds: 34, DiameterMM: 7}}, []string{"load_drifts"}},
		{"fewer buds, thicker canes", []WinterRecord{{Buds: 34, DiameterMM: 7}, {Buds: 26, DiameterMM: 8}, {Buds: 20, DiameterMM: 9}}, []string{"load_drifts"}},
		{"more buds, same canes", []WinterRecord{{Buds: 20, DiameterMM: 9}, {Buds: 26, DiameterMM: 9}, {Buds: 34, DiameterMM: 9}}, nil},
	}
	for _, tt := range tests {
		var got []string
		for _, r := range Remarks(tt.winters, DefaultWatching()) {
			got = append(got, r.Kind)
			if len(r.Text.String()) < 40 {
				t.Errorf("%s: %q", tt.name, r.Text)
			}
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

// Broken numbers, from a damaged record or a bug elsewhere, never panic.
func TestNoPanicOnBrokenNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -1, 1e300, -1e300, 5, 70}
	some := func() float64 { return odd[r.IntN(len(odd))] }
	for range 800 {
		m := vineOf(randomVine(r, 3)...)
		for i := range m.Canes {
			c := &m.Canes[i]
			for range 4 {
				switch r.IntN(8) {
				case 0:
					c.Nodes[r.IntN(len(c.Nodes))].AlongMM = some()
				case 1:
					c.AlongMM[r.IntN(len(c.AlongMM))] = some()
				case 2:
					c.CentreLine[r.IntN(len(c.CentreLine))] = Point{some(), some()}
				case 3:
					c.Profile[r.IntN(len(c.Profile))] = ProfilePoint{AlongMM: some(), DiameterMM: some(), U: some()}
				case 4:
					c.RelativeU = some()
				case 5:
					c.AlongMM = c.AlongMM[:1+r.IntN(len(c.AlongMM))]
				case 6:
					m.Reference.PxToMM[r.IntN(9)] = some()
				case 7:
					m.Wires[r.IntN(2)].Line[0] = Point{some(), some()}
				}
			}
			Derive(c)
			c.PxAt(some())
			c.NearestOn(Point{some(), some()})
		}
		m.Head = &Point{some(), some()}
		Judge(m, DefaultRuleSet())
		f := Forms()[r.IntN(5)]
		ch := mustSuggest(t, m, f)
		if ch.Buds > f.MaxBuds() {
			t.Fatalf("%d buds, at most %d", ch.Buds, f.MaxBuds())
		}
		_, _ = EstimatePrunings(m.Canes, DefaultWood())
		_, _ = ClassifyInternodes(m.Canes)
		Confirm(m, []Ruling{rule(m, nil, 1, Agree, 0)}, DefaultRuleSet())
	}
}
