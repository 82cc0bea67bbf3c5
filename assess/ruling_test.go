package assess

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2027, 1, 12, 12, 0, 0, 0, time.UTC)

// twoCanes is a judged measurement: cane 1 sound, cane 2 weak.
func twoCanes() *Measurement {
	m := &Measurement{Outcome: Measured, Program: "test"}
	m.Canes = append(m.Canes,
		straight(Point{500, 1000}, every(40, 70, 10), func(float64) float64 { return 9 }),
		straight(Point{600, 1000}, every(40, 70, 10), func(float64) float64 { return 4.5 }))
	m.Canes[1].ID = 2
	for i := range m.Canes {
		Derive(&m.Canes[i])
	}
	Judge(m, DefaultRuleSet())
	return m
}

func rule(m *Measurement, earlier []Ruling, cane int, said Said, after time.Duration) Ruling {
	r, _ := NewRuling(m, earlier, cane, said)
	r.Cane, r.Who, r.When = cane, "Ann", noon.Add(after)
	return r
}

func TestRulingValidate(t *testing.T) {
	node := func(along float64) Node { return Node{AlongMM: along, Side: "left", Confidence: 1} }
	line := []Point{{1, 2}, {1, 1}}
	tests := []struct {
		name   string
		change func(*Ruling)
		code   string // "" when it may be kept
		says   string
	}{
		{"agree", func(r *Ruling) {}, "", ""},
		{"reject", func(r *Ruling) { r.Said = Reject }, "", ""},
		{"nobody", func(r *Ruling) { r.Who = " " }, EInvalid, "who made it"},
		{"no time", func(r *Ruling) { r.When = time.Time{} }, EInvalid, "time"},
		{"unknown cane", func(r *Ruling) { r.Cane = 9 }, ENotFound, "no cane 9"},
		{"says nothing", func(r *Ruling) { r.Said = "" }, EInvalid, "agree, correct or reject"},
		{"agree with a change", func(r *Ruling) { r.Finding = Weak }, EInvalid, "can't change"},
		{"reject with nodes", func(r *Ruling) { r.Said, r.Nodes = Reject, []Node{} }, EInvalid, "can't change"},
		{"correct nothing", func(r *Ruling) { r.Said = Correct }, EInvalid, "something corrected"},
		{"finding", func(r *Ruling) { r.Said, r.Finding = Correct, Weak }, "", ""},
		{"unknown finding", func(r *Ruling) { r.Said, r.Finding = Correct, "nice" }, EInvalid, "isn't a finding"},
		{"old wood", func(r *Ruling) { r.Said, r.Kind = Correct, OldWood }, "", ""},
		{"not a cane", func(r *Ruling) { r.Said, r.Kind = Correct, NotACane }, "", ""},
		{"unknown kind", func(r *Ruling) { r.Said, r.Kind = Correct, "twig" }, EInvalid, "kind of wood"},
		{"finding of old wood", func(r *Ruling) { r.Said, r.Kind, r.Finding = Correct, OldWood, Weak }, EInvalid, "one-year"},
		{"by hand", func(r *Ruling) { r.Said, r.DiameterMM = Correct, 7.4 }, "", ""},
		{"by hand in cm", func(r *Ruling) { r.Said, r.DiameterMM = Correct, 0.74 }, EInvalid, "1 mm to 50 mm"},
		{"by hand, not a number", func(r *Ruling) { r.Said, r.DiameterMM = Correct, math.NaN() }, EInvalid, "1 mm to 50 mm"},
		{"by hand, negative", func(r *Ruling) { r.Said, r.DiameterMM = Correct, -7 }, EInvalid, "1 mm to 50 mm"},
		{"nodes", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{node(80), node(20)} }, "", ""},
		{"all nodes taken away", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{} }, "", ""},
		{"node twice", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{node(80), node(81)} }, EInvalid, "delete one"},
		{"node beyond the tip", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{node(5000)} }, EInvalid, "beyond the traced cane"},
		{"node before the base", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{node(-1)} }, EInvalid, "node 1"},
		{"node nowhere", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{node(math.NaN())} }, EInvalid, "no place"},
		{"node at infinity", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{{Px: Point{math.Inf(1), 0}}} }, EInvalid, "no place"},
		{"node on no side", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{{Side: "up"}} }, EInvalid, "side"},
		{"node confidence", func(r *Ruling) { r.Said, r.Nodes = Correct, []Node{{Confidence: 2}} }, EInvalid, "confidence"},
		{"too many nodes", func(r *Ruling) { r.Said, r.Nodes = Correct, make([]Node, 300) }, EInvalid, "at most"},
		{"long note", func(r *Ruling) { r.Note = strings.Repeat("x", 3000) }, EInvalid, "shorten"},
		{"missed cane", func(r *Ruling) {
			r.Said, r.Cane, r.Missed = Correct, 3, &Cane{ID: 3, CentreLine: line, AlongMM: []float64{0, 40}}
		}, "", ""},
		{"missed cane with a number that's taken", func(r *Ruling) {
			r.Said, r.Cane, r.Missed = Correct, 2, &Cane{ID: 2, CentreLine: line, AlongMM: []float64{0, 40}}
		}, EConflict, "reload"},
		{"missed cane without a line", func(r *Ruling) { r.Said, r.Cane, r.Missed = Correct, 3, &Cane{ID: 3} }, EInvalid, "base and tip"},
		{"missed cane going back", func(r *Ruling) {
			r.Said, r.Cane, r.Missed = Correct, 3, &Cane{ID: 3, CentreLine: line, AlongMM: []float64{40, 0}}
		}, EInvalid, "broken"},
		{"missed cane that agrees", func(r *Ruling) {
			r.Cane, r.Missed = 3, &Cane{ID: 3, CentreLine: line, AlongMM: []float64{0, 40}}
		}, EInvalid, "can't change"},
	}
	for _, tt := range tests {
		m := twoCanes()
		r := rule(m, nil, 1, Agree, 0)
		tt.change(&r)
		err := r.Validate(m, nil)
		if ErrorCode(err) != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		} else if err != nil && !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %q doesn't say %q", tt.name, err, tt.says)
		}
	}
}

