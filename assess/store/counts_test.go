package store

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"github.com/pressly/goose/v3"

	"nodespan/assess"
)

// dump reads all counts, as text.
func dump(t testing.TB, s *Store) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for table, query := range map[string]string{
		"vine_winters":   `SELECT json_array(vine_id, winter, block_id, row, number, latest, photos, waiting, ruled, chosen) FROM vine_winters ORDER BY 1`,
		"photo_waits":    `SELECT json_array(photo_id, received_at) FROM photo_waits ORDER BY 1`,
		"row_counts":     `SELECT json_array(block_id, row, vines, waits, decided) FROM row_counts WHERE vines > 0 ORDER BY 1`,
		"winter_counts":  `SELECT json_array(block_id, winter, vines, waits, decided) FROM winter_counts WHERE vines > 0 ORDER BY 1`,
		"cane_facts":     `SELECT json_array(block_id, winter, photo_id, cane, vine_id, confirmed, finding, d, d_low, d_high, l, l_low, l_high) FROM cane_facts ORDER BY 1`,
		"cane_bins":      `SELECT json_array(block_id, winter, quantity, bin, n) FROM cane_bins WHERE n > 0 ORDER BY 1`,
		"pair_facts":     `SELECT json_array(photo_id, cane, block_id, winter, seen, said, kind, stood, missed, nodes, nodes_by, hand) FROM pair_facts ORDER BY 1`,
		"pair_counts":    `SELECT json_array(block_id, winter, seen, said, kind, stood, missed, nodes, hand, n, nodes_by) FROM pair_counts WHERE n > 0 ORDER BY 1`,
		"finding_counts": `SELECT json_array(block_id, winter, finding, n) FROM finding_counts WHERE n > 0 ORDER BY 1`,
	} {
		lines, err := list(t.Context(), s.db, func(row scanner) (l string, err error) { return l, row.Scan(&l) }, query)
		if err != nil {
			t.Fatal(err)
		}
		out[table] = lines
	}
	return out
}

func judged(r *rand.Rand, n int) *assess.Measurement {
	m := &assess.Measurement{Program: "test", Outcome: assess.Measured}
	for i := range n {
		c := assess.Cane{ID: i + 1}
		if d := 4 + 8*r.Float64(); r.IntN(6) > 0 {
			c.Diameter = assess.Interval{Value: d, Low: d - 0.3, High: d + 0.3}
		}
		if l := 35 + 60*r.Float64(); r.IntN(6) > 0 {
			c.Internode = assess.Interval{Value: l, Low: l - 3, High: l + 3}
		}
		m.Canes = append(m.Canes, c)
	}
	assess.Judge(m, assess.DefaultRuleSet())
	return m
}

