package api

import (
	"bytes"
	"fmt"
	"net/http"
	"path/filepath"
	"testing"

	"nodespan/assess"
	"nodespan/assess/batch"
)

// Two stances of a vine that a job was sent are measured together, once, also
// over a restart; a place given by hand pairs them as their names do; asked to,
// the job measures each by itself.
func TestJobMeasuresTwoStancesTogether(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	m := &keptMeasurer{alike: true}
	r := rigOn(t, dir, m, Limits{Workers: 2})
	var v jobView
	r.post("/api/jobs", `{"name":"Season","check":0.1}`, http.StatusCreated, &v)
	at, job := v.Page, v.ID
	if v.Alone {
		t.Error("a new job measures photos by themselves")
	}
	at = "/api" + at
	for i, name := range []string{"North-1-1-left.jpg", "North-1-1-right.jpg", "IMG_1.jpg"} {
		if status, text := r.sendJob(job, name, tailed(i)); status != http.StatusCreated {
			t.Fatalf("%s: %d %s", name, status, text)
		}
	}
	r.written(job, 3)
	pairs := func(asks []assess.Ask) (n int) {
		for _, a := range asks {
			if a.With != nil {
				n++
			}
		}
		return n
	}
	var of []batch.Outcome // as last asked for
	outcome := func(path string) batch.Outcome {
		t.Helper()
		of = nil // else what is left out would stay
		r.get(at+"/photos", http.StatusOK, &of)
		for _, o := range of {
			if o.Path == path {
				return o
			}
		}
		t.Fatalf("no outcome of %s", path)
		return batch.Outcome{}
	}
	if o := outcome("North-1-1-left.jpg"); o.With != "North-1-1-right.jpg" || o.Outcome != "measured" {
		t.Errorf("%+v", o)
	}
	// What came while the right one was the only one of them known may have been
	// measured by itself first; together they are measured once.
	if n := pairs(m.all()); n != 1 {
		t.Errorf("measured together %d times", n)
	}
	for _, a := range m.all() {
		if a.With != nil && !bytes.Equal(a.With, tailed(1)) {
			t.Error("another photo than the right one was the second")
		}
	}
	var s sampleView
	r.get(at+"/sample", http.StatusOK, &s)
	drawn := func(path string) (d batch.Drawn) {
		for _, c := range s.Canes {
			if c.Photo == path {
				return c
			}
		}
		return d
	}
	if drawn("North-1-1-right.jpg").Cane != 0 || drawn("North-1-1-left.jpg").With == "" {
		t.Errorf("drawn: %+v", s.Canes)
	}
	d := drawn("North-1-1-left.jpg")
	r.post(at+"/checks", fmt.Sprintf(`{"sha256":%q,"with_sha256":%q,"cane":%d,"said":"reject"}`, d.SHA256, d.With, d.Cane), http.StatusNoContent, nil)
	s = sampleView{}
	r.get(at+"/sample", http.StatusOK, &s)
	if s.Rate.Checked != 1 {
		t.Errorf("checked: %+v", s.Rate)
	}
	r.written(job, 3)
	before := len(m.all())
	r.stop()

	m = &keptMeasurer{alike: true}
	r = rigOn(t, dir, m, Limits{Workers: 2})
	r.written(job, 3)
	if len(m.all()) != 0 {
		t.Errorf("measured again after a restart: %d, before %d", len(m.all()), before)
	}
	r.post(at+"/places", `{"path":"IMG_1.jpg","block":"North","row":1,"vine":1,"stance":"back"}`, http.StatusNoContent, nil)
	r.until(at, func(jobView) bool { return outcome("IMG_1.jpg").With != "" })
	r.written(job, 3)
	if o := outcome("IMG_1.jpg"); o.With != "North-1-1-left.jpg" || outcome("North-1-1-left.jpg").With != "" {
		t.Errorf("placed by hand before the two others: %+v", of)
	}
	r.post(at, `{"alone":true}`, http.StatusOK, &v)
	r.until(at, func(v jobView) bool {
		return v.Alone && v.Doing == jobIdle && outcome("IMG_1.jpg").With == "" && outcome("IMG_1.jpg").Outcome == "measured"
	})
}
