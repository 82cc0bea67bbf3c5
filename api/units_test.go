package api

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
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
