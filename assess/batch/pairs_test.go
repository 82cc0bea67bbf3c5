package batch

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

// table reads a CSV file as one map a row.
func table(t testing.TB, folder, name string) []map[string]string {
	t.Helper()
	rows := readCSV(t, filepath.Join(folder, name))
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range r {
			m[rows[0][i]] = c
		}
		out = append(out, m)
	}
	return out
}

func byPhoto(t testing.TB, folder string) map[string]map[string]string {
	t.Helper()
	out := map[string]map[string]string{}
	for _, r := range table(t, folder, "photos.csv") {
		out[r["photo"]] = r
	}
	return out
}

// bytesOf reads all tables but run.json.
func bytesOf(t testing.TB, out string, w Written) map[string]string {
	t.Helper()
	files := map[string]string{}
	for _, f := range w.Files {
		if f.Name != RunFile {
			files[f.Name] = readText(t, out, f.Name)
		}
	}
	return files
}

func sameBytes(t testing.TB, got, want map[string]string) {
	t.Helper()
	if !slices.Equal(sortedKeys(got), sortedKeys(want)) {
		t.Errorf("files %v, want %v", sortedKeys(got), sortedKeys(want))
	}
	for name := range want {
		if got[name] != want[name] {
			t.Errorf("%s differs", name)
		}
	}
}

// Two stances of a vine are measured together, each of the three measurements
// once; the first photo's canes have depth, and only these are counted.
func TestTwoStancesTogether(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1-left.jpg", "photo left")
	write(t, photos, "North-1-1-right.jpg", "photo right")
	write(t, photos, "North-1-2.jpg", "photo of another vine")
	k := &keptMeasurer{}
	ran, w := measureAll(t, photos, out, k, 2)
	want := map[string]int{"photo left with photo right": 1, "photo right": 1, "photo of another vine": 1}
	if !maps.Equal(k.calls, want) || ran.Fresh != 3 {
		t.Errorf("measured %v, %d fresh; want %v", k.calls, ran.Fresh, want)
	}
	p := byPhoto(t, out)
	for _, c := range []struct{ photo, column, want string }{
		{"North-1-1-left.jpg", "second_photo", "North-1-1-right.jpg"},
		{"North-1-1-left.jpg", "counted", "TRUE"},
		{"North-1-1-left.jpg", "second_photo_of", ""},
		{"North-1-1-left.jpg", "canes_with_depth", p["North-1-1-left.jpg"]["canes"]},
		{"North-1-1-right.jpg", "second_photo_of", "North-1-1-left.jpg"},
		{"North-1-1-right.jpg", "counted", "FALSE"},
		{"North-1-1-right.jpg", "outcome", "measured"},
		{"North-1-1-right.jpg", "canes_with_depth", ""},
		{"North-1-2.jpg", "counted", "TRUE"},
		{"North-1-2.jpg", "second_photo", ""},
	} {
		if got := p[c.photo][c.column]; got != c.want {
			t.Errorf("%s of %s is %q, want %q", c.column, c.photo, got, c.want)
		}
	}
	counted := 0
	for _, c := range table(t, out, "canes.csv") {
		deep := c["photo"] == "North-1-1-left.jpg"
		if got := []string{c["depth_mm"], c["depth_low_mm"], c["depth_high_mm"], c["lean_u_deg"]}; deep != slices.Equal(got, []string{"40", "38", "42", "1.5"}) || !deep && strings.Join(got, "") != "" {
			t.Errorf("cane %s of %s: depth %v", c["cane"], c["photo"], got)
		}
		if c["counted"] == "TRUE" {
			counted++
		}
		if (c["counted"] == "FALSE") != (c["photo"] == "North-1-1-right.jpg") {
			t.Errorf("cane of %s counted: %s", c["photo"], c["counted"])
		}
	}
	if counted != w.Counted || counted == w.Canes || !strings.Contains(readText(t, out, "methods.txt"), fmt.Sprintf("On them %d one-year canes", counted)) {
		t.Errorf("%d canes of the table are counted, %d told of %d", counted, w.Counted, w.Canes)
	}
	if !strings.Contains(readText(t, out, "measurements.jsonl"), `"with":"`+sumOf([]byte("photo right"))+`"`) {
		t.Error("the lines don't tell the second photo's content")
	}
	if again, _ := measureAll(t, photos, out, k, 2); again.Fresh != 0 {
		t.Errorf("a second run measured %d", again.Fresh)
	}
}

