package api

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nodespan/assess"
)

// rule agrees with every cane of the measured photo.
func (r *rig) ruleAll(v measurementView) {
	r.t.Helper()
	var all []string
	for _, c := range v.Seen.Canes {
		all = append(all, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
	}
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", v.ID), fmt.Sprintf(`{"after":%d,"rulings":[%s]}`, v.Seq, strings.Join(all, ",")), http.StatusCreated, nil)
}

func changeOf(t testing.TB, v rulesView, rs assess.RuleSet, winter string) string {
	return fmt.Sprintf(`{"after":%d,"rule_set":%s,"training_form":%q,"winter":%q,"variety":"Red one","spacing_m":1.2,"divided":false,"formula":"20+20","wood":{"low":0.9,"high":1.0,"source":"weighed on the estate"},"whole_variety":false}`,
		v.Seq, toJSON(t, rs), v.Form, winter)
}

// A changed limit is previewed over the block's canes, kept as a new version,
// and judges this winter's photos; what people said before stays.
func TestRulesOfABlock(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", v.ID), `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, &v)
	first := v.Confirmed[0].Cane.Finding
	var rules rulesView
	r.get("/api/blocks/1/rules", http.StatusOK, &rules)
	if rules.Canes != 8 || rules.Winter != rules.Present || len(rules.Sets) != 1 {
		t.Fatalf("%+v", rules)
	}
	rs := rules.Rules
	rs.Weak.Limit = 12
	var p struct {
		Effect assess.Effect
		Each   []assess.LimitEffect
	}
	r.post("/api/blocks/1/rules/preview", `{"rule_set":`+toJSON(t, rs)+`}`, http.StatusOK, &p)
	if p.Effect.Canes != 8 || p.Effect.Changed == 0 || len(p.Each) != 1 || p.Each[0].Name != "weak" || p.Each[0].More <= 0 {
		t.Errorf("preview %+v", p)
	}
	var kept struct {
		Rules  rulesView
		Blocks int
	}
	r.post("/api/blocks/1/rules", changeOf(t, rules, rs, rules.Present), http.StatusOK, &kept)
	if kept.Rules.Rules.ID() != "nodespan-default@2" || kept.Blocks != 1 || kept.Rules.Spacing != 1.2 || kept.Rules.Formula != "20+20" {
		t.Errorf("kept %+v", kept)
	}
	if kept.Rules.Wood.High != 1 || !strings.Contains(r.get("/blocks/1/4/7", http.StatusOK, nil), "density of 0.9 to 1 g/cm3: weighed on the estate") {
		t.Errorf("the density that was entered isn't used: %+v", kept.Rules.Wood)
	}
	bad := strings.Replace(changeOf(t, kept.Rules, rs, rules.Present), "weighed on the estate", "", 1)
	r.post("/api/blocks/1/rules", bad, http.StatusUnprocessableEntity, nil)
	var after measurementView
	r.get(fmt.Sprintf("/api/measurements/%d", v.ID), http.StatusOK, &after)
	weak := 0
	for _, c := range after.Seen.Canes {
		if c.Finding == assess.Weak || c.Finding == assess.WeakAndShortNoded {
			weak++
		}
	}
	if after.Seen.RuleSet != "nodespan-default@2" || weak == 0 {
		t.Errorf("judged by %s, %d weak", after.Seen.RuleSet, weak)
	}
	if got := after.Confirmed[0].Cane.Finding; got != first || after.Confirmed[0].Seen.RuleSet != "nodespan-default@1" {
		t.Errorf("cane 1 was agreed to be %s, and is %s", first, got)
	}
	if m, err := r.store.Measurement(t.Context(), v.ID); err != nil || m.Seen.RuleSet != "nodespan-default@1" {
		t.Errorf("the measurement itself was changed: %+v, %v", m.Seen.RuleSet, err)
	}
	r.post("/api/blocks/1/rules", changeOf(t, rules, rs, rules.Present), http.StatusConflict, nil)
	page := r.get("/blocks/1/rules", http.StatusOK, nil)
	for _, want := range []string{"nodespan-default@2", "nodespan-default@1", "from the beginning", "Red one", `value="1.2"`, "central-committee-internode-length@1", "long from 120 mm"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page of rules lacks %q", want)
		}
	}
	r.who = ""
	r.post("/api/blocks/1/rules", changeOf(t, kept.Rules, rs, rules.Present), http.StatusUnauthorized, nil)
}

