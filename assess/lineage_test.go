package assess

import (
	"slices"
	"testing"
)

func pastOf(t testing.TB, winter string, f Form, ss ...sketch) *Past {
	t.Helper()
	m := vineOf(ss...)
	cc := confirmedOf(m)
	ch, err := SuggestConfirmed(m, cc, f, DefaultRuleSet(), Wishes{})
	if err != nil {
		t.Fatal(err)
	}
	return &Past{Winter: winter, Seen: m, Canes: cc, Choice: &ch}
}

// Last winter: one cane laid to the right on the lower wire, a spur 40 mm to
// the left of the head. What arises there this winter came from them.
func TestDescents(t *testing.T) {
	one, _ := FormByName("one-cane-and-spur")
	past := pastOf(t, "2025/26", one, good(1, 20, 25), sketch{id: 2, x: -40, up: 5, diameter: 8, internode: 40, nodes: 4, origin: "head", finding: Sound})
	if past.Choice.FateOf(1).What != "lay" || past.Choice.FateOf(2).What != "spur" {
		t.Fatalf("%+v", past.Choice)
	}
	now := vineOf(
		sketch{id: 1, x: -42, up: 40, diameter: 8, internode: 70, nodes: 9},  // on the spur, cut at about 79 mm
		sketch{id: 2, x: 300, up: 72, diameter: 8, internode: 70, nodes: 9},  // along the wire, 70 mm above the head
		sketch{id: 3, x: 5, up: -45, diameter: 8, internode: 70, nodes: 9},   // below the head, away from both
		sketch{id: 4, x: -300, up: 70, diameter: 8, internode: 70, nodes: 9}, // where nothing was laid
	)
	want := map[int]Descent{
		1: {From: FromSpur, Parent: 2, ParentWinter: "2025/26"},
		2: {From: FromOldWood, Parent: 1, ParentWinter: "2025/26"},
		3: {From: FromHeadWood}, 4: {From: FromUnknown},
	}
	got := DescentsFrom(past, now, confirmedOf(now), DefaultMatching())
	if len(got) != 4 {
		t.Fatalf("%d descents", len(got))
	}
	for _, d := range got {
		w := want[d.Cane]
		if d.From != w.From || d.Parent != w.Parent || d.ParentWinter != w.ParentWinter || d.Sure || d.Why.Empty() {
			t.Errorf("cane %d: %+v, want %+v", d.Cane, d, w)
		}
	}
	// What a person says stands above it.
	said := AsSaid(got, []Descent{{Cane: 4, From: FromHeadWood}})
	if said[3].From != FromHeadWood || !said[3].Sure || said[0].Sure {
		t.Errorf("%+v", said)
	}
	// Without the head in one of the photos nothing is read from places.
	past.Seen.Head = nil
	for _, d := range DescentsFrom(past, now, confirmedOf(now), DefaultMatching()) {
		if d.From != FromUnknown {
			t.Errorf("without a head: %+v", d)
		}
	}
	if got := DescentsFrom(nil, vineOf(good(1, 0, 0)), confirmedOf(vineOf(good(1, 0, 0))), DefaultMatching()); got[0].From != FromHeadWood {
		t.Errorf("a cane that's seen to arise from the head: %+v", got)
	}
}

// A cane grows in one season, fruits in the next, and is cut out in the winter
// after (common practice, no source).
func TestRenewal(t *testing.T) {
	choice := func(laid, spur int) *Choice {
		return &Choice{Keep: []Kept{{Place: Place{LowerWire, ToLeft}, Cane: laid}, {Place: Place{LowerWire, ToRight}}}, Spurs: []Spur{{Cane: spur}}}
	}
	winters := []RenewalWinter{
		{Winter: "2023/24", Choice: choice(1, 2)},
		{Winter: "2024/25", Choice: choice(5, 6), PrunedBy: "Ada", Descents: []Descent{{Cane: 5, From: FromSpur, Parent: 2, ParentWinter: "2023/24"}, {Cane: 6, From: FromHeadWood}}},
		{Winter: "2025/26", Choice: choice(3, 4)},
		{Winter: "2026/27", Descents: []Descent{{Cane: 7, From: FromOldWood, Parent: 3, ParentWinter: "2025/26"}}},
	}
	links := Renewal(winters)
	type short struct {
		winter string
		cane   int
		stage  Stage
		cut    string
		gave   int
	}
	var got []short
	for _, l := range links {
		got = append(got, short{l.Winter, l.Cane, l.Stage, l.CutIn, len(l.Gave)})
	}
	want := []short{
		{"2023/24", 1, Gone, "2024/25", 0}, {"2023/24", 2, Bears, "", 1},
		{"2024/25", 5, Planned, "2025/26", 0}, {"2024/25", 6, Bears, "", 0},
		{"2025/26", 3, Due, "2026/27", 1}, {"2025/26", 4, Bears, "", 0},
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if links[2].From.From != FromSpur || links[0].CutWord != "Ada" {
		t.Errorf("links %+v", links)
	}
	if got := Renewal(nil); len(got) != 0 {
		t.Errorf("of nothing: %+v", got)
	}
}
