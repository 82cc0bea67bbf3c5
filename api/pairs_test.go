package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"nodespan/assess/store"
)

// The page of a block tells counts while there are few rulings, percentages
// with intervals when there are enough, and what was corrected; of the ruling
// that stands alone.
func TestPairs(t *testing.T) {
	r := newRig(t)
	block := r.block()
	read := func(q string) string { return visible(t, r.get("/blocks/1/pairs"+q, http.StatusOK, nil)) }
	has := func(what, text string, wants ...string) {
		t.Helper()
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q in\n%s", what, want, text)
			}
		}
	}
	has("nothing recorded", read(""), "Nobody has ruled")
	var views []measurementView
	for i := range 3 {
		p, _, err := r.server.Keep(t.Context(), store.NewPhoto{Data: vineJPEG, BlockID: block, Row: 4, Number: 7 + i, Winter: store.WinterOf(time.Now(), false), Name: "a.jpg", ContentType: "image/jpeg", By: "Ada"})
		if err != nil {
			t.Fatal(err)
		}
		st := r.measured(p.ID)
		var v measurementView
		r.get(fmt.Sprintf("/api/measurements/%d", st.Measurement), http.StatusOK, &v)
		views = append(views, v)
	}
	if len(views[0].Seen.Canes) != 8 {
		t.Fatalf("%d canes, the test reckons with 8", len(views[0].Seen.Canes))
	}
	// Cane 6 is weak by the program: first agreed with, then said to be sound.
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", views[0].ID), `{"after":0,"rulings":[{"cane":1,"said":"agree"},{"cane":6,"said":"agree"},{"cane":6,"said":"correct","finding":"sound"},{"cane":2,"said":"reject"},{"cane":3,"said":"correct","kind":"old_wood"},{"cane":4,"said":"correct","diameter_mm_by_hand":9.5}]}`, http.StatusCreated, nil)
	few := read("")
	has("five rulings", few, "Only 5 canes were ruled on", "one-year cane: 3 of 5", "the finding stood: 2 of 5", "weak became sound: 1", "Not a cane at all: 1", "Old wood taken for a cane: 1", "Measured by hand: 1")
	if strings.Contains(few, "%") {
		t.Errorf("a percentage of five rulings:\n%s", few)
	}
	r.ruleAll(views[1])
	r.ruleAll(views[2])
	// 21 rulings: 19 of 21 are 90.5 %, by Wilson 71.1 to 97.3 % (worked from the
	// formula of Wilson 1927 with z = 1.96).
	has("21 rulings", read(""), "one-year cane: 90 % (71 to 97 %), 19 of 21")
	has("this winter", read("?winter="+store.WinterOf(time.Now(), false)), "19 of 21")
	has("another winter", read("?winter=1999/00"), "Nobody has ruled")
	has("in French", visible(t, bodyOf(t, r.ask("/blocks/1/pairs", "fr"))), "faible est devenu sain", "19 sur 21")
	holdNoEnglish(t, "/blocks/1/pairs", "fr", visible(t, bodyOf(t, r.ask("/blocks/1/pairs", "fr"))))
}
