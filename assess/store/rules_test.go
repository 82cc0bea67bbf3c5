package store

import (
	"encoding/json"
	"testing"

	"nodespan/assess"
)

// ruledBlock is a block with a real rule set and form.
func ruledBlock(t testing.TB, s *Store, name string, rs assess.RuleSet) Block {
	t.Helper()
	text, err := json.Marshal(rs)
	if err != nil {
		t.Fatal(err)
	}
	f := assess.DefaultForm()
	form, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := s.AddBlock(t.Context(), Block{Name: name, Rows: 12, VinesPerRow: 40, TrainingForm: f.ID(), FormText: string(form), RuleSet: rs.ID(), RuleSetText: string(text), CreatedBy: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func change(rs assess.RuleSet, winter string) BlockChange {
	f := assess.DefaultForm()
	form, _ := json.Marshal(f)
	return BlockChange{TrainingForm: f.ID(), FormText: string(form), RuleSet: rs, Winter: winter}
}

// A changed rule set is a new version, and the winters before keep theirs.
func TestChangedRulesKeepOldWinters(t *testing.T) {
	s := openStore(t)
	old := assess.DefaultRuleSet()
	b := ruledBlock(t, s, "South slope", old)
	stricter := old
	stricter.ShortNoded.Limit = 55
	got, err := s.ChangeBlock(t.Context(), b.ID, 1, change(stricter, "2026/27"), "Ben")
	if err != nil || len(got) != 1 || got[0].RuleSet != "nodespan-default@2" {
		t.Fatalf("%+v, %v", got, err)
	}
	for winter, want := range map[string]string{"2024/25": old.ID(), "2025/26": old.ID(), "2026/27": "nodespan-default@2", "2031/32": "nodespan-default@2"} {
		if in, err := s.RulesIn(t.Context(), b.ID, winter); err != nil || in.RuleSet != want {
			t.Errorf("%s: %+v, %v; want %s", winter, in, err, want)
		}
	}
	if l, err := s.RuleSet(t.Context(), FirstEstate, "nodespan-default@2"); err != nil || l.Rules.ShortNoded.Limit != 55 || l.MadeBy != "Ben" {
		t.Errorf("%+v, %v", l, err)
	}
	// Back to the old limits is the old version, not a third one.
	back := old
	back.Version = 0
	if got, err = s.ChangeBlock(t.Context(), b.ID, 2, change(back, "2026/27"), "Ada"); err != nil || got[0].RuleSet != old.ID() {
		t.Errorf("back: %+v, %v", got, err)
	}
	if h, err := s.BlockHistory(t.Context(), b.ID); err != nil || len(h) != 3 || h[0].Who != "Ada" || h[2].Seq != 1 {
		t.Errorf("history %+v, %v", h, err)
	}
	if _, err := s.ChangeBlock(t.Context(), b.ID, 1, change(old, "2026/27"), "Eve"); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("an overtaken change: %v", err)
	}
	for name, ch := range map[string]func(*BlockChange){
		"no winter":       func(c *BlockChange) { c.Winter = "soon" },
		"spacing in cm":   func(c *BlockChange) { c.SpacingM = 120 },
		"broken rule set": func(c *BlockChange) { c.RuleSet.Weak.Limit = 99; c.RuleSet.Name = "mine" },
	} {
		c := change(old, "2026/27")
		ch(&c)
		if _, err := s.ChangeBlock(t.Context(), b.ID, 3, c, "Ada"); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, statement := range []string{`UPDATE rule_sets SET text = '{}'`, `DELETE FROM rule_sets`, `UPDATE block_rules SET winter = ''`, `DELETE FROM block_rules`} {
		if _, err := s.db.Exec(statement); err == nil {
			t.Errorf("%s went through", statement)
		}
	}
}

// Rules of a variety are changed in all of its blocks at once, and in no other.
func TestWholeVariety(t *testing.T) {
	s := openStore(t)
	rs := assess.DefaultRuleSet()
	a, b, c := ruledBlock(t, s, "A", rs), ruledBlock(t, s, "B", rs), ruledBlock(t, s, "C", rs)
	for _, x := range []Block{a, b} {
		ch := change(rs, "2026/27")
		ch.Variety, ch.SpacingM = "Red one", 1.2
		if _, err := s.ChangeBlock(t.Context(), x.ID, 1, ch, "Ada"); err != nil {
			t.Fatal(err)
		}
	}
	ch := change(rs, "2026/27")
	ch.RuleSet.Weak.Limit, ch.Variety, ch.SpacingM, ch.WholeVariety = 5, "red ONE", 1.5, true
	got, err := s.ChangeBlock(t.Context(), a.ID, 2, ch, "Ada")
	if err != nil || len(got) != 2 || got[0].ID != a.ID || got[1].ID != b.ID {
		t.Fatalf("%+v, %v", got, err)
	}
	for _, x := range []struct {
		id      int64
		rules   string
		spacing float64
	}{{a.ID, "nodespan-default@2", 1.5}, {b.ID, "nodespan-default@2", 1.2}, {c.ID, "nodespan-default@1", 0}} {
		if now, err := s.Block(t.Context(), x.id); err != nil || now.RuleSet != x.rules || now.SpacingM != x.spacing {
			t.Errorf("block %d: %+v, %v", x.id, now, err)
		}
	}
}

func TestRuleSetOfOneNameAndOtherLimits(t *testing.T) {
	s := openStore(t)
	ruledBlock(t, s, "A", assess.DefaultRuleSet())
	other := assess.DefaultRuleSet()
	other.Weak.Limit = 5
	text, _ := json.Marshal(other)
	if _, err := s.AddBlock(t.Context(), Block{Name: "B", Rows: 1, VinesPerRow: 1, RuleSet: other.ID(), RuleSetText: string(text), CreatedBy: "Ada"}); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("%v", err)
	}
}

func TestDescriptorTables(t *testing.T) {
	s := openStore(t)
	table := assess.DescriptorTable{
		Name: "estate list", Version: 1, Quantity: assess.InternodeLength, Internodes: 10, Shoots: 3, Source: "made up for this test",
		Classes: []assess.DescriptorClass{{Name: "short", From: 0, Through: 50}, {Name: "long", From: 50}},
	}
	for range 2 { // the same one again is no harm
		if err := s.AddDescriptorTable(t.Context(), FirstEstate, table, "Ada"); err != nil {
			t.Fatal(err)
		}
	}
	other := table
	other.Source = "another book"
	if err := s.AddDescriptorTable(t.Context(), FirstEstate, other, "Ada"); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("another table of the same version: %v", err)
	}
	other.Version = 2
	if err := s.AddDescriptorTable(t.Context(), FirstEstate, other, "Ada"); err != nil {
		t.Fatal(err)
	}
	if got, err := s.DescriptorTables(t.Context(), FirstEstate); err != nil || len(got) != 1 || got[0].Source != "another book" {
		t.Errorf("%+v, %v", got, err)
	}
}

// Of what is said of a vine, the latest of a kind counts, and it can be taken
// back.
func TestSayings(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	p := addPhoto(t, s, b, "a photo")
	say := func(kind, winter, payload string, cane int) {
		t.Helper()
		if _, err := s.Say(t.Context(), Saying{VineID: p.VineID, Winter: winter, Kind: kind, Cane: cane, Payload: json.RawMessage(payload), Who: "Ada"}); err != nil {
			t.Fatal(err)
		}
	}
	say(SaidPrunings, "2026/27", `{"kg":0.9}`, 0)
	say(SaidPrunings, "2026/27", `{"kg":0.8}`, 0)
	say(SaidPrunings, "2025/26", `{"kg":0.7}`, 0)
	say(SaidDescent, "2026/27", `{"from":"head"}`, 1)
	say(SaidDescent, "2026/27", `{"from":"spur"}`, 2)
	say(SaidHarvest, "2026/27", `{"kg":6}`, 0)
	say(SaidHarvest, "2026/27", `null`, 0)
	got, err := s.Sayings(t.Context(), p.VineID)
	if err != nil || len(got) != 4 || string(got[0].Payload) != `{"kg":0.7}` || string(got[1].Payload) != `{"kg":0.8}` {
		t.Errorf("%+v, %v", got, err)
	}
	if _, err := s.Say(t.Context(), Saying{VineID: p.VineID, Winter: "2026/27", Kind: "gossip", Payload: json.RawMessage(`1`), Who: "Ada"}); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("gossip: %v", err)
	}
	if _, err := s.db.Exec(`DELETE FROM sayings`); err == nil {
		t.Error("what was said can be deleted")
	}
}
