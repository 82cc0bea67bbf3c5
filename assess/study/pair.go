package study

import (
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"nodespan/assess"
)

// Photo is what the program saw of one vine on one occasion: somebody hangs the
// card, takes one photo or two from a step apart, and takes the card down.
type Photo struct {
	Name  string // path below the folder
	Block string
	Row   int
	Vine  int
	// Canes are the program's, or those that a person confirmed.
	Canes     []assess.Cane
	Reference *assess.Reference
	// Ruled says that Canes are confirmed ones.
	Ruled bool
	// Why says why the photo has no canes, "" when it has.
	Why string
	// Deep says that a second photo showed how far canes stand off the wire.
	Deep bool
	// StandsWith is the photo with which this one makes up one occasion: it shows
	// that one's depth, or is a copy of it. It is then no reading of its own. ""
	// for all others.
	StandsWith string
}

// read tells whether the photo gives a reading.
func (p *Photo) read() bool { return p.Why == "" && p.StandsWith == "" }

// Quantity is what was measured.
type Quantity string

// The two quantities of a study.
const (
	Diameter  Quantity = "diameter"
	Internode Quantity = "internode length"
)

// Paired is one hand value beside the program's.
type Paired struct {
	Hand  Hand
	Photo string
	What  Quantity
	Whole bool // of the whole cane, not of one internode
	Truth float64
	Said  assess.Interval
	How   string // "number", "ruling" or "place"
	Deep  bool   // two stances show the occasion
	// Readings is how many hand readings Truth is the mean of.
	Readings int
}

// Unpaired is a hand value that found no partner, with the reason.
type Unpaired struct {
	Hand Hand
	Why  string
}

// placeMM is how far along the wire a cane may arise from where the hand
// measurement says, mm. A tape along a wire and the base of a trace agree within
// some 15 mm; canes arise some 20 mm apart. Larger pairs neighbours.
const placeMM = 25

// Pair finds for each hand measurement the program's value of the same thing in
// each photo of its vine. Hand readings of the same thing are averaged first, so
// that no place counts twice in one photo. What finds no partner is listed.
func Pair(hands []Hand, photos []Photo) ([]Paired, []Unpaired) {
	type key struct {
		photo    string
		cane     int
		internod int // -1 for the whole cane
		what     Quantity
	}
	order := []key{}
	sums := map[key]*Paired{}
	var left []Unpaired
	for _, h := range hands {
		found, whys := 0, []string{}
		shown := false
		if n := h.numberedBy(photos); n > 1 {
			left = append(left, Unpaired{h, fmt.Sprintf("this vine was photographed on %d occasions, and each photo numbers its canes by itself: name the photo in the column photo, or the cane's place on the wire in at_mm", n)})
			continue
		}
		for i := range photos {
			p := &photos[i]
			if !h.shows(p) {
				continue
			}
			shown = true
			c, how, why := h.caneOf(p)
			if c == nil {
				whys = append(whys, why)
				continue
			}
			in, why := h.internodeOf(c)
			if why != "" {
				whys = append(whys, why)
				continue
			}
			for _, q := range []struct {
				what  Quantity
				truth float64
			}{{Diameter, h.Diameter}, {Internode, h.Length}} {
				if math.IsNaN(q.truth) {
					continue
				}
				said := valueOf(c, in, q.what)
				if !said.Known() {
					whys = append(whys, fmt.Sprintf("the program has no %s there in %s", q.what, p.Name))
					continue
				}
				found++
				k := key{p.Name, c.ID, in, q.what}
				s := sums[k]
				if s == nil {
					s = &Paired{Hand: h, Photo: p.Name, What: q.what, Whole: in < 0, Said: said, How: how, Deep: p.Deep}
					sums[k], order = s, append(order, k)
				}
				s.Truth += (q.truth - s.Truth) / float64(s.Readings+1)
				s.Readings++
			}
		}
		switch {
		case !shown:
			left = append(left, Unpaired{h, "no photo shows this vine; name the photos after their vines, or give a list with --vines"})
		case found == 0:
			left = append(left, Unpaired{h, strings.Join(whys, "; ")})
		}
	}
	var out []Paired
	for _, k := range order {
		out = append(out, *sums[k])
	}
	return out, left
}

// numberedBy tells how many readings a cane's number could mean; 0 where the
// cane isn't named by a number, or the photo is named too.
func (h Hand) numberedBy(photos []Photo) (n int) {
	if h.Cane == 0 || h.Photo != "" {
		return 0
	}
	for i := range photos {
		if p := &photos[i]; h.shows(p) && p.read() {
			n++
		}
	}
	return n
}

