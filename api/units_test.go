package api

import (
	"fmt"
	"math"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"nodespan/assess/store"
)

// Whoever chose inches reads short lengths in them, with the language's own
// decimal sign; what is stored, and what JSON says, stays in millimetres.
func TestInches(t *testing.T) {
	r := newRig(t)
	r.chosen()
	unit := &http.Cookie{Name: "nodespan_unit", Value: "in"}
	inches := regexp.MustCompile(`0[.,]\d{3} \((?:da )?0[.,]\d{3}`) // 9.1 mm (8.3 to 9.9) is 0.358 in (0.327 to 0.390)
	for language, sign := range map[string]string{"en": "in", "fr": "po", "it": "in", "es": "pulg.", "de": "Zoll"} {
		page := bodyOf(t, r.ask("/blocks/1/4/7", language, unit))
		if !inches.MatchString(page) || !strings.Contains(page, sign) || strings.Contains(page, "9.1 mm") || strings.Contains(page, "9,1 mm") {
			t.Errorf("%s: no inches on the vine's page: %q", language, inches.FindString(page))
		}
		if plan := bodyOf(t, r.ask("/blocks/1/4/7/plan", language, unit)); !regexp.MustCompile(`\d+[.,]\d\d[ \x{a0}]` + regexp.QuoteMeta(sign)).MatchString(plan) {
			t.Errorf("%s: no inches on the plan", language)
		}
	}
	// 9.1 mm as the page has it: 9.1/25.4 to three decimals.
	if page := bodyOf(t, r.ask("/blocks/1/4/7", "en", unit)); !strings.Contains(page, "0.358 (0.327 to 0.390)") {
		t.Error("9.1 mm (8.3 to 9.9) isn't 0.358 in (0.327 to 0.390)")
	}
	english := bodyOf(t, r.ask("/api/measurements/1", "en"))
	if got := regexp.MustCompile(`,"words":\{.*?\}`).ReplaceAllString(bodyOf(t, r.ask("/api/measurements/1", "en", unit)), ""); got != english {
		t.Error("the unit changes the measurements in JSON")
	}
	a := r.ask("/language?language=fr&unit=in&to=%2Fabout", "en")
	kept := a.Cookies()
	if len(kept) != 2 {
		t.Fatalf("cookies %v", kept)
	}
	if page := bodyOf(t, r.ask("/about", "en", kept...)); !strings.Contains(page, `data-unit="in"`) || !strings.Contains(page, "0,24\u00a0po") {
		t.Error("what was chosen isn't kept")
	}
	if a := r.ask("/language?language=fr&unit=ell&to=%2F", "en"); a.StatusCode != http.StatusNotFound || len(a.Cookies()) != 0 {
		t.Errorf("a unit that isn't there: %d, %v", a.StatusCode, a.Cookies())
	}
}

// What was measured by hand is kept in millimetres, whichever unit it came in:
// an inch is 25.4 mm exactly (international inch; NIST SP 811, appendix B.8).
func TestByHandInInches(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	var p rulingPreview
	r.post(address+"/preview", `{"cane":1,"said":"correct","diameter_in_by_hand":0.35}`, http.StatusOK, &p)
	if p.Cane == nil || math.Abs(p.Cane.Diameter.Value-8.89) > 1e-9 {
		t.Errorf("0.35 in is %v mm, want 8.89", p.Cane.Diameter.Value)
	}
	r.post(address+"/rulings", `{"after":0,"rulings":[{"cane":1,"said":"correct","diameter_in_by_hand":0.35}]}`, http.StatusCreated, &v)
	if math.Abs(v.Rulings[0].DiameterMM-8.89) > 1e-9 {
		t.Errorf("kept as %v", v.Rulings[0].DiameterMM)
	}
	var a errorAnswer
	r.post(address+"/preview", `{"cane":1,"said":"correct","diameter_in_by_hand":8.9}`, http.StatusUnprocessableEntity, &a)
	r.post(address+"/preview", `{"cane":1,"said":"correct","diameter_in_by_hand":0.35,"diameter_mm_by_hand":8.9}`, http.StatusUnprocessableEntity, &a)
	bad := r.measured(r.send(1, pngOf(t, 900, 700), http.StatusCreated).ID)
	r.post(fmt.Sprintf("/api/photos/%d/marks", bad.ID), `{"a":[100,100],"b":[500,120],"distance_in":20}`, http.StatusAccepted, nil)
	r.measured(bad.ID)
	if m := r.measurer.last().Marks; m == nil || m.DistanceMM != 508 {
		t.Errorf("20 in between the marks is %+v, want 508 mm", m)
	}
}

// Whoever reads inches types them: on the page nothing is converted but for
// showing it.
func TestBrowserByHandInInches(t *testing.T) {
	r := newRig(t)
	first := r.view().Seen.Canes[0].Nodes[0].AlongMM
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/about")
	valueOf[bool](b, `fetch('/language?language=en&unit=in&to=%2Fabout').then(() => { window.chosen = true; }) && true`)
	b.until(`window.chosen`)
	b.visit("/photos/1")
	b.stageReady()
	b.click("#correct")
	if label := b.text(`label[for="byhand"]`); label != "Diameter measured by hand, in" {
		t.Errorf("the field is called %q", label)
	}
	b.keys("#byhand", "0.35\t")
	b.until(`document.querySelector('#v-diameter').textContent.startsWith('0.350 ')`)
	if got := b.text("#hand"); got != "0.350 in measured by hand by Ada; it stands above the photo's." {
		t.Errorf("of the hand's measure it says %q", got)
	}
	b.shot("inches")
	// Places of nodes too: typed in inches, kept in mm.
	b.click("#edit details summary")
	if label := b.text(`label[for="addat"]`); label != "Add a node at, in" {
		t.Errorf("the field is called %q", label)
	}
	if got := valueOf[string](b, `document.querySelector('#node-0').value`); got != fmt.Sprintf("%.2f", first/25.4) {
		t.Errorf("the first node, at %.2f mm, shows as %s in", first, got)
	}
	valueOf[bool](b, fmt.Sprintf(`(() => { const n = document.querySelector('#node-0'); n.value = '%.2f'; n.dispatchEvent(new Event('change')); return true; })()`, first/25.4+0.1))
	b.until(fmt.Sprintf(`document.querySelector('#node-0').value === '%.2f'`, first/25.4+0.1))
	b.whole("inches-nodes")
	b.click("#done")
	b.click("#agree")
	b.click("#save")
	b.until(`document.querySelector('#banner-text').textContent.includes('Saved as Ada')`)
	b.visit("/photos/1")
	b.stageReady()
	b.goTo(1)
	b.until(`document.querySelector('#hand').textContent.startsWith('0.350 in measured by hand by Ada, ')`)
	b.click("#correct")
	if got := valueOf[string](b, `document.querySelector('#byhand').value`); got != "0.35" {
		t.Errorf("the field shows %q", got)
	}
	said, err := r.store.Rulings(t.Context(), 1)
	if err != nil || len(said) == 0 {
		t.Fatal(said, err)
	}
	ruled, err := store.ReadRulings(said)
	if err != nil || len(ruled[0].Nodes) == 0 || math.Abs(ruled[0].Nodes[0].AlongMM-first-2.54) > 0.2 {
		t.Errorf("a node moved by 0.1 in from %.2f mm: %+v, %v", first, ruled, err)
	}
	b.clean()
}
