package api

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"nodespan/assess/store"
)

// A phone whose answer got lost on the way sends again, perhaps days later and
// after others worked on the vine: it counts once, and the answer is good.
func TestSentTwiceCountsOnce(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	all := make([]string, 0, len(v.Seen.Canes))
	for _, c := range v.Seen.Canes {
		all = append(all, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
	}
	rulings := `{"after":0,"rulings":[` + strings.Join(all, ",") + `]}`
	r.post(address+"/rulings", rulings, http.StatusCreated, nil, "Idempotency-Key", "from the phone")

	choice := `{"after":0,"wishes":{},"buds":0}`
	var first, second choiceAnswer
	r.post(address+"/choice", choice, http.StatusCreated, &first, "Idempotency-Key", "the choice")

	// Meanwhile the block gets other limits, so that the same canes are judged
	// otherwise, and somebody else rejects one that the choice kept.
	var rules rulesView
	r.get("/api/blocks/1/rules", http.StatusOK, &rules)
	rs := rules.Rules
	rs.Weak.Limit++
	r.post("/api/blocks/1/rules", changeOf(t, rules, rs, rules.Present), http.StatusOK, nil)
	r.who = "Ben"
	r.post(address+"/rulings", fmt.Sprintf(`{"after":%d,"rulings":[{"cane":1,"said":"reject"}]}`, len(v.Seen.Canes)), http.StatusCreated, nil)

	r.who = "Ada"
	r.post(address+"/rulings", rulings, http.StatusCreated, &v, "Idempotency-Key", "from the phone")
	if len(v.Rulings) != len(v.Seen.Canes)+1 {
		t.Errorf("%d rulings kept, want each of Ada's once and Ben's", len(v.Rulings))
	}
	r.post(address+"/choice", choice, http.StatusCreated, &second, "Idempotency-Key", "the choice")
	if first.Seq != 1 || second != first {
		t.Errorf("the choice sent again is %+v, first it was %+v", second, first)
	}
	// Other content under the same key isn't taken for a second sending.
	r.post(address+"/choice", `{"after":1,"wishes":{},"buds":7}`, http.StatusConflict, nil, "Idempotency-Key", "the choice")
	r.post(address+"/rulings", strings.Replace(rulings, "agree", "reject", 1), http.StatusConflict, nil, "Idempotency-Key", "from the phone")

	said := fmt.Sprintf(`{"winter":%q,"kind":"pruned","cane":0,"payload":{}}`, store.WinterOf(v.Rulings[0].When, false))
	var one, two sayingAnswer
	r.post("/api/blocks/1/rows/4/vines/7/sayings", said, http.StatusCreated, &one, "Idempotency-Key", "pruned")
	r.post("/api/blocks/1/rows/4/vines/7/sayings", said, http.StatusCreated, &two, "Idempotency-Key", "pruned")
	if one.ID != two.ID {
		t.Errorf("said twice: %+v and %+v", one, two)
	}
}

// What one person's page made isn't kept under the name of another who signed
// in on the same phone since.
func TestMadeBySomebodyElse(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d/rulings", v.ID)
	body := `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`
	var a errorAnswer
	r.post(address, body, http.StatusForbidden, &a, asHeader, url.PathEscape("Björn Ås"))
	if a.Code != codeOtherPerson {
		t.Errorf("code %q", a.Code)
	}
	r.post(address, body, http.StatusCreated, nil, asHeader, "%41da") // however it is encoded
}