// shows tells whether a photo is one of the measured vine, or the one that was
// named.
func (h Hand) shows(p *Photo) bool {
	if h.Photo != "" {
		return h.Photo == p.Name || h.Photo == path.Base(p.Name)
	}
	if p.StandsWith != "" {
		return false // told by the other one
	}
	return p.Vine == h.Vine && p.Row == h.rowOr(p.Row) && (h.Block == "" || strings.EqualFold(h.Block, p.Block))
}

func (h Hand) rowOr(row int) int {
	if h.Row == 0 {
		return row
	}
	return h.Row
}

// caneOf finds the cane, or says why there is none.
func (h Hand) caneOf(p *Photo) (c *assess.Cane, how, why string) {
	if p.Why != "" {
		return nil, "", p.Name + ": " + p.Why
	}
	if h.Cane > 0 {
		for i := range p.Canes {
			if p.Canes[i].ID == h.Cane {
				if p.Ruled {
					return &p.Canes[i], "ruling", ""
				}
				return &p.Canes[i], "number", ""
			}
		}
		if p.Ruled {
			return nil, "", fmt.Sprintf("nobody has confirmed a cane %d on %s", h.Cane, p.Name)
		}
		return nil, "", fmt.Sprintf("the program has no cane %d on %s", h.Cane, p.Name)
	}
	best, second := math.Inf(1), math.Inf(1)
	for i := range p.Canes {
		if len(p.Canes[i].CentreLine) == 0 {
			continue
		}
		at, ok := p.Reference.ToMM(p.Canes[i].CentreLine[0])
		if !ok {
			continue
		}
		if d := math.Abs(at[0] - h.AtMM); d < best {
			best, second, c = d, best, &p.Canes[i]
		} else {
			second = min(second, d)
		}
	}
	switch {
	case c == nil || best > placeMM:
		return nil, "", fmt.Sprintf("no cane arises within %d mm of %.0f mm on %s", placeMM, h.AtMM, p.Name)
	case second < placeMM && second-best < placeMM/2:
		return nil, "", fmt.Sprintf("two canes arise near %.0f mm on %s: name the cane by its number", h.AtMM, p.Name)
	}
	return c, "place", ""
}

// internodeOf gives the index of the internode that was measured, -1 for the
// whole cane, or says why there is none.
func (h Hand) internodeOf(c *assess.Cane) (int, string) {
	switch {
	case !math.IsNaN(h.AlongMM):
		for i := 0; i+1 < len(c.Nodes) && i < len(c.Internodes); i++ {
			if h.AlongMM >= c.Nodes[i].AlongMM && h.AlongMM <= c.Nodes[i+1].AlongMM {
				return i, ""
			}
		}
		return 0, fmt.Sprintf("no internode of cane %d lies at %.0f mm from its base", c.ID, h.AlongMM)
	case h.NodeFrom > 0:
		if h.NodeFrom > len(c.Internodes) {
			return 0, fmt.Sprintf("cane %d has no nodes %d and %d", c.ID, h.NodeFrom, h.NodeTo)
		}
		return h.NodeFrom - 1, ""
	}
	return -1, ""
}

func valueOf(c *assess.Cane, internode int, what Quantity) assess.Interval {
	switch {
	case internode < 0 && what == Diameter:
		return c.Diameter
	case internode < 0:
		return c.Internode
	case what == Diameter:
		return c.Internodes[internode].Diameter
	}
	return c.Internodes[internode].Length
}

// handRepeats groups hand readings of the same thing on the same vine: how well
// the hand repeats itself.
func handRepeats(hands []Hand, of func(Hand) float64) [][]float64 {
	var all grouped
	for _, h := range hands {
		if v := of(h); !math.IsNaN(v) {
			all.add(h.thing(), v)
		}
	}
	return all.several()
}

// programRepeats groups the program's readings of the same thing on the same
// vine, one reading an occasion: how well the program repeats itself.
func programRepeats(pairs []Paired) [][]float64 {
	var all grouped
	for _, p := range pairs {
		all.add(p.Hand.thing(), p.Said.Value)
	}
	return all.several()
}

// thing names what was measured, the same for each measurement of it.
func (h Hand) thing() string {
	return fmt.Sprintf("%s %s %d %d %d %v %d %v", h.Photo, strings.ToLower(h.Block), h.Row, h.Vine, h.Cane, h.AtMM, h.NodeFrom, h.AlongMM)
}

// grouped are readings by the thing that was read, in the order in which they
// came.
type grouped struct {
	at  map[string]int
	all [][]float64
}

func (g *grouped) add(thing string, v float64) {
	i, ok := g.at[thing]
	if !ok {
		if g.at == nil {
			g.at = map[string]int{}
		}
		i = len(g.all)
		g.at[thing], g.all = i, append(g.all, nil)
	}
	g.all[i] = append(g.all[i], v)
}

// several gives those that were read more than once.
func (g *grouped) several() [][]float64 {
	return slices.DeleteFunc(g.all, func(vs []float64) bool { return len(vs) < 2 })
}
