package assess

import (
	"math"
	"slices"
)

// Past is what the record has of a vine in an earlier winter.
type Past struct {
	Winter string
	Seen   *Measurement
	Canes  []ConfirmedCane
	Choice *Choice // nil when none was confirmed
}

// Matching says how near a cane must arise to what stood there last winter to
// be taken as grown from it. Common practice, no source.
type Matching struct {
	// SpurMM is from a spur that was left, mm. Larger finds more canes that came
	// from it, and takes neighbours for them: two photos of a vine agree to
	// about 2 cm.
	SpurMM float64
	// LaidMM is from the line along which last winter's cane was laid, mm.
	LaidMM float64
	// HeadMM is from the head itself, mm.
	HeadMM float64
}

// DefaultMatching is what DescentsFrom is usually given.
func DefaultMatching() Matching { return Matching{SpurMM: 45, LaidMM: 45, HeadMM: 60} }

// DescentsFrom reads from where the canes stand in two winters' photos what
// each cane of this winter grew from: a spur that was left, last winter's
// fruiting cane, or the head. It's a reading, not a statement: Sure is false.
// Without head and millimetres in both photos, or without a choice in the
// earlier winter, only what the photo itself shows of the head is told, and
// the rest is unknown.
func DescentsFrom(past *Past, m *Measurement, canes []ConfirmedCane, p Matching) []Descent {
	lean := DefaultChoosing().LeanOverMM
	now := newStand(m, standingOf(canes), lean)
	var then *stand
	if past != nil && past.Seen != nil && past.Choice != nil {
		s := newStand(past.Seen, standingOf(past.Canes), lean)
		if s.head && now.head {
			then = &s
		}
	}
	out := make([]Descent, 0, len(canes))
	for i := range now.canes {
		c := &now.canes[i]
		if c.old {
			continue
		}
		d := Descent{Cane: c.ID, From: FromUnknown, Why: Tell("where it arises can't be held against last winter's photo")}
		if then != nil && c.placed {
			d = then.nearestSource(c, past, p)
		} else if c.Origin == "head" {
			d.From, d.Why = FromHeadWood, Tell("it's seen to arise from the head")
		}
		d.Cane = c.ID
		out = append(out, d)
	}
	return out
}

func standingOf(canes []ConfirmedCane) []standing {
	out := make([]standing, 0, len(canes))
	for _, c := range canes {
		out = append(out, standing{Cane: c.Cane, old: c.Kind == OldWood})
	}
	return out
}

// nearestSource finds what stood last winter nearest to where c arises now; s
// is last winter's stand. Both have their places relative to the head.
func (s *stand) nearestSource(c *standing, past *Past, p Matching) Descent {
	at := Point{c.x, c.y}
	best, bestAway := Descent{From: FromUnknown}, math.Inf(1)
	try := func(d Descent, away, within float64) {
		if away <= within && away < bestAway {
			best, bestAway = d, away
		}
	}
	for k := range s.canes {
		old := &s.canes[k]
		if !old.placed {
			continue
		}
		fate := past.Choice.FateOf(old.ID)
		switch fate.What {
		case "spur":
			upTo := 100.0 // mm, where the cut wasn't told
			for _, sp := range past.Choice.Spurs {
				if sp.Cane == old.ID && sp.Cut.AfterNode > 0 {
					upTo = sp.Cut.AlongMM
				}
			}
			d := Descent{From: FromSpur, Parent: old.ID, ParentWinter: past.Winter}
			try(d, awayFrom(at, s.lineOf(old, upTo)), p.SpurMM)
		case "lay":
			d := Descent{From: FromOldWood, Parent: old.ID, ParentWinter: past.Winter}
			try(d, awayFrom(at, s.laidLine(old, past.Choice)), p.LaidMM)
		}
	}
	// The head last: what grew from a spur at the head came from the spur.
	if best.From == FromUnknown && c.away <= p.HeadMM {
		return Descent{From: FromHeadWood, Why: Tell("it arises %s from the head, and from nothing that was kept last winter", mm(c.away, 0))}
	}
	if best.From == FromUnknown {
		best.Why = Tell("nothing that was kept last winter stands near its base")
		return best
	}
	best.Why = Tell("it arises %s from where that stood", mm(bestAway, 0))
	return best
}

// lineOf is a cane's own line relative to the head, mm, from its base up to
// along.
func (s *stand) lineOf(c *standing, along float64) []Point {
	line := []Point{{c.x, c.y}}
	// It leans evenly enough over so short a stretch.
	sin, cos := math.Sincos(c.leanRight * math.Pi / 180)
	return append(line, Point{c.x + along*sin, c.y - along*cos})
}

