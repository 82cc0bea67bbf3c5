package batch

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/xuri/excelize/v2"

	"nodespan/assess"
)

func write(t testing.TB, dir, name, content string) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
		t.Fatal(err)
	}
}

// fillSeason fills a folder with photos: good, refused, broken, doubled, unnamed.
func fillSeason(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for _, block := range []string{"North", "South"} {
		for vine := range 6 {
			for _, stance := range []string{"a", "b"} {
				write(t, dir, fmt.Sprintf("%s/%s-1-%d-%s.jpg", block, block, vine+1, stance), fmt.Sprint("photo ", block, vine, stance))
			}
		}
	}
	write(t, dir, "North/North-2-1-a.jpg", "photo North0a") // the same bytes as another
	write(t, dir, "North/North-2-2.jpg", "refused: no card")
	write(t, dir, "IMG_0001.JPG", "photo of an unknown vine")
	write(t, dir, "broken.png", "broken")
	write(t, dir, "South/South-3-1.jpg", "panic")
	write(t, dir, "South/empty.jpg", "")
	write(t, dir, "notes.txt", "not a photo")
	write(t, dir, ".hidden/x.jpg", "photo that isn't looked for")
	write(t, dir, "=SUM(A1).jpg", "photo with a formula for a name")
	return dir
}

func open(t testing.TB, dir string) *Job {
	t.Helper()
	j, err := Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j
}

func matcher(t testing.TB) *Matcher {
	t.Helper()
	p, err := ParsePattern(DefaultPattern)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := ReadPlan(strings.NewReader("block,row,vine,treatment\nNorth,,,late\nNorth,1,3,early\nSouth,,,early\n"), "plan.csv")
	if err != nil {
		t.Fatal(err)
	}
	return &Matcher{Name: p, Plan: plan, Winter: "2026/27"}
}

// measureAll runs a job to its end and writes everything.
func measureAll(t testing.TB, photos, out string, m assess.Measurer, workers int) (Ran, Written) {
	t.Helper()
	j := open(t, out)
	f, err := j.Find(t.Context(), photos, false)
	if err != nil {
		t.Fatal(err)
	}
	ran, err := j.Run(t.Context(), Options{Photos: photos, Measurer: m, Program: "p1", Workers: workers, Match: matcher(t)})
	if err != nil {
		t.Fatal(err)
	}
	w, err := j.Write(t.Context(), Output{Folder: out, Photos: photos, Program: "p1", Version: "test", Rules: assess.DefaultRuleSet(), Match: matcher(t), Check: Check{Within: 0.1}, Ran: ran, Found: f})
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	return ran, w
}

// The same photos give the same bytes in every file but run.json, with one
// worker or with seven, on another day and in another folder.
func TestSameBytesWhateverTheWorkers(t *testing.T) {
	photos := fillSeason(t)
	var first map[string][]byte
	for i, workers := range []int{1, 7, 3} {
		out := t.TempDir()
		_, w := measureAll(t, photos, out, &keptMeasurer{slow: true}, workers)
		files := map[string][]byte{}
		for _, f := range w.Files {
			data, err := os.ReadFile(filepath.Join(out, f.Name))
			if err != nil {
				t.Fatal(err)
			}
			files[f.Name] = data
			if got := fmt.Sprintf("%x", sha256.Sum256(data)); f.Name != RunFile && got != f.SHA256 {
				t.Errorf("%s: told %s, is %s", f.Name, f.SHA256, got)
			}
		}
		if i == 0 {
			first = files
			if len(first) < 14 {
				t.Errorf("only %d files: %v", len(first), sortedKeys(first))
			}
			continue
		}
		for name := range first {
			if name != RunFile && !bytes.Equal(first[name], files[name]) {
				t.Errorf("%s differs between 1 and %d workers", name, workers)
			}
		}
	}
}