func TestRulingKeepsWhatWasSeen(t *testing.T) {
	m := twoCanes()
	r, err := NewRuling(m, nil, 2, Agree)
	if err != nil {
		t.Fatal(err)
	}
	if r.Seen.Finding != Weak || r.Seen.RuleSet != "nodespan-default@1" || r.Seen.Program != "test" || r.Seen.Nodes != 10 || r.Seen.Diameter != m.Canes[1].Diameter {
		t.Errorf("seen: %+v", r.Seen)
	}
	if _, err := NewRuling(m, nil, 7, Agree); ErrorCode(err) != ENotFound {
		t.Errorf("ruling of a cane that isn't there: %v", err)
	}
}

func TestConfirm(t *testing.T) {
	rs := DefaultRuleSet()
	tests := []struct {
		name    string
		rulings func(m *Measurement) []Ruling
		want    map[int]Finding
	}{
		{"nobody ruled", func(*Measurement) []Ruling { return nil }, map[int]Finding{}},
		{"one agreed", func(m *Measurement) []Ruling { return []Ruling{rule(m, nil, 1, Agree, 0)} }, map[int]Finding{1: Sound}},
		{"one rejected", func(m *Measurement) []Ruling {
			return []Ruling{rule(m, nil, 1, Agree, 0), rule(m, nil, 2, Reject, 0)}
		}, map[int]Finding{1: Sound}},
		{"the later ruling stands", func(m *Measurement) []Ruling {
			return []Ruling{rule(m, nil, 1, Reject, time.Hour), rule(m, nil, 1, Agree, 0)}
		}, map[int]Finding{}},
		{"of two at once the later in the list stands", func(m *Measurement) []Ruling {
			return []Ruling{rule(m, nil, 1, Reject, 0), rule(m, nil, 1, Agree, 0)}
		}, map[int]Finding{1: Sound}},
		{"not a cane", func(m *Measurement) []Ruling {
			r := rule(m, nil, 1, Correct, 0)
			r.Kind = NotACane
			return []Ruling{r}
		}, map[int]Finding{}},
		{"old wood has no finding", func(m *Measurement) []Ruling {
			r := rule(m, nil, 1, Correct, 0)
			r.Kind = OldWood
			return []Ruling{r}
		}, map[int]Finding{1: ""}},
		{"hand over photo", func(m *Measurement) []Ruling {
			r := rule(m, nil, 2, Correct, 0)
			r.DiameterMM = 8
			return []Ruling{r}
		}, map[int]Finding{2: Sound}},
		{"a finding said by a person", func(m *Measurement) []Ruling {
			r := rule(m, nil, 1, Correct, 0)
			r.Finding = Weak
			return []Ruling{r}
		}, map[int]Finding{1: Weak}},
		{"every node's neighbour added", func(m *Measurement) []Ruling {
			r := rule(m, nil, 1, Correct, 0)
			for _, a := range every(40, 35, 19) {
				r.Nodes = append(r.Nodes, Node{AlongMM: a, Confidence: 1})
			}
			return []Ruling{r}
		}, map[int]Finding{1: ShortNoded}},
		{"all nodes taken away", func(m *Measurement) []Ruling {
			r := rule(m, nil, 1, Correct, 0)
			r.Nodes = []Node{}
			return []Ruling{r}
		}, map[int]Finding{1: NotMeasurable}},
		{"a missed cane", func(m *Measurement) []Ruling {
			c := straight(Point{700, 1000}, every(40, 70, 9), func(float64) float64 { return 14.5 })
			Derive(&c)
			r := NewMissed(m, nil, c)
			r.Who, r.When = "Ann", noon
			return []Ruling{r}
		}, map[int]Finding{3: OverVigorous}},
		{"a missed cane that was rejected later", func(m *Measurement) []Ruling {
			c := straight(Point{700, 1000}, every(40, 70, 9), func(float64) float64 { return 8 })
			r := NewMissed(m, nil, c)
			r.Who, r.When = "Ann", noon
			return []Ruling{r, rule(m, []Ruling{r}, 3, Reject, time.Minute)}
		}, map[int]Finding{}},
		{"a missed cane whose nodes were corrected later", func(m *Measurement) []Ruling {
			c := straight(Point{700, 1000}, every(40, 70, 9), func(float64) float64 { return 8 })
			r := NewMissed(m, nil, c)
			r.Who, r.When = "Ann", noon
			later := rule(m, []Ruling{r}, 3, Correct, time.Minute)
			for _, a := range every(40, 30, 12) {
				later.Nodes = append(later.Nodes, Node{AlongMM: a, Confidence: 1})
			}
			return []Ruling{r, later}
		}, map[int]Finding{3: ShortNoded}},
		{"a cane that isn't there", func(m *Measurement) []Ruling { return []Ruling{{Cane: 77, Said: Agree, Who: "Ann", When: noon}} }, map[int]Finding{}},
		{"a ruling that says nothing", func(m *Measurement) []Ruling { return []Ruling{{Cane: 1, Who: "Ann", When: noon}} }, map[int]Finding{}},
	}
	for _, tt := range tests {
		m := twoCanes()
		rulings := tt.rulings(m)
		before, _ := json.Marshal([]any{m, rulings})
		got := map[int]Finding{}
		for _, c := range Confirm(m, rulings, rs) {
			got[c.Cane.ID] = c.Cane.Finding
			if c.Who != "Ann" || c.When.IsZero() {
				t.Errorf("%s: nobody is named for cane %d", tt.name, c.Cane.ID)
			}
			if c.Added != (c.Cane.ID == 3) {
				t.Errorf("%s: cane %d added: %v", tt.name, c.Cane.ID, c.Added)
			}
		}
		if !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
		if after, _ := json.Marshal([]any{m, rulings}); string(after) != string(before) {
			t.Errorf("%s: confirming changed the measurement or the rulings", tt.name)
		}
	}
}

