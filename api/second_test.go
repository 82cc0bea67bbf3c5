package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"nodespan/assess"
)

// aside is a photo of the same picture with other bytes.
func aside(name string) []byte { return append(append([]byte{}, vineJPEG...), name...) }

// second sends a second photo for photo 1 and wants a status.
func (r *rig) second(data []byte, status int, header ...string) photoState {
	r.t.Helper()
	got, text := r.sendTo("/api/photos/1/second", data, header...)
	var st photoState
	if status < 300 {
		r.check("second photo", got, status, text, &st)
	} else if got != status {
		r.t.Fatalf("second photo: status %d, want %d: %s", got, status, text)
	}
	return st
}

func (r *rig) viewOf(photo int64) measurementView {
	r.t.Helper()
	st := r.measured(photo)
	var v measurementView
	r.get(fmt.Sprintf("/api/measurements/%d", st.Measurement), http.StatusOK, &v)
	return v
}

// Where a cane is in doubt by its depth alone, a second photo is offered; with
// it the vine is measured anew, and what was said stays.
func TestSecondStance(t *testing.T) {
	r := newRig(t)
	v := r.view()
	// Cane 5, 14.1 mm (12.8 to 15.3), lies about the limit of 13 mm by its depth
	// alone.
	if h := v.Second.Helps; !v.Second.Takes || len(h) != 1 || h[0].Cane != 5 || !h[0].Settles || h[0].Diameter.Low <= 13 {
		t.Errorf("a second photo would help: %+v", v.Second)
	}
	page := r.get(v.Second.Page, http.StatusOK, nil)
	if !strings.Contains(page, `data-upload="/api/photos/1/second"`) || !strings.Contains(page, `<h2>A second photo</h2>`) {
		t.Errorf("the page to add it: %.300s", page)
	}
	r.get("/blocks/1/4/8/photo?second=1", http.StatusNotFound, nil) // another vine's
	r.get("/blocks/1/4/7/photo?second=77", http.StatusNotFound, nil)

	// Said before: of canes 1 and 5 agreed, 2 measured by hand, 3 pulled, 9 pointed
	// out.
	var g, pulled struct{ Trace int64 }
	first := fmt.Sprintf("/api/measurements/%d", v.ID)
	r.post(first+"/guide", `{"base":[700,800],"tip":[720,400]}`, http.StatusCreated, &g)
	r.post(first+"/guide", `{"base":[400,800],"tip":[420,400]}`, http.StatusCreated, &pulled)
	r.post(first+"/rulings", fmt.Sprintf(`{"after":0,"rulings":[{"cane":1,"said":"agree"},{"cane":5,"said":"agree"},{"cane":2,"said":"correct","diameter_mm_by_hand":9.1},{"cane":9,"said":"correct","trace":%d},{"cane":3,"said":"correct","trace":%d}]}`, g.Trace, pulled.Trace), http.StatusCreated, nil)

	r.second(vineJPEG, http.StatusUnprocessableEntity)
	st := r.second(aside("left"), http.StatusCreated, "Idempotency-Key", "k")
	if st.SecondOf != 1 || st.Page != "/photos/1" || st.ID == 1 {
		t.Errorf("answer %+v", st)
	}
	again := r.second(aside("left"), http.StatusOK, "Idempotency-Key", "k")
	if again.ID != st.ID {
		t.Errorf("sent again: %+v", again)
	}
	now := r.viewOf(1)
	if now.ID == v.ID || now.Seen.With == "" || !now.Second.Used || now.Second.Takes || len(now.Second.Depths) != 8 {
		t.Fatalf("with two: %+v", now.Second)
	}
	if d := now.Second.Depths; d[0].Say.String() != "Stands 29 mm nearer to you than the card hangs (13 to 45)." || !strings.Contains(d[7].Say.String(), "from the first alone") {
		t.Errorf("depths %+v", d)
	}
	if string(r.measurer.last().With) != string(aside("left")) {
		t.Error("measured with another photo")
	}
	// Cane 5 is called now, so that agreeing with "too close to call" is open
	// again, and said; the rest came over.
	if now.Seen.Canes[4].Finding == assess.TooCloseToCall || len(now.Rulings) != 4 || len(now.Confirmed) != 4 || now.Rulings[0].Who != "Ada" {
		t.Errorf("cane 5 is %s; rulings %+v", now.Seen.Canes[4].Finding, now.Rulings)
	}
	if e := now.Second.Earlier; len(e) != 1 || e[0].Cane != 5 || e[0].Finding != assess.TooCloseToCall || e[0].Who != "Ada" {
		t.Errorf("what has to be said anew: %+v", e)
	}
	if c := now.Confirmed[1]; c.Cane.ID != 2 || !c.ByHand || c.Cane.Diameter.Value != 9.1 {
		t.Errorf("by hand: %+v", c)
	}
	if c := now.Confirmed[3]; c.Cane.ID != 9 || !c.Added {
		t.Errorf("pointed out: %+v", c)
	}
	// The line that was pulled can be meant again.
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", now.ID), fmt.Sprintf(`{"after":4,"rulings":[{"cane":3,"said":"correct","trace":%d,"note":"by the post"}]}`, pulled.Trace), http.StatusCreated, &now)

	// One vine, one photo: nothing is asked twice.
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); strings.Count(page, "measured from two photos") != 1 {
		t.Error("the vine's page doesn't say that two photos were used")
	}
	if got, _ := r.do(http.MethodGet, fmt.Sprintf("/photos/%d", st.ID), nil); got != http.StatusSeeOther {
		t.Errorf("the second photo's page: %d, want the first's", got)
	}
	r.get(fmt.Sprintf("/photos/%d/picture/medium.jpg", st.ID), http.StatusOK, nil)
}

