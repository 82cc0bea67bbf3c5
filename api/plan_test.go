package api

import (
	"fmt"
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// chosen is a vine with a confirmed choice.
func (r *rig) chosen() measurementView {
	r.t.Helper()
	v := r.view()
	r.ruleAll(v)
	r.post(fmt.Sprintf("/api/measurements/%d/choice", v.ID), `{"after":0}`, http.StatusCreated, nil)
	return v
}

// What was confirmed becomes a plan for the phone and two sheets for paper.
func TestPlan(t *testing.T) {
	r := newRig(t)
	r.block()
	for _, path := range []string{"/blocks/1/4/7/plan", "/blocks/1/4/7/plan.pdf", "/blocks/1/4/plan.pdf"} {
		r.get(path, http.StatusNotFound, nil)
	}
	r = newRig(t)
	r.chosen()
	page := r.get("/blocks/1/4/7/plan", http.StatusOK, nil)
	for _, want := range []string{"Prune in dry weather", "Clean, cut, lay and tie", "Cut away", "<svg class=\"plan\"", "past the node (table-grape handbook", "Choice confirmed by Ada", "look up", "ties at"} {
		if !strings.Contains(page, want) {
			t.Errorf("the plan lacks %q", want)
		}
	}
	for _, path := range []string{"/blocks/1/4/7/plan.pdf", "/blocks/1/4/plan.pdf"} {
		if got := r.get(path, http.StatusOK, nil); !strings.HasPrefix(got, "%PDF-") || len(got) < 5000 {
			t.Errorf("%s: %.40q", path, got)
		}
	}
	r.get("/blocks/1/5/plan.pdf", http.StatusNotFound, nil)
	r.get("/blocks/1/99/plan.pdf", http.StatusNotFound, nil)
	r.get("/blocks/1/4/7/plan?winter=1999/00", http.StatusNotFound, nil)
	if vine := r.get("/blocks/1/4/7", http.StatusOK, nil); !strings.Contains(vine, `href="/blocks/1/4/7/plan"`) {
		t.Error("the vine's page doesn't lead to the plan")
	}
	// A photo of the next winter, on which nobody chose yet, takes nothing away;
	// the sheets of the plan's page are those of its winter.
	p, _, err := r.server.Keep(t.Context(), store.NewPhoto{Data: tailed(1), BlockID: 1, Row: 4, Number: 7, Winter: "2999/00", Name: "a.jpg", ContentType: "image/jpeg", By: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	r.measured(p.ID)
	sheets := regexp.MustCompile(`href="(/blocks/[^"]*plan\.pdf[^"]*)"`).FindAllStringSubmatch(r.get("/blocks/1/4/7/plan", http.StatusOK, nil), -1)
	if len(sheets) != 2 {
		t.Fatal(sheets)
	}
	for _, m := range append(sheets, []string{"", "/blocks/1/4/plan.pdf"}) {
		if got := r.get(html.UnescapeString(m[1]), http.StatusOK, nil); !strings.HasPrefix(got, "%PDF-") {
			t.Errorf("%s: %.40q", m[1], got)
		}
	}
	r.get("/blocks/1/4/plan.pdf?winter=2999%2F00", http.StatusNotFound, nil)
}

// twoWinters is a vine with a choice last winter, and canes confirmed in this
// one; it gives this winter's measurement.
func (r *rig) twoWinters() measurementView {
	r.t.Helper()
	block := r.block()
	now := time.Now()
	var v measurementView
	for _, at := range []time.Time{now.AddDate(-1, 0, 0), now} {
		p, _, err := r.server.Keep(r.t.Context(), store.NewPhoto{Data: vineJPEG, BlockID: block, Row: 4, Number: 7, Winter: store.WinterOf(at, false), Name: "a.jpg", ContentType: "image/jpeg", By: "Ada"})
		if err != nil {
			r.t.Fatal(err)
		}
		st := r.measured(p.ID)
		r.get(fmt.Sprintf("/api/measurements/%d", st.Measurement), http.StatusOK, &v)
		if at != now {
			r.ruleAll(v)
			r.post(fmt.Sprintf("/api/measurements/%d/choice", v.ID), `{"after":0}`, http.StatusCreated, nil)
		}
	}
	// This winter the first cane of then is old wood.
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", v.ID), `{"after":0,"rulings":[{"cane":1,"said":"correct","kind":"old_wood"},{"cane":2,"said":"agree"},{"cane":3,"said":"agree"},{"cane":4,"said":"agree"}]}`, http.StatusCreated, &v)
	return v
}

// Last winter's canes are this winter's old wood; what people say of the vine
// stands above what was read from the photos.
func TestOverTheWinters(t *testing.T) {
	r := newRig(t)
	v := r.twoWinters()
	now := store.WinterOf(time.Now(), false)
	page := r.get("/blocks/1/4/7", http.StatusOK, nil)
	for _, want := range []string{"Line of renewal", "Old wood now: to be cut out in " + now, "What the winters say", "Load and balance", "internode length",
		"the spacing of the vines along the row", "the yield of the last harvest"} {
		if !strings.Contains(page, want) {
			t.Errorf("the vine's page lacks %q", want)
		}
	}
	address := "/api/blocks/1/rows/4/vines/7/sayings"
	said := func(kind, payload string, cane, status int) {
		t.Helper()
		r.post(address, fmt.Sprintf(`{"winter":%q,"kind":%q,"cane":%d,"payload":%s}`, now, kind, cane, payload), status, nil)
	}
	said("prunings", `{"kg":0.9}`, 0, http.StatusCreated)
	said("harvest", `{"kg":6}`, 0, http.StatusCreated)
	said("descent", `{"from":"head"}`, 2, http.StatusCreated)
	said("pruned", `{}`, 0, http.StatusCreated)
	page = r.get("/blocks/1/4/7", http.StatusOK, nil)
	for _, want := range []string{"weighed: 0.90 kg", `value="0.9"`, `value="6"`, "yield to prunings", "Cut out in " + now + ", says Ada", "Cane 2: the head"} {
		if !strings.Contains(page, want) {
			t.Errorf("the vine's page lacks %q", want)
		}
	}
	// What was said of a cane's descent is weighed in the choice.
	var ch choiceView
	r.get(fmt.Sprintf("/api/measurements/%d/choice", v.ID), http.StatusOK, &ch)
	if ch.Choice.FateOf(1).What != "remove" {
		t.Errorf("old wood is %+v", ch.Choice.FateOf(1))
	}
	r.post(fmt.Sprintf("/api/measurements/%d/choice", v.ID), `{"after":0}`, http.StatusCreated, nil)
	if plan := r.get("/blocks/1/4/7/plan", http.StatusOK, nil); !strings.Contains(plan, "Last winter&#39;s fruiting wood") {
		t.Error("the plan doesn't name last winter's fruiting wood")
	}
	said("pruned", `null`, 0, http.StatusCreated)
	if page = r.get("/blocks/1/4/7", http.StatusOK, nil); !strings.Contains(page, "To be cut out by the choice of "+now) {
		t.Error("taken back, and still told as cut out")
	}
	for _, c := range []struct {
		kind, payload string
		cane          int
	}{
		{"prunings", `{"kg":90}`, 0}, {"prunings", `{"kg":-1}`, 0}, {"prunings", `{"kg":"x"}`, 0}, {"harvest", `{"kg":900}`, 0},
		{"descent", `{"from":"mars"}`, 2}, {"descent", `{"from":"head"}`, 0}, {"pruned", `{}`, 3}, {"gossip", `{}`, 0}, {"descent", `{"from":"spur","parent":1,"parent_winter":"soon"}`, 2},
	} {
		said(c.kind, c.payload, c.cane, http.StatusUnprocessableEntity)
	}
	r.post("/api/blocks/1/rows/4/vines/8/sayings", fmt.Sprintf(`{"winter":%q,"kind":"pruned","cane":0,"payload":{}}`, now), http.StatusUnprocessableEntity, nil)
}

// A head that a person points out on a photo is weighed from then on, on that
// photo alone, and can be taken back.
func TestHeadPointedOut(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.ruleAll(v)
	now := store.WinterOf(time.Now(), false)
	say := func(payload string, status int) {
		t.Helper()
		r.post("/api/blocks/1/rows/4/vines/7/sayings", fmt.Sprintf(`{"winter":%q,"kind":"head","cane":0,"payload":%s}`, now, payload), status, nil)
	}
	var ch choiceView
	address := fmt.Sprintf("/api/measurements/%d/choice", v.ID)
	r.get(address, http.StatusOK, &ch)
	before := *ch.Head
	say(`{"photo":1,"px":[100,300]}`, http.StatusCreated)
	r.get(address, http.StatusOK, &ch)
	if !ch.HeadSaid || *ch.Head != (assess.Point{100, 300}) || v.Seen.Head == nil {
		t.Errorf("the head is at %v, said %v", ch.Head, ch.HeadSaid)
	}
	if m, err := r.store.Measurement(t.Context(), v.ID); err != nil || *m.Seen.Head != before {
		t.Errorf("the measurement itself was changed: %v, %v", m.Seen.Head, err)
	}
	say(`null`, http.StatusCreated)
	r.get(address, http.StatusOK, &ch)
	if ch.HeadSaid || *ch.Head != before {
		t.Errorf("taken back, and the head is at %v", ch.Head)
	}
	say(`{"photo":1,"px":[-5,300]}`, http.StatusUnprocessableEntity)
	say(`{"photo":1,"px":[5,99999]}`, http.StatusUnprocessableEntity)
	say(`{"photo":77,"px":[5,5]}`, http.StatusNotFound)
	say(`{"photo":"x"}`, http.StatusUnprocessableEntity)
}

// Balanced pruning on the choice's page says which input is missing.
func TestBudAdviceOnTheChoice(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.ruleAll(v)
	var rules rulesView
	r.get("/api/blocks/1/rules", http.StatusOK, &rules)
	r.post("/api/blocks/1/rules", changeOf(t, rules, rules.Rules, rules.Present), http.StatusOK, nil)
	var ch choiceView
	r.get(fmt.Sprintf("/api/measurements/%d/choice", v.ID), http.StatusOK, &ch)
	if !strings.Contains(ch.Advice, "20+20") {
		t.Errorf("advice %q", ch.Advice)
	}
	r.post("/api/blocks/1/rows/4/vines/7/sayings", fmt.Sprintf(`{"winter":%q,"kind":"prunings","cane":0,"payload":{"kg":1}}`, rules.Present), http.StatusCreated, nil)
	r.get(fmt.Sprintf("/api/measurements/%d/choice", v.ID), http.StatusOK, &ch)
	if !strings.HasPrefix(ch.Advice, "20+20 leaves 44 buds for 1.00 kg of prunings, weighed") {
		t.Errorf("advice %q", ch.Advice)
	}
}

// A person swaps canes and sees all that changes by it.
func TestSwapShowsWhatChanges(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.ruleAll(v)
	var ch choiceView
	address := fmt.Sprintf("/api/measurements/%d/choice", v.ID)
	r.get(address, http.StatusOK, &ch)
	if len(ch.Difference.Canes) != 0 {
		t.Errorf("the suggestion differs from itself: %+v", ch.Difference)
	}
	first := ch.Choice.Keep[0].Cane
	r.post(address+"/preview", fmt.Sprintf(`{"wishes":{"spurs":[%d]},"buds":0}`, first), http.StatusOK, &ch)
	found := false
	for _, c := range ch.Difference.Canes {
		found = found || c.Cane == first && c.Before.What == "lay" && c.After.What == "spur"
	}
	if !found || ch.Choice.FateOf(first).What != "spur" || ch.Wishes.Spurs[0] != first {
		t.Errorf("difference %+v", ch.Difference)
	}
	var w assess.Wishes
	if w.Any() || !ch.Wishes.Any() {
		t.Error("wishes aren't told from none")
	}
}

// On phone and desk: a cane is named a spur, what follows is shown, the choice
// is confirmed, its plan is opened and ticked off, and the vine's page leads on.
func TestBrowserChoiceAndPlan(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			v := r.twoWinters()
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit(fmt.Sprintf("/photos/%d/choice", v.Photo))
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			set := func(id, value string) {
				valueOf[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = %q; return e.dispatchEvent(new Event('change', {bubbles: true})); })()`, id, value))
			}
			first := valueOf[int](b, `Number([...document.querySelectorAll('.fate select')][0].id.slice(5))`)
			set(fmt.Sprintf("#fate-%d", first), "spur")
			b.until(`document.querySelector('.difference')`)
			if got := b.text(".difference"); !strings.Contains(got, fmt.Sprintf("Cane %d: ", first)) || !strings.Contains(got, "→ Spur") {
				t.Errorf("difference %q", got)
			}
			set(fmt.Sprintf("#fate-%d", first), "")
			b.until(`!document.querySelector('.difference')`)
			b.click("#head")
			b.tapPhoto(v.Seen.Head[0]+3, v.Seen.Head[1]-2)
			b.until(`document.querySelector('#head-text').textContent.includes('a person pointed it out')`)
			set("#place-3", "empty")
			set("#place-0", "buds 6")
			b.until(`document.querySelector('#place-0').value === 'buds 6'`)
			// The page moves when the answer comes; a click before it would miss.
			b.until(`!document.querySelector('#confirm').hasAttribute('aria-busy')`)
			b.whole("choice-changed")
			b.click("#confirm")
			b.until(`document.querySelector('#done').textContent.includes('Confirmed by Ada')`)
			b.click("#after .main")
			b.until(`location.pathname.endsWith('/plan') && document.querySelector('#plan')`)
			b.visit("/blocks/1/4/7/plan")
			b.until(`document.querySelector('#plan').dataset.ready === 'yes'`)
			b.whole("plan")
			b.click("#plan .todo .pick")
			b.click("#done")
			b.until(`!document.querySelector('#pruned').hidden && document.querySelector('#pruned-by').textContent === 'Ada'`)
			b.visit("/blocks/1/4/7/plan")
			b.until(`document.querySelector('#plan .todo input').checked`)
			b.visit("/blocks/1/4/7")
			b.until(`document.querySelector('#years').dataset.ready === 'yes'`)
			b.whole("vine-years")
			b.keys("#prunings", "0.9")
			b.click("#masses button")
			b.until(`document.querySelector('#years')?.dataset.ready === 'yes' && document.querySelector('#prunings').value === '0.9' && document.body.innerText.includes('weighed: 0.90 kg')`)
			b.smallTargets("/blocks/1/4/7")
			b.visit("/blocks/1?row=4")
			b.until(`[...document.querySelectorAll('.figures img')].filter((i) => i.complete && i.naturalWidth > 0).length === 6`)
			b.whole("block-years")
			b.clean()
		})
	}
}
