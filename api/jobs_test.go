package api

import (
	"archive/zip"
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/batch"
)

// newJob makes a job and gives its id.
func (r *rig) newJob() int64 {
	r.t.Helper()
	var v jobView
	r.post("/api/jobs", `{"name":"Season"}`, http.StatusCreated, &v)
	return v.ID
}

const jobEdge = "edgeofparts"

// sendJob sends one photo into a job and gives the status and the answer.
func (r *rig) sendJob(job int64, path string, data []byte) (int, string) {
	r.t.Helper()
	body := "--" + jobEdge + "\r\nContent-Disposition: form-data; name=\"path\"\r\n\r\n" + path + "\r\n--" + jobEdge +
		"\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a.jpg\"\r\n\r\n" + string(data) + "\r\n--" + jobEdge + "--\r\n"
	return r.do(http.MethodPost, fmt.Sprintf("/api/jobs/%d/photos", job), strings.NewReader(body), "Content-Type", "multipart/form-data; boundary="+jobEdge)
}

func (r *rig) sendZip(job int64, data []byte) (int, string) {
	r.t.Helper()
	body := "--" + jobEdge + "\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.zip\"\r\n\r\n" + string(data) + "\r\n--" + jobEdge + "--\r\n"
	return r.do(http.MethodPost, fmt.Sprintf("/api/jobs/%d/zip", job), strings.NewReader(body), "Content-Type", "multipart/form-data; boundary="+jobEdge)
}

// tailed is a photo with other bytes that the measurer doesn't know: it is
// refused, and each is a photo of its own.
func tailed(n int) []byte { return append(bytes.Clone(vineJPEG), fmt.Sprint(n)...) }

// until waits until a job is as wanted.
func (r *rig) until(at string, good func(jobView) bool) jobView {
	r.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		var v jobView
		r.get(at, http.StatusOK, &v)
		if good(v) {
			return v
		}
		if time.Now().After(deadline) {
			r.t.Fatalf("the job never came to what was waited for: %+v", v)
		}
	}
}

// A job is paused, the service stopped and started again, the job resumed: it
// goes on where it was, and measures nothing twice.
func TestJobPauseStopResume(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	gate := make(chan struct{})
	m := &keptMeasurer{gate: gate}
	r := rigOn(t, dir, m, Limits{Workers: 1})
	job := r.newJob()
	at := fmt.Sprintf("/api/jobs/%d", job)
	// Paused until all are there: a run looks for photos at its start.
	r.post(at, `{"do":"pause"}`, http.StatusOK, nil)
	for i := range 6 {
		if status, text := r.sendJob(job, fmt.Sprintf("North/North-1-%d.jpg", i+1), tailed(i)); status != http.StatusCreated {
			t.Fatalf("photo %d: %d %s", i, status, text)
		}
	}
	if status, _ := r.sendJob(job, "North/North-1-1.jpg", tailed(0)); status != http.StatusOK {
		t.Errorf("the same photo again: %d", status)
	}
	if status, _ := r.sendJob(job, "North/North-1-1.jpg", tailed(9)); status != http.StatusConflict {
		t.Errorf("another photo under the same name: %d", status)
	}
	r.post(at, `{"do":"resume"}`, http.StatusOK, nil)
	gate <- struct{}{}
	gate <- struct{}{}
	r.until(at, func(v jobView) bool { return v.Counts.Done() == 2 })
	var v jobView
	r.post(at, `{"do":"pause"}`, http.StatusOK, &v)
	v = r.until(at, func(v jobView) bool { return v.Doing == jobPaused })
	if v.Counts.Waiting != 4 {
		t.Errorf("paused with %+v", v)
	}
	r.stop()

	m2 := &keptMeasurer{}
	r = rigOn(t, dir, m2, Limits{Workers: 1})
	time.Sleep(50 * time.Millisecond)
	v = r.until(at, func(v jobView) bool { return v.Doing == jobPaused })
	if v.Counts.Waiting != 4 || len(m2.all()) != 0 {
		t.Errorf("after a restart: %+v, measured %d", v, len(m2.all()))
	}
	r.post(at, `{"do":"resume"}`, http.StatusOK, nil)
	v = r.written(job, 6)
	if len(m2.all()) != 4 || v.Written.Counts.Refused != 6 || v.Written.Unplaced != 0 {
		t.Errorf("resumed: measured %d, %+v", len(m2.all()), v.Written)
	}
	r.stop()

	// Started once more, nothing is to be done.
	m3 := &keptMeasurer{}
	r = rigOn(t, dir, m3, Limits{Workers: 1})
	r.written(job, 6)
	if len(m3.all()) != 0 {
		t.Errorf("a finished job was measured again: %d photos", len(m3.all()))
	}
}

