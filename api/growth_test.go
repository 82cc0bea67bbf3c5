package api

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// A size of a record: one block that holds all of its vines, which is the
// hardest case for the block's page.
type extent struct{ rows, perRow, winters, canes int }

func (e extent) String() string {
	vines := e.rows * e.perRow
	return fmt.Sprintf("%d vines, %d winters, %d canes", vines, e.winters, vines*e.winters*e.canes)
}

// grown is a record of some extent in a fresh folder, put there in bulk: what
// is inserted is what the service itself would have kept, with the counts that
// follow from it.
func grown(tb testing.TB, e extent) *rig {
	tb.Helper()
	dir := filepath.Join(tb.TempDir(), "data")
	r := rigOn(tb, dir, &keptMeasurer{}, Limits{})
	b, err := NewBlock("Large block", 100, 200, false, "four-cane", assess.DefaultRuleSet(), "Ada")
	if err != nil {
		tb.Fatal(err)
	}
	if b, err = r.store.AddBlock(context.Background(), b); err != nil {
		tb.Fatal(err)
	}
	db, err := sql.Open("sqlite", filepath.Join(dir, "nodespan.db")+"?_pragma=synchronous(OFF)&_pragma=foreign_keys(1)&_pragma=busy_timeout(10000)&_pragma=cache_size(-200000)")
	if err != nil {
		tb.Fatal(err)
	}
	defer db.Close()
	if err := insertGrown(db, b.ID, e); err != nil {
		tb.Fatal(err)
	}
	return r
}

// photoOfCanes is one measured photo with a person's rulings and a choice, as
// texts.
type photoOfCanes struct {
	measurement, choice string
	canes               []assess.Cane
	rulings             []string
}

func makePhoto(r *rand.Rand, canes int) (photoOfCanes, error) {
	m := &assess.Measurement{Program: "kept", Outcome: assess.Measured, WidthPx: 3000, HeightPx: 2000,
		Reference: &assess.Reference{Kind: "checker", MMPerPx: 0.5, PxToMM: [9]float64{0.5, 0, -700, 0, 0.5, -800, 0, 0, 1}, Outline: []assess.Point{{1300, 1500}, {1500, 1700}}},
		Wires:     []assess.Wire{{Role: "lower_fruiting", Line: []assess.Point{{0, 1560}, {3000, 1560}}}, {Role: "upper_fruiting", Line: []assess.Point{{0, 1160}, {3000, 1160}}}}, Head: &assess.Point{1500, 1700}}
	for i := range canes {
		c := assess.Cane{ID: i + 1, Traced: "automatic", Origin: "head", RelativeU: 0.02}
		x, lean, step := 1500+60*r.NormFloat64(), 0.3*r.NormFloat64(), 50+50*r.Float64()
		for k := range 11 {
			along := float64(k) * step
			c.CentreLine = append(c.CentreLine, assess.Point{x + 2*lean*along, 1690 - 2*along})
			c.AlongMM = append(c.AlongMM, along)
			if k > 0 {
				c.Nodes = append(c.Nodes, assess.Node{Px: c.CentreLine[k], AlongMM: along - 5, Side: []string{"left", "right"}[k%2], Confidence: 0.9})
			}
		}
		d := 5 + 7*r.Float64()
		for k := range 40 {
			c.Profile = append(c.Profile, assess.ProfilePoint{AlongMM: float64(k) * step / 4, DiameterMM: d, U: 0.1})
		}
		assess.Derive(&c)
		c.Profile = nil // most of a measurement's bytes, and no page shows them
		m.Canes = append(m.Canes, c)
	}
	assess.Judge(m, assess.DefaultRuleSet())
	text, err := json.Marshal(m)
	if err != nil {
		return photoOfCanes{}, err
	}
	p := photoOfCanes{measurement: string(text), canes: m.Canes}
	for i := range m.Canes {
		a, err := assess.NewRuling(m, nil, m.Canes[i].ID, assess.Agree)
		if err != nil {
			return p, err
		}
		k, err := store.KeepRuling(a)
		if err != nil {
			return p, err
		}
		p.rulings = append(p.rulings, string(k.Payload))
	}
	ch, err := assess.Suggest(m, assess.DefaultForm(), assess.DefaultRuleSet())
	if err != nil {
		return p, err
	}
	choice, err := json.Marshal(keptChoice{Choice: ch})
	p.choice = string(choice)
	return p, err
}

