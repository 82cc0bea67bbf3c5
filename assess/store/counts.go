package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"nodespan/assess"
)

// countsVersion is that of how counts are made. A larger one than the record
// has makes them all anew at the next opening.
const countsVersion = 2

// countVine makes a vine's counts anew, in the transaction that changed it.
func countVine(ctx context.Context, tx *sql.Tx, vineID int64) error {
	if _, err := tx.ExecContext(ctx, `DELETE FROM vine_winters WHERE vine_id = ?`, vineID); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `
WITH state AS (
    SELECT p.winter, (SELECT max(id) FROM measurements WHERE photo_id = p.id) AS mid FROM photos p WHERE p.vine_id = ?1 AND `+notDeleted+` AND `+measuredItself+`
), counted AS (
    SELECT state.winter, count(*) AS photos,
           coalesce(sum(m.outcome = 'measured' AND m.canes > `+ruledCanes+`), 0) AS waiting,
           coalesce(sum(EXISTS (SELECT 1 FROM rulings r WHERE r.measurement_id = m.id)), 0) AS ruled
    FROM state LEFT JOIN measurements m ON m.id = state.mid GROUP BY state.winter
)
INSERT INTO vine_winters (vine_id, winter, block_id, row, number, latest, photos, waiting, ruled, chosen)
SELECT v.id, c.winter, v.block_id, v.row, v.number, c.winter = (SELECT max(winter) FROM counted), c.photos, c.waiting, c.ruled,
       EXISTS (SELECT 1 FROM choices h WHERE h.vine_id = v.id AND h.winter = c.winter)
FROM counted c JOIN vines v ON v.id = ?1`, vineID); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM photo_waits WHERE photo_id IN (SELECT id FROM photos WHERE vine_id = ?)`, vineID); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `
INSERT INTO photo_waits (photo_id, received_at)
SELECT p.id, p.received_at FROM photos p JOIN measurements m ON m.id = (SELECT max(id) FROM measurements WHERE photo_id = p.id)
WHERE p.vine_id = ? AND m.outcome = 'measured' AND m.canes > `+ruledCanes+` AND `+notDeleted, vineID)
	return err
}

// countPhoto makes the facts of a photo's canes anew, and then its vine's
// counts, in the transaction that changed it.
func countPhoto(ctx context.Context, tx *sql.Tx, photoID int64) error {
	var vine, block int64
	var winter string
	if err := tx.QueryRowContext(ctx, `SELECT p.vine_id, v.block_id, p.winter FROM photos p JOIN vines v ON v.id = p.vine_id WHERE p.id = ?`, photoID).Scan(&vine, &block, &winter); err != nil {
		return err
	}
	if err := factsOfPhoto(ctx, tx, photoID, vine, block, winter); err != nil {
		return err
	}
	return countVine(ctx, tx, vine)
}

func factsOfPhoto(ctx context.Context, tx *sql.Tx, photoID, vine, block int64, winter string) error {
	for _, table := range []string{"cane_facts", "pair_facts"} {
		if _, err := tx.ExecContext(ctx, `DELETE FROM `+table+` WHERE photo_id = ?`, photoID); err != nil {
			return err
		}
	}
	var deleted bool
	if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM deleted_photos WHERE photo_id = ?)`, photoID).Scan(&deleted); err != nil || deleted {
		return err
	}
	m, err := scanMeasurement(tx.QueryRowContext(ctx, latestMeasurement, photoID))
	if errors.Is(err, sql.ErrNoRows) || err == nil && m.Seen.Outcome != assess.Measured {
		return nil
	}
	if err != nil {
		return err
	}
	rulings, err := rulingsOn(ctx, tx, m.ID)
	if err != nil {
		return err
	}
	var estate int64
	if err := tx.QueryRowContext(ctx, `SELECT estate_id FROM blocks WHERE id = ?`, block).Scan(&estate); err != nil {
		return err
	}
	book := func(id string) (assess.RuleSet, bool) {
		l, err := findRuleSet(ctx, tx, estate, id)
		return l.Rules, err == nil
	}
	rules, ok := book(m.Seen.RuleSet)
	if !ok {
		rules = assess.DefaultRuleSet()
	}
	said := map[int]bool{}
	for _, r := range rulings {
		said[r.Cane] = true
	}
	insert, err := tx.PrepareContext(ctx, `INSERT OR IGNORE INTO cane_facts (block_id, winter, photo_id, cane, vine_id, confirmed, finding, d, d_low, d_high, l, l_low, l_high) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)`)
	if err != nil {
		return err
	}
	defer insert.Close()
	keep := func(c *assess.Cane, confirmed bool) error {
		d, l := bounds(c.Diameter), bounds(c.Internode)
		_, err := insert.ExecContext(ctx, block, winter, photoID, c.ID, vine, confirmed, string(c.Finding), d[0], d[1], d[2], l[0], l[1], l[2])
		return err
	}
	confirmed := assess.ConfirmBy(m.Seen, rulings, rules, book)
	if err := keepPairs(ctx, tx, photoID, block, winter, assess.PairsOf(m.Seen, rulings, confirmed)); err != nil {
		return err
	}
	for _, cc := range confirmed {
		if cc.Kind == assess.OneYearCane {
			if err := keep(&cc.Cane, true); err != nil {
				return err
			}
		}
	}
	for i := range m.Seen.Canes {
		if c := &m.Seen.Canes[i]; !said[c.ID] {
			if err := keep(c, false); err != nil {
				return err
			}
		}
	}
	return nil
}

