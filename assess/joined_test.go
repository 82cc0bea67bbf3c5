package assess

import (
	"math"
	"testing"
)

// A straight cane cut in two and joined is the cane: lengths, nodes and
// internodes as when it was one.
func TestJoinedIsTheWhole(t *testing.T) {
	piece := func(from, to float64, nodes ...float64) Cane {
		c := Cane{RelativeU: 0.03, Length: Interval{Value: to - from, Low: to - from, High: to - from}}
		for a := from; a <= to; a += 5 {
			c.CentreLine = append(c.CentreLine, Point{a, 0})
			c.AlongMM = append(c.AlongMM, a-from)
			c.Profile = append(c.Profile, ProfilePoint{AlongMM: a - from, DiameterMM: 8, U: 0.1})
		}
		for _, n := range nodes {
			c.Nodes = append(c.Nodes, Node{Px: Point{n, 0}, AlongMM: n - from, Side: "unknown", Confidence: 1})
		}
		return c
	}
	whole := piece(0, 600, 50, 130, 210, 290, 370, 450, 530)
	Derive(&whole)
	// The seam lies on a node, which both pieces see.
	joined := Joined(piece(0, 290, 50, 130, 210, 290), piece(290, 450, 290, 370, 450), piece(450, 600, 450, 530))
	if len(joined.Nodes) != len(whole.Nodes) || len(joined.CentreLine) != len(whole.CentreLine) {
		t.Fatalf("%d nodes and %d places, want %d and %d", len(joined.Nodes), len(joined.CentreLine), len(whole.Nodes), len(whole.CentreLine))
	}
	for i := range whole.AlongMM {
		if math.Abs(joined.AlongMM[i]-whole.AlongMM[i]) > 1e-9 {
			t.Fatalf("place %d lies at %v mm, want %v", i, joined.AlongMM[i], whole.AlongMM[i])
		}
	}
	if joined.Internode != whole.Internode || joined.Length.Value != whole.Length.Value || math.Abs(joined.Diameter.Value-whole.Diameter.Value) > 1e-9 {
		t.Errorf("internode %v, length %v, diameter %v; want %v, %v, %v", joined.Internode, joined.Length, joined.Diameter, whole.Internode, whole.Length, whole.Diameter)
	}
}