// A second photo that is of no use takes nothing away, and says why.
func TestSecondStanceUnused(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.second(aside("near"), http.StatusCreated)
	now := r.viewOf(1)
	if now.ID == v.ID || now.Second.Used || !now.Second.Takes || now.Second.Why == nil || !strings.Contains(now.Second.Why.String(), "nearly the same place") {
		t.Errorf("of the same place: %+v", now.Second)
	}
	// It can't be measured: what was measured stays.
	r.measurer.err = assess.Errorf(assess.EInvalid, "the second photo: it is damaged.")
	r.second(aside("broken"), http.StatusCreated)
	st := r.measured(1)
	if st.State != stateMeasured || st.Measurement != now.ID || st.Message == "" {
		t.Fatalf("after a fault: %+v", st)
	}
	r.measurer.err = nil
	if now = r.viewOf(1); now.Second.Why == nil || !strings.Contains(now.Second.Why.String(), "damaged") || !now.Second.Takes {
		t.Errorf("after a fault: %+v", now.Second)
	}
	r.get("/photos/1", http.StatusOK, nil)
	r.second(aside("left"), http.StatusCreated)
	if now = r.viewOf(1); !now.Second.Used || now.Second.Why != nil {
		t.Errorf("the third try: %+v", now.Second)
	}
	// A photo without a scale takes none.
	bad := r.measured(r.send(1, pngOf(t, 900, 700), http.StatusCreated).ID)
	if got, text := r.sendTo(fmt.Sprintf("/api/photos/%d/second", bad.ID), aside("x")); got != http.StatusUnprocessableEntity {
		t.Errorf("second of a refused photo: %d %s", got, text)
	}
}

// While the first is being measured the second is told to come back, and what
// a stop left undone is measured with both after the next start.
func TestSecondStanceWaits(t *testing.T) {
	r := newRig(t)
	r.view()
	r.measurer.gate = make(chan struct{})
	r.second(aside("left"), http.StatusCreated)
	r.second(aside("right"), http.StatusServiceUnavailable)
	close(r.measurer.gate)
	if v := r.viewOf(1); !v.Second.Used {
		t.Errorf("%+v", v.Second)
	}
	r.second(aside("right"), http.StatusCreated)
	if v := r.viewOf(1); !v.Second.Used || string(r.measurer.last().With) != string(aside("right")) {
		t.Errorf("a better second photo isn't used: %+v", v.Second)
	}
}

// What was chosen, and what still waits, is the same after a second photo: the
// choice stands on the vine's page with its photo, and a cane that was pointed
// out isn't taken for one of the program's that somebody ruled on.
func TestSecondStanceAfterTheChoice(t *testing.T) {
	r := newRig(t)
	v := r.view()
	first := fmt.Sprintf("/api/measurements/%d", v.ID)
	var g struct{ Trace int64 }
	r.post(first+"/guide", `{"base":[700,800],"tip":[720,400]}`, http.StatusCreated, &g)
	said := []string{fmt.Sprintf(`{"cane":9,"said":"correct","trace":%d}`, g.Trace)}
	for cane := 1; cane <= 7; cane++ {
		said = append(said, fmt.Sprintf(`{"cane":%d,"said":"correct","finding":"sound"}`, cane))
	}
	r.post(first+"/rulings", `{"after":0,"rulings":[`+strings.Join(said, ",")+`]}`, http.StatusCreated, nil)
	r.post(first+"/choice", `{"wishes":{},"buds":6,"after":0}`, http.StatusCreated, nil)
	waits := func() int {
		_, n, err := r.store.Waiting(t.Context(), 1, 10)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if n := waits(); n != 1 {
		t.Fatalf("%d photos wait with one cane of eight unruled, want 1", n)
	}
	r.second(aside("left"), http.StatusCreated)
	now := r.viewOf(1)
	if len(now.Rulings) != 8 {
		t.Fatalf("%d rulings came over, want 8", len(now.Rulings))
	}
	if n := waits(); n != 1 {
		t.Errorf("%d photos wait with two stances, want 1 as before", n)
	}
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); !containsAll(page, "Choice for this winter", "Confirmed by Ada", `href="/photos/1/choice"`) {
		t.Error("the choice lost its photo")
	}
	var ch choiceView
	r.get(fmt.Sprintf("/api/measurements/%d/choice", now.ID), http.StatusOK, &ch)
	if ch.Buds != 6 || ch.Seq != 1 {
		t.Errorf("the choice starts anew: %d buds, seq %d", ch.Buds, ch.Seq)
	}
}
