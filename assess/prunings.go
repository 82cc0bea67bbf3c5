package assess

import (
	"math"
	"strings"
)

// Prunings is the mass of a vine's one-year wood.
type Prunings struct {
	KG      Interval   `json:"kg"`
	Weighed bool       `json:"weighed"` // false: estimated from measured canes
	Canes   int        `json:"canes"`   // how many it was estimated from
	Because Sentence   `json:"because"`
	Missing []Sentence `json:"missing"` // what makes it less than the whole
	Source  Sentence   `json:"source"`
}

// Wood says what is taken of wood when its mass is estimated.
type Wood struct {
	// DensityLow and DensityHigh bound the density of fresh dormant cane,
	// g/cm3; taken as equally likely in between. From memory, no source was
	// reached; a grower can enter their own.
	DensityLow, DensityHigh float64
	// SectionU is the relative standard uncertainty of a cross-section's area
	// that comes from seeing one axis alone of a cane that isn't round. No
	// source gives a figure; larger widens the interval.
	SectionU float64
	Source   string
}

// DefaultWood is what EstimatePrunings is usually given.
func DefaultWood() Wood {
	return Wood{DensityLow: 0.85, DensityHigh: 1.05, SectionU: 0.05, Source: phrase("density of 0.85 to 1.05 g/cm3: from memory, no source confirmed")}
}

// said is the density with its source.
func (w Wood) said() Sentence {
	if w == DefaultWood() {
		return Sentence{Text: w.Source}
	}
	return Tell("density of %v to %v g/cm3: %s", w.DensityLow, w.DensityHigh, w.Source)
}

// Validate returns nil, or an Error with code EInvalid that says what to enter.
func (w Wood) Validate() error {
	switch {
	case !(w.DensityLow > 0 && w.DensityLow <= w.DensityHigh && w.DensityHigh < 2):
		return Errorf(EInvalid, "a density of %v to %v g/cm3 can't be wood's: fresh canes have about 0.9 to 1.0.", w.DensityLow, w.DensityHigh)
	case strings.TrimSpace(w.Source) == "":
		return Errorf(EInvalid, "the density of canes has no source: name where the figures come from, or write %s.", Tell("weighed on the estate"))
	}
	return nil
}

// WeighedPrunings is a mass that a person weighed, with a scale's resolution
// of about 20 g as its half-width. EInvalid outside of 0 to 20 kg.
func WeighedPrunings(kg float64) (Prunings, error) {
	if !(kg > 0 && kg <= 20) {
		return Prunings{}, Errorf(EInvalid, "prunings of %v kg can't be one vine's: give what was cut off one vine, weighed, in kilograms.", kg)
	}
	const half = 0.02
	return Prunings{KG: Interval{kg, math.Max(0, kg-half), kg + half}, Weighed: true, Because: Tell("weighed: %.2f kg", kg), Missing: []Sentence{}, Source: Tell("weighed")}, nil
}

