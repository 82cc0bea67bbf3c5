package caliper

import "math"

// settle decides from a dozen stations spread over the cane from where it is
// lit, which all of its stations share: the light under which the model
// explains the cross-sections best, with the edges where their course lies.
func settle(at func(int) *section, seen []bool, left, right []float64, sigma float64, par Params) light {
	var places []int
	for i := range seen {
		if seen[i] {
			places = append(places, i)
		}
	}
	const most = 12
	if len(places) > most {
		some := make([]int, most)
		for k := range some {
			some[k] = places[(2*k+1)*len(places)/(2*most)]
		}
		places = some
	}
	lights := []light{{}, {true, -1.2}, {true, -0.7}, {true, 0.7}, {true, 1.2}}
	total := make([]float64, len(lights))
	for _, i := range places {
		s := at(i)
		var ss []float64
		for _, l := range lights {
			f := s.fit(newShading(l), left[i], right[i], sigma, false, 5, par)
			ss = append(ss, f.ss)
		}
		for k := range lights {
			total[k] += math.Log(max(ss[k], 1e-9) / max(ss[0], 1e-9))
		}
	}
	pick := 0
	for k := range lights {
		// Sun must explain clearly more than a cloudy sky does.
		if total[k] < total[pick] && total[k] < -0.05*float64(len(places)) {
			pick = k
		}
	}
	return lights[pick]
}