// Every photo is a row, whatever became of it, and the tables agree.
func TestTables(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	if want := (Counts{Photos: 31, Measured: 27, Refused: 1, Failed: 3}); w.Counts != want {
		t.Errorf("counts %+v, want %+v", w.Counts, want)
	}
	rows := readCSV(t, filepath.Join(out, "photos.csv"))
	at := func(table [][]string, column string) int { return slices.Index(table[0], column) }
	byPhoto := map[string]map[string]string{}
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range r {
			m[rows[0][i]] = c
		}
		byPhoto[m["photo"]] = m
	}
	for _, c := range []struct{ photo, column, want string }{
		{"North/North-1-3-b.jpg", "vine", "3"},
		{"North/North-1-3-b.jpg", "stance", "b"},
		{"North/North-1-3-b.jpg", "treatment", "early"},
		{"North/North-1-2-b.jpg", "treatment", "late"},
		{"North/North-1-3-b.jpg", "placed_by", "name"},
		{"North/North-1-3-b.jpg", "outcome", "measured"},
		{"North/North-2-1-a.jpg", "same_photo_as", "North/North-1-1-a.jpg"},
		{"North/North-2-2.jpg", "outcome", "refused"},
		{"North/North-2-2.jpg", "reasons", "no_reference"},
		{"North/North-2-2.jpg", "canes", ""},
		{"broken.png", "outcome", "failed"},
		{"broken.png", "failure", "This file is no photo that can be read."},
		{"South/South-3-1.jpg", "failure", "Fault in the program: the measuring panicked: a fault in a codec"},
		{"South/empty.jpg", "failure", "The file is empty. Copy it anew from the camera."},
		{"IMG_0001.JPG", "placed_by", ""},
		{"'=SUM(A1).jpg", "outcome", "measured"},
	} {
		if got := byPhoto[c.photo][c.column]; got != c.want {
			t.Errorf("%s of %s is %q, want %q", c.column, c.photo, got, c.want)
		}
	}
	if len(byPhoto) != 31 {
		t.Errorf("%d photos in the table, want 31", len(byPhoto))
	}
	canes := readCSV(t, filepath.Join(out, "canes.csv"))
	if len(canes)-1 != w.Canes {
		t.Errorf("%d canes in the table, want %d", len(canes)-1, w.Canes)
	}
	d := at(canes, "diameter_mm")
	for _, r := range canes[1:] {
		var v float64
		if _, err := fmt.Sscan(r[d], &v); err != nil || v < 4 || v > 11 {
			t.Errorf("diameter %q", r[d])
		}
	}
	// The same rows in every form.
	pq, err := parquet.ReadFile[CaneRow](filepath.Join(out, "canes.parquet"))
	if err != nil || len(pq) != w.Canes {
		t.Fatalf("parquet has %d canes, %v; want %d", len(pq), err, w.Canes)
	}
	book, err := excelize.OpenFile(filepath.Join(out, "tables.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	defer book.Close()
	if got := book.GetSheetList(); !slices.Equal(got, []string{"photos", "canes", "internodes"}) {
		t.Errorf("sheets %v", got)
	}
	sheet, err := book.GetRows("canes")
	if err != nil || len(sheet) != len(canes) {
		t.Fatalf("the sheet has %d rows, %v; want %d", len(sheet), err, len(canes))
	}
	for i := range pq {
		if got := cell(*pq[i].Diameter); got != canes[i+1][d] || sheet[i+1][d] != got || pq[i].Photo != strings.TrimPrefix(canes[i+1][0], "'") {
			t.Fatalf("row %d: parquet %s, CSV %s, sheet %s", i, got, canes[i+1][d], sheet[i+1][d])
		}
	}
	// JSON lines read back by the contract, and the name is the path.
	data, err := os.ReadFile(filepath.Join(out, "measurements.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	got := 0
	for line := range strings.Lines(string(data)) {
		m := new(assess.Measurement)
		if err := json.Unmarshal([]byte(line), m); err != nil {
			t.Fatal(err)
		}
		if byPhoto[m.Photo] == nil && byPhoto["'"+m.Photo] == nil || len(m.TimingMS) != 0 || m.RuleSet != "nodespan-default@1" {
			t.Errorf("line of %q: rule set %s, timings %v", m.Photo, m.RuleSet, m.TimingMS)
		}
		got += len(m.Canes)
	}
	if got != w.Canes {
		t.Errorf("%d canes in the lines, want %d", got, w.Canes)
	}
	// What the dictionary tells is what the tables have.
	dict := readCSV(t, filepath.Join(out, "dictionary.csv"))
	for name, table := range map[string][][]string{"photos": rows, "canes": canes, "internodes": readCSV(t, filepath.Join(out, "internodes.csv"))} {
		var columns []string
		for _, r := range dict[1:] {
			if r[0] == name {
				columns = append(columns, r[1])
				if r[5] == "" || r[6] == "" {
					t.Errorf("%s.%s has no meaning or source", name, r[1])
				}
				if strings.HasSuffix(r[1], "_mm") != (r[3] == "mm") {
					t.Errorf("%s.%s has the unit %q", name, r[1], r[3])
				}
			}
		}
		if !slices.Equal(columns, table[0]) {
			t.Errorf("dictionary of %s: %v, table: %v", name, columns, table[0])
		}
	}
	unmatched := readCSV(t, filepath.Join(out, "unmatched.csv"))
	if len(unmatched)-1 != w.Unplaced || w.Unplaced != 4 {
		t.Errorf("%d unmatched listed, %d told, want 4: %v", len(unmatched)-1, w.Unplaced, unmatched)
	}
	page, err := os.ReadFile(filepath.Join(out, "summary.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, outside := range []string{"http://", "https://cdn", "<script", "<link", "src="} {
		if i := bytes.Index(page, []byte(outside)); i >= 0 && !bytes.Contains(page[i:i+40], []byte("www.w3.org")) {
			t.Errorf("the summary needs something from outside: %.80s", page[i:])
		}
	}
	if n := bytes.Count(page, []byte("<svg")); n < 6 {
		t.Errorf("%d figures in the summary", n)
	}
}

func readCSV(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// The form of GET /observations of BrAPI 2.1: the keys that its schema knows,
// values and additional information as strings, pagination that adds up.
func TestBrAPIForm(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	data, err := os.ReadFile(filepath.Join(out, "brapi-observations.json"))
	if err != nil {
		t.Fatal(err)
	}
	var answer struct {
		Context  []string `json:"@context"`
		Metadata struct {
			Datafiles  []any
			Status     []any
			Pagination struct{ CurrentPage, PageSize, TotalCount, TotalPages int }
		}
		Result struct{ Data []map[string]any }
	}
	if err := json.Unmarshal(data, &answer); err != nil {
		t.Fatal(err)
	}
	if p := answer.Metadata.Pagination; p.TotalCount != len(answer.Result.Data) || p.TotalCount != 3*w.Canes || p.TotalPages != 1 {
		t.Errorf("pagination %+v with %d observations of %d canes", p, len(answer.Result.Data), w.Canes)
	}
	allowed := []string{"additionalInfo", "collector", "externalReferences", "geoCoordinates", "germplasmDbId", "germplasmName", "observationDbId", "observationTimeStamp",
		"observationUnitDbId", "observationUnitName", "observationVariableDbId", "observationVariableName", "season", "studyDbId", "uploadedBy", "value"}
	ids := map[string]int{}
	for _, o := range answer.Result.Data {
		ids[o["observationDbId"].(string)]++
		for k, v := range o {
			if !slices.Contains(allowed, k) {
				t.Fatalf("the schema has no %q", k)
			}
			if k == "additionalInfo" {
				for name, x := range v.(map[string]any) {
					if _, ok := x.(string); !ok {
						t.Fatalf("additionalInfo.%s is no string", name)
					}
				}
			}
		}
		if _, ok := o["value"].(string); !ok {
			t.Fatalf("value %v is no string", o["value"])
		}
		if s, ok := o["season"].(map[string]any); ok && s["seasonDbId"] == nil {
			t.Fatalf("season without id: %v", s)
		}
	}
}

// Nothing is measured twice: not by a second run, not under another name, not
// after a stop in the middle; but all is by another program.
func TestMeasuredOnce(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	k := &keptMeasurer{}
	ran, _ := measureAll(t, photos, out, k, 3)
	if ran.Fresh != 29 || ran.Known != 2 { // 31 photos: one doubled, one empty
		t.Errorf("first run measured %d and knew %d", ran.Fresh, ran.Known)
	}
	again, _ := measureAll(t, photos, out, k, 3)
	if again.Fresh != 0 {
		t.Errorf("the second run measured %d", again.Fresh)
	}
	if err := os.Rename(filepath.Join(photos, "IMG_0001.JPG"), filepath.Join(photos, "North-9-9.jpg")); err != nil {
		t.Fatal(err)
	}
	write(t, photos, "North/North-1-1-a.jpg", "photo taken anew")
	again, w := measureAll(t, photos, out, k, 3)
	// The changed one with its second stance, and what was its copy by itself.
	if again.Fresh != 2 || w.Counts.Photos != 31 {
		t.Errorf("after a renamed and a changed photo %d were measured, of %d photos", again.Fresh, w.Counts.Photos)
	}
	for photo, n := range k.calls {
		if n != 1 {
			t.Errorf("%q was measured %d times", photo, n)
		}
	}
	j := open(t, out)
	other, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p2", Workers: 2})
	if err != nil || other.Fresh == 0 {
		t.Errorf("another program measured %d, %v", other.Fresh, err)
	}
	j.Close()
}

// stopAfter begins a run and stops it after so many photos, and tells how far it
// came.
func stopAfter(t *testing.T, photos, out string, k *keptMeasurer, photo int) Counts {
	t.Helper()
	j := open(t, out)
	if _, err := j.Find(t.Context(), photos, false); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	n := 0
	_, err := j.Run(ctx, Options{Photos: photos, Measurer: k, Program: "p1", Workers: 2, Match: matcher(t), Told: func(Step) {
		if n++; n == photo {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped run: %v", err)
	}
	c, err := j.Count(t.Context(), "p1")
	if err := errors.Join(err, j.Close()); err != nil {
		t.Fatal(err)
	}
	return c
}

// A stop in the middle keeps what was done; the same command goes on.
func TestStopAndGoOn(t *testing.T) {
	photos, out, k := fillSeason(t), t.TempDir(), &keptMeasurer{slow: true}
	if c := stopAfter(t, photos, out, k, 7); c.Done() < 6 || c.Waiting == 0 {
		t.Fatalf("after the stop: %+v", c)
	}
	_, w := measureAll(t, photos, out, k, 2)
	if w.Counts.Waiting != 0 || w.Counts.Done() != 31 {
		t.Errorf("after going on: %+v", w.Counts)
	}
	whole := t.TempDir()
	measureAll(t, photos, whole, &keptMeasurer{}, 1)
	for _, name := range []string{"canes.csv", "photos.csv", "summary.html"} {
		a, _ := os.ReadFile(filepath.Join(out, name))
		b, _ := os.ReadFile(filepath.Join(whole, name))
		if len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s differs from that of a run without a stop", name)
		}
	}
}

// A photo over which the program itself ends is left out after the third time;
// stops on purpose don't count.
func TestProgramThatEndsOverAPhoto(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "a.jpg", "photo a")
	j := open(t, out)
	if _, err := j.Find(t.Context(), photos, false); err != nil {
		t.Fatal(err)
	}
	stopped := func() {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		if _, err := j.Run(ctx, Options{Photos: photos, Measurer: &keptMeasurer{block: make(chan struct{})}, Program: "p1", Workers: 1}); err == nil {
			t.Fatal("the run was to be stopped")
		}
	}
	for range 5 {
		stopped()
	}
	sum := fmt.Sprintf("%x", sha256.Sum256([]byte("photo a")))
	if _, err := j.db.Exec(`INSERT INTO begun VALUES (?, ?) ON CONFLICT DO UPDATE SET times = excluded.times`, sum, cutOffs); err != nil {
		t.Fatal(err)
	}
	k := &keptMeasurer{}
	if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p1"}); err != nil {
		t.Fatal(err)
	}
	o, err := j.Outcomes(t.Context(), "p1", nil, "", 10)
	if err != nil || len(o) != 1 || o[0].Outcome != failed || !strings.Contains(o[0].Reason, "ended 3 times") || len(k.calls) != 0 {
		t.Errorf("%+v, %v, measured %v", o, err, k.calls)
	}
	if n, err := j.Retry(t.Context(), "p1"); n != 1 || err != nil {
		t.Errorf("retry %d, %v", n, err)
	}
	if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p1"}); err != nil {
		t.Fatal(err)
	}
	if o, _ := j.Outcomes(t.Context(), "p1", nil, "", 10); o[0].Outcome != "measured" {
		t.Errorf("after the retry: %+v", o)
	}
}

// Only one process works on a job, and the results don't lie among the photos.
func TestOneAtATime(t *testing.T) {
	out := t.TempDir()
	j := open(t, out)
	if _, err := Open(t.Context(), out); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("a second opening: %v", err)
	}
	if _, err := j.Find(t.Context(), out, false); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("photos in the job's own folder: %v", err)
	}
	if _, err := j.Find(t.Context(), filepath.Join(out, "none"), false); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a folder that isn't there: %v", err)
	}
}

// A folder that is watched: a photo that comes later is measured too.
func TestWatch(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1.jpg", "photo one")
	old := time.Now().Add(-time.Minute)
	if err := os.Chtimes(filepath.Join(photos, "North-1-1.jpg"), old, old); err != nil {
		t.Fatal(err)
	}
	j := open(t, out)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	rounds := 0
	err := j.Watch(ctx, Options{Photos: photos, Measurer: &keptMeasurer{}, Program: "p1", Workers: 1}, func(r Ran) error {
		switch rounds++; rounds {
		case 1:
			write(t, photos, "North-1-2.jpg", "photo two")
			return os.Chtimes(filepath.Join(photos, "North-1-2.jpg"), old, old)
		default:
			if r.Fresh != 2 {
				t.Errorf("measured %d photos, want 2", r.Fresh)
			}
			cancel()
		}
		return nil
	})
	if err != nil || rounds != 2 {
		t.Errorf("%d rounds, %v", rounds, err)
	}
}

// A watched folder whose files were written by a clock that was ahead, or before
// this one was set back: they are taken, one that is being written isn't.
func TestWatchWithAnotherClock(t *testing.T) {
	photos := t.TempDir()
	write(t, photos, "ahead.jpg", "photo")
	write(t, photos, "now.jpg", "photo")
	ahead := time.Now().Add(3 * time.Hour)
	if err := os.Chtimes(filepath.Join(photos, "ahead.jpg"), ahead, ahead); err != nil {
		t.Fatal(err)
	}
	f, err := open(t, t.TempDir()).Find(t.Context(), photos, true)
	if err != nil || f.Photos != 1 || f.Growing != 1 {
		t.Errorf("%+v, %v", f, err)
	}
}

// The sample: of the wanted size, the same whenever it is drawn, and what was
// checked gives the error rate.
func TestSampleAndErrorRate(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	rows := readCSV(t, filepath.Join(out, "sample.csv"))
	if len(rows)-1 != w.ErrorRate.Sample || w.ErrorRate.Sample < 30 || w.ErrorRate.Rate != nil {
		t.Fatalf("sample of %d rows, told %+v", len(rows)-1, w.ErrorRate)
	}
	var filled strings.Builder
	filled.WriteString("photo,cane,said,who,note,sha256,with_sha256\n")
	for i, r := range rows[1:31] {
		said := "agree"
		if i < 3 {
			said = "Reject"
		}
		fmt.Fprintf(&filled, "%s,%s,%s,Ada,,%s,%s\n", r[0], r[1], said, r[5], r[6])
	}
	j := open(t, out)
	if n, err := j.ReadChecks(t.Context(), "p1", strings.NewReader(filled.String()), "sample.csv"); n != 30 || err != nil {
		t.Errorf("read %d, %v; want 30", n, err)
	}
	if n, err := j.ReadChecks(t.Context(), "p1", strings.NewReader(filled.String()), "sample.csv"); n != 0 || err != nil {
		t.Errorf("reading the same again took %d, %v", n, err)
	}
	if _, err := j.ReadChecks(t.Context(), "p1", strings.NewReader("sha256,cane,said,who\nx,1,perhaps,Ada\n"), "sample.csv"); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a ruling that there isn't: %v", err)
	}
	j.Close()
	_, w = measureAll(t, photos, out, &keptMeasurer{}, 2)
	// Wilson's interval of 3 in 30: (p + z2/2n -+ z sqrt(...)) / (1 + z2/n).
	if r := w.ErrorRate; r.Checked != 30 || r.Wrong != 3 || r.Rate == nil || r.Rate.Value != 0.1 || r.Rate.Low < 0.0345 || r.Rate.Low > 0.0347 || r.Rate.High < 0.2561 || r.Rate.High > 0.2563 {
		t.Errorf("error rate %+v %+v", r, r.Rate)
	}
}

func readText(t testing.TB, folder, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