// A second stance that comes later, one that goes away, and one that comes
// back give the same bytes as if the folder had been so from the start, and
// measure nothing but what is new.
func TestSecondStanceComesLater(t *testing.T) {
	whole, single := t.TempDir(), t.TempDir()
	for _, dir := range []string{whole, single} {
		write(t, dir, "North-1-1-a.jpg", "photo a")
		write(t, dir, "South-1-1-a.jpg", "photo of another vine")
	}
	write(t, whole, "North-1-1-b.jpg", "photo b")
	outs := [2]string{t.TempDir(), t.TempDir()}
	_, ww := measureAll(t, whole, outs[0], &keptMeasurer{}, 3)
	_, ws := measureAll(t, single, outs[1], &keptMeasurer{}, 3)
	wantWhole, wantSingle := bytesOf(t, outs[0], ww), bytesOf(t, outs[1], ws)

	out, k := t.TempDir(), &keptMeasurer{}
	step := func(wantCalls int, want map[string]string) {
		t.Helper()
		_, w := measureAll(t, single, out, k, 1)
		if len(k.calls) != wantCalls {
			t.Errorf("measured %v", k.calls)
		}
		for what, n := range k.calls {
			if n != 1 {
				t.Errorf("%s was measured %d times", what, n)
			}
		}
		sameBytes(t, bytesOf(t, out, w), want)
	}
	step(2, wantSingle)
	write(t, single, "North-1-1-b.jpg", "photo b")
	step(4, wantWhole) // b, and a with b
	if err := os.Remove(filepath.Join(single, "North-1-1-b.jpg")); err != nil {
		t.Fatal(err)
	}
	step(4, wantSingle)
	write(t, single, "North-1-1-b.jpg", "photo b")
	step(4, wantWhole)
}

// A watched folder: the second stance comes while it is watched.
func TestWatchedSecondStance(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	old := time.Now().Add(-time.Minute)
	settledPhoto := func(name, text string) error {
		write(t, photos, name, text)
		return os.Chtimes(filepath.Join(photos, name), old, old)
	}
	if err := settledPhoto("North-1-1-a.jpg", "photo a"); err != nil {
		t.Fatal(err)
	}
	j := open(t, out)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	k := &keptMeasurer{}
	rounds := 0
	err := j.Watch(ctx, Options{Photos: photos, Measurer: k, Program: "p1", Workers: 1, Match: matcher(t)}, func(Ran) error {
		if rounds++; rounds == 1 {
			return settledPhoto("North-1-1-b.jpg", "photo b")
		}
		cancel()
		return nil
	})
	if want := map[string]int{"photo a": 1, "photo b": 1, "photo a with photo b": 1}; err != nil || rounds != 2 || !maps.Equal(k.calls, want) {
		t.Errorf("%d rounds, %v, measured %v", rounds, err, k.calls)
	}
	o, err := j.Outcomes(t.Context(), "p1", matcher(t), "", 10)
	if err != nil || len(o) != 2 || o[0].With != "North-1-1-b.jpg" || !o[0].Depth || o[1].With != "" {
		t.Errorf("%+v, %v", o, err)
	}
}

