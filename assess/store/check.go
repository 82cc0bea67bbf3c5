package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// CheckReport is what Check found. The record is sound when Faults is empty.
type CheckReport struct {
	Photos, Measurements, Rulings int
	Faults                        []string // each a sentence
	Unclaimed                     int      // files set aside by Sweep: no fault
	OnTheWay                      int      // files of uploads that aren't acknowledged yet: no fault
}

// Files of uploads on their way are none of the record's faults. One that was
// not written to for as long as an upload may take was left behind by a crash.
const (
	partTime  = time.Hour
	claimTime = time.Minute // between a photo's file and its row
)

// Check verifies the whole record: the database's integrity, that every photo
// is there and unchanged, that no file is there which no row claims, and that
// rulings and choices are numbered without a gap. It changes nothing, and may
// run while a service writes.
func (s *Store) Check(ctx context.Context) (CheckReport, error) {
	var r CheckReport
	faults, err := integrity(ctx, s.db)
	if err != nil {
		return r, err
	}
	for _, f := range faults {
		r.Faults = append(r.Faults, "database: "+f)
	}
	for query, n := range map[string]*int{`photos`: &r.Photos, `measurements`: &r.Measurements, `rulings`: &r.Rulings} {
		if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM `+query).Scan(n); err != nil {
			return r, err
		}
	}
	gaps, err := list(ctx, s.db, scanText, `
SELECT 'measurement ' || measurement_id || ' has ' || count(*) || ' rulings numbered up to ' || max(seq) FROM rulings GROUP BY measurement_id HAVING count(*) <> max(seq)
UNION ALL
SELECT 'vine ' || vine_id || ' has ' || count(*) || ' choices in ' || winter || ' numbered up to ' || max(seq) FROM choices GROUP BY vine_id, winter HAVING count(*) <> max(seq)
UNION ALL
SELECT 'vine ' || exercise_vine_id || ' of an exercise has ' || count(*) || ' attempts of account ' || account_id || ' numbered up to ' || max(attempt) FROM sealed_choices GROUP BY exercise_vine_id, account_id, coalesce(about_id, 0) HAVING count(*) <> max(attempt)
UNION ALL
SELECT 'sealed choice ' || id || ' is no JSON' FROM sealed_choices WHERE NOT json_valid(payload) OR NOT json_valid(shown)
UNION ALL
SELECT 'photo ' || p.id || ' was never asked to be measured' FROM photos p WHERE NOT EXISTS (SELECT 1 FROM asks a WHERE a.photo_id = p.id) AND NOT EXISTS (SELECT 1 FROM second_stances w WHERE w.second_id = p.id)
UNION ALL
SELECT 'measurement ' || id || ' is no JSON' FROM measurements WHERE NOT json_valid(json)
UNION ALL
SELECT 'ruling ' || id || ' is no JSON' FROM rulings WHERE NOT json_valid(payload) OR NOT json_valid(said)`)
	if err != nil {
		return r, err
	}
	r.Faults = append(r.Faults, gaps...)
	// Files before rows: what comes meanwhile has its row when its file is seen.
	files, err := filepath.Glob(filepath.Join(s.dir, photoFolder, "*", "*"))
	if err != nil {
		return r, err
	}
	photos, err := list(ctx, s.db, func(row scanner) (p photoFile, err error) { return p, row.Scan(&p.sum, &p.bytes) },
		`SELECT sha256, max(bytes) FROM photos GROUP BY sha256 ORDER BY sha256`)
	if err != nil {
		return r, err
	}
	claimed := map[string]bool{}
	for _, p := range photos {
		if err := ctx.Err(); err != nil {
			return r, err
		}
		claimed[p.sum] = true
		n, sum, err := sumOf(s.photoPath(p.sum))
		switch {
		case os.IsNotExist(err):
			r.Faults = append(r.Faults, fmt.Sprintf("photo %s is missing: bring it back from a backup", p.sum))
		case err != nil:
			r.Faults = append(r.Faults, fmt.Sprintf("photo %s can't be read: %v", p.sum, err))
		case sum != p.sum || n != p.bytes:
			r.Faults = append(r.Faults, fmt.Sprintf("photo %s was changed or is damaged: bring it back from a backup", p.sum))
		}
	}
	parts, err := filepath.Glob(filepath.Join(s.dir, photoFolder, "*.part"))
	if err != nil {
		return r, err
	}
	for _, f := range append(files, parts...) {
		info, err := os.Stat(f)
		if os.IsNotExist(err) {
			continue // arrived or given up meanwhile
		}
		if err != nil {
			return r, err
		}
		age := s.now().Sub(info.ModTime())
		switch name := filepath.Base(f); {
		case strings.HasSuffix(name, ".part") && age < partTime, !claimed[name] && !strings.HasSuffix(name, ".part") && age < claimTime:
			r.OnTheWay++
		case strings.HasSuffix(name, ".part"):
			r.Faults = append(r.Faults, fmt.Sprintf("%s was not written to its end: the next start of the service removes it", f))
		case !claimed[name]:
			r.Faults = append(r.Faults, fmt.Sprintf("%s is claimed by no record: the next start of the service sets it aside", f))
		}
	}
	aside, err := filepath.Glob(filepath.Join(s.dir, unclaimedFolder, "*"))
	r.Unclaimed = len(aside)
	return r, err
}
