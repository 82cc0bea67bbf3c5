package batch

import (
	"cmp"
	"context"
	"database/sql"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"nodespan/assess"
)

// Two photos of a vine from two stances are measured together: the second
// shows how far the canes stand off the wire (assess.Ask.With). Which two go
// together is told by their places alone, so that it doesn't depend on when
// they came or in which order they were measured:
//
//   - photos of one vine in one winter whose stances have different names; by
//     the names' order the first stance goes with the second, the third with the
//     fourth. Several photos of a stance go by their paths. A photo is in one
//     pair at most, so two readings of a vine never share a photo.
//   - A copy of another photo's bytes is in no pair of its own.
//   - The second photo is measured by itself too, and first. Only one that can
//     be measured is used; where the two together can't be worked on, the first
//     photo is measured by itself.

// A planned photo is what pairing knows of it.
type planned struct {
	photo
	unread string
}

// photosOf reads all photos of the folder by path, without their results.
func (j *Job) photosOf(ctx context.Context) ([]planned, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT p.path, p.sha256, p.taken_at, p.bytes, p.second, p.with_sha256, p.unread, h.block, h.row, h.vine, h.stance
FROM photos p LEFT JOIN placed h ON h.path = p.path WHERE p.gone = 0 ORDER BY p.path`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []planned
	for rows.Next() {
		var p planned
		var said saidPlace
		if err := rows.Scan(&p.path, &p.sha, &p.taken, &p.bytes, &p.second, &p.with, &p.unread, &said.block, &said.row, &said.vine, &said.stance); err != nil {
			return nil, err
		}
		p.byHand = said.place()
		out = append(out, p)
	}
	return out, rows.Err()
}

// made is what a program has of some bytes, with or without a second photo.
type made struct {
	outcome string
	canes   int // -1 when an older version didn't say
	depth   bool
}

type contents struct{ sha, with string }

// madeBy lists what a program has measured, by the contents.
func (j *Job) madeBy(ctx context.Context, program string) (map[contents]made, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT sha256, with_sha256, outcome, coalesce(canes, -1), depth FROM results WHERE program = ?`, program)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[contents]made{}
	for rows.Next() {
		var k contents
		var m made
		if err := rows.Scan(&k.sha, &k.with, &m.outcome, &m.canes, &m.depth); err != nil {
			return nil, err
		}
		out[k] = m
	}
	return out, rows.Err()
}

// pairUp decides which photos are measured together, and keeps it with them; it
// returns how many pairs there are. A nil matcher makes none. With known, only
// what was measured together before counts: nothing is left to be measured by
// it that has a result by itself.
func (j *Job) pairUp(ctx context.Context, program string, m *Matcher, known bool) (int, error) {
	all, err := j.photosOf(ctx)
	if err != nil {
		return 0, err
	}
	var by map[contents]made
	seconds := secondsOf(all, m)
	if len(seconds) > 0 {
		if by, err = j.madeBy(ctx, program); err != nil {
			return 0, err
		}
	}
	bySHA := map[string]photo{} // the second photo of these bytes
	for _, p := range all {
		b, ok := seconds[p.path]
		if !ok {
			continue
		}
		alone, together := by[contents{b.sha, ""}].outcome, by[contents{p.sha, b.sha}].outcome
		usable := together != failed && (alone == "" || alone == string(assess.Measured))
		if known {
			usable = together != "" && together != failed
		}
		if usable {
			bySHA[p.sha] = b
		}
	}
	err = j.write(ctx, func(tx *sql.Tx) error {
		for _, p := range all {
			// Copies have the result of the photo that stands for them.
			b := bySHA[p.sha]
			if b.path == p.second && b.sha == p.with {
				continue
			}
			if _, err := tx.ExecContext(ctx, `UPDATE photos SET second = ?, with_sha256 = ? WHERE path = ?`, b.path, b.sha, p.path); err != nil {
				return err
			}
		}
		return nil
	})
	return len(bySHA), err
}

// originals tells by content which photo stands for all with these bytes: the
// first one by path whose vine is known, else the first.
func originals(all []planned, m *Matcher) map[string]string {
	out, known := map[string]string{}, map[string]bool{}
	for _, p := range all {
		if p.sha == "" || known[p.sha] {
			continue
		}
		known[p.sha] = m.Place(p.photo).Known()
		if _, ok := out[p.sha]; !ok || known[p.sha] {
			out[p.sha] = p.path
		}
	}
	return out
}