// A second photo that is of no use leaves the first as it is by itself: one that
// is refused or broken, one with which the two can't be worked on, one from the
// same spot. The last two are told; the vine still counts once.
func TestSecondStanceOfNoUse(t *testing.T) {
	for name, c := range map[string]struct {
		second, reasons, with string
		calls                 int
	}{
		"refused":   {"refused: no card", "", "", 2},
		"broken":    {"broken", "", "", 2},
		"breaks":    {"photo that breaks", "", "", 3},
		"same spot": {"photo from the same spot", "second_too_near", "North-1-1-b.jpg", 2},
	} {
		photos, out := t.TempDir(), t.TempDir()
		write(t, photos, "North-1-1-a.jpg", "photo a")
		write(t, photos, "North-1-1-b.jpg", c.second)
		k := &keptMeasurer{}
		_, w := measureAll(t, photos, out, k, 2)
		if len(k.calls) != c.calls || w.Counts.Waiting != 0 {
			t.Errorf("%s: measured %v, %+v", name, k.calls, w.Counts)
		}
		p := byPhoto(t, out)["North-1-1-a.jpg"]
		if p["outcome"] != "measured" || p["reasons"] != c.reasons || p["second_photo"] != c.with || p["counted"] != "TRUE" || w.Counted != len(measurementOf([]byte("photo a")).Canes) {
			t.Errorf("%s: %v, %d counted", name, p, w.Counted)
		}
		for _, r := range table(t, out, "canes.csv") {
			if r["depth_mm"] != "" {
				t.Errorf("%s: a cane has the depth %s", name, r["depth_mm"])
			}
		}
		if again, _ := measureAll(t, photos, out, k, 2); again.Fresh != 0 {
			t.Errorf("%s: a second run measured %d", name, again.Fresh)
		}
	}
	// Where the first one is refused, the vine counts by the second.
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1-a.jpg", "refused: no card")
	write(t, photos, "North-1-1-b.jpg", "photo b")
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	if p := byPhoto(t, out); p["North-1-1-b.jpg"]["counted"] != "TRUE" || p["North-1-1-a.jpg"]["counted"] != "FALSE" || w.Counted != w.Canes {
		t.Errorf("the first refused: %v", p)
	}
}

// Which photos go together follows from their places alone, and no photo is in
// two pairs; copies and photos of other winters, vines or of the same stance
// aren't paired.
func TestWhichGoTogether(t *testing.T) {
	name, err := ParsePattern("{block}-{row}-{vine}[-{stance}][_{any}]")
	if err != nil {
		t.Fatal(err)
	}
	m := &Matcher{Name: name}
	p := func(path string) planned { return planned{photo: photo{path: path, sha: path}} }
	later := p("N-1-5-b.jpg")
	later.taken = "2025-01-10T09:00:00"
	earlier := p("N-1-5-a.jpg")
	earlier.taken = "2026-12-10T09:00:00"
	copied := p("N-1-6-b.jpg")
	copied.sha = "N-1-6-a.jpg"
	byHand := p("IMG_1.jpg")
	byHand.byHand = &Place{Block: "N", Row: 1, Vine: 7, Stance: "aside", By: "hand"}
	unread := p("N-1-8-b.jpg")
	unread.unread = "The file is empty."
	all := []planned{
		p("N-1-1-a.jpg"), p("N-1-1-b.jpg"), p("N-1-1-c.jpg"), // the third by itself
		p("N-1-2-a_1.jpg"), p("N-1-2-a_2.jpg"), p("N-1-2-b_1.jpg"), p("N-1-2-b_2.jpg"), p("N-1-2-c.jpg"), p("N-1-2-d.jpg"),
		p("N-1-3-a_1.jpg"), p("N-1-3-A_2.jpg"), // one stance
		p("N-1-4.jpg"), p("N-1-4-aside.jpg"), // one without a name for it
		earlier, later, p("N-1-6-a.jpg"), copied, byHand, p("N-1-7-front.jpg"), p("N-1-8-a.jpg"), unread, p("IMG_2.jpg"), p("IMG_3.jpg"),
	}
	got := map[string]string{}
	for first, second := range secondsOf(all, m) {
		got[first] = second.path
	}
	want := map[string]string{
		"N-1-1-a.jpg": "N-1-1-b.jpg", "N-1-2-a_1.jpg": "N-1-2-b_1.jpg", "N-1-2-a_2.jpg": "N-1-2-b_2.jpg", "N-1-2-c.jpg": "N-1-2-d.jpg",
		"N-1-4.jpg": "N-1-4-aside.jpg", "IMG_1.jpg": "N-1-7-front.jpg",
	}
	if !maps.Equal(got, want) {
		t.Errorf("%v\nwant %v", got, want)
	}
	if len(secondsOf(all, nil)) != 0 {
		t.Error("paired without a matcher")
	}
}

