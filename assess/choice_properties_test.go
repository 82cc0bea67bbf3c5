package assess

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// checkChoice holds what must be true of every choice.
func checkChoice(t testing.TB, name string, m *Measurement, f Form, ch Choice) {
	t.Helper()
	where := map[int]int{}
	byID := map[int]Cane{}
	for _, c := range m.Canes {
		byID[c.ID] = c
	}
	buds := 0
	var points float64
	for _, k := range ch.Keep {
		points += k.Points
		if k.Why.Empty() {
			t.Errorf("%s: %s has no reason", name, k.Place)
		}
		if k.Cane == 0 {
			continue
		}
		where[k.Cane]++
		buds += k.Buds
		c := byID[k.Cane]
		if c.Finding != Sound {
			t.Errorf("%s: cane %d is kept, and is %s", name, k.Cane, c.Finding)
		}
		if k.Buds < f.BudsMin || k.Buds > f.Buds || k.Cut.AfterNode != k.Buds {
			t.Errorf("%s: cane %d has %d buds, cut after node %d", name, k.Cane, k.Buds, k.Cut.AfterNode)
		}
		var sum float64
		for _, term := range k.Terms {
			sum += term.Points
		}
		near(t, name+": terms sum to the points", sum, k.Points, 0.06)
	}
	near(t, name+": points", ch.Points, points, 0.1)
	for _, s := range ch.Spurs {
		where[s.Cane]++
		buds += s.Buds
		if byID[s.Cane].Finding != Sound {
			t.Errorf("%s: the spur on cane %d is %s", name, s.Cane, byID[s.Cane].Finding)
		}
	}
	for _, r := range ch.Remove {
		where[r.Cane]++
	}
	for _, a := range ch.Ask {
		where[a.Cane]++
		if strings.Count(a.Why.String(), "too close to call") > 1 {
			t.Errorf("%s: cane %d is said twice to be too close: %s", name, a.Cane, a.Why)
		}
	}
	if len(where) != len(m.Canes) {
		t.Errorf("%s: %d canes are spoken of, of %d", name, len(where), len(m.Canes))
	}
	for id, n := range where {
		if n != 1 {
			t.Errorf("%s: cane %d is in %d lists", name, id, n)
		}
	}
	if len(ch.Keep) != len(f.Places) || buds != ch.Buds || ch.Buds > f.MaxBuds() {
		t.Errorf("%s: %d places of %d, %d buds told and %d counted, at most %d", name, len(ch.Keep), len(f.Places), ch.Buds, buds, f.MaxBuds())
	}
}

func randomVine(r *rand.Rand, n int) []sketch {
	var ss []sketch
	for i := range n {
		ss = append(ss, sketch{id: i + 1, x: 150 * r.NormFloat64(), up: 60 + 80*r.NormFloat64(), lean: 20 * r.NormFloat64(),
			diameter: 3 + 12*r.Float64(), internode: 25 + 110*r.Float64(), nodes: 1 + r.IntN(16), origin: []string{"head", "old_wood", "unknown"}[r.IntN(3)],
			leavesFrame: r.IntN(4) == 0})
	}
	return ss
}