// A rule set comes out as a file and goes in again; a broken one is refused
// with its line.
func TestRuleSetFiles(t *testing.T) {
	r := newRig(t)
	r.block()
	for _, format := range []string{"yaml", "toml"} {
		text := r.get("/rule-sets/nodespan-default@1."+format, http.StatusOK, nil)
		var in struct {
			Rules assess.RuleSet `json:"rule_set"`
		}
		r.post("/api/rule-sets/read", toJSON(t, fileIn{Name: "mine." + format, Text: text}), http.StatusOK, &in)
		if in.Rules != assess.DefaultRuleSet() {
			t.Errorf("%s: read back as %+v", format, in.Rules)
		}
		var a errorAnswer
		r.post("/api/rule-sets/read", toJSON(t, fileIn{Name: "mine." + format, Text: strings.Replace(text, "limit", "limmit", 1)}), http.StatusUnprocessableEntity, &a)
		if !strings.Contains(a.Message, "line 4: ") && !strings.Contains(a.Message, "line 5: ") {
			t.Errorf("%s: %q names no line", format, a.Message)
		}
	}
	r.post("/api/rule-sets/read", `{"name":"mine.doc","text":""}`, http.StatusUnprocessableEntity, nil)
	r.get("/rule-sets/nodespan-default@9.yaml", http.StatusNotFound, nil)
	r.get("/rule-sets/nodespan-default@1.doc", http.StatusNotFound, nil)
	r.get("/rule-sets/x", http.StatusNotFound, nil)

	table := "name: estate list\nversion: 1\nquantity: internode_length\nleast_internodes: 10\nleast_shoots: 3\nsource: made up for this test\nclasses:\n- {name: short, from: 0, through: 50}\n- {name: long, from: 50}\n"
	r.post("/api/descriptor-tables", toJSON(t, fileIn{Name: "t.yaml", Text: table}), http.StatusCreated, nil)
	var a errorAnswer
	r.post("/api/descriptor-tables", toJSON(t, fileIn{Name: "t.yaml", Text: strings.Replace(table, "from: 50", "from: 40", 1)}), http.StatusUnprocessableEntity, &a)
	if !strings.Contains(a.Message, "line 9: class 2 begins at 40") {
		t.Errorf("a broken table: %q", a.Message)
	}
	if page := r.get("/blocks/1/rules", http.StatusOK, nil); !strings.Contains(page, "estate list@1") {
		t.Error("the table isn't listed")
	}
}

// A training form comes out as a file; changed, it goes in again as another
// version, and the choice is made by it.
func TestOwnTrainingForm(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.ruleAll(v)
	text := r.get("/forms/four-cane@1.yaml", http.StatusOK, nil)
	var read struct{ Form assess.Form }
	changed := strings.NewReplacer("version: 1", "version: 2", "title: Four canes on two wires", "title: Ours", "buds_per_cane: 8", "buds_per_cane: 10", "buds_per_cane_max: 8", "buds_per_cane_max: 10").Replace(text)
	r.post("/api/forms/read", toJSON(t, fileIn{Name: "ours.yaml", Text: changed}), http.StatusOK, &read)
	var rules rulesView
	r.get("/api/blocks/1/rules", http.StatusOK, &rules)
	body := changeOf(t, rules, rules.Rules, rules.Present)
	with := func(f assess.Form) string {
		return strings.Replace(body, `{"after"`, `{"form":`+toJSON(t, f)+`,"after"`, 1)
	}
	other := read.Form
	other.Version = 1
	r.post("/api/blocks/1/rules", with(other), http.StatusConflict, nil)
	bad := read.Form
	bad.BudsMin = 40
	r.post("/api/blocks/1/rules", with(bad), http.StatusUnprocessableEntity, nil)
	var kept struct{ Rules rulesView }
	r.post("/api/blocks/1/rules", with(read.Form), http.StatusOK, &kept)
	if kept.Rules.Form != "four-cane@2" {
		t.Errorf("kept %+v", kept.Rules.Form)
	}
	var ch choiceView
	r.get(fmt.Sprintf("/api/measurements/%d/choice", v.ID), http.StatusOK, &ch)
	most := 0
	for _, k := range ch.Choice.Keep {
		most = max(most, k.Buds)
	}
	if ch.Form.Title != "Ours" || most != 10 || ch.Choice.Form != "four-cane@2" {
		t.Errorf("chosen by %s, %d buds on a cane", ch.Choice.Form, most)
	}
	for path, want := range map[string]string{"/blocks/1": "Ours", "/": "Ours", "/blocks/1/rules": "Four canes on two wires", "/forms/four-cane@2.toml": "title = 'Ours'"} {
		if page := r.get(path, http.StatusOK, nil); !strings.Contains(page, want) {
			t.Errorf("%s lacks %q", path, want)
		}
	}
	r.get("/forms/four-cane@9.yaml", http.StatusNotFound, nil)
	r.get("/forms/four-cane@1.doc", http.StatusNotFound, nil)
	// Back to the program's own form, by its name.
	r.post("/api/blocks/1/rules", strings.Replace(changeOf(t, kept.Rules, rules.Rules, rules.Present), "four-cane@2", "four-cane@1", 1), http.StatusOK, &kept)
	if kept.Rules.Form != "four-cane@1" {
		t.Errorf("back: %+v", kept.Rules.Form)
	}
}