// secondsOf tells by the path of a photo which one shows its depth.
func secondsOf(all []planned, m *Matcher) map[string]photo {
	if m == nil {
		return nil
	}
	type standing struct {
		stance string
		photos []photo
	}
	vines := map[string][]standing{}
	original := originals(all, m)
	for _, p := range all {
		// One that was never read has no content to be told by.
		if p.sha == "" || p.unread != "" || original[p.sha] != p.path {
			continue
		}
		at := m.Place(p.photo)
		key := at.winterKey()
		if key == "" {
			continue
		}
		of := vines[key]
		i := slices.IndexFunc(of, func(s standing) bool { return strings.EqualFold(s.stance, at.Stance) })
		if i < 0 {
			i, of = len(of), append(of, standing{stance: at.Stance})
		}
		of[i].photos = append(of[i].photos, p.photo)
		vines[key] = of
	}
	out := map[string]photo{}
	for _, of := range vines {
		slices.SortFunc(of, func(a, b standing) int { return cmp.Compare(strings.ToLower(a.stance), strings.ToLower(b.stance)) })
		for i := 0; i+1 < len(of); i += 2 {
			for k := range min(len(of[i].photos), len(of[i+1].photos)) {
				out[of[i].photos[k].path] = of[i+1].photos[k]
			}
		}
	}
	return out
}

// readAll reads the photos whose bytes aren't known yet: a photo's vine may be
// told by its content or its time.
func (r *runner) readAll(ctx context.Context) error {
	all, err := r.job.photosOf(ctx)
	if err != nil {
		return err
	}
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(r.o.Workers)
	for _, p := range all {
		if p.sha != "" || p.unread != "" {
			continue
		}
		if gctx.Err() != nil {
			break
		}
		g.Go(func() error {
			data, err := readPhoto(filepath.Join(r.o.Photos, filepath.FromSlash(p.path)))
			if err != nil {
				return nil // told when it is its turn
			}
			return r.job.content(gctx, p.path, sumOf(data), data)
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	return ctx.Err()
}

// A stand is how the photos of a job stand to each other.
type stand struct {
	same    map[string]string // a copy's path: the photo that stands for its bytes
	lentTo  map[string]string // a photo's path: that to which it showed depth
	counted map[string]bool   // by path: the photo by whose canes its vine counts
}

// standOf tells which photos are copies, which showed another one depth, and by
// which photo a vine counts where there are several of one winter: one with
// canes before one without, one with depth before one without, then by the
// name of the stance, then by path. A photo of an unknown vine counts.
func (j *Job) standOf(ctx context.Context, program string, m *Matcher) (*stand, error) {
	all, err := j.photosOf(ctx)
	if err != nil {
		return nil, err
	}
	by, err := j.madeBy(ctx, program)
	if err != nil {
		return nil, err
	}
	s := &stand{same: map[string]string{}, lentTo: map[string]string{}, counted: map[string]bool{}}
	type candidate struct {
		photo
		made
		stance string
	}
	vines := map[string][]candidate{}
	original := originals(all, m)
	for _, p := range all {
		if p.sha != "" {
			if o := original[p.sha]; o != p.path {
				s.same[p.path] = o
				continue
			}
		}
		got := by[contents{p.sha, p.with}]
		if p.unread != "" || got.outcome != string(assess.Measured) {
			continue
		}
		if got.depth {
			s.lentTo[p.second] = p.path
		}
		at := m.Place(p.photo)
		key := at.winterKey()
		if key == "" {
			s.counted[p.path] = true
			continue
		}
		vines[key] = append(vines[key], candidate{p.photo, got, strings.ToLower(at.Stance)})
	}
	truthFirst := func(a, b bool) int {
		switch {
		case a == b:
			return 0
		case a:
			return -1
		}
		return 1
	}
	for _, of := range vines {
		best := slices.MinFunc(of, func(a, b candidate) int {
			return cmp.Or(truthFirst(a.canes != 0, b.canes != 0), truthFirst(a.depth, b.depth), strings.Compare(a.stance, b.stance), strings.Compare(a.path, b.path))
		})
		s.counted[best.path] = true
	}
	return s, nil
}
