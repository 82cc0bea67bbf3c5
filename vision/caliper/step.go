package caliper

import (
	"math"
	"slices"
)

// dropBelowStep takes out the readings below a sudden change of thickness. Wood
// tapers, it doesn't step down: where canes leave the head side by side two are
// read as one, which ends farther up, where a cane stands alone. What lies above
// the step is believed, when it is long enough. A step up is left alone: above it
// another cane may have been followed.
func dropBelowStep(st []Station, par Params) {
	last := st[len(st)-1].AlongMM
	middle := func(from, to float64) (m, scatter float64, n int) {
		var d []float64
		for _, s := range st {
			if s.U > 0 && s.AlongMM >= from && s.AlongMM < to {
				d = append(d, s.DiameterMM)
			}
		}
		if len(d) == 0 {
			return 0, 0, 0
		}
		slices.Sort(d)
		m = d[len(d)/2]
		return m, (d[len(d)*3/4] - d[len(d)/4]) / m, len(d)
	}
	at, most := 0.0, math.Log(par.Step)
	for s := 40.0; s < par.StepShare*last && s < last-par.AboveMM; s += 5 {
		a, u, n := middle(s-par.StepReachMM, s)
		b, v, k := middle(s, s+par.StepReachMM)
		if n < 6 || k < 6 || max(u, v) > 0.2 {
			continue
		}
		if l := math.Log(a / b); l > most {
			at, most = s, l
		}
	}
	if at == 0 {
		return
	}
	if _, _, n := middle(at, last+1); n < 12 {
		return
	}
	for i := range st {
		if st[i].AlongMM < at {
			st[i].U, st[i].DiameterMM = 0, 0
		}
	}
}
