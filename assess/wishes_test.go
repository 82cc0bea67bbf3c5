package assess

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func confirmedOf(m *Measurement) []ConfirmedCane {
	var rulings []Ruling
	for _, c := range m.Canes {
		rulings = append(rulings, rule(m, nil, c.ID, Agree, 0))
	}
	return Confirm(m, rulings, DefaultRuleSet())
}

// A particular cane named as spur, a place left empty, other buds for one
// place, and the way of a cane that may go either way.
func TestWishesForSpursAndPlaces(t *testing.T) {
	weak := sketch{id: 5, x: 10, up: 10, diameter: 4.5, internode: 75, nodes: 12, origin: "head"}
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10), good(4, 20, 10), weak)
	cc, rs, f := confirmedOf(m), DefaultRuleSet(), DefaultForm()
	ch, err := SuggestConfirmed(m, cc, f, rs, Wishes{Spurs: []int{5}, Empty: []int{3}, Buds: map[int]int{0: 6}})
	if err != nil {
		t.Fatal(err)
	}
	if ch.Spurs[0].Cane != 5 || !strings.Contains(ch.Spurs[0].Why.String(), "wished for by a person") || ch.Spurs[0].Cut.AfterNode != 2 {
		t.Errorf("spurs %+v", ch.Spurs)
	}
	if ch.Keep[3].Cane != 0 || !strings.Contains(ch.Keep[3].Why.String(), "a person decided") || ch.Keep[0].Buds != 6 || ch.Keep[1].Buds != 8 {
		t.Errorf("kept %+v", ch.Keep)
	}
	one, _ := FormByName("one-cane-and-spur")
	for _, way := range []Direction{ToLeft, ToRight} {
		ch, err := SuggestConfirmed(m, cc, one, rs, Wishes{Way: map[int]Direction{0: way}})
		if err != nil || ch.Keep[0].Place.Direction != way {
			t.Errorf("towards the %s: %+v, %v", way, ch.Keep[0].Place, err)
		}
	}
	if _, err := SuggestConfirmed(m, cc, one, rs, Wishes{Spurs: []int{1, 2}}); ErrorCode(err) != EInvalid || !strings.Contains(err.Error(), "there's room for 1") {
		t.Errorf("two spurs where the form has one: %v", err)
	}
	for name, w := range map[string]Wishes{
		"no such spur":              {Spurs: []int{77}},
		"spur twice":                {Spurs: []int{5, 5}},
		"spur and laid":             {Spurs: []int{1}, Keep: map[int]int{0: 1}},
		"spur and never":            {Spurs: []int{1}, Never: []int{1}},
		"far more spurs than room":  {Spurs: []int{1, 2, 3, 4, 5, 6}},
		"empty and filled":          {Empty: []int{0}, Keep: map[int]int{0: 1}},
		"no such place":             {Empty: []int{9}},
		"too many buds":             {Buds: map[int]int{0: 99}},
		"buds of no place":          {Buds: map[int]int{7: 6}},
		"a way that the form gives": {Way: map[int]Direction{0: ToRight}},
		"no way":                    {Way: map[int]Direction{0: "up"}},
	} {
		if _, err := SuggestConfirmed(m, cc, f, rs, w); ErrorCode(err) != EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Whatever a person wishes: each cane has one fate, no more buds stay than the
// form has, what isn't confirmed isn't kept, and the order of canes is nothing.
func TestPropertiesOfWishes(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	rs, had := DefaultRuleSet(), 0
	for trial := range 200 {
		m := vineOf(randomVine(r, 2+r.IntN(10))...)
		f := Forms()[trial%5]
		cc := confirmedOf(m)
		cc = cc[:1+r.IntN(len(cc))]
		w := Wishes{Keep: map[int]int{}, Buds: map[int]int{}}
		ids := r.Perm(len(m.Canes)) // most of them confirmed, few named twice
		for i := range r.IntN(3) {
			w.Keep[r.IntN(len(f.Places)+1)] = 1 + ids[i%len(ids)]
		}
		if r.IntN(2) == 0 {
			w.Spurs = append(w.Spurs, 1+ids[len(ids)-1])
			w.Never = append(w.Never, 1+ids[len(ids)/2])
		}
		if len(f.Places) > 0 {
			w.Buds[r.IntN(len(f.Places))] = f.BudsMin + r.IntN(f.BudsMax-f.BudsMin+1)
			if r.IntN(3) == 0 {
				w.Empty = append(w.Empty, r.IntN(len(f.Places)))
			}
		}
		ch, err := SuggestConfirmed(m, cc, f, rs, w)
		if err != nil {
			if ErrorCode(err) != EInvalid {
				t.Errorf("trial %d: %v", trial, err)
			}
			continue
		}
		had++
		name := fmt.Sprintf("trial %d, %s, %+v", trial, f.Name, w)
		known := map[int]bool{}
		for _, c := range cc {
			known[c.Cane.ID] = true
		}
		seen := map[int]int{}
		buds := 0
		for i, k := range ch.Keep {
			if k.Cane != 0 {
				seen[k.Cane]++
				buds += k.Buds
			}
			if want, ok := w.Keep[i]; ok && k.Cane != want {
				t.Errorf("%s: place %d has cane %d", name, i, k.Cane)
			}
		}
		for _, s := range ch.Spurs {
			seen[s.Cane]++
			buds += s.Buds
		}
		for _, x := range ch.Remove {
			seen[x.Cane]++
		}
		for _, x := range ch.Ask {
			seen[x.Cane]++
		}
		for id, n := range seen {
			if n != 1 || !known[id] {
				t.Errorf("%s: cane %d is in %d lists, known %v", name, id, n, known[id])
			}
		}
		for _, id := range w.Spurs {
			if ch.FateOf(id).What != "spur" {
				t.Errorf("%s: cane %d isn't a spur", name, id)
			}
		}
		for _, id := range w.Never {
			if what := ch.FateOf(id).What; known[id] && what != "remove" {
				t.Errorf("%s: cane %d is %q", name, id, what)
			}
		}
		if len(seen) != len(cc) || buds != ch.Buds || buds > f.MaxBuds() {
			t.Errorf("%s: %d canes of %d, %d buds of at most %d, told as %d", name, len(seen), len(cc), buds, f.MaxBuds(), ch.Buds)
		}
		r.Shuffle(len(cc), func(i, j int) { cc[i], cc[j] = cc[j], cc[i] })
		again, err := SuggestConfirmed(m, cc, f, rs, w)
		a, _ := json.Marshal(ch)
		b, _ := json.Marshal(again)
		if err != nil || string(a) != string(b) {
			t.Errorf("%s: another order of canes gives another choice", name)
		}
	}
	if had < 70 {
		t.Errorf("only %d of 200 wishes could be had: they test little", had)
	}
}

// Where the head wasn't seen either, one more cane never makes it worse.
func TestOneMoreCaneWithoutAHead(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	for trial := range 100 {
		ss := randomVine(r, 1+r.IntN(10))
		f := Forms()[trial%4]
		blind := func(ss []sketch) *Measurement { m := vineOf(ss...); m.Head = nil; return m }
		ch := mustSuggest(t, blind(ss), f)
		more := good(100, 100*r.NormFloat64(), 20*r.NormFloat64())
		with := mustSuggest(t, blind(append(slices.Clone(ss), more)), f)
		if with.Points < ch.Points-1e-9 || empties(with) > empties(ch) {
			t.Errorf("trial %d: one more cane takes the points from %v to %v, empty places from %d to %d", trial, ch.Points, with.Points, empties(ch), empties(with))
		}
	}
}

func TestTiedCaneGoesToThePerson(t *testing.T) {
	one, _ := FormByName("one-cane-and-spur")
	one.Spurs = 0
	ch := mustSuggest(t, vineOf(good(9, 0, -25), good(4, 0, -25)), one)
	if len(ch.Ask) != 1 || ch.Ask[0].Cane != 9 || !strings.Contains(ch.Ask[0].Why.String(), "as good by these measures as the cane kept for lower left") {
		t.Errorf("asks %+v, removes %+v", ch.Ask, ch.Remove)
	}
}

func TestIfTheDoubtfulCaneIsSound(t *testing.T) {
	doubtful := good(3, 60, 20)
	doubtful.finding = TooCloseToCall
	two, _ := FormByName("two-cane")
	for _, c := range []struct {
		others []sketch
		want   string
	}{
		{[]sketch{good(1, -60, -20)}, "if it's sound, lay it lower right: one place less stays empty"},
		{[]sketch{good(1, -60, -20), good(2, -20, -10)}, "if it's sound it's better for lower right, and cane 2 isn't needed"},
		{[]sketch{good(1, -60, -20), good(2, 55, 22), {id: 3, x: 200, up: -20, lean: -20, diameter: 6.6, internode: 60, nodes: 7, finding: TooCloseToCall}}, "still isn't needed"},
	} {
		ss := c.others
		if len(ss) < 3 {
			ss = append(slices.Clone(ss), doubtful)
		}
		ch := mustSuggest(t, vineOf(ss...), two)
		told := ""
		for _, d := range ch.Ask {
			if d.Cane == 3 {
				told = d.IfSound.String()
			}
		}
		if !strings.Contains(told, c.want) {
			t.Errorf("%q, want %q", told, c.want)
		}
	}
}

func TestCompare(t *testing.T) {
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, -20, -10))
	cc, rs := confirmedOf(m), DefaultRuleSet()
	two, _ := FormByName("two-cane")
	a, _ := SuggestConfirmed(m, cc, two, rs, Wishes{})
	b, err := SuggestConfirmed(m, cc, two, rs, Wishes{Keep: map[int]int{0: 3}, Empty: []int{1}})
	if err != nil {
		t.Fatal(err)
	}
	d := Compare(a, b)
	if d.Buds[0] != a.Buds || d.Buds[1] != b.Buds || len(d.Emptied) != 1 || d.Emptied[0] != (Place{LowerWire, ToRight}) || len(d.Filled) != 0 {
		t.Errorf("difference %+v", d)
	}
	told := map[int]Changed{}
	for _, c := range d.Canes {
		told[c.Cane] = c
	}
	if c := told[3]; c.After.What != "lay" || *c.After.Place != (Place{LowerWire, ToLeft}) || c.Before.What == "lay" {
		t.Errorf("cane 3: %+v", c)
	}
	if same := Compare(a, a); len(same.Canes) != 0 || len(same.Emptied) != 0 {
		t.Errorf("a choice differs from itself: %+v", same)
	}
}