func TestBrowserRules(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.view()
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/blocks/1/rules")
			b.until(`document.querySelector('#rules').dataset.ready === 'yes'`)
			set := func(id, value string) {
				valueOf[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = %q; return e.dispatchEvent(new Event('change', {bubbles: true})); })()`, id, value))
			}
			set("#limit-weak", "12")
			b.until(`document.querySelector('#effect-weak').textContent.includes('of 8 canes')`)
			if got := b.text("#effect-weak"); !strings.HasPrefix(got, "With 12 instead of 6 mm, of 8 canes ") || !strings.Contains(got, "more would be flagged") {
				t.Errorf("effect %q", got)
			}
			set("#limit-cut_beyond", "25")
			b.until(`document.querySelector('#effect-cut_beyond').textContent.includes('when a choice is made')`)
			set("#spacing", "1.2")
			b.whole("rules")
			b.click("#save")
			b.until(`document.querySelector('#done').textContent.includes('nodespan-default@2')`)
			if set := b.text("#rule-set"); set != "nodespan-default@2" {
				t.Errorf("rule set %q", set)
			}
			// A broken file names its line; a good one fills the fields, and nothing
			// is saved before the person says so.
			text := r.get("/rule-sets/nodespan-default@1.yaml", http.StatusOK, nil)
			file := filepath.Join(t.TempDir(), "mine.yaml")
			for _, c := range []struct{ text, until string }{
				{strings.Replace(text, "limit: 6.0", "limit: 600.0", 1), `document.querySelector('#import-fault').textContent.includes('line 4: weak is 600 mm')`},
				{strings.Replace(text, "limit: 50.0", "limit: 55.0", 1), `document.querySelector('#limit-short_noded').value === '55' && document.querySelector('#done').textContent.includes('mine.yaml was read')`},
			} {
				if c.text == text {
					t.Fatal("nothing was changed in the file")
				}
				if err := os.WriteFile(file, []byte(c.text), 0o600); err != nil {
					t.Fatal(err)
				}
				b.do("choose a file", chromedp.SetUploadFiles(chromedp.CSS("#import"), []string{file}))
				b.until(c.until)
			}
			if got := b.text("#limit-short_noded + span"); got != "mm" || b.text("#rule-set") != "nodespan-default@2" {
				t.Errorf("after the import: %q, %q", got, b.text("#rule-set"))
			}
			form := strings.NewReplacer("version: 1", "version: 2", "title: Four canes on two wires", "title: Ours").Replace(r.get("/forms/four-cane@1.yaml", http.StatusOK, nil))
			if err := os.WriteFile(file, []byte(form), 0o600); err != nil {
				t.Fatal(err)
			}
			b.do("choose a form", chromedp.SetUploadFiles(chromedp.CSS("#form-import"), []string{file}))
			b.until(`document.querySelector('#own-form')?.checked`)
			b.click("#save")
			b.until(`document.querySelector('#done').textContent.includes('nodespan-default@3')`)
			if page := r.get("/blocks/1", http.StatusOK, nil); !strings.Contains(page, "Ours") {
				t.Error("the block isn't pruned to the form that was chosen")
			}
			b.smallTargets("/blocks/1/rules")
			b.clean()
		})
	}
}
