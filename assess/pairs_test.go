package assess

import (
	"reflect"
	"testing"
	"time"
)

// Each kind of pair counts where it belongs, and nowhere twice.
func TestTallyPairs(t *testing.T) {
	one := func(p Pair) PairCount { return PairCount{p, 1} }
	got := TallyPairs([]PairCount{
		one(Pair{Seen: Weak, Said: Agree, Stood: Weak}),
		{Pair{Seen: Weak, Said: Correct, Stood: Weak, Nodes: NodesMore, NodesBy: 5}, 2},
		one(Pair{Seen: Weak, Said: Correct, Stood: Sound, Hand: HandThicker}),
		one(Pair{Seen: Sound, Said: Correct, Stood: Weak, Hand: HandThinner}),
		one(Pair{Seen: Sound, Said: Correct, Stood: Sound, Hand: HandHeld}),
		one(Pair{Seen: Sound, Said: Correct, Stood: Sound, Nodes: NodesFewer, NodesBy: 1}),
		one(Pair{Seen: Sound, Said: Correct, Stood: ShortNoded, Nodes: NodesMoved}),
		one(Pair{Seen: Weak, Said: Correct, Stood: Sound}),
		one(Pair{Seen: Sound, Said: Reject}),
		one(Pair{Seen: Sound, Said: Correct, Kind: NotACane}),
		one(Pair{Seen: TooCloseToCall, Said: Correct, Kind: OldWood}),
		// Left open by the program: to say what it is contradicts nothing.
		{Pair{Seen: TooCloseToCall, Said: Correct, Stood: Weak, Hand: HandHeld}, 2},
		one(Pair{Seen: TooCloseToCall, Said: Agree, Stood: TooCloseToCall}),
		one(Pair{Seen: NotMeasurable, Said: Correct, Stood: Sound}),
		one(Pair{Said: Correct, Missed: true, Stood: Sound}),
		one(Pair{Said: Reject, Missed: true}), // pointed out by mistake, and taken back
	})
	want := PairTally{
		Reported: 16, Canes: 13, OldWood: 1, NotACane: 2, Missed: 1, Called: 11, Stood: 5, Settled: 3,
		Findings:  []FindingTally{{Sound, 6, 2, 0}, {Weak, 5, 3, 0}, {TooCloseToCall, 4, 0, 2}, {NotMeasurable, 1, 0, 1}},
		Changes:   []Change{{Weak, Sound, 2}, {Sound, ShortNoded, 1}, {Sound, Weak, 1}},
		SettledAs: []Change{{TooCloseToCall, Weak, 2}, {NotMeasurable, Sound, 1}},
		NodesMore: 2, NodesFewer: 1, NodesMoved: 1, NodesAdded: 5, NodesTaken: 1,
		ByHand: 5, Held: 3, ByHandThicker: 1,
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if got := TallyPairs(nil); got.Reported != 0 || got.Findings != nil {
		t.Errorf("of nothing: %+v", got)
	}
}

// A pair is of the ruling that stands, with what follows from it.
func TestPairsOf(t *testing.T) {
	m := &Measurement{Canes: []Cane{{ID: 1, Finding: Weak}, {ID: 2, Finding: Sound}, {ID: 3, Finding: Sound}}}
	seen := Seen{Finding: Weak, Nodes: 5, Diameter: Interval{5, 4, 5.5}}
	at := time.Date(2027, 1, 9, 8, 0, 0, 0, time.UTC)
	rulings := []Ruling{
		{Cane: 1, Said: Agree, Seen: seen, When: at},
		{Cane: 1, Said: Correct, Finding: Sound, Nodes: make([]Node, 7), DiameterMM: 6.1, Seen: seen, When: at.Add(time.Minute)},
		{Cane: 2, Said: Correct, Kind: OldWood, Seen: Seen{Finding: Sound}, When: at},
		{Cane: 3, Said: Correct, Kind: OneYearCane, DiameterMM: 5.5, Nodes: make([]Node, 5), Seen: seen, When: at},
		{Cane: 4, Said: Correct, Missed: &Cane{ID: 4}, When: at},
		{Cane: 9, Said: Agree, Seen: seen, When: at}, // of no cane of this measurement
	}
	got := PairsOf(m, rulings, []ConfirmedCane{{Cane: Cane{ID: 1, Finding: Sound}, Kind: OneYearCane}, {Cane: Cane{ID: 2}, Kind: OldWood}, {Cane: Cane{ID: 3, Finding: Weak}, Kind: OneYearCane}, {Cane: Cane{ID: 4, Finding: Sound}, Kind: OneYearCane}})
	want := map[int]Pair{
		1: {Seen: Weak, Said: Correct, Stood: Sound, Nodes: NodesMore, NodesBy: 2, Hand: HandThicker},
		2: {Seen: Sound, Said: Correct, Kind: OldWood},
		3: {Seen: Weak, Said: Correct, Stood: Weak, Nodes: NodesMoved, Hand: HandHeld},
		4: {Said: Correct, Stood: Sound, Missed: true},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}
