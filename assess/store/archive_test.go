package store

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

// filled is a record with a few photos, one of them ruled on.
func filled(t testing.TB) *Store {
	t.Helper()
	s := openStore(t)
	b := addBlock(t, s)
	for i := range 5 {
		p := addPhoto(t, s, b, fmt.Sprintf("photo %d", i))
		m := addMeasurement(t, s, p)
		if i == 0 {
			if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return s
}

func sound(t testing.TB, s *Store) CheckReport {
	t.Helper()
	r, err := s.Check(t.Context())
	if err != nil || len(r.Faults) > 0 {
		t.Fatalf("check: %v %v", r.Faults, err)
	}
	return r
}

// What a backup holds is what was there, also when others write meanwhile, and
// tar and sha256sum alone can read it.
func TestBackupAndRestore(t *testing.T) {
	s := filled(t)
	stop, writing := context.WithCancel(t.Context())
	done := make(chan struct{})
	b, err := s.Block(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(done)
		for i := 0; stop.Err() == nil; i++ {
			_, _, err := s.AddPhoto(context.Background(), NewPhoto{Data: fmt.Appendf(nil, "meanwhile %d", i), BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", Name: "b.jpg", ContentType: "image/jpeg", By: "Ben"})
			if err != nil {
				t.Error(err)
			}
		}
	}()
	// A job's folder, whose state another writes meanwhile.
	state := filepath.Join(s.JobFolder(1), "results", "job.db")
	for path, text := range map[string]string{"photos/North 1/a.jpg": "a job's photo", "results/canes.csv": "a,b\n", "photos/.b.part": "half"} {
		path = filepath.Join(s.JobFolder(1), path)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	job, err := sql.Open("sqlite", state)
	if err != nil {
		t.Fatal(err)
	}
	defer job.Close()
	for _, q := range []string{`PRAGMA journal_mode=WAL`, `CREATE TABLE done (n)`, `INSERT INTO done VALUES (42)`} {
		if _, err := job.Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(t.TempDir(), "estate.backup")
	r, err := s.Backup(t.Context(), file)
	writing()
	<-done
	if err != nil || r.Photos < 5 {
		t.Fatalf("%+v %v", r, err)
	}
	if beside, _ := filepath.Glob(filepath.Join(filepath.Dir(file), ".*")); len(beside) > 0 {
		t.Errorf("left beside the backup: %v", beside)
	}
	dir := filepath.Join(t.TempDir(), "again")
	if _, err := Restore(t.Context(), file, dir); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if got := sound(t, again); got.Photos != r.Photos || got.Rulings != 1 {
		t.Errorf("restored %+v, want %d photos and a ruling", got, r.Photos)
	}
	if data, err := again.PhotoBytes(mustPhoto(t, again, 1).SHA256); err != nil || string(data) != "photo 0" {
		t.Errorf("photo %q, %v", data, err)
	}
	for path, want := range map[string]string{"photos/North 1/a.jpg": "a job's photo", "results/canes.csv": "a,b\n"} {
		if got, err := os.ReadFile(filepath.Join(again.JobFolder(1), path)); err != nil || string(got) != want {
			t.Errorf("%s of a job: %q, %v", path, got, err)
		}
	}
	if _, err := os.Stat(filepath.Join(again.JobFolder(1), "photos", ".b.part")); err == nil {
		t.Error("half a file was backed up")
	}
	restored, err := sql.Open("sqlite", filepath.Join(again.JobFolder(1), "results", "job.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	var n int
	if err := restored.QueryRow(`SELECT n FROM done`).Scan(&n); err != nil || n != 42 {
		t.Errorf("the job's state: %d, %v", n, err)
	}
	if left, _ := filepath.Glob(filepath.Join(s.Dir(), ".backup-*")); len(left) > 0 {
		t.Errorf("left in the data folder: %v", left)
	}
	if _, err := Restore(t.Context(), file, dir); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("over a folder in use: %v, want a refusal", err)
	}
	if out, err := exec.Command("tar", "-tf", file).Output(); err != nil || !strings.HasPrefix(string(out), "backup.json\nnodespan.db\nphotos/") {
		t.Errorf("tar lists %.80q, %v", out, err)
	}
}

func mustPhoto(t testing.TB, s *Store, id int64) Photo {
	t.Helper()
	p, err := s.Photo(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// A backup that was cut, changed or made up is refused, and leaves nothing.
func TestBadBackups(t *testing.T) {
	s := filled(t)
	file := filepath.Join(t.TempDir(), "estate.backup")
	if _, err := s.Backup(t.Context(), file); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	entries := map[string][]byte{}
	var names []string
	for r := tar.NewReader(bytes.NewReader(good)); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		names, entries[h.Name] = append(names, h.Name), data
	}
	pack := func(change func(names []string, entries map[string][]byte) []string) []byte {
		e := map[string][]byte{}
		for k, v := range entries {
			e[k] = bytes.Clone(v)
		}
		var out bytes.Buffer
		w := tar.NewWriter(&out)
		for _, n := range change(append([]string{}, names...), e) {
			h := &tar.Header{Name: n, Size: int64(len(e[n])), Mode: 0o600}
			if strings.HasPrefix(n, "link:") {
				h = &tar.Header{Name: strings.TrimPrefix(n, "link:"), Typeflag: tar.TypeSymlink, Linkname: "/etc/passwd"}
			}
			if err := w.WriteHeader(h); err != nil {
				t.Fatal(err)
			}
			if h.Typeflag != tar.TypeSymlink {
				if _, err := w.Write(e[n]); err != nil {
					t.Fatal(err)
				}
			}
		}
		w.Close()
		return out.Bytes()
	}
	for name, data := range map[string][]byte{
		"nothing":            {},
		"no tar":             []byte("this is no backup"),
		"cut in the middle":  good[:len(good)/2],
		"cut before its end": good[:len(good)-1024*12],
		"a photo changed":    bytes.Replace(good, []byte("photo 3"), []byte("photo 4"), 1),
		"the database":       bytes.Replace(good, []byte("South slope"), []byte("North slope"), 1),
		"a photo missing":    pack(func(n []string, _ map[string][]byte) []string { return n[:len(n)-1] }),
		"no database":        pack(func(n []string, _ map[string][]byte) []string { return append(n[:1], n[2:]...) }),
		"out of the folder": pack(func(n []string, e map[string][]byte) []string {
			e["../evil"] = []byte("x")
			return append(n, "../evil")
		}),
		"another file": pack(func(n []string, e map[string][]byte) []string { e["evil"] = []byte("x"); return append(n, "evil") }),
		"a job's file that isn't told of": pack(func(n []string, e map[string][]byte) []string {
			e["jobs/1/x"] = []byte("x")
			return append(n, "jobs/1/x")
		}),
		"a job's path out of the folder": pack(func(n []string, e map[string][]byte) []string {
			e[n[0]] = bytes.Replace(e[n[0]], []byte(`"jobs": {`), []byte(`"jobs": {"jobs/../../evil": {"bytes": 1, "sha256": "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"}`), 1)
			e["jobs/../../evil"] = []byte("x")
			return append(n, "jobs/../../evil")
		}),
		"a link": pack(func(n []string, _ map[string][]byte) []string { return append(n, "link:photos/x") }),
		"twice":  pack(func(n []string, _ map[string][]byte) []string { return append(n, n[2]) }),
		"of a later form": pack(func(n []string, e map[string][]byte) []string {
			e[n[0]] = bytes.Replace(e[n[0]], []byte(`"form": 1`), []byte(`"form": 9`), 1)
			return n
		}),
		"a photo out of line": pack(func(n []string, e map[string][]byte) []string {
			x := "photos/00/" + filepath.Base(n[2])
			e[x] = e[n[2]]
			n[2] = x
			return n
		}),
	} {
		bad := filepath.Join(t.TempDir(), "bad.backup")
		if err := os.WriteFile(bad, data, 0o600); err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), "to", "data")
		if _, err := Restore(t.Context(), bad, dir); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v, want a refusal", name, err)
		}
		left, err := filepath.Glob(filepath.Join(filepath.Dir(dir), "*"))
		hidden, _ := filepath.Glob(filepath.Join(filepath.Dir(dir), ".*"))
		if err != nil || len(left)+len(hidden) > 0 {
			t.Errorf("%s: left %v %v", name, left, hidden)
		}
	}
}

// A file with holes could claim any size in a few bytes: no backup has one.
func TestBackupWithHoles(t *testing.T) {
	dir := t.TempDir()
	const size = 1 << 20
	hole := make([]byte, size)
	sum := sha256.Sum256(hole)
	text := fmt.Sprintf(`{"form": 1, "database": {"bytes": %d, "sha256": "%x"}, "photos": 0, "photo_bytes": 0, "jobs": {}}`, size, sum)
	if err := os.WriteFile(filepath.Join(dir, manifestName), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, databaseName), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(dir, databaseName), size); err != nil {
		t.Fatal(err)
	}
	for _, form := range []string{"posix", "gnu"} {
		for _, holes := range []bool{false, true} {
			args := []string{"--format=" + form, "-C", dir, "-cf", "-", manifestName, databaseName}
			if holes {
				args = append([]string{"--sparse"}, args...)
			}
			out, err := exec.Command("tar", args...).Output()
			if err != nil {
				t.Skip("NOT TESTED, there is no GNU tar: ", err)
			}
			if holes && len(out) > size/2 {
				t.Fatalf("tar made no holes: %d bytes", len(out))
			}
			if _, err := readBackup(t.Context(), bytes.NewReader(out), ""); (err == nil) == holes {
				t.Errorf("%s, holes %v: %v", form, holes, err)
			}
		}
	}
}

// FuzzRestore: whatever the file, reading it as a backup ends with an error that
// somebody can act on, or with exactly the files that it tells of; it never
// panics, and never writes outside its folder.
func FuzzRestore(f *testing.F) {
	small := func(jobs string, more ...string) []byte { // a whole backup of a few bytes
		sum := HashSecret("x")
		text := fmt.Sprintf(`{"form": 1, "database": {"bytes": 1, "sha256": %q}, "photos": 1, "photo_bytes": 1, "jobs": {%s}}`, sum, jobs)
		var out bytes.Buffer
		w := tar.NewWriter(&out)
		for _, e := range append([]string{manifestName, databaseName, "photos/" + sum[:2] + "/" + sum}, more...) {
			data := "x"
			if e == manifestName {
				data = text
			}
			if err := errors.Join(w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: e, Size: int64(len(data)), Mode: 0o600}), second(w.Write([]byte(data)))); err != nil {
				f.Fatal(err)
			}
		}
		w.Close()
		return out.Bytes()
	}
	good := small("")
	for _, seed := range [][]byte{good, good[:1500], {}, small(fmt.Sprintf(`"jobs/1/a": {"bytes": 1, "sha256": %q}`, HashSecret("x")), "jobs/1/a"), small("", "../x"), small("", "jobs/1/a")} {
		f.Add(seed)
	}
	if _, err := readBackup(context.Background(), bytes.NewReader(good), ""); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := readBackup(context.Background(), bytes.NewReader(data), "")
		if err != nil {
			if assess.ErrorCode(err) != assess.EInvalid {
				t.Errorf("an error nobody can act on: %v", err)
			}
			return
		}
		base := t.TempDir()
		dir := filepath.Join(base, "in")
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		if _, err := readBackup(context.Background(), bytes.NewReader(data), dir); err != nil {
			t.Errorf("read once without a fault, and then: %v", err)
		}
		files := 0
		_ = filepath.WalkDir(base, func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() {
				files++
			}
			return err
		})
		if entries, err := os.ReadDir(base); err != nil || len(entries) != 1 || files != 1+m.Photos+len(m.Jobs) {
			t.Errorf("%d files in %v, %v; want the database, %d photos and %d files of jobs", files, entries, err, m.Photos, len(m.Jobs))
		}
	})
}

