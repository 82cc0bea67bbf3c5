package batch

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"
	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the database driver, in Go alone

	"nodespan/assess"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Names of what a job keeps in its folder.
const (
	stateName = "job.db"
	lockName  = "job.lock"
)

// A Job is a folder of photos and what became of each of them. Its methods may
// be called from many goroutines.
type Job struct {
	db   *sql.DB
	dir  string
	lock *flock.Flock
	now  func() time.Time
}

// Open opens the job whose state lies in dir, and makes both when they aren't
// there. EConflict when another process works on it; EInvalid when dir can't be
// used.
func Open(ctx context.Context, dir string) (*Job, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, assess.Errorf(assess.EInvalid, "The folder %s can't be made or written to. Choose another, or change its rights: %w", dir, err)
	}
	lock := flock.New(filepath.Join(dir, lockName))
	got, err := lock.TryLock()
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "The folder %s can't be written to. Choose another, or change its rights: %w", dir, err)
	}
	if !got {
		return nil, assess.Errorf(assess.EConflict, "Another nodespan works on %s. Wait until it has ended, or choose another folder.", dir)
	}
	j := &Job{dir: dir, lock: lock, now: time.Now}
	if err := j.open(ctx); err != nil {
		if onDisk(&err); errors.As(err, new(*assess.Error)) {
			return nil, errors.Join(err, lock.Unlock())
		}
		return nil, errors.Join(assess.Errorf(assess.EInvalid, "The job in %s can't be opened. It may belong to a newer nodespan, be damaged, or the folder may be read-only: %w", dir, err), lock.Unlock())
	}
	return j, nil
}

func (j *Job) open(ctx context.Context) error {
	path, err := filepath.Abs(filepath.Join(j.dir, stateName))
	if err != nil {
		return err
	}
	q := url.Values{"_txlock": {"immediate"}}
	for _, p := range []string{
		"journal_mode(WAL)",
		// NORMAL: what was measured survives a killed process; a power cut may
		// cost the last seconds, which are then measured again.
		"synchronous(NORMAL)",
		"busy_timeout(10000)",
	} {
		q.Add("_pragma", p)
	}
	if j.db, err = sql.Open("sqlite", (&url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}).String()); err != nil {
		return err
	}
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, j.db, steps, goose.WithVerbose(false))
	if err == nil {
		_, err = p.Up(ctx)
	}
	if err != nil {
		return errors.Join(err, j.db.Close())
	}
	return nil
}

// Close ends all work with the job; it may be opened again.
func (j *Job) Close() error { return errors.Join(j.db.Close(), j.lock.Unlock()) }

// Dir is the folder of the job's state.
func (j *Job) Dir() string { return j.dir }

func (j *Job) stamp() string { return j.now().UTC().Format(time.RFC3339Nano) }

// write runs f in a transaction that holds the write lock from its start.
func (j *Job) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := j.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		if rerr := tx.Rollback(); rerr != nil && !errors.Is(rerr, sql.ErrTxDone) {
			err = errors.Join(err, rerr)
		}
		return err
	}
	return tx.Commit()
}

// Counts tells how far a job is, for a program.
type Counts struct {
	Photos   int `json:"photos"` // in the folder
	Waiting  int `json:"waiting"`
	Measured int `json:"measured"`
	Refused  int `json:"refused"`
	Failed   int `json:"failed"` // unreadable, or no photo
}

// Done is how many photos have an outcome.
func (c Counts) Done() int { return c.Measured + c.Refused + c.Failed }

// Count counts the job's photos by their outcome under a program.
func (j *Job) Count(ctx context.Context, program string) (Counts, error) {
	var c Counts
	rows, err := j.db.QueryContext(ctx, `SELECT CASE WHEN p.unread <> '' THEN 'failed' ELSE coalesce(r.outcome, '') END AS o, count(*)
FROM photos p LEFT JOIN results r ON r.sha256 = p.sha256 AND r.with_sha256 = p.with_sha256 AND r.program = ? WHERE p.gone = 0 GROUP BY o`, program)
	if err != nil {
		return c, err
	}
	defer rows.Close()
	for rows.Next() {
		var outcome string
		var n int
		if err := rows.Scan(&outcome, &n); err != nil {
			return c, err
		}
		c.Photos += n
		switch outcome {
		case string(assess.Measured):
			c.Measured = n
		case string(assess.Refused):
			c.Refused = n
		case failed:
			c.Failed = n
		default:
			c.Waiting += n
		}
	}
	return c, rows.Err()
}

// failed is the outcome of bytes that are no photo, or over which the program
// failed.
const failed = "failed"

// Retry forgets the failures under a program, so that they are tried again,
// and returns how many there were. Refused photos stay: the same bytes would be
// refused again.
func (j *Job) Retry(ctx context.Context, program string) (int, error) {
	var n int64
	err := j.write(ctx, func(tx *sql.Tx) error {
		a, err := tx.ExecContext(ctx, `DELETE FROM results WHERE program = ? AND outcome = ?`, program, failed)
		if err != nil {
			return err
		}
		if n, err = a.RowsAffected(); err != nil {
			return err
		}
		b, err := tx.ExecContext(ctx, `UPDATE photos SET unread = '' WHERE unread <> ''`)
		if err != nil {
			return err
		}
		m, err := b.RowsAffected()
		n += m
		if err == nil {
			_, err = tx.ExecContext(ctx, `DELETE FROM begun`)
		}
		return err
	})
	return int(n), err
}

