package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"nodespan/assess"
)

// The whole path of one photo, by the API alone.
func TestPhotoToRecord(t *testing.T) {
	r := newRig(t)
	v := r.view()
	if len(v.Seen.Canes) != 8 || v.Seq != 0 || len(v.Confirmed) != 0 {
		t.Fatalf("%d canes, seq %d, %d confirmed; want 8 canes and nothing said", len(v.Seen.Canes), v.Seq, len(v.Confirmed))
	}
	for _, c := range v.Seen.Canes {
		if c.Finding == "" || len(c.Because) == 0 {
			t.Errorf("cane %d has no finding", c.ID)
		}
		if c.Profile != nil {
			t.Errorf("cane %d carries its profile to the page", c.ID)
		}
	}
	// Cane 5, 14.1 mm (12.8 to 15.3), lies about the limit of 13 mm by its depth
	// alone: with the card on it it would be called.
	if len(v.Closer) != 1 || v.Closer[0].Cane != 5 || v.Closer[0].Finding != assess.OverVigorous || v.Closer[0].Diameter.Low <= 13 {
		t.Errorf("one more photo would help: %+v", v.Closer)
	}
	address := fmt.Sprintf("/api/measurements/%d", v.ID)

	// Nothing counts before somebody ruled.
	page := r.get("/blocks/1/4/7", http.StatusOK, nil)
	if strings.Contains(page, `data-cane=`) || !strings.Contains(page, "Canes that wait for a ruling: 8") {
		t.Errorf("the vine's page shows canes that nobody confirmed, or not that they wait")
	}

	r.post(address+"/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree"},{"cane":2,"said":"reject"},{"cane":3,"said":"correct","kind":"old_wood"}]}`, http.StatusCreated, &v)
	if v.Seq != 3 || len(v.Confirmed) != 2 || v.Confirmed[0].Who != "Ada" || v.Confirmed[0].Seen.Finding != v.Seen.Canes[0].Finding {
		t.Errorf("seq %d, confirmed %+v", v.Seq, v.Confirmed)
	}
	page = r.get("/blocks/1/4/7", http.StatusOK, nil)
	for _, want := range []string{`data-cane="1"`, `data-cane="3"`, "Agreed by Ada", "The program had said: ", "old wood", "Canes that wait for a ruling: 5", "Reported canes that were rejected: 1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the vine's page lacks %q", want)
		}
	}
	if strings.Contains(page, `data-cane="2"`) {
		t.Error("a rejected cane is shown as confirmed")
	}
}

// A node that is moved changes the internodes; the service derives them.
func TestCorrectANode(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	c := v.Seen.Canes[0]
	nodes := append([]assess.Node{}, c.Nodes[1:]...) // the first is deleted
	body := fmt.Sprintf(`{"cane":1,"said":"correct","nodes":%s}`, toJSON(t, nodes))

	var p struct{ Cane *assess.Cane }
	r.post(address+"/preview", body, http.StatusOK, &p)
	if p.Cane == nil || len(p.Cane.Nodes) != len(c.Nodes)-1 || len(p.Cane.Internodes) == 0 || p.Cane.Finding == "" {
		t.Fatalf("preview %+v", p.Cane)
	}
	if all, err := r.store.Rulings(t.Context(), v.ID); err != nil || len(all) != 0 {
		t.Fatalf("a preview kept %d rulings, %v", len(all), err)
	}
	r.post(address+"/rulings", `{"after":0,"rulings":[`+body+`]}`, http.StatusCreated, &v)
	got := v.Confirmed[0]
	if len(got.Cane.Nodes) != len(c.Nodes)-1 || got.Seen.Nodes != len(c.Nodes) || got.Said != assess.Correct {
		t.Errorf("confirmed %d nodes, seen %d; want %d and %d", len(got.Cane.Nodes), got.Seen.Nodes, len(c.Nodes)-1, len(c.Nodes))
	}
	if got.Cane.Internodes[0].Length.Value == c.Internodes[0].Length.Value {
		t.Errorf("the first internode is still %v", got.Cane.Internodes[0].Length)
	}
	if len(v.Seen.Canes[0].Nodes) != len(c.Nodes) {
		t.Error("the measurement itself was changed")
	}
}

// A cane that was missed is followed from two taps, and counts once ruled on.
func TestMissedCane(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	var g struct {
		Trace int64
		Cane  assess.Cane
	}
	r.post(address+"/guide", `{"base":[700,800],"tip":[720,400]}`, http.StatusCreated, &g)
	if g.Cane.ID != 9 || g.Cane.Traced != "guided" {
		t.Fatalf("traced %+v", g.Cane)
	}
	r.get(address, http.StatusOK, &v)
	if len(v.Confirmed) != 0 {
		t.Fatal("a trace counts before anybody ruled")
	}
	nodes := fmt.Sprintf(`[{"px":[701,790],"along_mm":%f,"side":"unknown","confidence":1},{"px":[704,720],"along_mm":%f,"side":"unknown","confidence":1}]`, g.Cane.AlongMM[3], g.Cane.AlongMM[9])
	r.post(address+"/rulings", fmt.Sprintf(`{"after":0,"rulings":[{"cane":9,"said":"correct","trace":%d,"nodes":%s}]}`, g.Trace, nodes), http.StatusCreated, &v)
	if len(v.Confirmed) != 1 || !v.Confirmed[0].Added || len(v.Confirmed[0].Cane.Internodes) != 1 {
		t.Errorf("confirmed %+v", v.Confirmed)
	}
	r.post(address+"/guide", `{"base":[700,800],"tip":[700,800]}`, http.StatusUnprocessableEntity, nil)
}

// Who saves second sees what is there, and nothing is overwritten.
func TestRulingConflict(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d/rulings", v.ID)
	mine := `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`
	r.post(address, mine, http.StatusCreated, nil, "Idempotency-Key", "one")
	r.post(address, mine, http.StatusCreated, nil, "Idempotency-Key", "one")
	r.who = "Ben"
	var c struct {
		Code string
		Now  struct {
			Seq     int
			Rulings []assess.Ruling
		}
	}
	r.post(address, `{"after":0,"rulings":[{"cane":1,"said":"reject"}]}`, http.StatusConflict, &c)
	if c.Code != assess.EConflict || c.Now.Seq != 1 || len(c.Now.Rulings) != 1 || c.Now.Rulings[0].Who != "Ada" || c.Now.Rulings[0].When.IsZero() {
		t.Errorf("conflict %+v", c)
	}
	r.post(address, `{"after":1,"rulings":[{"cane":1,"said":"reject"}]}`, http.StatusCreated, &v)
	if len(v.Rulings) != 2 || len(v.Confirmed) != 0 {
		t.Errorf("%d rulings, %d confirmed; want both kept and the later one to count", len(v.Rulings), len(v.Confirmed))
	}
}

func TestBadRulings(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d/rulings", v.ID)
	for _, c := range []struct {
		name, body string
		status     int
	}{
		{"no cane of that number", `{"after":0,"rulings":[{"cane":99,"said":"agree"}]}`, 404},
		{"no such word", `{"after":0,"rulings":[{"cane":1,"said":"maybe"}]}`, 422},
		{"correction of nothing", `{"after":0,"rulings":[{"cane":1,"said":"correct"}]}`, 422},
		{"agreement that changes", `{"after":0,"rulings":[{"cane":1,"said":"agree","finding":"weak"}]}`, 422},
		{"node beyond the tip", `{"after":0,"rulings":[{"cane":1,"said":"correct","nodes":[{"px":[1,1],"along_mm":9999,"side":"left","confidence":1}]}]}`, 422},
		{"one bad of two", `{"after":0,"rulings":[{"cane":1,"said":"agree"},{"cane":99,"said":"agree"}]}`, 404},
		{"nothing", `{"after":0,"rulings":[]}`, 422},
		{"a field that isn't one", `{"after":0,"rulings":[{"cane":1,"said":"agree","who":"Eve"}]}`, 422},
		{"no JSON", `{`, 422},
		{"a trace that isn't there", `{"after":0,"rulings":[{"cane":9,"said":"correct","trace":5}]}`, 404},
	} {
		if got, text := r.do("POST", address, strings.NewReader(c.body)); got != c.status || !strings.Contains(text, `"message"`) {
			t.Errorf("%s: %d, want %d: %s", c.name, got, c.status, text)
		}
	}
	if all, err := r.store.Rulings(t.Context(), v.ID); err != nil || len(all) != 0 {
		t.Errorf("%d rulings kept of bad ones, %v", len(all), err)
	}
	r.who = ""
	var a errorAnswer
	r.post(address, `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusUnauthorized, &a)
	if a.Code != codeSignIn {
		t.Errorf("ruling of nobody: %+v", a)
	}
}