// Names that would leave the job's folder, files that are no photos, zip files
// that aren't: all refused, and nothing is written outside.
func TestJobHostileNames(t *testing.T) {
	r := newRig(t)
	job := r.newJob()
	for _, c := range []struct {
		path   string
		status int
		lands  string
	}{
		{"../../../etc/passwd.jpg", http.StatusUnprocessableEntity, ""},
		{`..\..\x.jpg`, http.StatusUnprocessableEntity, ""},
		{"/abs/North-1-1.jpg", http.StatusCreated, "abs/North-1-1.jpg"},
		{".hidden.jpg", http.StatusUnprocessableEntity, ""},
		{"a/.git/x.jpg", http.StatusUnprocessableEntity, ""},
		{"a.exe", http.StatusUnprocessableEntity, ""},
		{"", http.StatusUnprocessableEntity, ""},
		{strings.Repeat("d/", 20) + "x.jpg", http.StatusUnprocessableEntity, ""},
		{"a\x00b\n.jpg", http.StatusCreated, "ab.jpg"},
	} {
		status, text := r.sendJob(job, c.path, vineJPEG)
		if status != c.status {
			t.Errorf("%q: %d, want %d: %s", c.path, status, c.status, text)
		}
		if c.lands != "" {
			if _, err := os.Stat(filepath.Join(r.store.JobFolder(job), jobPhotos, c.lands)); err != nil {
				t.Errorf("%q was to land at %s: %v", c.path, c.lands, err)
			}
		}
	}
	var z bytes.Buffer
	w := zip.NewWriter(&z)
	for _, name := range []string{"../../out.jpg", "in.jpg", "deep/er.JPG", "readme.txt", "__MACOSX/._in.jpg"} {
		e, err := w.Create(name)
		if err == nil {
			_, err = e.Write(append(bytes.Clone(vineJPEG), name...))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	status, text := r.sendZip(job, z.Bytes())
	if status != http.StatusCreated || !strings.Contains(text, `"photos":2`) || !strings.Contains(text, `"others":3`) {
		t.Errorf("zip file: %d %s", status, text)
	}
	if status, _ := r.sendZip(job, []byte("no zip")); status != http.StatusUnprocessableEntity {
		t.Errorf("no zip file: %d", status)
	}
	if status, _ := r.sendZip(job, z.Bytes()[:z.Len()/2]); status != http.StatusUnprocessableEntity {
		t.Errorf("half a zip file: %d", status)
	}
	root := filepath.Dir(filepath.Dir(r.store.JobFolder(job)))
	err := filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err == nil && strings.HasPrefix(d.Name(), "out") {
			t.Errorf("written outside: %s", path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"job.db", "..%2Fjob.db", "job.lock", ".new", "none.csv"} {
		if status, _ := r.do(http.MethodGet, fmt.Sprintf("/api/jobs/%d/files/%s", job, name), nil); status != http.StatusNotFound {
			t.Errorf("file %s: %d", name, status)
		}
	}
	for _, path := range []string{"../results/job.db", "none.jpg", ""} {
		if status, _ := r.do(http.MethodGet, fmt.Sprintf("/jobs/%d/picture/medium.jpg?path=%s", job, path), nil); status != http.StatusNotFound && status != http.StatusUnprocessableEntity {
			t.Errorf("picture of %q: %d", path, status)
		}
	}
}

// A zip entry that unpacks to more than a photo may have is left out, and what
// it unpacked isn't kept.
func TestJobZipBomb(t *testing.T) {
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{UploadBytes: 1 << 20})
	job := r.newJob()
	var z bytes.Buffer
	w := zip.NewWriter(&z)
	e, err := w.Create("bomb.jpg")
	if err == nil {
		_, err = e.Write(make([]byte, 64<<20))
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	if z.Len() > 1<<20 {
		t.Fatalf("the zip file has %d bytes", z.Len())
	}
	status, text := r.sendZip(job, z.Bytes())
	if status != http.StatusCreated || !strings.Contains(text, `"photos":0`) || !strings.Contains(text, "larger than 1 MB") {
		t.Errorf("%d %s", status, text)
	}
	left, err := filepath.Glob(filepath.Join(r.store.JobFolder(job), jobPhotos, "*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// A zip file whose entries each keep to the bound of one photo and together
// would fill the disk is given up soon.
func TestJobZipOfManyBombs(t *testing.T) {
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{UploadBytes: 32 << 20})
	job := r.newJob()
	nothing := string(make([]byte, 16<<20))
	var entries [][2]string
	for i := range 12 {
		entries = append(entries, [2]string{fmt.Sprintf("%d.jpg", i), nothing})
	}
	if status, text := r.sendZip(job, zipped(t, zip.Deflate, entries...)); status != http.StatusRequestEntityTooLarge || !strings.Contains(text, "far more than photos do") {
		t.Errorf("%d %s", status, text)
	}
	left, err := filepath.Glob(filepath.Join(r.store.JobFolder(job), jobPhotos, "*.jpg"))
	if err != nil || len(left) > 5 {
		t.Errorf("%d entries were unpacked, %v", len(left), err)
	}
}

// A photo of a vine that somebody waits for comes before the job's.
func TestJobGivesWay(t *testing.T) {
	gate := make(chan struct{})
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{gate: gate}, Limits{Workers: 1})
	st := r.send(r.block(), vineJPEG, http.StatusCreated)
	job := r.newJob()
	r.sendJob(job, "North-1-1.jpg", tailed(1))
	time.Sleep(30 * time.Millisecond)
	if n := len(r.measurer.all()); n > 1 {
		t.Errorf("%d measurements at once, with one vine waiting", n)
	}
	close(gate)
	if got := r.measured(st.ID); got.State != stateMeasured {
		t.Errorf("the vine's photo is %s", got.State)
	}
	r.written(job, 1)
}

func TestJobSettings(t *testing.T) {
	r := newRig(t)
	job := r.newJob()
	at := fmt.Sprintf("/api/jobs/%d", job)
	for _, bad := range []string{
		`{"do":"explode"}`, `{"pattern":"{row}"}`, `{"check":0.9}`, `{"lists":{"other.csv":"x"}}`, `{"lists":{"vines.csv":"a,b"}}`, `{"lists":{"walk.csv":"time,block,row,vine\nnoon,a,1,1"}}`,
	} {
		r.post(at, bad, http.StatusUnprocessableEntity, nil)
	}
	var v jobView
	r.post(at, `{"pattern":"v{vine}r{row}","check":0.1,"lists":{"vines.csv":"photo,block,row,vine\nIMG_1.jpg,Mill,2,3\n"}}`, http.StatusOK, &v)
	if v.Pattern != "v{vine}r{row}" || v.Check != 0.1 || len(v.Lists) != 1 {
		t.Errorf("%+v", v)
	}
	r.sendJob(job, "IMG_1.jpg", tailed(1))
	r.sendJob(job, "v7r4.jpg", tailed(2))
	r.written(job, 2)
	var out []batch.Outcome
	r.get(at+"/photos", http.StatusOK, &out)
	if len(out) != 2 || out[0].Place.Vine != 3 || out[0].Place.By != "list" || out[1].Place.Vine != 7 || out[1].Place.Row != 4 {
		t.Errorf("%+v", out)
	}
	r.post(at, `{"lists":{"vines.csv":""}}`, http.StatusOK, &v)
	if len(v.Lists) != 0 {
		t.Errorf("a list that was taken away: %v", v.Lists)
	}
}

// Where the service drops what cameras write beside the pixels, photos of jobs
// are kept without it too.
func TestJobDropsNotes(t *testing.T) {
	r := newRig(t)
	r.server.dropNotes = true
	job := r.newJob()
	noted := append([]byte{0xff, 0xd8, 0xff, 0xfe, 0, 14}, "owner: Ada W"...)
	noted = append(noted, vineJPEG[2:]...)
	if status, text := r.sendJob(job, "North-1-1.jpg", noted); status != http.StatusCreated {
		t.Fatalf("%d %s", status, text)
	}
	kept, err := os.ReadFile(filepath.Join(r.store.JobFolder(job), jobPhotos, "North-1-1.jpg"))
	if err != nil || len(kept) < 1000 || bytes.Contains(kept, []byte("owner: Ada")) {
		t.Errorf("kept %d bytes with the note, %v", len(kept), err)
	}
	if status, _ := r.sendJob(job, "x.jpg", []byte("no photo")); status != http.StatusUnprocessableEntity {
		t.Errorf("what can't be made bare: %d", status)
	}
}

// Only who may delete takes a job away; a researcher may not, and somebody of
// another estate doesn't see that there is one.
func TestJobWhoTakesItAway(t *testing.T) {
	r := newRig(t)
	job := r.newJob()
	at := fmt.Sprintf("/api/jobs/%d", job)
	r.role = Researcher
	r.who = "Rita"
	if status, _ := r.do(http.MethodDelete, at, nil); status != http.StatusForbidden {
		t.Errorf("a researcher: %d", status)
	}
	if status, _ := r.sendJob(job, "North-1-1.jpg", tailed(1)); status != http.StatusCreated {
		t.Errorf("a researcher sends a photo: %d", status)
	}
	r.written(job, 1)
	other, err := r.store.AddEstate(t.Context(), "Other estate")
	if err != nil {
		t.Fatal(err)
	}
	outsider(t, r, "outsider", other.ID)
	r.who = "outsider"
	if status, _ := r.do(http.MethodDelete, at, nil); status != http.StatusNotFound {
		t.Errorf("another estate's manager: %d", status)
	}
	r.who, r.role = "Ada", Manager
	if status, text := r.do(http.MethodDelete, at, nil); status != http.StatusNoContent {
		t.Errorf("the manager: %d %s", status, text)
	}
	r.get(at, http.StatusNotFound, nil)
}

// A job's canes are judged by a rule set of the estate; changing it judges anew
// and measures nothing again.
func TestJobRuleSet(t *testing.T) {
	r := newRig(t)
	block := r.block()
	var rules rulesView
	r.get(fmt.Sprintf("/api/blocks/%d/rules", block), http.StatusOK, &rules)
	rs := rules.Rules
	rs.Name, rs.Weak.Limit = "thick-only", 12.5
	r.post(fmt.Sprintf("/api/blocks/%d/rules", block), changeOf(t, rules, rs, rules.Present), http.StatusOK, nil)
	job := r.newJob()
	at := fmt.Sprintf("/api/jobs/%d", job)
	r.sendJob(job, "North-1-1.jpg", vineJPEG)
	r.written(job, 1)
	measured := len(r.measurer.all())
	weak := func() int { return strings.Count(r.get(at+"/files/canes.csv", http.StatusOK, nil), ",weak,") }
	before := weak()
	r.post(at, `{"rule_set":"none@1"}`, http.StatusNotFound, nil)
	r.post(at, `{"rule_set":"thick-only@1"}`, http.StatusOK, nil)
	for deadline := time.Now().Add(20 * time.Second); !strings.Contains(r.get(at+"/files/canes.csv", http.StatusOK, nil), "thick-only@1"); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the tables aren't judged by the new rule set")
		}
	}
	if after := weak(); after <= before {
		t.Errorf("%d weak canes below 12.5 mm, %d below 6 mm", after, before)
	}
	if n := len(r.measurer.all()); n != measured {
		t.Errorf("measured %d times more", n-measured)
	}
}

// Two photos that come at once under one path: one is kept, the other is told
// that there is another, whichever comes first; none takes the other's place.
func TestJobTwoAtOnceUnderOnePath(t *testing.T) {
	r := newRig(t)
	job := r.newJob()
	for round := range 20 {
		path := fmt.Sprintf("North-1-%d.jpg", round+1)
		var fresh [2]bool
		var errs [2]error
		var both sync.WaitGroup
		for i := range 2 {
			both.Go(func() {
				fresh[i], errs[i] = r.server.place(t.Context(), job, path, bytes.NewReader(tailed(2*round+i)))
			})
		}
		both.Wait()
		kept, err := os.ReadFile(filepath.Join(r.server.store.JobFolder(job), jobPhotos, path))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 2 {
			if mine := bytes.Equal(kept, tailed(2*round+i)); mine != fresh[i] || mine != (errs[i] == nil) || !mine && assess.ErrorCode(errs[i]) != assess.EConflict {
				t.Errorf("%s, sender %d: kept %v, told %v, %v", path, i, mine, fresh[i], errs[i])
			}
		}
	}
}

// Why a photo failed is told in the language of who asks, with its numbers in
// their places, also after a restart; a job of an older version shows it as it
// was kept.
func TestJobTellsWhy(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	m := &keptMeasurer{err: assess.Errorf(assess.ETooLarge, "the picture has %d x %d pixels, more than the limit of %d million: make it smaller first", 12000, 9000, 64)}
	r := rigOn(t, dir, m, Limits{})
	job := r.newJob()
	at := fmt.Sprintf("/api/jobs/%d", job)
	if status, text := r.sendJob(job, "North-1-1.jpg", tailed(1)); status != http.StatusCreated {
		t.Fatal(status, text)
	}
	r.post(at, `{"do":"resume"}`, http.StatusOK, nil)
	r.until(at, func(v jobView) bool { return v.Counts.Failed == 1 })
	told := func(language string) outcomeLine {
		t.Helper()
		var lines []outcomeLine
		if text := bodyOf(t, r.ask(at+"/photos", language)); json.Unmarshal([]byte(text), &lines) != nil || len(lines) != 1 {
			t.Fatal(text)
		}
		return lines[0]
	}
	const english = "the picture has 12000 x 9000 pixels, more than the limit of 64 million: make it smaller first"
	check := func(when string) {
		t.Helper()
		for language, want := range map[string]string{"en": english, "de": "das Bild hat 12000 x 9000 Pixel, mehr als die Grenze von 64 Millionen: Verkleinern Sie es erst"} {
			if l := told(language); l.Told != want || l.Reason != english {
				t.Errorf("%s, in %s: %q, in English %q", when, language, l.Told, l.Reason)
			}
		}
	}
	check("measured just now")
	r.stop()
	r = rigOn(t, dir, m, Limits{})
	check("after a restart")
	r.stop()

	files, err := filepath.Glob(filepath.Join(r.store.JobFolder(job), jobResults, "job.db"))
	if len(files) != 1 {
		t.Fatal(files, err)
	}
	db, err := sql.Open("sqlite", files[0])
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`UPDATE results SET phrase = ''`); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	r = rigOn(t, dir, m, Limits{})
	if l := told("de"); l.Told != english {
		t.Errorf("of an older version: %q", l.Told)
	}
}