// A vine's place that a person or a list gives pairs photos as their names do.
func TestPairedByHandAndList(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "IMG_1.jpg", "photo one")
	write(t, photos, "IMG_2.jpg", "photo two")
	j := open(t, out)
	if _, err := j.Find(t.Context(), photos, false); err != nil {
		t.Fatal(err)
	}
	k := &keptMeasurer{}
	run := func(m *Matcher) {
		t.Helper()
		if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p1", Match: m, Workers: 1}); err != nil {
			t.Fatal(err)
		}
	}
	run(matcher(t))
	for i, stance := range []string{"left", "right"} {
		if err := j.SetPlace(t.Context(), fmt.Sprintf("IMG_%d.jpg", i+1), Place{Block: "North", Row: 1, Vine: 1, Stance: stance}, "Ada"); err != nil {
			t.Fatal(err)
		}
	}
	run(matcher(t))
	if k.calls["photo one with photo two"] != 1 {
		t.Errorf("placed by hand: measured %v", k.calls)
	}
	list, err := ReadList(strings.NewReader("photo,block,row,vine,stance\n"+sumOf([]byte("photo three"))+",South,1,1,b\nIMG_4.jpg,South,1,1,a\n"), "vines.csv")
	if err != nil {
		t.Fatal(err)
	}
	write(t, photos, "IMG_3.jpg", "photo three")
	write(t, photos, "IMG_4.jpg", "photo four")
	if _, err := j.Find(t.Context(), photos, false); err != nil {
		t.Fatal(err)
	}
	run(&Matcher{List: list})
	if k.calls["photo four with photo three"] != 1 || len(k.calls) != 5 {
		t.Errorf("placed by a list: measured %v", k.calls)
	}
}

// For a study of repeatability each photo is measured by itself: then two
// stances are two readings. Measured together they are one.
func TestRepeatabilityNeedsPhotosAlone(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	_, together := measureAll(t, photos, out, &keptMeasurer{}, 2)
	if text := readText(t, out, "methods.txt"); strings.Contains(text, "Bland and Altman") {
		t.Errorf("readings that share photos were taken for repeated ones:\n%s", text)
	}
	j := open(t, out)
	k := &keptMeasurer{}
	if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p1", Workers: 2}); err != nil {
		t.Fatal(err)
	}
	for what := range k.calls {
		if strings.Contains(what, " with ") || !strings.HasSuffix(what, "a") {
			t.Errorf("measured %q: only first photos hadn't been measured alone yet", what)
		}
	}
	w, err := j.Write(t.Context(), Output{Folder: out, Photos: photos, Program: "p1", Version: "test", Rules: assess.DefaultRuleSet(), Match: matcher(t), Alone: true})
	if err != nil {
		t.Fatal(err)
	}
	if text := readText(t, out, "methods.txt"); !strings.Contains(text, "Bland and Altman") || strings.Contains(text, "parallax") {
		t.Errorf("alone:\n%s", text)
	}
	if w.Counted != together.Counted {
		t.Errorf("%d canes counted, together %d: the same photos are to count", w.Counted, together.Counted)
	}
	// Pairs of their own photos are readings that don't share any.
	photos, out = t.TempDir(), t.TempDir()
	for _, stance := range []string{"1a", "1b", "2a", "2b"} {
		write(t, photos, "North-1-1-"+stance+".jpg", "photo "+stance)
	}
	measureAll(t, photos, out, &keptMeasurer{}, 2)
	if text := readText(t, out, "methods.txt"); !strings.Contains(text, "Bland and Altman") {
		t.Errorf("two pairs of one vine:\n%s", text)
	}
}

// A run that is stopped among the pairs goes on, and gives the bytes of one that
// wasn't.
func TestStopAmongPairs(t *testing.T) {
	photos, out, k := fillSeason(t), t.TempDir(), &keptMeasurer{slow: true}
	if c := stopAfter(t, photos, out, k, 23); c.Waiting == 0 || c.Waiting > 11 {
		t.Fatalf("after the stop: %+v", c)
	}
	_, w := measureAll(t, photos, out, k, 3)
	whole := t.TempDir()
	_, ww := measureAll(t, photos, whole, &keptMeasurer{}, 1)
	sameBytes(t, bytesOf(t, out, w), bytesOf(t, whole, ww))
	for what, n := range k.calls {
		if n > 2 || n == 2 && !strings.Contains(what, " with ") {
			t.Errorf("%q was measured %d times", what, n) // what was cut off in the middle may be begun again
		}
	}
}

