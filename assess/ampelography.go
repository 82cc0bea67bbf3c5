package assess

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// VineClass is where a vine stands on a descriptor's scale.
type VineClass struct {
	Table  string     `json:"table"`         // name of the descriptor table
	Class  Sentence   `json:"class"`         // a class's name, or between two of them
	Also   []Sentence `json:"also"`          // what the interval holds besides: too close to call between them
	MeanMM Interval   `json:"mean_mm"`       // of the sample
	Sample int        `json:"sample"`        // how many internodes
	Shoots int        `json:"shoots"`        // from how many canes
	Note   string     `json:"note,omitzero"` // the class's number in its list, where it has one
	// Because and Source are the sentence and where scale and protocol come
	// from.
	Because Sentence `json:"because"`
	Source  Sentence `json:"source"`
}

// Sure tells whether the whole interval lies in one class.
func (k VineClass) Sure() bool { return len(k.Also) == 0 }

// ClassifyInternodes classes the internode length of a vine from its canes on
// the one published scale that is confirmed. See ClassifyBy.
func ClassifyInternodes(canes []Cane) (VineClass, error) {
	return ClassifyBy(InternodeTable(), canes)
}

// ClassifyBy classes a vine on a descriptor table, under the protocol of the
// Italian user manual for the OIV vine sheet
// (https://123dok.org/article/trattazione-dei-descrittori-presi-in-esame-nella-scheda.7q0453z6):
// internodes of the middle third of several shoots, as many of each as the
// table asks for, at least ten. An internode is of the middle third when its
// middle is.
//
// EInvalid, with what is missing, when the sample is too small. A cane that
// runs out of the picture has no known middle third and isn't used. The mean's
// interval holds what the canes' own scatter and the canes' shared scale make
// unsure; canes of one photo share most of it, so it isn't lessened by their
// number. Where the interval reaches into other classes, Also names them.
func ClassifyBy(t DescriptorTable, canes []Cane) (VineClass, error) {
	if err := t.Validate(); err != nil {
		return VineClass{}, err
	}
	var all []float64
	shoots, cutOff := 0, 0
	var relative float64
	for i := range canes {
		c := &canes[i]
		if c.LeavesFrame {
			cutOff++
			continue
		}
		vs := middleThird(c, t.Quantity)
		if len(vs) == 0 {
			continue
		}
		shoots++
		all = append(all, vs...)
		relative = math.Max(relative, finiteOr(c.RelativeU, 0))
		if t.Quantity == InternodeDiameter {
			relative = math.Max(relative, math.Hypot(finiteOr(c.RelativeU, 0), math.Max(0, finiteOr(c.EdgeDoubt, 0))))
		}
	}
	if len(all) < t.Internodes || shoots < t.Shoots {
		return VineClass{}, Errorf(EInvalid,
			"%s can't be classed from %d internodes of %d canes: the protocol asks for at least %d of the middle third of several canes, taken here as %d. Take photos that show whole canes (%d run out of the picture), or confirm more nodes.",
			t.Quantity.InWords(), len(all), shoots, t.Internodes, t.Shoots, cutOff)
	}
	mean, sd := stat.MeanStdDev(all, nil)
	n := float64(len(all))
	p := DefaultCombining()
	own := part{sd / math.Sqrt(n), n - 1}
	q := p.length(mean, own, relative, p.LeanSD)
	if t.Quantity == InternodeDiameter {
		q = p.symmetric(mean, combine(own, part{relative * mean, math.Inf(1)}))
	}
	k := VineClass{Table: t.Name, MeanMM: q, Sample: len(all), Shoots: shoots, Also: []Sentence{}, Source: Tell(protocolSource, Sentence{Text: t.Source})}
	k.Class, k.Note = t.classOf(mean)
	for _, c := range t.classesWithin(q) {
		if c.String() != k.Class.String() {
			k.Also = append(k.Also, c)
		}
	}
	k.Because = Tell("mean of %d internodes of the middle third of %d canes: %s, %s", len(all), shoots, against(q), k.Class)
	if !k.Sure() {
		k.Because = Tell("%s; too close to call, the interval holds others as well", k.Because)
	}
	return k, nil
}

// middleThird gives the lengths or the diameters of the internodes whose
// middle lies in the middle third of the cane, mm.
func middleThird(c *Cane, of Quantity) []float64 {
	n := len(c.AlongMM)
	if n == 0 {
		return nil
	}
	length := c.AlongMM[n-1]
	var vs []float64
	for i := 0; i+1 < len(c.Nodes); i++ {
		a, b := c.Nodes[i].AlongMM, c.Nodes[i+1].AlongMM
		mid := (a + b) / 2
		if !(b > a && mid >= length/3 && mid <= length*2/3) {
			continue
		}
		if of == InternodeLength {
			vs = append(vs, b-a)
		} else if i < len(c.Internodes) && c.Internodes[i].Diameter.Known() {
			vs = append(vs, c.Internodes[i].Diameter.Value)
		}
	}
	return vs
}
