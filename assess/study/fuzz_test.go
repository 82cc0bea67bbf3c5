package study

import (
	"math"
	"strings"
	"testing"

	"nodespan/assess"
)

// FuzzReadHand reads any file as measurements by hand: it is refused with a line
// to look at, or every value is one that can be meant.
func FuzzReadHand(f *testing.F) {
	for _, s := range []string{
		"vine,cane,node_from,node_to,diameter_mm,internode_mm,who,with\nNorth-1-2,1,3,4,8.2,65,Ada,caliper\n",
		"\ufeffvine;cane;node_from;node_to;diameter_mm;internode_mm;who;with;at_mm;along_mm\r\n2;;;;8,2;;Ada;caliper;-120;40\r\n",
		"photo,vine,cane,diameter_mm,internode_mm,who,with\na.jpg,,1,NaN,Inf,Ada,\n", "vine,cane,diameter_mm,internode_mm,who,with\n1,1,1e1,0x10p-2,A,\n",
		"vine,cane,diameter_mm,internode_mm,who,with\n\"1", "", "vine", "vine,cane,diameter_mm,internode_mm,who,with\n-1-1,1,8,,A,\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		all, err := ReadHand(strings.NewReader(text), "hand.csv")
		if err != nil {
			if assess.ErrorCode(err) != assess.EInvalid || all != nil {
				t.Errorf("%d values with the error %v", len(all), err)
			}
			return
		}
		within := func(v, least, most float64) bool { return math.IsNaN(v) || v >= least && v <= most }
		for _, h := range all {
			if !within(h.Diameter, leastDiameter, mostDiameter) || !within(h.Length, leastLength, mostLength) || math.IsNaN(h.Diameter) && math.IsNaN(h.Length) ||
				h.Who == "" || h.Photo == "" && h.Vine < 1 || h.Cane < 0 || h.Row < 0 || h.Vine < 0 || h.Cane == 0 && math.IsNaN(h.AtMM) {
				t.Errorf("line %d: %+v", h.Line, h)
			}
		}
	})
}
