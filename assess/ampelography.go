package assess

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// InternodeClass is where a vine's internode length stands on a published
// scale.
type InternodeClass struct {
	Class      string   `json:"class"` // "short", "medium", "long", or between two of them
	MeanMM     Interval `json:"mean_mm"`
	Internodes int      `json:"internodes"` // how many were averaged
	Shoots     int      `json:"shoots"`     // from how many canes
	Because    string   `json:"because"`
	Source     string   `json:"source"`
}

// ClassBand is one class of a descriptor's scale, mm, both ends within it.
type ClassBand struct {
	Name    string
	From    float64
	Through float64 // +Inf for an open end
}

// InternodeScale are the classes for internode length of woody shoots of the
// Italian Central Ampelographic Committee: G. Dalmasso, VITE, Enciclopedia
// Italiana (Treccani),
// http://156.54.191.164/enciclopedia/ricerca/ampelografo_(industria). The
// scale leaves gaps between its classes, and so does this.
func InternodeScale() []ClassBand {
	return []ClassBand{{"short", 50, 60}, {"medium", 90, 100}, {"long", 120, math.Inf(1)}}
}

const (
	internodeScaleSource = "Italian Central Ampelographic Committee, in G. Dalmasso, VITE, Enciclopedia Italiana; " +
		"sample after the Italian user manual for the OIV vine sheet: at least 10 internodes of the middle third of several shoots"
	leastInternodes = 10 // the manual's number
	// leastShoots is our reading of the manual's "several".
	leastShoots = 3
)

// ClassifyInternodes classes the internode length of a vine from its canes, by
// InternodeScale, under the protocol of the Italian user manual for the OIV
// vine sheet (https://123dok.org/article/trattazione-dei-descrittori-presi-in-esame-nella-scheda.7q0453z6):
// at least ten internodes of the middle third of several shoots. An internode
// is of the middle third when its middle is.
//
// EInvalid, with what is missing, when the sample is too small. A cane that
// runs out of the picture has no known middle third and isn't used. The mean's
// interval holds what the canes' own scatter and the canes' shared scale make
// unsure; canes of one photo share most of it, so it isn't lessened by their
// number.
func ClassifyInternodes(canes []Cane) (InternodeClass, error) {
	var all []float64
	shoots, cutOff := 0, 0
	var relative float64
	for _, c := range canes {
		if c.LeavesFrame {
			cutOff++
			continue
		}
		ls := middleThird(&c)
		if len(ls) == 0 {
			continue
		}
		shoots++
		all = append(all, ls...)
		relative = math.Max(relative, finiteOr(c.RelativeU, 0))
	}
	if len(all) < leastInternodes || shoots < leastShoots {
		return InternodeClass{}, Errorf(EInvalid,
			"internode length can't be classed from %d internodes of %d canes: the protocol asks for at least %d of the middle third of several canes, taken here as %d. "+
				"Take photos that show whole canes (%d run out of the picture), or confirm more nodes.",
			len(all), shoots, leastInternodes, leastShoots, cutOff)
	}
	mean, sd := stat.MeanStdDev(all, nil)
	n := float64(len(all))
	p := DefaultCombining()
	q := p.length(mean, part{sd / math.Sqrt(n), n - 1}, relative)
	class := classOf(mean, InternodeScale())
	return InternodeClass{
		Class: class, MeanMM: q, Internodes: len(all), Shoots: shoots, Source: internodeScaleSource,
		Because: fmt.Sprintf("mean of %d internodes of the middle third of %d canes: %.0f mm (%.0f to %.0f), %s", len(all), shoots, q.Value, q.Low, q.High, class),
	}, nil
}

func middleThird(c *Cane) []float64 {
	n := len(c.AlongMM)
	if n == 0 {
		return nil
	}
	length := c.AlongMM[n-1]
	var ls []float64
	for i := 0; i+1 < len(c.Nodes); i++ {
		a, b := c.Nodes[i].AlongMM, c.Nodes[i+1].AlongMM
		if mid := (a + b) / 2; b > a && mid >= length/3 && mid <= length*2/3 {
			ls = append(ls, b-a)
		}
	}
	return ls
}

func classOf(v float64, scale []ClassBand) string {
	for i, b := range scale {
		switch {
		case v >= b.From && v <= b.Through:
			return b.Name
		case v < b.From && i == 0:
			return "below " + b.Name
		case v < b.From:
			return "between " + scale[i-1].Name + " and " + b.Name
		}
	}
	return "above " + scale[len(scale)-1].Name
}