func TestConfirmedByHandAndInWords(t *testing.T) {
	m := twoCanes()
	r := rule(m, nil, 2, Correct, 0)
	r.DiameterMM = 8
	r.Finding = Weak
	cc := Confirm(m, []Ruling{r}, DefaultRuleSet())
	if len(cc) != 1 || !cc[0].ByHand || cc[0].Cane.Diameter.Value != 8 {
		t.Fatalf("confirmed %+v", cc)
	}
	near(t, "half-width by hand", cc[0].Cane.Diameter.High-8, 0.29, 0.01)
	if want := "Ann says weak; by its measures it is sound"; cc[0].Cane.Because[0].String() != want {
		t.Errorf("because %q, want %q first", cc[0].Cane.Because, want)
	}
	if cc[0].Seen.Finding != Weak || cc[0].Seen.Diameter != m.Canes[1].Diameter {
		t.Errorf("what the program had said is lost: %+v", cc[0].Seen)
	}
}

// A finding that was agreed with stays what it was when the rules change.
func TestAgreedFindingOutlivesTheRuleSet(t *testing.T) {
	m := twoCanes()
	strict := DefaultRuleSet()
	strict.Weak.Limit = 12
	cc := Confirm(m, []Ruling{rule(m, nil, 1, Agree, 0)}, strict)
	if len(cc) != 1 || cc[0].Cane.Finding != Sound {
		t.Errorf("confirmed %+v", cc)
	}
}