// Whatever is done to the record, the counts that were kept beside it are
// those that follow from it as a whole.
func TestCountsFollowTheRecord(t *testing.T) {
	s := openStore(t)
	r := rand.New(rand.NewPCG(1, 2))
	blocks := []Block{ruledBlock(t, s, "A", assess.DefaultRuleSet()), ruledBlock(t, s, "B", assess.DefaultRuleSet())}
	type taken struct {
		photo int64
		m     *Measurement
		seq   int
	}
	var all []*taken
	for step := range 150 {
		switch what := r.IntN(10); {
		case what < 3 || len(all) == 0:
			p, fresh, err := s.AddPhoto(t.Context(), NewPhoto{Data: fmt.Appendf(nil, "photo %d", step), BlockID: blocks[r.IntN(2)].ID, Row: 1 + r.IntN(3), Number: 1 + r.IntN(4),
				Winter: []string{"2024/25", "2025/26", "2026/27"}[r.IntN(3)], Name: "a.jpg", ContentType: "image/jpeg", By: "Ada"})
			if err != nil || !fresh {
				t.Fatal(err)
			}
			all = append(all, &taken{photo: p.ID})
		case what < 6:
			x := all[r.IntN(len(all))]
			if x.m != nil { // measured once more
				if _, err := s.AddAsk(t.Context(), x.photo, assess.Ask{}, "Ada"); err != nil {
					t.Fatal(err)
				}
			}
			ask, _, _, err := s.LatestAsk(t.Context(), x.photo)
			if err != nil {
				t.Fatal(err)
			}
			m, err := s.AddMeasurement(t.Context(), ask.ID, judged(r, r.IntN(6)))
			if err != nil {
				t.Fatal(err)
			}
			x.m, x.seq = &m, 0
		case what < 9:
			x := all[r.IntN(len(all))]
			if x.m == nil || len(x.m.Seen.Canes) == 0 {
				continue
			}
			var add []NewRuling
			for _, c := range x.m.Seen.Canes {
				if r.IntN(2) == 0 {
					continue
				}
				said := []assess.Said{assess.Agree, assess.Reject, assess.Correct}[r.IntN(3)]
				a, err := assess.NewRuling(x.m.Seen, nil, c.ID, said)
				if err != nil {
					t.Fatal(err)
				}
				if said == assess.Correct {
					a.Kind = assess.OldWood
				}
				payload, _ := json.Marshal(a)
				add = append(add, NewRuling{Cane: c.ID, Kind: string(said), Payload: payload, Said: json.RawMessage(`{}`)})
			}
			if len(add) == 0 {
				continue
			}
			rulings, err := s.AddRulings(t.Context(), x.m.ID, x.seq, "Ada", "", add)
			if err != nil {
				t.Fatal(err)
			}
			x.seq = len(rulings)
		default:
			x := all[r.IntN(len(all))]
			if x.m == nil {
				continue
			}
			p, err := s.Photo(t.Context(), x.photo)
			if err != nil {
				t.Fatal(err)
			}
			after := 0
			if c, err := s.LatestChoice(t.Context(), p.VineID, p.Winter); err == nil && c != nil {
				after = c.Seq
			}
			if _, err := s.AddChoice(t.Context(), x.m.ID, after, "Ada", "", json.RawMessage(`{}`), json.RawMessage(`{}`)); err != nil {
				t.Fatal(err)
			}
		}
	}
	kept := dump(t, s)
	if err := s.countAnew(t.Context(), true); err != nil {
		t.Fatal(err)
	}
	for table, anew := range dump(t, s) {
		if !reflect.DeepEqual(kept[table], anew) {
			t.Errorf("%s, as kept:\n%v\nas made anew:\n%v", table, kept[table], anew)
		}
		if len(anew) == 0 {
			t.Errorf("%s is empty: nothing was tested", table)
		}
	}
}