func TestPropertiesOfChoices(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	rs := DefaultRuleSet()
	filled := 0
	for trial := range 200 {
		ss := randomVine(r, 1+r.IntN(14))
		f := Forms()[trial%5]
		name := fmt.Sprintf("trial %d, %s", trial, f.Name)
		m := vineOf(ss...)
		ch := mustSuggest(t, m, f)
		checkChoice(t, name, m, f, ch)
		for _, k := range ch.Keep {
			if k.Cane > 0 {
				filled++
			}
		}

		// The order in which canes come changes nothing.
		shuffled := *m
		shuffled.Canes = slices.Clone(m.Canes)
		r.Shuffle(len(shuffled.Canes), func(i, j int) {
			shuffled.Canes[i], shuffled.Canes[j] = shuffled.Canes[j], shuffled.Canes[i]
		})
		a, _ := json.Marshal(ch)
		b, _ := json.Marshal(mustSuggest(t, &shuffled, f))
		if string(a) != string(b) {
			t.Fatalf("%s: another order of canes gives another choice", name)
		}

		// One more cane, the best there could be or any other, never makes it worse.
		for _, more := range []sketch{good(100, 30*r.NormFloat64(), 20*r.NormFloat64()), func() sketch { s := randomVine(r, 1)[0]; s.id = 100; return s }()} {
			with := mustSuggest(t, vineOf(append(slices.Clone(ss), more)...), f)
			if with.Points < ch.Points-1e-9 || empties(with) > empties(ch) {
				t.Errorf("%s: one more cane takes the points from %v to %v, empty places from %d to %d", name, ch.Points, with.Points, empties(ch), empties(with))
			}
		}

		// What was rejected or not ruled on is never chosen.
		var rulings []Ruling
		rejected := map[int]bool{}
		for _, c := range m.Canes {
			switch r.IntN(3) {
			case 0:
				rulings = append(rulings, rule(m, nil, c.ID, Agree, 0))
			case 1:
				rulings = append(rulings, rule(m, nil, c.ID, Reject, 0))
				rejected[c.ID] = true
			default:
				rejected[c.ID] = true
			}
		}
		cc := Confirm(m, rulings, rs)
		conf, err := SuggestConfirmed(m, cc, f, rs, Wishes{})
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range conf.Keep {
			if rejected[k.Cane] || rejected[k.SecondBest] {
				t.Errorf("%s: cane %d or %d was rejected, and is chosen", name, k.Cane, k.SecondBest)
			}
		}
		for _, s := range conf.Spurs {
			if rejected[s.Cane] {
				t.Errorf("%s: cane %d was rejected, and is a spur", name, s.Cane)
			}
		}
	}
	if filled < 50 {
		t.Errorf("only %d places were filled in all trials: they test little", filled)
	}
}

func empties(ch Choice) int {
	n := 0
	for _, k := range ch.Keep {
		if k.Cane == 0 {
			n++
		}
	}
	return n
}

// The bounded search against trying every way.
func TestFillingIsTheBest(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	rs, p, f := DefaultRuleSet(), DefaultChoosing(), DefaultForm()
	for range 60 {
		var ss []sketch
		for i := range 2 + r.IntN(5) {
			ss = append(ss, good(i+1, 60*r.NormFloat64(), 25*r.NormFloat64()))
		}
		m := vineOf(ss...)
		var canes []standing
		for _, c := range m.Canes {
			canes = append(canes, standing{Cane: c})
		}
		s := newStand(m, canes, p.LeanOverMM)
		options := s.options(f, rs, Wishes{}, p)
		best := 0.0
		var try func(i int, now []*option, sum float64)
		try = func(i int, now []*option, sum float64) {
			if i == len(options) {
				best = max(best, sum)
				return
			}
			try(i+1, append(slices.Clone(now), nil), sum)
		next:
			for j := range options[i] {
				o := &options[i][j]
				with := sum + o.points
				for _, other := range now {
					if other != nil && other.cane == o.cane {
						continue next
					}
					if other != nil {
						for _, t := range s.against(other, o, p) {
							with += t.Points
						}
					}
				}
				try(i+1, append(slices.Clone(now), o), with)
			}
		}
		try(0, nil, 0)
		got, proven := s.fill(options, p)
		if !proven {
			t.Error("the search was cut off")
		}
		near(t, "points of the best filling", got.points, best, 0.051)
	}
}

func TestSearchIsBounded(t *testing.T) {
	f := DefaultForm()
	f.Places = nil
	for range 6 {
		f.Places = append(f.Places, Place{LowerWire, ToLeft}, Place{LowerWire, ToRight})
	}
	var ss []sketch
	for i := range 60 {
		ss = append(ss, good(i+1, float64((i*37)%100)-50, float64((i*53)%60)-30))
	}
	m := vineOf(ss...)
	ch := mustSuggest(t, m, f)
	checkChoice(t, "sixty canes", m, f, ch)
	if empties(ch) != 0 {
		t.Errorf("%d places stay empty", empties(ch))
	}
}