// Outcome is what became of one photo.
type Outcome struct {
	Path    string `json:"path"`
	Bytes   int64  `json:"bytes"`
	SHA256  string `json:"sha256,omitempty"`
	Outcome string `json:"outcome"`          // "waiting", "measured", "refused" or "failed"
	Reason  string `json:"reason,omitempty"` // Why, in English
	// Why are the sentences of a refusal or a failure, to be told in any language.
	Why   []assess.Sentence `json:"-"`
	Place Place             `json:"place"`
	// With is the path of the photo from another stance that was measured
	// together with this one; Depth says that it showed how far canes stand off.
	With  string `json:"with,omitempty"`
	Depth bool   `json:"depth,omitempty"`
}

// Outcomes lists the job's photos by path from after a path on, at most limit
// of them, each with the place that m finds.
func (j *Job) Outcomes(ctx context.Context, program string, m *Matcher, after string, limit int) ([]Outcome, error) {
	var out []Outcome
	err := j.each(ctx, program, after, limit, func(r record) error {
		o := Outcome{Path: r.path, Bytes: r.bytes, SHA256: r.sha, Outcome: r.outcome, Place: m.Place(r.photo), With: r.second, Depth: r.depth}
		if o.Outcome == "" {
			o.Outcome = "waiting"
		}
		if !r.why.Empty() {
			o.Reason, o.Why = r.why.String(), []assess.Sentence{r.why}
		}
		if r.outcome == string(assess.Refused) {
			seen, err := r.measurement()
			if err != nil {
				return err
			}
			o.Reason = words(seen)
			if seen != nil {
				for _, reason := range seen.Reasons {
					o.Why = append(o.Why, assess.Explain(reason))
				}
			}
		}
		out = append(out, o)
		return nil
	})
	return out, err
}

// A photo is a row of the job's photos, with what a person said of its place.
type photo struct {
	path, sha, taken string
	bytes            int64
	byHand           *Place
	second, with     string // path and content of the photo it is measured together with; "" for none
}

// A record is a photo with its result; outcome is "" while it waits.
type record struct {
	photo
	outcome string
	why     assess.Sentence // of a failure
	zipped  []byte
	timing  string
	depth   bool // the second photo showed depth
}

// each calls f for the photos of the folder in the order of their paths, one
// at a time; limit 0 means all.
func (j *Job) each(ctx context.Context, program, after string, limit int, f func(record) error) error {
	if limit <= 0 {
		limit = -1
	}
	// Page by page: f may write to the job, and no reading stays open for long.
	const page = 200
	for limit != 0 {
		n := page
		if limit > 0 {
			n = min(n, limit)
		}
		batch, err := j.page(ctx, program, after, n)
		if err != nil {
			return err
		}
		for _, r := range batch {
			if err := f(r); err != nil {
				return fmt.Errorf("%s: %w", r.path, err)
			}
		}
		if len(batch) < n {
			return nil
		}
		after = batch[len(batch)-1].path
		if limit > 0 {
			limit -= len(batch)
		}
	}
	return nil
}

func (j *Job) page(ctx context.Context, program, after string, n int) ([]record, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT p.path, p.sha256, p.taken_at, p.bytes, p.unread, p.unread_phrase, coalesce(r.outcome, ''), coalesce(r.reason, ''), coalesce(r.phrase, ''), r.measurement, coalesce(r.timing, '{}'),
       p.second, p.with_sha256, coalesce(r.depth, 0), h.block, h.row, h.vine, h.stance
FROM photos p LEFT JOIN results r ON r.sha256 = p.sha256 AND r.with_sha256 = p.with_sha256 AND r.program = ?
LEFT JOIN placed h ON h.path = p.path
WHERE p.gone = 0 AND p.path > ? ORDER BY p.path LIMIT ?`, program, after, n)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []record
	for rows.Next() {
		var r record
		var unread, unreadPhrase, reason, phrase string
		var said saidPlace
		if err := rows.Scan(&r.path, &r.sha, &r.taken, &r.bytes, &unread, &unreadPhrase, &r.outcome, &reason, &phrase, &r.zipped, &r.timing, &r.second, &r.with, &r.depth, &said.block, &said.row, &said.vine, &said.stance); err != nil {
			return nil, err
		}
		if unread != "" {
			r.outcome, reason, phrase = failed, unread, unreadPhrase
		}
		if r.why, err = assess.KeptSentence(reason, phrase); err != nil {
			return nil, err
		}
		r.byHand = said.place()
		out = append(out, r)
	}
	return out, rows.Err()
}

// saidPlace is a place as a person said it, as it comes from the database.
type saidPlace struct {
	block, stance sql.NullString
	row, vine     sql.NullInt64
}

func (s saidPlace) place() *Place {
	if !s.block.Valid {
		return nil
	}
	return &Place{Block: s.block.String, Row: int(s.row.Int64), Vine: int(s.vine.Int64), Stance: s.stance.String, By: byHand}
}