// A cane from last winter's spur counts like one from the head; one on older
// wood counts less, and both are told.
func TestDescentIsWeighed(t *testing.T) {
	one, _ := FormByName("one-cane-and-spur")
	a, b := good(1, -10, -20), good(2, -10, -20)
	a.origin, b.origin = "unknown", "unknown"
	m := vineOf(a, b)
	from := []Descent{{Cane: 1, From: FromOldWood}, {Cane: 2, From: FromSpur, Parent: 7, ParentWinter: "2025/26"}}
	ch, err := SuggestKnowing(m, confirmedOf(m), from, one, DefaultRuleSet(), Wishes{})
	if err != nil {
		t.Fatal(err)
	}
	if k := ch.Keep[0]; k.Cane != 2 || !strings.Contains(k.Why.String(), "grows from the spur on cane 7 of 2025/26") || !strings.Contains(k.SecondWhy.String(), "older wood") {
		t.Errorf("kept %+v", k)
	}
}

// Where the nodes seen leave a long stretch bare, the person counts.
func TestMissedNodesAreAskedFor(t *testing.T) {
	two, _ := FormByName("two-cane")
	for name, c := range map[string]struct {
		drop []int // indices of nodes that weren't seen
		want string
	}{
		"all seen":           {nil, ""},
		"one in the middle":  {[]int{3}, "between node 3 and node 4 lie 150 mm without a node"},
		"those at the base":  {[]int{0, 1}, "below the first one seen lie 170 mm without a node"},
		"one beyond the cut": {[]int{10}, ""},
	} {
		m := vineOf(good(1, -60, -20))
		n := &m.Canes[0].Nodes
		for i := len(c.drop) - 1; i >= 0; i-- {
			*n = slices.Delete(*n, c.drop[i], c.drop[i]+1)
		}
		ch := mustSuggest(t, m, two)
		if got := ch.Keep[0].Cut.Check.String(); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// Every cut says how far past its node it is, and where that figure comes from.
func TestCutsHaveTheirSource(t *testing.T) {
	ch := mustSuggest(t, vineOf(good(1, -60, -20), good(2, 60, 20)), DefaultForm())
	for _, k := range ch.Keep[:2] {
		if !strings.Contains(k.Cut.Why.String(), "19 mm past the node (table-grape handbook") {
			t.Errorf("%s: %q", k.Place, k.Cut.Why)
		}
	}
	near := good(1, -60, -20)
	near.internode = 30
	near.finding = Sound
	if k := mustSuggest(t, vineOf(near), DefaultForm()).Keep[0]; !strings.Contains(k.Cut.Why.String(), "half way to the next node") {
		t.Errorf("%q", k.Cut.Why)
	}
}
