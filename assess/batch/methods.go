package batch

import (
	"fmt"
	"strings"

	"nodespan/assess"
)

// methods writes a paragraph with which the methods section of a paper can
// start, filled with the run's own figures. What only the researcher knows
// stands in square brackets.
func methods(s *summary, o Output) string {
	t := s.T
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format, args...) }
	say("Canes were measured in photos with nodespan (version %s). ", s.Version)
	say("%s of dormant vines [cultivar, place, date, camera] %s taken with a printed scale in the plane of the wires", count(t.photos, "photo", "photos"), were(t.photos))
	if n := t.references; len(n) > 0 {
		var kinds []string
		for _, k := range sortedKeys(n) {
			kinds = append(kinds, fmt.Sprintf("%s in %d", referenceWords(k), n[k]))
		}
		say(" (%s of the measured photos)", strings.Join(kinds, ", "))
	}
	say(". %s could be measured", sentenceCount(t.measured, "photo"))
	if t.refused > 0 {
		say("; %s refused because of %s", countWere(t.refused), refusalWords(s))
	}
	if t.failed > 0 {
		say("; %s unreadable", countWere(t.failed))
	}
	say(". ")
	if t.waiting > 0 {
		say("[%d photos had not been measured yet when this was written.] ", t.waiting)
	}
	if len(t.vines) > 0 {
		say("The photos show %s", count(len(t.vines), "vine", "vines"))
		if n := len(s.Blocks); n > 1 {
			say(" in %d blocks", n)
		}
		if n := len(s.Treatments); n > 1 {
			say(" under %d treatments", n)
		}
		say(". ")
	}
	if t.pairs > 0 {
		say("%s measured together with a second one of the same vine from another stance, the scale left where it hung (poses of both cameras by least squares from the scale and from what both show, depth by the parallax of each cane's line; Hartley and Zisserman 2004, Multiple View Geometry, 2nd ed.); %s located in depth thereby, and the values allow for it. ", sentenceWere(t.pairs, "photo"), sentenceWere(s.Deep, "cane"))
	}
	if t.further > 0 {
		say("Of several photos of a vine in one winter one is counted here, with depth before without, then by the name of its stance; %s left to the tables. ", sentenceWere(t.further, "further photo"))
	}
	say("On them %s and %s were found. ", count(s.Canes, "one-year cane", "one-year canes"), count(t.internodes, "internode", "internodes"))
	say("A cane's diameter is the median of the apparent diameters in the middle of its internodes 1 to 8, counted from the base; its internode length is the median distance between neighbouring nodes along the cane over the same internodes. ")
	if s.D.N > 0 {
		say("Diameters had a median of %.1f mm (quartiles %.1f and %.1f mm, n = %d)", s.D.Median, s.D.Low, s.D.High, s.D.N)
		if s.L.N > 0 {
			say(", internode lengths one of %.0f mm (quartiles %.0f and %.0f mm, n = %d)", s.L.Median, s.L.Low, s.L.High, s.L.N)
		}
		say(". ")
	}
	say("Every value has a 95 %% interval whose terms were combined after JCGM 100:2008; the largest is the unseen distance of a cane from the wire plane%s. ", deepWords(s.Deep))
	say("Canes were classed by rule set %s (weak below %s, short-noded below %s, over-vigorous above %s) only when the whole interval lay on one side of a limit (JCGM 106:2012); %d of %d canes (%s %%) were too close to call and %d could not be judged. ",
		o.Rules.ID(), o.Rules.Weak, o.Rules.ShortNoded, o.Rules.OverVigorous, s.Found[assess.TooCloseToCall], s.Canes, percentOf(s.Found[assess.TooCloseToCall], s.Canes), s.Found[assess.NotMeasurable])
	for i, r := range s.Repeats {
		if i == 0 {
			say("In repeated photos of the same vines the within-subject standard deviation (Bland and Altman, BMJ 1996; 313: 744) was ")
		} else {
			say(", ")
		}
		say("%.2f %s for the %s (%d of them, %d readings; repeatability coefficient %.2f %s)", r.R.WithinSD.Value, r.Unit, r.What, r.R.Things, r.R.Readings, r.R.Coefficient.Value, r.Unit)
		if i == len(s.Repeats)-1 {
			say(". ")
		}
	}
	if s.Rate.Sample > 0 {
		say("A simple random sample of %s, sized for an interval of at most %.1f percentage points to either side (Cochran 1977), was drawn for checking by hand", count(s.Rate.Sample, "cane", "canes"), 100*o.Check.Within)
		if s.Rate.Rate != nil {
			say("; of %d checked canes %d were wrong: %.1f %% (95 %% interval %.1f to %.1f %%, Wilson 1927)", s.Rate.Checked, s.Rate.Wrong, 100*s.Rate.Rate.Value, 100*s.Rate.Rate.Low, 100*s.Rate.Rate.High)
		} else {
			say(" [none was checked yet]")
		}
		say(". ")
	}
	say("[Accuracy against caliper values: see a study of one's own, nodespan study.]")
	return b.String()
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func sentenceCount(n int, one string) string { return count(n, one, one+"s") }

func were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

// sentenceWere is "1 photo was" or "12 photos were".
func sentenceWere(n int, one string) string { return sentenceCount(n, one) + " " + were(n) }

// deepWords says for which canes depth is no longer unseen.
func deepWords(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(", but where a second photo showed it (%s)", sentenceCount(n, "cane"))
}

func countWere(n int) string { return fmt.Sprintf("%d %s", n, were(n)) }

func percentOf(n, of int) string {
	if of == 0 {
		return "0"
	}
	return fmt.Sprintf("%.1f", 100*float64(n)/float64(of))
}

func referenceWords(kind string) string {
	switch kind {
	case "checker":
		return "a checkerboard card"
	case "bar":
		return "a scale bar"
	case "marks":
		return "two marks of measured distance"
	}
	return kind
}

// refusalWords lists the reasons; one photo may have several.
func refusalWords(s *summary) string {
	var parts []string
	for _, r := range s.Reasons {
		parts = append(parts, fmt.Sprintf("%s (%d)", strings.ReplaceAll(r.Name, "_", " "), r.N))
	}
	return strings.Join(parts, ", ")
}
