package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nodespan/assess"
)

func openStore(t testing.TB) *Store {
	t.Helper()
	s, err := Open(t.Context(), filepath.Join(t.TempDir(), "data"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func addBlock(t testing.TB, s *Store) Block {
	t.Helper()
	b, err := s.AddBlock(t.Context(), Block{Name: "South slope", Rows: 12, VinesPerRow: 40, TrainingForm: "form", RuleSet: "rules@1", RuleSetText: "{}", CreatedBy: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func addPhoto(t testing.TB, s *Store, b Block, data string) Photo {
	t.Helper()
	p, _, err := s.AddPhoto(t.Context(), NewPhoto{Data: []byte(data), BlockID: b.ID, Row: 4, Number: 7, Winter: "2026/27", Name: "a.jpg", ContentType: "image/jpeg", By: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func addMeasurement(t testing.TB, s *Store, p Photo) Measurement {
	t.Helper()
	ask, _, _, err := s.LatestAsk(t.Context(), p.ID)
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.AddMeasurement(t.Context(), ask.ID, &assess.Measurement{Program: "test", RuleSet: "rules@1", Outcome: assess.Measured, Canes: []assess.Cane{{ID: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func ruling(cane int) NewRuling {
	return NewRuling{Cane: cane, Kind: "agree", Payload: json.RawMessage(fmt.Sprintf(`{"cane":%d}`, cane)), Said: json.RawMessage(`{"finding":"weak"}`)}
}

// Migrating from nothing makes every table that the record needs, and opening
// again finds what was kept.
func TestOpenFromEmptyAndAgain(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "data")
	s, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"blocks", "vines", "winters", "photos", "asks", "failures", "measurements", "traces", "rulings", "choices", "idempotency_keys"} {
		var n int
		if err := s.db.QueryRow(`SELECT count(*) FROM ` + table).Scan(&n); err != nil || n != 0 {
			t.Errorf("table %s: %d rows, %v", table, n, err)
		}
	}
	b := addBlock(t, s)
	p := addPhoto(t, s, b, "a photo")
	m := addMeasurement(t, s, p)
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s, err = Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	got, err := s.Rulings(t.Context(), m.ID)
	if err != nil || len(got) != 1 || got[0].Who != "Ada" || string(got[0].Said) != `{"finding":"weak"}` || time.Since(got[0].At) > time.Minute {
		t.Errorf("ruling after reopening: %+v, %v", got, err)
	}
	data, err := s.PhotoBytes(p.SHA256)
	if err != nil || string(data) != "a photo" {
		t.Errorf("photo after reopening: %q, %v", data, err)
	}
	var mode string
	if err := s.db.QueryRow(`PRAGMA journal_mode`).Scan(&mode); err != nil || mode != "wal" {
		t.Errorf("journal mode %q, %v; want wal", mode, err)
	}
	var on int
	if err := s.db.QueryRow(`PRAGMA foreign_keys`).Scan(&on); err != nil || on != 1 {
		t.Errorf("foreign keys %d, %v; want on", on, err)
	}
}

func TestOpenRefusesWhatIsNoFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), filepath.Join(file, "data")); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("got %v, want a sentence with code %q", err, assess.EInvalid)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, databaseName), []byte(strings.Repeat("no database ", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), dir); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("damaged database: got %v, want a sentence with code %q", err, assess.EInvalid)
	}
}

// What the program saw and what people said can't be changed, not even by a
// statement that goes past this package.
func TestNeverChanged(t *testing.T) {
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddChoice(t.Context(), m.ID, 0, "Ada", "", json.RawMessage(`{}`), json.RawMessage(`{}`)); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`UPDATE measurements SET json = '{}'`,
		`DELETE FROM measurements`,
		`UPDATE rulings SET who = 'Eve'`,
		`DELETE FROM rulings`,
		`UPDATE choices SET payload = '{"x":1}'`,
		`DELETE FROM choices`,
		`UPDATE photos SET sha256 = replace(sha256, 'a', 'b')`,
	} {
		_, err := s.db.Exec(statement)
		if err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v; want it refused", statement, err)
		}
	}
}

// Two people save at once: one wins, the other gets what is there now.
func TestTwoSaveAtOnce(t *testing.T) {
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	const people = 8
	errs := make([]error, people)
	var wg sync.WaitGroup
	for i := range people {
		wg.Go(func() {
			_, errs[i] = s.AddRulings(context.Background(), m.ID, 0, fmt.Sprintf("person %d", i), "", []NewRuling{ruling(1), ruling(2)})
		})
	}
	wg.Wait()
	all, err := s.Rulings(t.Context(), m.ID)
	if err != nil || len(all) != 2 || all[0].Seq != 1 || all[1].Seq != 2 || all[0].Who != all[1].Who {
		t.Fatalf("kept %+v, %v; want the two rulings of one person", all, err)
	}
	won := 0
	for i, err := range errs {
		if err == nil {
			won++
			continue
		}
		var c *Conflict
		if !errors.As(err, &c) || assess.ErrorCode(err) != assess.EConflict {
			t.Errorf("person %d: %v, want a conflict", i, err)
			continue
		}
		if len(c.Rulings) != 2 || c.Rulings[0].Who != all[0].Who {
			t.Errorf("person %d is shown %+v, want what the winner saved", i, c.Rulings)
		}
	}
	if won != 1 {
		t.Errorf("%d people were told that theirs was saved, want 1", won)
	}
}

func TestChoiceConflict(t *testing.T) {
	s := openStore(t)
	p := addPhoto(t, s, addBlock(t, s), "a photo")
	m := addMeasurement(t, s, p)
	add := func(after int, who string) error {
		_, err := s.AddChoice(t.Context(), m.ID, after, who, "", json.RawMessage(`{"by":"`+who+`"}`), json.RawMessage(`{}`))
		return err
	}
	if err := add(0, "Ada"); err != nil {
		t.Fatal(err)
	}
	var c *Conflict
	if err := add(0, "Ben"); !errors.As(err, &c) || c.Choice == nil || c.Choice.Who != "Ada" {
		t.Fatalf("second first choice: %v, want a conflict with Ada's", err)
	}
	if err := add(1, "Ben"); err != nil {
		t.Fatal(err)
	}
	got, err := s.LatestChoice(t.Context(), p.VineID, "2026/27")
	if err != nil || got.Who != "Ben" || got.Seq != 2 {
		t.Errorf("latest choice %+v, %v; want Ben's", got, err)
	}
}

// A request that is sent again because its answer was lost does nothing more.
func TestSentTwice(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	n := NewPhoto{Data: []byte("a photo"), BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", By: "Ada", IdempotencyKey: "k1", Name: "a", ContentType: "image/jpeg"}
	first, fresh, err := s.AddPhoto(t.Context(), n)
	if err != nil || !fresh {
		t.Fatal(err, fresh)
	}
	again, fresh, err := s.AddPhoto(t.Context(), n)
	if err != nil || fresh || again.ID != first.ID {
		t.Errorf("second sending: photo %d fresh %v, %v; want photo %d", again.ID, fresh, err, first.ID)
	}
	n.Data = []byte("another photo")
	if _, _, err := s.AddPhoto(t.Context(), n); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("other photo under the same key: %v, want a conflict", err)
	}
	n.Data, n.IdempotencyKey = []byte("a photo"), "k2"
	if again, fresh, err := s.AddPhoto(t.Context(), n); err != nil || fresh || again.ID != first.ID {
		t.Errorf("same photo of the same vine under a new key: photo %d fresh %v, %v; want photo %d", again.ID, fresh, err, first.ID)
	}
	asks, err := s.OpenAsks(t.Context())
	if err != nil || len(asks) != 1 {
		t.Errorf("%d asks wait, %v; want 1", len(asks), err)
	}

	m := addMeasurement(t, s, first)
	for range 2 {
		all, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "r1", []NewRuling{ruling(1)})
		if err != nil || len(all) != 1 {
			t.Errorf("%d rulings, %v; want 1", len(all), err)
		}
	}
}

// The order that makes a crash harmless: the file is whole before the row is
// there. Here the row can't be written, and the file goes with it; and what a
// crash leaves in the middle of a write is swept away.
func TestFileBeforeRow(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	if _, err := s.db.Exec(`CREATE TRIGGER stop BEFORE INSERT ON photos BEGIN SELECT RAISE(ABORT, 'stopped here'); END`); err != nil {
		t.Fatal(err)
	}
	n := NewPhoto{Data: []byte("a photo"), BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", Name: "a", ContentType: "image/jpeg", By: "Ada"}
	raw := sha256.Sum256(n.Data)
	sum := hex.EncodeToString(raw[:])
	asked := 0
	s.now = func() time.Time { // asked for while the row is made
		asked++
		if data, err := s.PhotoBytes(sum); err != nil || string(data) != "a photo" {
			t.Errorf("the file was to be there before its row: %q, %v", data, err)
		}
		return time.Now()
	}
	if _, _, err := s.AddPhoto(t.Context(), n); err == nil || asked == 0 {
		t.Fatalf("the row was to fail, and its time to be asked for: %v, %d", err, asked)
	}
	s.now = time.Now
	if _, err := s.PhotoBytes(sum); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("a file whose row could not be made: %v, want it gone", err)
	}
	for _, table := range []string{"photos", "vines", "asks", "winters"} {
		var n int
		if err := s.db.QueryRow(`SELECT count(*) FROM ` + table).Scan(&n); err != nil || n != 0 {
			t.Errorf("%s has %d rows after a failed write, %v; want none", table, n, err)
		}
	}

	part := filepath.Join(s.dir, photoFolder, sum[:2], "123.part")
	if err := os.WriteFile(part, []byte("half a ph"), 0o600); err != nil {
		t.Fatal(err)
	}
	if n, _, err := s.Sweep(t.Context()); n != 1 || err != nil {
		t.Errorf("swept %d, %v; want the one half file", n, err)
	}
	if _, err := os.Stat(part); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("half file still there: %v", err)
	}
	if _, err := s.db.Exec(`DROP TRIGGER stop`); err != nil {
		t.Fatal(err)
	}
	if _, fresh, err := s.AddPhoto(t.Context(), n); err != nil || !fresh {
		t.Errorf("sending it again: fresh %v, %v", fresh, err)
	}
}

func TestDamagedPhotoIsNoticed(t *testing.T) {
	s := openStore(t)
	p := addPhoto(t, s, addBlock(t, s), "a photo")
	if err := os.WriteFile(s.photoPath(p.SHA256), []byte("a phoDo"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PhotoBytes(p.SHA256); assess.ErrorCode(err) != assess.EInternal {
		t.Errorf("got %v, want the damage told", err)
	}
	for _, sum := range []string{"", "../../etc/passwd", strings.Repeat("0", 64), strings.Repeat("Z", 64)} {
		if _, err := s.PhotoBytes(sum); assess.ErrorCode(err) != assess.ENotFound {
			t.Errorf("PhotoBytes(%q): %v, want not found", sum, err)
		}
	}
	// The same photo sent again mends it.
	if p2 := addPhoto(t, s, addBlock2(t, s), "a photo"); p2.SHA256 != p.SHA256 {
		t.Fatal("another name for the same bytes")
	}
	if data, err := s.PhotoBytes(p.SHA256); err != nil || string(data) != "a photo" {
		t.Errorf("after sending it again: %q, %v", data, err)
	}
}

func addBlock2(t testing.TB, s *Store) Block {
	t.Helper()
	b, err := s.AddBlock(t.Context(), Block{Name: "Other", Rows: 12, VinesPerRow: 40, TrainingForm: "form", RuleSet: "rules@1", RuleSetText: "{}", CreatedBy: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestOpenAsks(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	p := addPhoto(t, s, b, "one")
	bad := addPhoto(t, s, b, "two")
	asks, err := s.OpenAsks(t.Context())
	if err != nil || len(asks) != 2 || asks[0].PhotoID != p.ID {
		t.Fatalf("%+v, %v; want both photos, the older first", asks, err)
	}
	addMeasurement(t, s, p)
	if err := s.AddFailure(t.Context(), asks[1].ID, assess.EInvalid, assess.Tell("no photo")); err != nil {
		t.Fatal(err)
	}
	if asks, err := s.OpenAsks(t.Context()); err != nil || len(asks) != 0 {
		t.Errorf("%+v, %v; want none", asks, err)
	}
	if _, f, open, err := s.LatestAsk(t.Context(), bad.ID); err != nil || open || f == nil || f.Why.String() != "no photo" {
		t.Errorf("failure %+v open %v, %v", f, open, err)
	}
	if _, err := s.AddAsk(t.Context(), p.ID, assess.Ask{Marks: &assess.Marks{A: assess.Point{1, 2}, B: assess.Point{3, 4}, DistanceMM: 200}}, "Ada"); err != nil {
		t.Fatal(err)
	}
	asks, err = s.OpenAsks(t.Context())
	if err != nil || len(asks) != 1 || asks[0].Ask.Marks == nil || asks[0].Ask.Marks.DistanceMM != 200 {
		t.Errorf("%+v, %v; want the ask with marks", asks, err)
	}
	if _, err := s.AddMeasurement(t.Context(), 1, &assess.Measurement{}); assess.ErrorCode(err) != assess.EConflict {
		t.Errorf("second answer to an ask: %v, want a conflict", err)
	}
}

func TestVineStates(t *testing.T) {
	s := openStore(t)
	b := addBlock(t, s)
	m := addMeasurement(t, s, addPhoto(t, s, b, "one"))
	addMeasurement(t, s, addPhoto(t, s, b, "two"))
	if ps, n, err := s.Waiting(t.Context(), FirstEstate, 1); err != nil || n != 2 || len(ps) != 1 {
		t.Errorf("waiting %d listed %d, %v; want 2 and 1", n, len(ps), err)
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil {
		t.Fatal(err)
	}
	vs, err := s.VineStates(t.Context(), b.ID)
	want := VineState{Vine: Vine{ID: 1, BlockID: b.ID, Row: 4, Number: 7}, Photos: 2, Waiting: 1, Ruled: 1, Winter: "2026/27"}
	if err != nil || len(vs) != 1 || vs[0] != want {
		t.Errorf("got %+v, %v; want %+v", vs, err, want)
	}
}

// A photo waits until each of its canes was ruled on; a cane that a person
// pointed out doesn't stand for one that nobody looked at.
func TestPartlyRuledWaits(t *testing.T) {
	s := openStore(t)
	p := addPhoto(t, s, addBlock(t, s), "one")
	ask, _, _, err := s.LatestAsk(t.Context(), p.ID)
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.AddMeasurement(t.Context(), ask.ID, &assess.Measurement{Outcome: assess.Measured, Canes: []assess.Cane{{ID: 1}, {ID: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	_, added, err := s.AddTrace(t.Context(), m.ID, assess.Cane{}, "test", "Ada")
	if err != nil {
		t.Fatal(err)
	}
	for i, c := range []struct{ cane, waiting int }{{1, 1}, {1, 1}, {added.ID, 1}, {2, 0}} {
		if _, err := s.AddRulings(t.Context(), m.ID, i, "Ada", "", []NewRuling{ruling(c.cane)}); err != nil {
			t.Fatal(err)
		}
		_, n, err := s.Waiting(t.Context(), FirstEstate, 5)
		vs, err2 := s.VineStates(t.Context(), 1)
		if err != nil || err2 != nil || n != c.waiting || vs[0].Waiting != c.waiting {
			t.Errorf("after a ruling on cane %d: %d and %d wait, %v %v; want %d", c.cane, n, vs[0].Waiting, err, err2, c.waiting)
		}
	}
}

func TestBadBlocks(t *testing.T) {
	s := openStore(t)
	good := addBlock(t, s)
	for _, c := range []struct {
		name string
		b    Block
		code string
	}{
		{"no name", Block{Name: " ", Rows: 1, VinesPerRow: 1}, assess.EInvalid},
		{"long name", Block{Name: strings.Repeat("é", 81), Rows: 1, VinesPerRow: 1}, assess.EInvalid},
		{"control sign", Block{Name: "a\x00b", Rows: 1, VinesPerRow: 1}, assess.EInvalid},
		{"no rows", Block{Name: "b", Rows: 0, VinesPerRow: 1}, assess.EInvalid},
		{"too many vines", Block{Name: "b", Rows: 1, VinesPerRow: 1e6}, assess.EInvalid},
		{"name taken", Block{Name: "SOUTH slope", Rows: 1, VinesPerRow: 1}, assess.EConflict},
	} {
		if _, err := s.AddBlock(t.Context(), c.b); assess.ErrorCode(err) != c.code {
			t.Errorf("%s: %v, want code %q", c.name, err, c.code)
		}
	}
	for _, at := range [][2]int{{0, 1}, {1, 0}, {13, 1}, {1, 41}} {
		if _, err := s.FindVine(t.Context(), good, at[0], at[1]); assess.ErrorCode(err) != assess.ENotFound {
			t.Errorf("vine at %v: %v, want not found", at, err)
		}
	}
	if _, _, err := s.AddPhoto(t.Context(), NewPhoto{Data: []byte("x"), BlockID: good.ID, Row: 99, Number: 1, Winter: "2026/27"}); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("photo beyond the block: %v", err)
	}
}

func TestWinters(t *testing.T) {
	for _, c := range []struct {
		day      string
		southern bool
		want     string
	}{
		{"2026-11-25", false, "2026/27"},
		{"2027-03-01", false, "2026/27"},
		{"2027-06-30", false, "2026/27"},
		{"2027-07-01", false, "2027/28"},
		{"2099-12-01", false, "2099/00"},
		{"2026-07-15", true, "2026"},
	} {
		day, err := time.Parse(time.DateOnly, c.day)
		if err != nil {
			t.Fatal(err)
		}
		got := WinterOf(day, c.southern)
		if got != c.want {
			t.Errorf("WinterOf(%s, southern %v) = %q, want %q", c.day, c.southern, got, c.want)
		}
		if err := CheckWinter(got); err != nil {
			t.Errorf("CheckWinter(%q): %v", got, err)
		}
	}
	for _, bad := range []string{"", "2026/28", "26/27", "2026-27", "winter", "2026/27 "} {
		if CheckWinter(bad) == nil {
			t.Errorf("CheckWinter(%q) let it pass", bad)
		}
	}
}

// A connection that is lost in the middle takes nothing half-written with it.
func TestCancelledWriteLeavesNothing(t *testing.T) {
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	ctx, cancel := context.WithCancel(t.Context())
	err := s.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO rulings (measurement_id, seq, cane, kind, payload, said, who, ruled_at) VALUES (?,1,1,'agree','{}','{}','Ada','x')`, m.ID); err != nil {
			return err
		}
		cancel()
		_, err := tx.ExecContext(ctx, `INSERT INTO rulings (measurement_id, seq, cane, kind, payload, said, who, ruled_at) VALUES (?,2,1,'agree','{}','{}','Ada','x')`, m.ID)
		return err
	})
	if err == nil {
		t.Fatal("want an error")
	}
	if all, err := s.Rulings(t.Context(), m.ID); err != nil || len(all) != 0 {
		t.Errorf("%d rulings, %v; want none", len(all), err)
	}
}

// A cane that was missed gets a number that is used nowhere else.
func TestTraces(t *testing.T) {
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	for want := 2; want <= 3; want++ {
		id, c, err := s.AddTrace(t.Context(), m.ID, assess.Cane{Traced: "guided"}, "test", "Ada")
		if err != nil || c.ID != want {
			t.Fatalf("cane %d, %v; want %d", c.ID, err, want)
		}
		got, err := s.Trace(t.Context(), m.ID, id)
		if err != nil || got.ID != want || got.Traced != "guided" {
			t.Errorf("kept %+v, %v", got, err)
		}
	}
	if _, err := s.Trace(t.Context(), m.ID+1, 1); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("trace of another measurement: %v, want not found", err)
	}
}

// A clock that is set back between two rulings doesn't turn their order.
func TestClockSetBack(t *testing.T) {
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	clock := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	for i := range 2 {
		s.now = func() time.Time { return clock.Add(-time.Duration(i) * time.Hour) }
		all, err := s.AddRulings(t.Context(), m.ID, i, "Ada", "", []NewRuling{ruling(1)})
		if err != nil || all[i].At.Before(clock) {
			t.Errorf("ruling %d at %v, %v; want none before the first", i+1, all[i].At, err)
		}
	}
}