// A block's winters in figures that were worked by hand.
func TestBlockWinters(t *testing.T) {
	s := openStore(t)
	b := ruledBlock(t, s, "A", assess.DefaultRuleSet())
	p := addPhoto(t, s, b, "a photo")
	ask, _, _, err := s.LatestAsk(t.Context(), p.ID)
	if err != nil {
		t.Fatal(err)
	}
	seen := &assess.Measurement{Program: "test", Outcome: assess.Measured, Canes: []assess.Cane{
		{ID: 1, Diameter: assess.Interval{Value: 9.1, Low: 8.8, High: 9.4}, Internode: assess.Interval{Value: 74, Low: 70, High: 79}},
		{ID: 2, Diameter: assess.Interval{Value: 9.4, Low: 9, High: 9.8}, Internode: assess.Interval{Value: 71, Low: 69, High: 74}},
		{ID: 3, Diameter: assess.Interval{Value: 5, Low: 4.7, High: 5.3}, Internode: assess.Interval{Value: 60, Low: 55, High: 66}},
		{ID: 4, Diameter: assess.Interval{Value: 12, Low: 11, High: 12.9}, Internode: assess.Interval{Value: 90, Low: 85, High: 96}},
	}}
	assess.Judge(seen, assess.DefaultRuleSet())
	m, err := s.AddMeasurement(t.Context(), ask.ID, seen)
	if err != nil {
		t.Fatal(err)
	}
	var add []NewRuling
	for _, id := range []int{1, 2, 3} {
		a, _ := assess.NewRuling(seen, nil, id, assess.Agree)
		payload, _ := json.Marshal(a)
		add = append(add, NewRuling{Cane: id, Kind: "agree", Payload: payload, Said: json.RawMessage(`{}`)})
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", add); err != nil {
		t.Fatal(err)
	}
	got, err := s.BlockWinters(t.Context(), b.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := []BlockWinter{{Winter: "2026/27", Vines: 1, Waits: 1, Canes: 3, Findings: map[assess.Finding]int{assess.Sound: 2, assess.Weak: 1},
		Diameters: []Bin{{5, 5.5, 1}, {9, 9.5, 2}}, Internodes: []Bin{{60, 65, 1}, {70, 75, 2}}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	canes, err := s.CanesIn(t.Context(), b.ID, "2026/27")
	if err != nil || len(canes) != 4 { // the one that waits may be judged anew too
		t.Fatalf("%d canes, %v", len(canes), err)
	}
	stricter := assess.DefaultRuleSet()
	stricter.Weak.Limit = 9.5
	if e := assess.Preview(canes, assess.DefaultRuleSet(), stricter); e.Canes != 4 || e.After[assess.Weak] != 2 || e.After[assess.TooCloseToCall] != 1 {
		t.Errorf("effect %+v", e)
	}
}

// A record from before these tables is brought up to them, with nothing lost.
func TestOldRecordIsBroughtUp(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if err := os.MkdirAll(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, databaseName))
	if err != nil {
		t.Fatal(err)
	}
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		t.Fatal(err)
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, db, steps)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.UpTo(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	rules, _ := json.Marshal(assess.DefaultRuleSet())
	seen, _ := json.Marshal(judged(rand.New(rand.NewPCG(3, 4)), 3))
	at := time.Now().UTC().Format(time.RFC3339Nano)
	for _, x := range []struct {
		statement string
		args      []any
	}{
		{`INSERT INTO blocks VALUES (1,'Old block',2,3,0,'two-cane@1','nodespan-default@1',?,'Ada',?)`, []any{string(rules), at}},
		{`INSERT INTO vines VALUES (1,1,2,3)`, nil},
		{`INSERT INTO winters VALUES ('2025/26')`, nil},
		{`INSERT INTO photos VALUES (1,?,1,'2025/26','a.jpg','image/jpeg',5,NULL,?,'Ada')`, []any{fmt.Sprintf("%064d", 7), at}},
		{`INSERT INTO asks VALUES (1,1,'{}','Ada',?)`, []any{at}},
		{`INSERT INTO measurements VALUES (1,1,1,'old','nodespan-default@1','measured',3,?,?)`, []any{string(seen), at}},
		{`INSERT INTO rulings VALUES (1,1,1,1,'agree','{"cane":1,"said":"agree"}','{}','Ada',?)`, []any{at}},
	} {
		if _, err := db.Exec(x.statement, x.args...); err != nil {
			t.Fatalf("%s: %v", x.statement, err)
		}
	}
	db.Close()

	s, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if in, err := s.RulesIn(t.Context(), 1, "2025/26"); err != nil || in.RuleSet != "nodespan-default@1" || in.TrainingForm != "two-cane@1" {
		t.Errorf("rules %+v, %v", in, err)
	}
	if l, err := s.RuleSet(t.Context(), FirstEstate, "nodespan-default@1"); err != nil || l.Rules != assess.DefaultRuleSet() {
		t.Errorf("rule set %+v, %v", l, err)
	}
	if v, err := s.RowStates(t.Context(), 1, 2); err != nil || len(v) != 1 || v[0].Waiting != 1 || v[0].Ruled != 1 {
		t.Errorf("vines %+v, %v", v, err)
	}
	if _, n, err := s.Waiting(t.Context(), FirstEstate, 5); err != nil || n != 1 {
		t.Errorf("%d photos wait, %v", n, err)
	}
	if w, err := s.BlockWinters(t.Context(), 1); err != nil || len(w) != 1 || w[0].Canes != 1 {
		t.Errorf("winters %+v, %v", w, err)
	}
}