// EstimatePrunings gives the mass of canes from their measured diameters along
// their lengths: volume times density. It is a check on a weighed mass, not a
// replacement of it; what the photo doesn't show is told in Missing and makes
// the estimate too low. EInvalid when no cane has a diameter.
//
// Scale errors are taken as common to all canes and enter a volume three
// times, twice by the diameter and once by the length; lean raises the upper
// bound alone.
func EstimatePrunings(canes []Cane, w Wood) (Prunings, error) {
	if err := w.Validate(); err != nil {
		return Prunings{}, err
	}
	p := DefaultCombining()
	out := Prunings{Missing: []Sentence{}, Source: Tell("volume of measured canes; %s", w.said())}
	var volume, scaleU, edgeU float64 // cm3
	var cutOff, unread int
	for i := range canes {
		v, mean := volumeCM3(&canes[i])
		if v == 0 {
			unread++
			continue
		}
		if canes[i].LeavesFrame {
			cutOff++
		}
		out.Canes++
		volume += v
		scaleU += 3 * math.Max(0, finiteOr(canes[i].RelativeU, 0)) * v
		edgeU += 2 * p.EdgeU / mean * v
	}
	if out.Canes == 0 {
		return Prunings{}, Errorf(EInvalid, "no cane of this vine has a diameter along its length, so its prunings can't be estimated: weigh them.")
	}
	density := (w.DensityLow + w.DensityHigh) / 2
	// Equally likely between bounds: half the width over sqrt 3, JCGM 100:2008, 4.3.7.
	densityU := (w.DensityHigh - w.DensityLow) / 2 / math.Sqrt(3)
	inf := math.Inf(1)
	kg := volume * density / 1000
	c := combine(part{scaleU * density / 1000, inf}, part{edgeU * density / 1000, inf}, part{volume * densityU / 1000, inf}, part{w.SectionU * kg, inf})
	out.KG = p.length(kg, c, 0, p.LeanSD)
	out.Because = Tell("%d canes of %.0f cm3 in all, at %.2f to %.2f g/cm3: %.2f kg (%.2f to %.2f)", out.Canes, volume, w.DensityLow, w.DensityHigh, out.KG.Value, out.KG.Low, out.KG.High)
	if cutOff > 0 {
		out.Missing = append(out.Missing, TellCount(cutOff, "the end of %d cane that runs out of the picture", "the ends of %d canes that run out of the picture", cutOff))
	}
	if unread > 0 {
		out.Missing = append(out.Missing, TellCount(unread, "%d cane without a diameter along its length", "%d canes without a diameter along their length", unread))
	}
	return out, nil
}

// EstimateCutOff is EstimatePrunings of what a choice cuts off: of the canes
// that are laid or cut to spurs only what lies beyond the cut.
func EstimateCutOff(canes []Cane, ch Choice, w Wood) (Prunings, error) {
	cuts := map[int]float64{}
	for _, k := range ch.Keep {
		if k.Cane != 0 {
			cuts[k.Cane] = k.Cut.AlongMM
		}
	}
	for _, s := range ch.Spurs {
		cuts[s.Cane] = s.Cut.AlongMM
	}
	rest := make([]Cane, 0, len(canes))
	for _, c := range canes {
		if along := cuts[c.ID]; along > 0 {
			c = beyondCut(c, along)
			if len(c.Profile) < 2 {
				continue // next to nothing of it is cut off
			}
		}
		rest = append(rest, c)
	}
	p, err := EstimatePrunings(rest, w)
	if err == nil && len(cuts) > 0 {
		p.Because = Tell("%s, of what the choice cuts off", p.Because)
	}
	return p, err
}

// beyondCut is the part of a cane beyond along mm from its base.
func beyondCut(c Cane, along float64) Cane {
	out := c
	out.Profile, out.AlongMM, out.CentreLine = nil, nil, nil
	for _, r := range c.Profile {
		if r.AlongMM >= along {
			r.AlongMM -= along
			out.Profile = append(out.Profile, r)
		}
	}
	for _, a := range c.AlongMM {
		if a >= along {
			out.AlongMM = append(out.AlongMM, a-along)
		}
	}
	return out
}

// volumeCM3 is a cane's volume as a row of short cylinders between readings,
// and its mean diameter in mm; gaps take the mean of the readings at their
// rims, the ends that of the nearest reading. Swellings at nodes are in it.
func volumeCM3(c *Cane) (cm3, meanMM float64) {
	var at, d []float64
	for _, r := range c.Profile {
		if r.U > 0 && r.DiameterMM > 0 && finite(r.AlongMM) && (len(at) == 0 || r.AlongMM > at[len(at)-1]) {
			at, d = append(at, r.AlongMM), append(d, r.DiameterMM)
		}
	}
	n := len(at)
	if n < 2 {
		return 0, 0
	}
	area := func(mm float64) float64 { return math.Pi / 4 * mm * mm }
	var mm3, length, weighted float64
	add := func(l, a, mean float64) {
		if l > 0 {
			mm3, length, weighted = mm3+l*a, length+l, weighted+l*mean
		}
	}
	for i := 1; i < n; i++ {
		add(at[i]-at[i-1], (area(d[i])+area(d[i-1]))/2, (d[i]+d[i-1])/2)
	}
	add(at[0], area(d[0]), d[0])
	if m := len(c.AlongMM); m > 0 {
		add(c.AlongMM[m-1]-at[n-1], area(d[n-1]), d[n-1])
	}
	return mm3 / 1000, weighted / length
}
