package assess

import (
	"reflect"
	"testing"
)

// Each kind of pair counts where it belongs, and nowhere twice.
func TestTallyPairs(t *testing.T) {
	mm := Interval{8, 7, 9}
	got := TallyPairs([]Pair{
		{Seen: Weak, Said: Agree, Stood: Weak},
		{Seen: Weak, Said: Correct, Stood: Weak, NodesCorrected: true, SeenNodes: 5, SaidNodes: 7},
		{Seen: Weak, Said: Correct, Stood: Sound, HandMM: 9.5, Diameter: mm},
		{Seen: Sound, Said: Correct, Stood: Weak, HandMM: 6, Diameter: mm},
		{Seen: Sound, Said: Correct, Stood: Sound, HandMM: 9, Diameter: mm},
		{Seen: Sound, Said: Correct, Stood: Sound, NodesCorrected: true, SeenNodes: 6, SaidNodes: 5},
		{Seen: Sound, Said: Correct, Stood: ShortNoded, NodesCorrected: true, SeenNodes: 6, SaidNodes: 6},
		{Seen: Weak, Said: Correct, Stood: Sound},
		{Seen: Sound, Said: Reject},
		{Seen: Sound, Said: Correct, Kind: NotACane},
		{Seen: TooCloseToCall, Said: Correct, Kind: OldWood},
		{Said: Correct, Missed: true, Stood: Sound},
		{Said: Reject, Missed: true}, // pointed out by mistake, and taken back
	})
	want := PairTally{
		Reported: 11, Canes: 8, OldWood: 1, NotACane: 2, Missed: 1, Stood: 4,
		Findings:  []FindingTally{{Sound, 6, 2}, {Weak, 4, 2}, {TooCloseToCall, 1, 0}},
		Changes:   []Change{{Weak, Sound, 2}, {Sound, ShortNoded, 1}, {Sound, Weak, 1}},
		NodesMore: 1, NodesFewer: 1, NodesMoved: 1, NodesAdded: 2, NodesTaken: 1,
		ByHand: 3, Held: 1, ByHandThicker: 1,
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if got := TallyPairs(nil); got.Reported != 0 || got.Findings != nil {
		t.Errorf("of nothing: %+v", got)
	}
}
