package assess

// Balance holds a vine's load against published good ranges. A figure whose
// inputs are missing isn't in it; Missing says what to enter.
type Balance struct {
	Figures []Figure   `json:"figures"`
	Missing []Sentence `json:"missing"`
}

// Figure is one ratio with its published range.
type Figure struct {
	Name    Sentence   `json:"name"`
	Unit    string     `json:"unit"`
	Value   Interval   `json:"value"`
	Range   [2]float64 `json:"good_range"` // 0, 0 where none is published
	Verdict string     `json:"verdict"`    // "within", "below", "above", "too close to call", or "" without a range
	Source  Sentence   `json:"source"`
}

// VineLoad is what Balanced reckons with; what is zero or nil is missing.
type VineLoad struct {
	Prunings *Prunings
	SpacingM float64 // of vines along the row, m
	Buds     int     // left on the vine
	Canes    int     // one-year canes that stood on it before pruning
	YieldKG  float64 // of the last harvest, of this vine
	Divided  bool    // a divided canopy, for which other ranges hold
}

// Balanced reckons prunings per metre of row, buds per metre, mean cane mass
// and the ratio of yield to prunings. It never guesses an input.
func Balanced(in VineLoad) Balance {
	out := Balance{Figures: []Figure{}, Missing: []Sentence{}}
	miss := func(s Sentence) { out.Missing = append(out.Missing, s) }
	// Where part of the wood wasn't seen, the mass can only be larger: a figure
	// that grows with it can't be called below, one that falls with it not above.
	partly := in.Prunings != nil && len(in.Prunings.Missing) > 0
	add := func(name Sentence, unit string, v Interval, good [2]float64, notSure string, source Sentence) {
		verdict := within(v, good)
		if partly && (verdict == notSure || verdict == "within") && notSure != "" {
			verdict = "too close to call"
		}
		out.Figures = append(out.Figures, Figure{name, unit, v, good, verdict, source})
	}
	perMetre, ratio := [2]float64{0.5, 1.0}, [2]float64{4, 10}
	if in.Divided {
		perMetre, ratio = [2]float64{0.4, 0.8}, [2]float64{5, 10}
	}
	kliewer := cited("Kliewer & Dokoozlian, AJEV 56, pp. 170-181, https://de.scribd.com/document/246235943/Leaf-Area-Crop-Weight-Ratios")

	prunings := in.Prunings != nil && in.Prunings.KG.Known()
	if !prunings {
		miss(Tell("the mass of the prunings: weigh what was cut off this vine, or measure its canes"))
	}
	if partly {
		for _, what := range in.Prunings.Missing {
			miss(Tell("in the mass of the prunings: %s", what))
		}
	}
	if !(in.SpacingM > 0) {
		miss(Tell("the spacing of the vines along the row, in metres"))
	}
	if in.Buds <= 0 {
		miss(Tell("the buds left on the vine: rule on its canes and make the choice"))
	}
	if in.Canes <= 0 && in.Prunings != nil && in.Prunings.Weighed {
		miss(Tell("the number of one-year canes on the vine before pruning: confirm them on a photo"))
	}
	if !(in.YieldKG > 0) {
		miss(Tell("the yield of the last harvest from this vine, in kilograms"))
	}
	if prunings && in.SpacingM > 0 {
		add(Tell("prunings per metre of row"), "kg/m", in.Prunings.KG.over(in.SpacingM), perMetre, "below", kliewer)
	}
	if in.Buds > 0 && in.SpacingM > 0 {
		b := float64(in.Buds)
		add(Tell("buds per metre of row"), "1/m", Interval{b, b, b}.over(in.SpacingM), [2]float64{}, "",
			Tell("to compare: 15 viable shoots a metre, %s; not every bud gives a shoot", "https://wineskills.co.uk/node/418"))
	}
	canes := in.Canes
	if prunings && !in.Prunings.Weighed {
		canes = in.Prunings.Canes // the mass is of these, whatever else stood there
	}
	if prunings && canes > 0 {
		add(Tell("mean cane mass"), "g", in.Prunings.KG.over(float64(canes)/1000), [2]float64{28, 54}, "below",
			cited("J. Cortell, Pruning: Bank on It, Oregon Wine Press 2012, https://www.oregonwinepress.com/article?articleId=1089"))
	}
	if prunings && in.YieldKG > 0 && in.Prunings.KG.Low > 0 {
		m := in.Prunings.KG
		add(Tell("yield to prunings"), "kg/kg", Interval{in.YieldKG / m.Value, in.YieldKG / m.High, in.YieldKG / m.Low}, ratio, "above", kliewer)
	}
	return out
}

// within holds an interval against a range by the logic of findings.
func within(q Interval, good [2]float64) string {
	if good == [2]float64{} {
		return ""
	}
	below, above := q.Below(good[0]), q.Above(good[1])
	switch {
	case below == Yes:
		return "below"
	case above == Yes:
		return "above"
	case below == No && above == No:
		return "within"
	}
	return "too close to call"
}

func (q Interval) over(by float64) Interval {
	return Interval{q.Value / by, q.Low / by, q.High / by}
}

// InWords is the figure for people: "prunings per metre of row: 0.62 kg/m
// (0.55 to 0.70), within 0.5 to 1".
func (f Figure) InWords() Sentence {
	v, exact := f.Value, f.Value.Low == f.Value.High
	var s Sentence
	switch {
	case exact && v.Value >= 10:
		s = Tell("%s: %.0f %s", f.Name, v.Value, f.Unit)
	case exact:
		s = Tell("%s: %.2f %s", f.Name, v.Value, f.Unit)
	case v.Value >= 10:
		s = Tell("%s: %.0f %s (%.0f to %.0f)", f.Name, v.Value, f.Unit, v.Low, v.High)
	default:
		s = Tell("%s: %.2f %s (%.2f to %.2f)", f.Name, v.Value, f.Unit, v.Low, v.High)
	}
	low, high := f.Range[0], f.Range[1]
	switch f.Verdict {
	case "below":
		return Tell("%s, below %v to %v", s, low, high)
	case "above":
		return Tell("%s, above %v to %v", s, low, high)
	case "within":
		return Tell("%s, within %v to %v", s, low, high)
	case "too close to call":
		return Tell("%s, too close to call against %v to %v", s, low, high)
	}
	return s
}
