package assess

import (
	"math"
	"slices"
)

// Joined is one cane of pieces that were followed one after the other, from
// the base on: each begins where the one before ends. What all readings of the
// cane share is as doubtful as the most doubtful piece. The nodes and the
// numbers are derived anew, the finding is left empty.
func Joined(pieces ...Cane) Cane {
	out := cloneCane(pieces[0])
	for _, p := range pieces[1:] {
		from := out.AlongMM[len(out.AlongMM)-1]
		for i, q := range p.CentreLine {
			if i == 0 && len(p.CentreLine) > 1 {
				continue // the same place as the end before
			}
			out.CentreLine = append(out.CentreLine, q)
			out.AlongMM = append(out.AlongMM, from+p.AlongMM[i])
		}
		for _, n := range p.Nodes {
			n.AlongMM += from
			// A node at the seam is seen from both sides.
			if k := len(out.Nodes); k > 0 && n.AlongMM-out.Nodes[k-1].AlongMM < nodesApartMM {
				continue
			}
			out.Nodes = append(out.Nodes, n)
		}
		for _, r := range p.Profile {
			r.AlongMM += from
			out.Profile = append(out.Profile, r)
		}
		out.Length = Interval{Value: out.Length.Value + p.Length.Value, Low: out.Length.Low + p.Length.Low, High: out.Length.High + p.Length.High}
		out.RelativeU = math.Max(out.RelativeU, p.RelativeU)
		out.EdgeDoubt = math.Max(out.EdgeDoubt, p.EdgeDoubt)
		out.NodeDoubt = math.Max(out.NodeDoubt, p.NodeDoubt)
		out.LeavesFrame = p.LeavesFrame
	}
	out.Finding, out.Because = "", nil
	out.Internodes = slices.Clip(out.Internodes[:0])
	Derive(&out)
	return out
}
