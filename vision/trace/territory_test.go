package trace_test

import (
	"testing"

	"nodespan/assess"
	"nodespan/vision/trace"
)

func straight(ax, ay, bx, by, w float64) trace.Line {
	var l trace.Line
	for i := range 51 {
		f := float64(i) / 50
		l.Points = append(l.Points, assess.Point{ax + f*(bx-ax), ay + f*(by-ay)})
		l.Width = append(l.Width, w)
		l.Seen = append(l.Seen, true)
	}
	return l
}

// TestTerritory: a crossing cane's band is foreign, one's own isn't, and a
// second trace of the same cane hides nothing.
func TestTerritory(t *testing.T) {
	lines := []trace.Line{
		straight(100, 10, 100, 290, 12),  // upright
		straight(10, 150, 190, 150, 10),  // across it
		straight(103, 20, 103, 280, 8),   // the first one's rim
		straight(400, 10, 420, 290, 300), // partly outside of the picture
	}
	land := trace.NewTerritory(300, 300, lines)
	for _, c := range []struct {
		x, y float64
		line int
		want bool
	}{
		{100, 60, 0, false},
		{103, 60, 0, false}, // the rim is the same cane
		{100, 150, 0, true}, // the crossing
		{140, 150, 0, true},
		{140, 150, 1, false},
		{100, 60, 1, true},
		{60, 60, 0, false},   // nobody's
		{-5, 10, 0, false},   // outside
		{1e6, 1e6, 0, false}, // far outside
	} {
		if got := land.Foreign(c.x, c.y, c.line); got != c.want {
			t.Errorf("(%v, %v) for line %d: want %v, got %v", c.x, c.y, c.line, c.want, got)
		}
	}
}
