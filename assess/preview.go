package assess

// Effect is what another rule set would change among canes.
type Effect struct {
	Canes   int             `json:"canes"`
	Before  map[Finding]int `json:"before"`
	After   map[Finding]int `json:"after"`
	Changed int             `json:"changed"` // canes whose finding would be another
}

// Preview judges canes by two rule sets and counts what differs; canes aren't
// changed. "With 55 mm instead of 50, 14 more of 212 would be short-noded" is
// After[ShortNoded] - Before[ShortNoded] of Canes.
func Preview(canes []Cane, before, after RuleSet) Effect {
	e := Effect{Canes: len(canes), Before: map[Finding]int{}, After: map[Finding]int{}}
	for i := range canes {
		a, b := findingOf(&canes[i], before).finding, findingOf(&canes[i], after).finding
		e.Before[a]++
		e.After[b]++
		if a != b {
			e.Changed++
		}
	}
	return e
}

// Flagged counts the canes that are called anything but sound, before and
// after; those too close to call or not measurable aren't among them.
func (e Effect) Flagged() (before, after int) {
	for _, f := range []Finding{Weak, ShortNoded, WeakAndShortNoded, OverVigorous} {
		before, after = before+e.Before[f], after+e.After[f]
	}
	return before, after
}

// LimitEffect is what one changed limit of a rule set does by itself.
type LimitEffect struct {
	Name   string  `json:"name"` // key of the limit, as in a file
	Was    float64 `json:"was"`
	Now    float64 `json:"now"`
	Unit   string  `json:"unit"`
	More   int     `json:"more"`   // canes flagged more; negative for fewer
	Closer int     `json:"closer"` // canes too close to call more; negative for fewer
	Canes  int     `json:"canes"`
	// Judges is false for a limit that decides no finding: it counts when a
	// choice is made.
	Judges bool `json:"judges"`
}

// PreviewEach tells of each limit in which two rule sets differ what it changes
// by itself among canes.
func PreviewEach(canes []Cane, before, after RuleSet) []LimitEffect {
	out := []LimitEffect{}
	now := after.limits()
	for i, was := range before.limits() {
		if was.t.Limit == now[i].t.Limit {
			continue
		}
		one := before
		one.limits()[i].t.Limit = now[i].t.Limit
		e := Preview(canes, before, one)
		a, b := e.Flagged()
		out = append(out, LimitEffect{
			Name: was.name, Was: was.t.Limit, Now: now[i].t.Limit, Unit: was.t.Unit, Canes: len(canes),
			More: b - a, Closer: e.After[TooCloseToCall] - e.Before[TooCloseToCall],
			Judges: was.name != "long_noded" && was.name != "cut_beyond" && was.name != "near_head",
		})
	}
	return out
}

// LimitRange is the key of a limit and the range in which it can be meant.
type LimitRange struct {
	Name      string
	Threshold Threshold
	Low, High float64
}

// Limits lists a rule set's limits in the order in which they're shown.
func (rs RuleSet) Limits() []LimitRange {
	var out []LimitRange
	for _, l := range rs.limits() {
		out = append(out, LimitRange{l.name, *l.t, l.low, l.high})
	}
	return out
}
