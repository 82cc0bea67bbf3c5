package assess

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/stat"
)

// WinterRecord is what a vine's confirmed record says of one winter, in the
// few figures by which winters are compared.
type WinterRecord struct {
	Winter   string `json:"winter"`   // "2026/27", or "2026" south of the equator
	Sound    int    `json:"sound"`    // sound one-year canes confirmed
	OldWood  int    `json:"old_wood"` // pieces confirmed as old wood
	Fruiting []int  `json:"fruiting"` // canes kept to fruit, by their number that winter
	Spurs    []int  `json:"spurs"`    // canes cut to spurs, likewise
	Buds     int    `json:"buds"`     // left on the vine; 0 when no choice was made
	Chosen   bool   `json:"chosen"`   // a choice was confirmed
	Pruned   bool   `json:"pruned"`   // a person said that the vine was pruned
	// DiameterMM is the median over confirmed one-year canes, 0 without any.
	DiameterMM float64 `json:"diameter_mm"`
	// HeadBelowMM is how far the head stands below the lower wire; nil when
	// either wasn't seen.
	HeadBelowMM *float64 `json:"head_below_mm"`
}

// RecordOf sums up one winter of a vine, without canes that may be the next
// vine's. choice may be nil: not made yet.
func RecordOf(winter string, m *Measurement, confirmed []ConfirmedCane, choice *Choice) WinterRecord {
	r := WinterRecord{Winter: winter, Fruiting: []int{}, Spurs: []int{}}
	var ds []float64
	for _, c := range OfThisVine(m, confirmed) {
		if c.Kind == OldWood {
			r.OldWood++
			continue
		}
		if c.Cane.Finding == Sound {
			r.Sound++
		}
		if c.Cane.Diameter.Known() {
			ds = append(ds, c.Cane.Diameter.Value)
		}
	}
	if len(ds) > 0 {
		r.DiameterMM = median(ds)
	}
	if choice != nil {
		r.Buds, r.Chosen = choice.Buds, true
		for _, k := range choice.Keep {
			if k.Cane > 0 {
				r.Fruiting = append(r.Fruiting, k.Cane)
			}
		}
		for _, s := range choice.Spurs {
			r.Spurs = append(r.Spurs, s.Cane)
		}
	}
	s := newStand(m, standingOf(confirmed), DefaultChoosing().LeanOverMM)
	if below, ok := s.headBelow(); ok {
		r.HeadBelowMM = &below
	}
	return r
}

// Remark is something that winters, held side by side, say of a vine.
type Remark struct {
	// Kind is "expect_old_wood", "old_wood_stands", "older_wood_left",
	// "few_followers", "head_creeps" or "load_drifts".
	Kind string   `json:"kind"`
	Text Sentence `json:"text"`
}

// Watching says when a change over winters is worth a remark. Common
// practice, no source.
type Watching struct {
	// HeadRiseMM is how much the head must have risen over all winters, mm, and
	// HeadWinters in how many it must have been seen; smaller warns sooner, and
	// of what is only the error of two photos.
	HeadRiseMM  float64
	HeadWinters int
	// LoadWinters is over how many winters buds must have risen while canes
	// became thinner, each by DriftShare or more.
	LoadWinters int
	DriftShare  float64
}

// DefaultWatching is what a vine's page usually uses.
func DefaultWatching() Watching {
	return Watching{HeadRiseMM: 30, HeadWinters: 3, LoadWinters: 3, DriftShare: 0.1}
}

// Remarks holds a vine's winters side by side, the oldest first, and tells
// what the last of them asks attention for. A cane grows in one season, fruits
// in the next and is cut out in the winter after; as many new ones must follow
// as are in fruit (common practice, no source).
func Remarks(records []WinterRecord, w Watching) []Remark {
	out := []Remark{}
	say := func(kind string, text Sentence) { out = append(out, Remark{kind, text}) }
	n := len(records)
	if n >= 2 {
		before, now := records[n-2], records[n-1]
		// Over a winter without a record nobody knows what was cut in it.
		if k := len(before.Fruiting); k > 0 && follows(before.Winter, now.Winter) {
			kept := TellCount(k, "%d cane was kept to fruit in %s", "%d canes were kept to fruit in %s", k, before.Winter)
			seen := TellCount(now.OldWood, "%d piece of old wood is confirmed in %s", "%d pieces of old wood are confirmed in %s", now.OldWood, now.Winter)
			switch {
			case now.OldWood > k:
				say("older_wood_left", Tell("%s, and only %s: fruiting wood from before that was left. Cut it away too, unless it is the arm that you mean to keep.", seen, kept))
			case now.OldWood > 0 && !now.Chosen:
				say("old_wood_stands", Tell("Last winter's fruiting wood is still there: %s; %s. It's cut away behind this winter's canes.", kept, seen))
			}
			if now.OldWood < k && !now.Pruned {
				say("expect_old_wood", Tell("%s, which is old wood now; %s. Look whether the rest still stands, and cut it away.", kept, seen))
			}
			if now.Sound < k {
				say("few_followers", Tell("%s, and to follow them %s.", kept,
					TellCount(now.Sound, "%d sound cane is confirmed in %s", "%d sound canes are confirmed in %s", now.Sound, now.Winter)))
			}
		}
	}
	var x, y []float64
	for i, r := range records {
		if r.HeadBelowMM != nil {
			x, y = append(x, float64(i)), append(y, *r.HeadBelowMM)
		}
	}
	if len(x) >= max(2, w.HeadWinters) {
		_, slope := stat.LinearRegression(x, y, nil, false)
		if rise := -slope * (x[len(x)-1] - x[0]); rise >= w.HeadRiseMM {
			say("head_creeps", Tell("The head has crept up towards the wire by about %s since %s. Take canes or a spur from lower down where you can.", mm(rise, 0), records[int(x[0])].Winter))
		}
	}
	if k := max(2, w.LoadWinters); n >= k {
		first, last := records[n-k], records[n-1]
		if first.Buds > 0 && last.Buds > 0 && first.DiameterMM > 0 && last.DiameterMM > 0 {
			buds, thickness := float64(last.Buds)/float64(first.Buds)-1, last.DiameterMM/first.DiameterMM-1
			switch {
			case buds >= w.DriftShare && thickness <= -w.DriftShare:
				say("load_drifts", Tell("Since %s the buds left rose from %d to %d while the canes went from %s to %s: the vine may carry more than it can.", first.Winter, first.Buds, last.Buds, Length{first.DiameterMM, 1, true}, mm(last.DiameterMM, 1)))
			case buds <= -w.DriftShare && thickness >= w.DriftShare:
				say("load_drifts", Tell("Since %s the buds left fell from %d to %d while the canes went from %s to %s: the vine may bear more buds.", first.Winter, first.Buds, last.Buds, Length{first.DiameterMM, 1, true}, mm(last.DiameterMM, 1)))
			}
		}
	}
	return out
}

// follows tells whether one winter comes right after another, by their names;
// true where a name isn't one of a winter.
func follows(before, now string) bool {
	year := func(name string) (int, bool) {
		if len(name) < 4 {
			return 0, false
		}
		y, err := strconv.Atoi(name[:4])
		return y, err == nil
	}
	a, okA := year(before)
	b, okB := year(now)
	return !okA || !okB || b-a == 1
}

// headBelow is how far the head stands below the lower wire, mm.
func (s *stand) headBelow() (float64, bool) {
	if !s.head || !s.lower || math.IsNaN(s.headDrop) {
		return 0, false
	}
	return s.headDrop, true
}