// What was said of a cane is said of what the pair gave: it doesn't pass to
// what the photo gives alone.
func TestChecksOfAPair(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1-a.jpg", "photo a")
	write(t, photos, "North-1-1-b.jpg", "photo b")
	measureAll(t, photos, out, &keptMeasurer{}, 1)
	j := open(t, out)
	drawn, _, err := j.Sample(t.Context(), "p1", matcher(t), Check{Within: 0.1, Seed: 1})
	if err != nil || len(drawn) == 0 || drawn[0].Photo != "North-1-1-a.jpg" || drawn[0].With != sumOf([]byte("photo b")) {
		t.Fatalf("%+v, %v", drawn, err)
	}
	d := drawn[0]
	if err := j.Say(t.Context(), "p1", d.SHA256, d.With, d.Cane, assess.Reject, "", "Ada"); err != nil {
		t.Fatal(err)
	}
	if err := j.Say(t.Context(), "p1", d.SHA256, "", d.Cane, assess.Agree, "", "Ada"); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("said of what was never measured: %v", err)
	}
	_, rate, err := j.Sample(t.Context(), "p1", matcher(t), Check{Within: 0.1, Seed: 1})
	if err != nil || rate.Checked != 1 || rate.Wrong != 1 {
		t.Errorf("of the pair: %+v, %v", rate, err)
	}
	if err := os.Remove(filepath.Join(photos, "North-1-1-b.jpg")); err != nil {
		t.Fatal(err)
	}
	j.Close()
	if _, w := measureAll(t, photos, out, &keptMeasurer{}, 1); w.ErrorRate.Checked != 0 {
		t.Errorf("of the photo alone: %+v", w.ErrorRate)
	}
}

// A job of the form before pairs opens with all its results and checks.
func TestJobFromBeforePairs(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1.jpg", "photo one")
	measureAll(t, photos, out, &keptMeasurer{}, 1)
	db, err := sql.Open("sqlite", filepath.Join(out, stateName))
	if err != nil {
		t.Fatal(err)
	}
	first, err := migrations.ReadFile("migrations/00001_job.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{
		`ALTER TABLE results RENAME TO newer`, `ALTER TABLE photos RENAME TO newerphotos`, `DROP TABLE begun`, `DROP TABLE placed`, `DROP TABLE checks`,
		string(bytes.TrimPrefix(first, []byte("-- +goose Up"))),
		`INSERT INTO photos SELECT path, bytes, modified, sha256, taken_at, unread, gone FROM newerphotos`,
		`INSERT INTO results SELECT sha256, program, outcome, reason, measurement, timing, ended_at FROM newer`,
		`INSERT INTO checks (sha256, program, cane, said, who, at) SELECT sha256, program, 1, 'reject', 'Ada', '2026-12-01T00:00:00Z' FROM newer`,
		`DROP TABLE newer`, `DROP TABLE newerphotos`, `DELETE FROM goose_db_version WHERE version_id >= 80`,
	} {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	k := &keptMeasurer{}
	ran, w := measureAll(t, photos, out, k, 1)
	if ran.Fresh != 0 || len(k.calls) != 0 || w.Counts.Measured != 1 || w.Counted == 0 || w.ErrorRate.Wrong != 1 {
		t.Errorf("measured %v; %+v", k.calls, w)
	}
}

// A copy whose vine isn't known doesn't stand for the photo whose vine is.
func TestCopyOfUnknownVine(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "IMG_1.jpg", "photo a")
	write(t, photos, "North-1-1-a.jpg", "photo a")
	write(t, photos, "North-1-1-b.jpg", "photo b")
	k := &keptMeasurer{}
	_, w := measureAll(t, photos, out, k, 2)
	p := byPhoto(t, out)
	if a := p["North-1-1-a.jpg"]; a["same_photo_as"] != "" || a["counted"] != "TRUE" || a["second_photo"] != "North-1-1-b.jpg" {
		t.Errorf("%v", a)
	}
	if c := p["IMG_1.jpg"]; c["same_photo_as"] != "North-1-1-a.jpg" || c["counted"] != "FALSE" {
		t.Errorf("%v", c)
	}
	if want := map[string]int{"photo a with photo b": 1, "photo b": 1}; !maps.Equal(k.calls, want) || w.Counted != len(measurementOf([]byte("photo a")).Canes) {
		t.Errorf("measured %v, %d counted", k.calls, w.Counted)
	}
}