func TestNodesSurviveJSON(t *testing.T) {
	for _, nodes := range [][]Node{nil, {}, {{AlongMM: 40, Side: "left", Confidence: 1}}} {
		b, err := json.Marshal(Ruling{Cane: 1, Said: Correct, Nodes: nodes})
		if err != nil {
			t.Fatal(err)
		}
		var back Ruling
		if err := json.Unmarshal(b, &back); err != nil {
			t.Fatal(err)
		}
		if (back.Nodes == nil) != (nodes == nil) || len(back.Nodes) != len(nodes) {
			t.Errorf("%#v came back as %#v", nodes, back.Nodes)
		}
	}
}

func TestTapsOnACane(t *testing.T) {
	c := straight(Point{500, 1000}, every(40, 70, 5), func(float64) float64 { return 9 })
	n, err := c.NodeAt(Point{506, 890}, 20, "")
	if err != nil {
		t.Fatal(err)
	}
	near(t, "along", n.AlongMM, 110, 1e-9)
	if n.Px != (Point{500, 890}) || n.Side != "unknown" || n.Confidence != 1 {
		t.Errorf("node %+v", n)
	}
	if _, err := c.NodeAt(Point{560, 890}, 20, "left"); ErrorCode(err) != EInvalid {
		t.Errorf("a tap beside the cane: %v", err)
	}
	if _, err := c.NodeAt(Point{math.NaN(), 0}, 20, "left"); ErrorCode(err) != EInvalid {
		t.Errorf("a tap nowhere: %v", err)
	}
	if _, err := (&Cane{}).NodeAt(Point{}, 20, "left"); ErrorCode(err) != EInvalid {
		t.Errorf("a tap on a cane without a line: %v", err)
	}
	for _, a := range []float64{0, 13, 110.5, 300} {
		p, _ := c.PxAt(a)
		along, away, _ := c.NearestOn(p)
		near(t, "there and back", along, a, 1e-9)
		near(t, "off the line", away, 0, 1e-9)
	}
}

func TestPixelToMillimetre(t *testing.T) {
	r := &Reference{PxToMM: [9]float64{0.5, 0, -100, 0, 0.5, -50, 0.001, 0, 1}, Outline: []Point{{190, 90}, {210, 90}, {210, 110}, {190, 110}}}
	p, ok := r.ToMM(Point{200, 100})
	if !ok || p != (Point{0, 0}) {
		t.Errorf("centre: %v %v", p, ok)
	}
	p, _ = r.ToMM(Point{400, 100})
	near(t, "x", p[0], 100/1.4, 1e-9)
	if _, ok := r.ToMM(Point{-1000, 0}); ok {
		t.Error("a pixel on the horizon has a place")
	}
	if _, ok := r.ToMM(Point{-2000, 0}); ok {
		t.Error("a pixel beyond the horizon has a place")
	}
	if _, ok := (*Reference)(nil).ToMM(Point{}); ok {
		t.Error("no reference, yet millimetres")
	}
	if _, ok := (&Reference{}).ToMM(Point{}); ok {
		t.Error("no mapping, yet millimetres")
	}
}

// A changed rule set changes nothing of what people said before.
func TestOldRulingsKeepTheirRuleSet(t *testing.T) {
	m := vineOf(good(1, 0, 0), good(2, 10, 0))
	old := DefaultRuleSet()
	m.RuleSet = old.ID()
	agreed := rule(m, nil, 1, Agree, 0)
	corrected := rule(m, nil, 2, Correct, 0)
	corrected.DiameterMM = 8
	stricter := old
	stricter.Version, stricter.Weak.Limit = 2, 10
	book := func(id string) (RuleSet, bool) { return old, id == old.ID() }
	now := JudgedBy(m, stricter)
	if now.Canes[0].Finding != Weak || m.Canes[0].Finding != Sound {
		t.Fatalf("by the stricter rules %s, was %s", now.Canes[0].Finding, m.Canes[0].Finding)
	}
	for _, cc := range ConfirmBy(now, []Ruling{agreed, corrected}, stricter, book) {
		if cc.Cane.Finding != Sound {
			t.Errorf("cane %d has become %s: %q", cc.Cane.ID, cc.Cane.Finding, cc.Cane.Because)
		}
	}
	// A new ruling is made under the new rules, and says so.
	r, _ := NewRuling(now, nil, 1, Agree)
	if r.Seen.RuleSet != stricter.ID() || r.Seen.Finding != Weak {
		t.Errorf("seen %+v", r.Seen)
	}
}