func TestChoice(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	r.post(address+"/choice", `{"after":0}`, http.StatusUnprocessableEntity, nil) // nothing confirmed
	var all []string
	for _, c := range v.Seen.Canes {
		all = append(all, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
	}
	r.post(address+"/rulings", `{"after":0,"rulings":[`+strings.Join(all, ",")+`]}`, http.StatusCreated, nil)

	var ch choiceView
	r.get(address+"/choice", http.StatusOK, &ch)
	total := len(ch.Choice.Spurs) + len(ch.Choice.Remove) + len(ch.Choice.Ask)
	for _, k := range ch.Choice.Keep {
		if k.Cane != 0 {
			total++
		}
	}
	if total != len(v.Seen.Canes) || !ch.Choice.Confirmed || ch.Unruled != 0 {
		t.Errorf("the choice places %d of %d canes: %+v", total, len(v.Seen.Canes), ch.Choice)
	}
	wished := ch.Choice.Remove[0].Cane
	wish := fmt.Sprintf(`{"wishes":{"keep":{"0":%d}},"buds":6,"after":0}`, wished)
	r.post(address+"/choice/preview", strings.Replace(wish, `,"after":0`, "", 1), http.StatusOK, &ch)
	if ch.Choice.Keep[0].Cane != wished || ch.Seq != 0 {
		t.Errorf("with the wish: %+v", ch.Choice.Keep)
	}
	r.post(address+"/choice", wish, http.StatusCreated, nil)
	var a errorAnswer
	r.post(address+"/choice", wish, http.StatusConflict, &a)
	page := r.get("/blocks/1/4/7", http.StatusOK, nil)
	for _, want := range []string{"Choice for this winter", "Confirmed by Ada", "Otherwise than suggested", fmt.Sprintf("Cane %d: lay on the wire", wished)} {
		if !strings.Contains(page, want) {
			t.Errorf("the vine's page lacks %q", want)
		}
	}
	r.get("/photos/1/choice", http.StatusOK, nil)
}

func toJSON(t testing.TB, v any) string {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// A line that ran along the wrong wood is pulled: the cane keeps its number and
// its pair of seen and said, and is judged by the new line.
func TestPulledLine(t *testing.T) {
	r := newRig(t)
	v := r.view()
	address := fmt.Sprintf("/api/measurements/%d", v.ID)
	var g struct {
		Trace int64
		Cane  assess.Cane
	}
	r.post(address+"/guide", `{"base":[700,800],"via":[[760,600]],"tip":[720,400]}`, http.StatusCreated, &g)
	if last := g.Cane.AlongMM[len(g.Cane.AlongMM)-1]; len(g.Cane.CentreLine) != 61 || last <= g.Cane.AlongMM[30] || g.Cane.CentreLine[30] != (assess.Point{760, 600}) {
		t.Fatalf("a line through one place has %d points and %v mm", len(g.Cane.CentreLine), last)
	}
	ruling := fmt.Sprintf(`{"cane":1,"said":"correct","trace":%d}`, g.Trace)
	var p struct{ Cane *assess.Cane }
	r.post(address+"/preview", ruling, http.StatusOK, &p)
	if p.Cane == nil || p.Cane.ID != 1 || len(p.Cane.CentreLine) != 61 {
		t.Fatalf("preview %+v", p.Cane)
	}
	r.post(address+"/rulings", `{"after":0,"rulings":[`+ruling+`]}`, http.StatusCreated, &v)
	c := v.Confirmed[0]
	if len(v.Confirmed) != 1 || c.Cane.ID != 1 || c.Added || len(c.Cane.CentreLine) != 61 || c.Seen.Finding != v.Seen.Canes[0].Finding || v.Rulings[0].Trace != g.Trace {
		t.Errorf("confirmed %+v", c)
	}
	if len(v.Seen.Canes[0].CentreLine) == 61 {
		t.Error("the measurement itself was changed")
	}
	// A later ruling names the line again, and puts a node on it.
	r.post(address+"/rulings", fmt.Sprintf(`{"after":1,"rulings":[{"cane":1,"said":"correct","trace":%d,"nodes":[{"px":[700,800],"along_mm":1,"side":"unknown","confidence":1},{"px":[760,600],"along_mm":%f,"side":"unknown","confidence":1}]}]}`, g.Trace, g.Cane.AlongMM[30]), http.StatusCreated, &v)
	if c = v.Confirmed[0]; len(c.Cane.Nodes) != 2 || len(c.Cane.CentreLine) != 61 || len(c.Cane.Internodes) != 1 {
		t.Errorf("with nodes: %d nodes, %d internodes", len(c.Cane.Nodes), len(c.Cane.Internodes))
	}
	// One that leaves it out goes back to the line that the program saw.
	r.post(address+"/rulings", `{"after":2,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, &v)
	if len(v.Confirmed[0].Cane.CentreLine) == 61 {
		t.Error("agreeing with the program kept the pulled line")
	}
	var many []string
	for i := range mostPulls + 1 {
		many = append(many, fmt.Sprintf("[%d,600]", 700+i))
	}
	r.post(address+"/guide", `{"base":[700,800],"via":[`+strings.Join(many, ",")+`],"tip":[720,400]}`, http.StatusUnprocessableEntity, nil)
}