// laidLine is where a cane lies once it's laid: up to its wire, then along it.
func (s *stand) laidLine(c *standing, ch *Choice) []Point {
	i := slices.IndexFunc(ch.Keep, func(k Kept) bool { return k.Cane == c.ID })
	k := ch.Keep[i]
	rise, ok := s.riseTo(c, k.Place.Wire)
	if !ok || rise < 0 {
		rise = 0
	}
	reach := math.Max(0, k.Cut.AlongMM-rise)
	if k.Place.Direction == ToLeft {
		reach = -reach
	}
	return []Point{{c.x, c.y}, {c.x, c.y - rise}, {c.x + reach, c.y - rise}}
}

// awayFrom is the distance of a point from a line of pieces.
func awayFrom(p Point, line []Point) float64 {
	best := math.Hypot(p[0]-line[0][0], p[1]-line[0][1])
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		dx, dy := b[0]-a[0], b[1]-a[1]
		t := 0.0
		if l2 := dx*dx + dy*dy; l2 > 0 {
			t = clamp(((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l2, 0, 1)
		}
		best = math.Min(best, math.Hypot(p[0]-a[0]-t*dx, p[1]-a[1]-t*dy))
	}
	return best
}

// AsSaid puts what a person said of canes' descent above what was read.
func AsSaid(read, said []Descent) []Descent {
	out := slices.Clone(read)
	for _, d := range said {
		d.Sure = true
		if i := slices.IndexFunc(out, func(r Descent) bool { return r.Cane == d.Cane }); i >= 0 {
			out[i] = d
		} else {
			out = append(out, d)
		}
	}
	slices.SortFunc(out, func(a, b Descent) int { return a.Cane - b.Cane })
	return out
}

// Stage is how far the life of a piece of kept wood has come.
type Stage string

// The stages, in order: a cane bears in the summer after it was kept, is due
// to be cut in the winter after, is cut by a confirmed choice, and is gone once
// a person said that the vine was pruned.
const (
	Bears   Stage = "bears"
	Due     Stage = "due"
	Planned Stage = "planned"
	Gone    Stage = "gone"
)

// Link is one kept piece of wood in a vine's line of renewal.
type Link struct {
	Winter string  `json:"winter"` // in which it was kept
	Cane   int     `json:"cane"`
	As     string  `json:"as"` // "lay" or "spur"
	Place  *Place  `json:"place,omitempty"`
	From   Descent `json:"from"`
	// Gave are the canes of the next recorded winter that grew from it.
	Gave []int `json:"gave"`
	// Stage, and the winter in which it was or is to be cut; a spur's wood stays
	// as long as canes are taken from it, so it is only ever Bears.
	Stage   Stage  `json:"stage"`
	CutIn   string `json:"cut_in,omitempty"`
	CutWord string `json:"cut_word,omitempty"` // who said so
}

// RenewalWinter is one winter of a vine, for its line of renewal.
type RenewalWinter struct {
	Winter   string
	Choice   *Choice // nil while none was confirmed
	Descents []Descent
	PrunedBy string // who said that the vine was pruned; "" while nobody did
}

// Renewal follows a vine's kept wood over its winters, the oldest first: what
// each kept cane and spur grew from, when it was kept and when cut.
func Renewal(winters []RenewalWinter) []Link {
	out := []Link{}
	for i, w := range winters {
		if w.Choice == nil {
			continue
		}
		var next *RenewalWinter
		if i+1 < len(winters) {
			next = &winters[i+1]
		}
		link := func(cane int, as string, place *Place) {
			l := Link{Winter: w.Winter, Cane: cane, As: as, Place: place, Gave: []int{}, Stage: Bears, From: Descent{Cane: cane, From: FromUnknown}}
			if j := slices.IndexFunc(w.Descents, func(d Descent) bool { return d.Cane == cane }); j >= 0 {
				l.From = w.Descents[j]
			}
			if next != nil {
				for _, d := range next.Descents {
					if d.Parent == cane && d.ParentWinter == w.Winter {
						l.Gave = append(l.Gave, d.Cane)
					}
				}
				if as == "lay" {
					l.CutIn = next.Winter
					switch {
					case next.PrunedBy != "":
						l.Stage, l.CutWord = Gone, next.PrunedBy
					case next.Choice != nil:
						l.Stage = Planned
					default:
						l.Stage = Due
					}
				}
			}
			out = append(out, l)
		}
		for _, k := range w.Choice.Keep {
			if k.Cane != 0 {
				place := k.Place
				link(k.Cane, "lay", &place)
			}
		}
		for _, s := range w.Choice.Spurs {
			link(s.Cane, "spur", nil)
		}
	}
	return out
}