// aged makes a file look two hours old.
func aged(t testing.TB, path string) {
	t.Helper()
	then := time.Now().Add(-2 * time.Hour)
	if err := os.Chtimes(path, then, then); err != nil {
		t.Fatal(err)
	}
}

// Each thing that can be wrong with a record is told.
func TestCheckTells(t *testing.T) {
	for name, c := range map[string]struct {
		harm func(t *testing.T, s *Store)
		want string
	}{
		"a photo is missing": {func(t *testing.T, s *Store) { os.Remove(s.photoPath(mustPhoto(t, s, 2).SHA256)) }, "is missing"},
		"a photo was changed": {func(t *testing.T, s *Store) {
			if err := os.WriteFile(s.photoPath(mustPhoto(t, s, 2).SHA256), []byte("photo X"), 0o600); err != nil {
				t.Fatal(err)
			}
		}, "was changed"},
		"a photo without a row": {func(t *testing.T, s *Store) {
			sum, err := s.keepPhoto([]byte("nobody's"))
			if err != nil {
				t.Fatal(err)
			}
			aged(t, s.photoPath(sum))
		}, "claimed by no record"},
		"half a photo": {func(t *testing.T, s *Store) {
			part := filepath.Join(filepath.Dir(s.photoPath(mustPhoto(t, s, 2).SHA256)), "1.part")
			if err := os.WriteFile(part, nil, 0o600); err != nil {
				t.Fatal(err)
			}
			if r := sound(t, s); r.OnTheWay != 1 {
				t.Errorf("%d on the way", r.OnTheWay)
			}
			aged(t, part)
		}, "not written to its end"},
		"a ruling is gone": {func(t *testing.T, s *Store) {
			for i := range 2 {
				if _, err := s.AddRulings(t.Context(), 2, i, "Ada", "", []NewRuling{ruling(1)}); err != nil {
					t.Fatal(err)
				}
			}
			for _, q := range []string{`DROP TRIGGER rulings_kept_d`, `DELETE FROM rulings WHERE measurement_id = 2 AND seq = 1`} {
				if _, err := s.db.Exec(q); err != nil {
					t.Fatal(err)
				}
			}
		}, "numbered up to 2"},
		"a row points at nothing": {func(t *testing.T, s *Store) {
			c, err := s.db.Conn(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			for _, q := range []string{`PRAGMA foreign_keys=OFF`, `DELETE FROM asks WHERE id = 3`, `PRAGMA foreign_keys=ON`} {
				if _, err := c.ExecContext(t.Context(), q); err != nil {
					t.Fatal(err)
				}
			}
		}, "points at no asks"},
	} {
		t.Run(name, func(t *testing.T) {
			s := filled(t)
			sound(t, s)
			c.harm(t, s)
			r, err := s.Check(t.Context())
			if err != nil || len(r.Faults) == 0 || !strings.Contains(strings.Join(r.Faults, "\n"), c.want) {
				t.Errorf("told %q, %v; want %q", r.Faults, err, c.want)
			}
		})
	}
}

// What a crash left behind is cleared up: half files go, whole ones that no
// row claims are set aside, and sending the photo again keeps it as usual.
func TestSweepSetsAside(t *testing.T) {
	s := filled(t)
	sum, err := s.keepPhoto([]byte("never acknowledged"))
	if err != nil {
		t.Fatal(err)
	}
	if _, aside, err := s.Sweep(t.Context()); aside != 1 || err != nil {
		t.Fatalf("%d set aside, %v", aside, err)
	}
	if r := sound(t, s); r.Unclaimed != 1 {
		t.Errorf("%d unclaimed", r.Unclaimed)
	}
	b, err := s.Block(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	if p := addPhoto(t, s, b, "never acknowledged"); p.SHA256 != sum {
		t.Errorf("kept as %s", p.SHA256)
	}
	sound(t, s)
}

// A record of the first form, with something in it, is brought up to the
// present one with all of it, after a copy.
func TestOldRecordOpens(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	first, err := migrations.ReadFile("migrations/00001_record.sql")
	if err != nil {
		t.Fatal(err)
	}
	up, _, _ := strings.Cut(string(first), "-- +goose Down")
	if err := os.MkdirAll(filepath.Join(dir, "photos"), 0o700); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", DatabasePath(dir))
	if err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{
		up,
		`CREATE TABLE goose_db_version (id INTEGER PRIMARY KEY AUTOINCREMENT, version_id INTEGER NOT NULL, is_applied INTEGER NOT NULL, tstamp TIMESTAMP DEFAULT (datetime('now')))`,
		`INSERT INTO goose_db_version (version_id, is_applied) VALUES (0, 1), (1, 1)`,
		`INSERT INTO blocks (name, rows, vines_per_row, training_form, rule_set, rule_set_text, created_by, created_at) VALUES ('Old slope', 3, 4, 'f', 'r@1', '{}', 'Ada', '2025-01-01T00:00:00Z')`,
		`INSERT INTO vines (block_id, row, number) VALUES (1, 2, 3)`,
	} {
		if _, err := db.Exec(q); err != nil {
			t.Fatalf("%.60s: %v", q, err)
		}
	}
	db.Close()
	s, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	bs, err := s.Blocks(t.Context(), FirstEstate)
	if err != nil || len(bs) != 1 || bs[0].Name != "Old slope" || bs[0].EstateID != FirstEstate {
		t.Errorf("blocks %+v, %v", bs, err)
	}
	if v, err := s.Vine(t.Context(), 1); err != nil || v.Row != 2 {
		t.Errorf("vine %+v, %v", v, err)
	}
	copies, err := filepath.Glob(filepath.Join(dir, "backups", "before-step-after-1-*.db"))
	if err != nil || len(copies) != 1 {
		t.Errorf("copies %v, %v", copies, err)
	}
	// Two estates may have blocks of one name; one may not.
	e, err := s.AddEstate(t.Context(), "Second")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddBlock(t.Context(), Block{EstateID: e.ID, Name: "old SLOPE", Rows: 1, VinesPerRow: 1, RuleSet: "r@1", RuleSetText: "{}", CreatedBy: "Ada"}); err != nil {
		t.Error(err)
	}
	if _, err := s.db.Exec(`INSERT INTO blocks (name, rows, vines_per_row, training_form, rule_set, rule_set_text, created_by, created_at, estate_id) VALUES ('Old slope', 3, 4, 'f', 'r@1', '{}', 'Ada', 'x', 1)`); err == nil {
		t.Error("one estate has two blocks of a name")
	}
	if _, err := s.db.Exec(`UPDATE blocks SET estate_id = 2 WHERE id = 1`); err == nil {
		t.Error("a block went to another estate")
	}
	sound(t, s)
	again, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	again.Close()
	if copies, _ := filepath.Glob(filepath.Join(dir, "backups", "*")); len(copies) != 1 {
		t.Errorf("opening again made another copy: %v", copies)
	}
}