func bounds(q assess.Interval) [3]any {
	if !q.Known() {
		return [3]any{}
	}
	return [3]any{q.Value, q.Low, q.High}
}

// countAnew makes all counts anew from the record, in one transaction, when
// they are of an older version or when always is set.
func (s *Store) countAnew(ctx context.Context, always bool) error {
	var version sql.NullInt64
	if err := s.db.QueryRowContext(ctx, `SELECT max(version) FROM counts_made`).Scan(&version); err != nil {
		return err
	}
	if version.Int64 >= countsVersion && !always {
		return nil
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		for _, table := range []string{"counts_made", "vine_winters", "photo_waits", "cane_facts", "row_counts", "winter_counts", "cane_bins", "finding_counts", "pair_facts", "pair_counts"} {
			if _, err := tx.ExecContext(ctx, `DELETE FROM `+table); err != nil {
				return err
			}
		}
		type place struct {
			photo, vine, block int64
			winter             string
		}
		photos, err := list(ctx, tx, func(row scanner) (p place, err error) { return p, row.Scan(&p.photo, &p.vine, &p.block, &p.winter) },
			`SELECT p.id, p.vine_id, v.block_id, p.winter FROM photos p JOIN vines v ON v.id = p.vine_id ORDER BY p.id`)
		if err != nil {
			return err
		}
		vines := map[int64]bool{}
		for _, p := range photos {
			if err := factsOfPhoto(ctx, tx, p.photo, p.vine, p.block, p.winter); err != nil {
				return err
			}
			if !vines[p.vine] {
				vines[p.vine] = true
				if err := countVine(ctx, tx, p.vine); err != nil {
					return err
				}
			}
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO counts_made VALUES (?)`, countsVersion)
		return err
	})
}

// RowCount counts the recorded vines of a row, by each one's latest winter.
type RowCount struct {
	Row, Vines, Waits, Decided int
}

// RowCounts lists the rows of a block that have something recorded.
func (s *Store) RowCounts(ctx context.Context, blockID int64) ([]RowCount, error) {
	scan := func(row scanner) (r RowCount, err error) { return r, row.Scan(&r.Row, &r.Vines, &r.Waits, &r.Decided) }
	return list(ctx, s.db, scan, `SELECT row, vines, waits, decided FROM row_counts WHERE block_id = ? AND vines > 0 ORDER BY row`, blockID)
}

// BlockWinter is what a block's record has of one winter. Canes are those that
// a person confirmed.
type BlockWinter struct {
	Winter                string
	Vines, Waits, Decided int // with a photo; waiting for a ruling; with a confirmed choice
	Canes                 int // confirmed one-year canes
	Findings              map[assess.Finding]int
	Diameters             []Bin // by size, smallest first
	Internodes            []Bin
}

// Bin is a range of sizes and how many canes lie in it.
type Bin struct {
	From, To float64 // mm; To isn't in it
	N        int
}

// Widths of bins, mm, as the triggers on cane_facts make them.
const (
	diameterBin  = 0.5
	internodeBin = 5
)

// BlockWinters gives a block's winters, the oldest first.
func (s *Store) BlockWinters(ctx context.Context, blockID int64) ([]BlockWinter, error) {
	scan := func(row scanner) (w BlockWinter, err error) {
		w.Findings = map[assess.Finding]int{}
		return w, row.Scan(&w.Winter, &w.Vines, &w.Waits, &w.Decided)
	}
	out, err := list(ctx, s.db, scan, `SELECT winter, vines, waits, decided FROM winter_counts WHERE block_id = ? AND vines > 0 ORDER BY winter`, blockID)
	if err != nil {
		return nil, err
	}
	at := map[string]*BlockWinter{}
	for i := range out {
		at[out[i].Winter] = &out[i]
	}
	type line struct {
		winter, what string
		bin, n       int
	}
	findings, err := list(ctx, s.db, func(row scanner) (l line, err error) { return l, row.Scan(&l.winter, &l.what, &l.n) },
		`SELECT winter, finding, n FROM finding_counts WHERE block_id = ? AND n > 0`, blockID)
	if err != nil {
		return nil, err
	}
	for _, f := range findings {
		if w := at[f.winter]; w != nil {
			w.Findings[assess.Finding(f.what)] += f.n
			w.Canes += f.n
		}
	}
	bins, err := list(ctx, s.db, func(row scanner) (l line, err error) { return l, row.Scan(&l.winter, &l.what, &l.bin, &l.n) },
		`SELECT winter, quantity, bin, n FROM cane_bins WHERE block_id = ? AND n > 0 ORDER BY winter, quantity, bin`, blockID)
	if err != nil {
		return nil, err
	}
	for _, b := range bins {
		w := at[b.winter]
		if w == nil {
			continue
		}
		if b.what == "d" {
			w.Diameters = append(w.Diameters, Bin{float64(b.bin) * diameterBin, float64(b.bin+1) * diameterBin, b.n})
		} else {
			w.Internodes = append(w.Internodes, Bin{float64(b.bin) * internodeBin, float64(b.bin+1) * internodeBin, b.n})
		}
	}
	return out, nil
}

// CanesIn gives diameter and internode length of every cane of a block in a
// winter that wasn't rejected, for judging them by another rule set. Nothing
// else of the canes is filled in.
func (s *Store) CanesIn(ctx context.Context, blockID int64, winter string) ([]assess.Cane, error) {
	scan := func(row scanner) (c assess.Cane, err error) {
		var q [6]sql.NullFloat64
		err = row.Scan(&c.ID, &c.Finding, &q[0], &q[1], &q[2], &q[3], &q[4], &q[5])
		c.Diameter = assess.Interval{Value: q[0].Float64, Low: q[1].Float64, High: q[2].Float64}
		c.Internode = assess.Interval{Value: q[3].Float64, Low: q[4].Float64, High: q[5].Float64}
		return c, err
	}
	return list(ctx, s.db, scan, `SELECT cane, finding, d, d_low, d_high, l, l_low, l_high FROM cane_facts WHERE block_id = ? AND winter = ?`, blockID, winter)
}

// CountCanesIn counts what CanesIn gives.
func (s *Store) CountCanesIn(ctx context.Context, blockID int64, winter string) (int, error) {
	var n int
	return n, s.db.QueryRowContext(ctx, `SELECT count(*) FROM cane_facts WHERE block_id = ? AND winter = ?`, blockID, winter).Scan(&n)
}

// rulingsOn reads what people said of a measurement, oldest first.
func rulingsOn(ctx context.Context, db querier, measurement int64) ([]assess.Ruling, error) {
	kept, err := list(ctx, db, scanRuling, selectRulings, measurement)
	if err != nil {
		return nil, err
	}
	return ReadRulings(kept)
}

// ReadRulings turns rows into rulings; who, when and id are the row's.
func ReadRulings(kept []Ruling) ([]assess.Ruling, error) {
	out := make([]assess.Ruling, len(kept))
	for i, k := range kept {
		if err := json.Unmarshal(k.Payload, &out[i]); err != nil {
			return nil, fmt.Errorf("ruling %d: %w", k.ID, err)
		}
		out[i].ID, out[i].Who, out[i].When = k.ID, k.Who, k.At
	}
	return out, nil
}