func insertGrown(db *sql.DB, block int64, e extent) error {
	r := rand.New(rand.NewPCG(1, 1))
	var samples []photoOfCanes
	for range 40 {
		p, err := makePhoto(r, e.canes)
		if err != nil {
			return err
		}
		samples = append(samples, p)
	}
	ctx := context.Background()
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	prepared := map[string]*sql.Stmt{}
	do := func(statement string, args ...any) (int64, error) {
		st := prepared[statement]
		if st == nil {
			if st, err = tx.Prepare(statement); err != nil {
				return 0, fmt.Errorf("%s: %w", statement, err)
			}
			prepared[statement] = st
		}
		res, err := st.Exec(args...)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", statement, err)
		}
		return res.LastInsertId()
	}
	at := time.Now().UTC().Format(time.RFC3339Nano)
	present := time.Now()
	n := 0
	for y := range e.winters {
		winter := store.WinterOf(present.AddDate(y+1-e.winters, 0, 0), false)
		if _, err := do(`INSERT OR IGNORE INTO winters (name) VALUES (?)`, winter); err != nil {
			return err
		}
		for v := range e.rows * e.perRow {
			row, number := 1+v/e.perRow, 1+v%e.perRow
			if y == 0 {
				if _, err := do(`INSERT INTO vines (id, block_id, row, number) VALUES (?,?,?,?)`, v+1, block, row, number); err != nil {
					return err
				}
			}
			n++
			p := samples[n%len(samples)]
			photo, err := do(`INSERT INTO photos (sha256, vine_id, winter, name, content_type, bytes, received_at, received_by) VALUES (?,?,?,'a.jpg','image/jpeg',5,?,'Ada')`, fmt.Sprintf("%064d", n), v+1, winter, at)
			if err != nil {
				return err
			}
			ask, err := do(`INSERT INTO asks (photo_id, ask, asked_by, asked_at) VALUES (?,'{}','Ada',?)`, photo, at)
			if err != nil {
				return err
			}
			m, err := do(`INSERT INTO measurements (ask_id, photo_id, program, rule_set, outcome, canes, json, measured_at) VALUES (?,?,'kept','nodespan-default@1','measured',?,?,?)`, ask, photo, e.canes, p.measurement, at)
			if err != nil {
				return err
			}
			for i, payload := range p.rulings {
				if _, err := do(`INSERT INTO rulings (measurement_id, seq, cane, kind, payload, said, who, ruled_at) VALUES (?,?,?,'agree',?,'{}','Ada',?)`, m, i+1, i+1, payload, at); err != nil {
					return err
				}
			}
			if _, err := do(`INSERT INTO choices (vine_id, winter, seq, measurement_id, payload, said, who, chosen_at) VALUES (?,?,1,?,?,?,'Ada',?)`, v+1, winter, m, p.choice, `{}`, at); err != nil {
				return err
			}
			for i := range p.canes {
				c := &p.canes[i]
				if _, err := do(`INSERT INTO cane_facts (block_id, winter, photo_id, cane, vine_id, confirmed, finding, d, d_low, d_high, l, l_low, l_high) VALUES (?,?,?,?,?,1,?,?,?,?,?,?,?)`,
					block, winter, photo, c.ID, v+1, string(c.Finding), c.Diameter.Value, c.Diameter.Low, c.Diameter.High, c.Internode.Value, c.Internode.Low, c.Internode.High); err != nil {
					return err
				}
			}
			latest := y == e.winters-1
			if _, err := do(`INSERT INTO vine_winters (vine_id, winter, block_id, row, number, latest, photos, waiting, ruled, chosen) VALUES (?,?,?,?,?,?,1,0,1,1)`, v+1, winter, block, row, number, latest); err != nil {
				return err
			}
		}
	}
	return tx.Commit()
}

