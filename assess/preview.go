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