// quickest is the least time that a page takes in so many tries: what the work
// costs, without what else the machine does.
func quickest(tb testing.TB, r *rig, path string, tries int) time.Duration {
	tb.Helper()
	best := time.Hour
	for range tries {
		q := httptest.NewRequest(http.MethodGet, r.http.URL+path, nil)
		q.Host = strings.TrimPrefix(r.http.URL, "http://")
		q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session(r.who)})
		w := httptest.NewRecorder()
		start := time.Now()
		r.server.Handler().ServeHTTP(w, q)
		best = min(best, time.Since(start))
		if w.Code != http.StatusOK {
			text, _ := io.ReadAll(w.Body)
			tb.Fatalf("%s: status %d: %.300s", path, w.Code, text)
		}
	}
	return best
}

var grownPages = []struct{ name, path string }{
	{"vine page", "/blocks/1/1/7"},
	{"block page", "/blocks/1?row=1"},
	{"figure of the block", "/blocks/1/figures/diameters.svg"},
	{"start page", "/"},
	{"page of rules", "/blocks/1/rules"},
	{"plan of a vine", "/blocks/1/1/7/plan"},
}

// held are the pages that may take at most twice as long.
const held = 2

// With seventy times as much in the record, the vine's and the block's page
// take at most twice as long. This is a small form of BenchmarkGrowth.
func TestGrowth(t *testing.T) {
	most := extent{5, 100, 5, 8}
	small, large := grown(t, extent{1, 7, 5, 8}), grown(t, most)
	for _, p := range grownPages[:held] {
		a, b := quickest(t, small, p.path, 30), quickest(t, large, p.path, 30)
		if ratio := float64(b) / float64(a); ratio > 2 {
			t.Errorf("%s: %v with %v, %v with seven vines: %.1f times", p.name, b, most, a, ratio)
		}
	}
}

// BenchmarkGrowth builds a record of 20,000 vines, five winters and 800,000
// canes, and one of a hundredth of that, and prints how much longer pages take:
//
//	go test ./api -run '^$' -bench Growth -benchtime 1x -timeout 30m
//
// The record is about 3 GB in the folder for temporary files.
func BenchmarkGrowth(b *testing.B) {
	for range b.N {
		small := grown(b, extent{1, 200, 5, 8})
		start := time.Now()
		e := extent{100, 200, 5, 8}
		large := grown(b, e)
		b.Logf("%v, put there in %.0f s; beside a hundredth of it", e, time.Since(start).Seconds())
		for i, p := range grownPages {
			x, y := quickest(b, small, p.path, 40), quickest(b, large, p.path, 40)
			ratio := float64(y) / float64(x)
			b.Logf("%-20s %8.2f ms  %8.2f ms  ratio %.2f", p.name, ms(x), ms(y), ratio)
			b.ReportMetric(ratio, strings.ReplaceAll(p.name, " ", "-")+"-ratio")
			if i < held && ratio > 2 {
				b.Errorf("%s takes %.1f times as long", p.name, ratio)
			}
		}
	}
}

// BenchmarkRulePreview previews a rule set over a block of 2,000 canes.
func BenchmarkRulePreview(b *testing.B) {
	r := grown(b, extent{1, 250, 1, 8})
	rs := assess.DefaultRuleSet()
	rs.ShortNoded.Limit = 55
	body := `{"rule_set":` + toJSON(b, rs) + `}`
	for b.Loop() {
		var p struct{ Effect assess.Effect }
		r.post("/api/blocks/1/rules/preview", body, http.StatusOK, &p)
		if p.Effect.Canes != 2000 {
			b.Fatalf("%d canes", p.Effect.Canes)
		}
	}
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
