package batch

import (
	"context"
	"encoding/json"
	"errors"
	"runtime"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/singleflight"

	"nodespan/assess"
)

// Options say what a run measures and how.
type Options struct {
	Photos   string // the folder with the photos
	Measurer assess.Measurer
	// Program tells one program from another, so that a changed one measures
	// anew: best a hash of the program itself.
	Program string
	// Workers measure at the same time; 0 takes as many as there are
	// processors. Each holds one photo's pixels: some 40 bytes a pixel.
	Workers int
	// Told hears of each photo that came to an outcome, one call at a time; nil
	// for none.
	Told func(Step)
	// Match tells whose vine a photo shows, so that two stances of a vine are
	// measured together; nil measures each photo by itself.
	Match *Matcher
}

// Step is one photo that came to an outcome.
type Step struct {
	Path    string
	Outcome string // "measured", "refused" or "failed"
	Reason  string // for the last two
	Fresh   bool   // measured now; else its bytes had been measured before
	Done    int    // photos with an outcome
	Total   int    // photos of the job
	Refused int
	Failed  int
}

// Ran is what a run did.
type Ran struct {
	Fresh   int           // photos measured now
	Known   int           // photos whose bytes had been measured before
	Took    time.Duration // from start to end
	Workers int
}

// Rate is how many photos a second were measured, 0 when none was.
func (r Ran) Rate() float64 {
	if r.Took <= 0 {
		return 0
	}
	return float64(r.Fresh) / r.Took.Seconds()
}

type runner struct {
	job  *Job
	o    Options
	same singleflight.Group
	mu   sync.Mutex
	step Step
	ran  Ran
}

// Run measures every photo of the job that has no outcome yet. It returns when
// all have one, or with ctx's error when that ended; what was measured until
// then is kept. A photo that can't be measured isn't an error.
func (j *Job) Run(ctx context.Context, o Options) (ran Ran, err error) {
	defer onDisk(&err)
	if o.Workers <= 0 {
		o.Workers = runtime.NumCPU()
	}
	start := time.Now()
	r := &runner{job: j, o: o, ran: Ran{Workers: o.Workers}}
	err = r.all(ctx)
	r.ran.Took = time.Since(start)
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return r.ran, err
}

// all measures in three turns: what is measured by itself, then the pairs, since
// only a second photo that could be measured is used, then first photos whose
// pair couldn't be worked on.
func (r *runner) all(ctx context.Context) error {
	if r.o.Match != nil {
		if err := r.readAll(ctx); err != nil {
			return err
		}
	}
	for turn := range 3 {
		pairs, err := r.job.pairUp(ctx, r.o.Program, r.o.Match, false)
		if err != nil {
			return err
		}
		c, err := r.job.Count(ctx, r.o.Program)
		if err != nil {
			return err
		}
		r.step = Step{Done: c.Done(), Total: c.Photos, Refused: c.Refused, Failed: c.Failed}
		if c.Waiting == 0 {
			return nil
		}
		if err := r.measureAll(ctx, turn > 0 || pairs == 0); err != nil {
			return err
		}
	}
	return nil
}

// measureAll measures what has no outcome, with or without the pairs.
func (r *runner) measureAll(ctx context.Context, pairs bool) error {
	g, gctx := errgroup.WithContext(ctx)
	work := make(chan photo) // unbuffered: what isn't begun stays in the database
	g.Go(func() error {
		defer close(work)
		return r.feed(gctx, work, pairs)
	})
	for range r.o.Workers {
		g.Go(func() error {
			for p := range work {
				if err := r.next(gctx, p); err != nil {
					return err
				}
			}
			return nil
		})
	}
	return g.Wait()
}

// feed hands out the photos without an outcome by path.
func (r *runner) feed(ctx context.Context, work chan<- photo, pairs bool) error {
	for after := ""; ; {
		some, err := r.job.waiting(ctx, r.o.Program, after, pairs)
		if err != nil || len(some) == 0 {
			return err
		}
		for _, p := range some {
			select {
			case work <- p:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		after = some[len(some)-1].path
	}
}

// waiting lists some photos without an outcome by path, from after a path on.
func (j *Job) waiting(ctx context.Context, program, after string, pairs bool) ([]photo, error) {
	rows, err := j.db.QueryContext(ctx, `SELECT p.path, p.sha256, p.second, p.with_sha256
FROM photos p LEFT JOIN results r ON r.sha256 = p.sha256 AND r.with_sha256 = p.with_sha256 AND r.program = ?
WHERE p.gone = 0 AND p.unread = '' AND r.outcome IS NULL AND (? OR p.with_sha256 = '') AND p.path > ? ORDER BY p.path LIMIT 200`, program, pairs, after)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []photo
	for rows.Next() {
		var p photo
		if err := rows.Scan(&p.path, &p.sha, &p.second, &p.with); err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, rows.Err()
}

func (r *runner) next(ctx context.Context, p photo) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	res, fresh, err := r.one(ctx, p)
	if err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if fresh {
		r.ran.Fresh++
	} else {
		r.ran.Known++
	}
	s := &r.step
	if p.with != "" && res.outcome == failed {
		// No outcome of the photo: it is measured by itself in the next turn.
		if told := *s; r.o.Told != nil {
			told.Path, told.Outcome, told.Fresh = p.path, failed, fresh
			told.Reason = "Not measured together with " + p.second + ", but by itself: " + res.why.String()
			r.o.Told(told)
		}
		return nil
	}
	s.Path, s.Outcome, s.Reason, s.Fresh = p.path, res.outcome, res.why.String(), fresh
	s.Done++
	switch res.outcome {
	case string(assess.Refused):
		s.Refused++
		s.Reason = words(res.seen)
	case failed:
		s.Failed++
	}
	if r.o.Told != nil {
		r.o.Told(*s)
	}
	return nil
}

// lookEvery is how often a watched folder is looked into.
const lookEvery = 3 * time.Second

// Watch looks into the folder again and again, measures what is new, and calls
// idle after each time that something was measured and nothing waits any more.
// It returns nil when ctx ends, or the first error.
func (j *Job) Watch(ctx context.Context, o Options, idle func(Ran) error) error {
	var sum Ran
	for first := true; ; first = false {
		f, err := j.Find(ctx, o.Photos, true)
		if err == nil && (first || f.New > 0 || f.Gone > 0) {
			var ran Ran
			ran, err = j.Run(ctx, o)
			sum.Fresh += ran.Fresh
			sum.Known += ran.Known
			sum.Took += ran.Took
			sum.Workers = ran.Workers
			if err == nil {
				err = idle(sum)
			}
		}
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(lookEvery):
		}
	}
}

// Timings are the measuring times of the photos that have a result.
type Timings struct {
	Photos   int     `json:"photos"`
	DecodeMS float64 `json:"decode_ms_mean"`
	TotalMS  float64 `json:"total_ms_mean"`
	// OverDecode is the mean total over the mean decode: how many times as long
	// as decoding the photo the whole measuring takes. 0 when the measurer
	// tells no decoding time.
	OverDecode float64 `json:"total_over_decode"`
}

// Timing reads the timings of all photos of the folder that were measured or
// refused by a program.
func (j *Job) Timing(ctx context.Context, program string) (Timings, error) {
	var t Timings
	err := j.each(ctx, program, "", 0, func(r record) error {
		var ms map[string]float64
		if err := json.Unmarshal([]byte(r.timing), &ms); err != nil {
			return err
		}
		if ms["decode"] > 0 && ms["total"] > 0 {
			t.Photos++
			t.DecodeMS += ms["decode"] + ms["second_decode"]
			t.TotalMS += ms["total"]
		}
		return nil
	})
	if t.Photos > 0 {
		t.OverDecode = t.TotalMS / t.DecodeMS
		t.DecodeMS /= float64(t.Photos)
		t.TotalMS /= float64(t.Photos)
	}
	return t, errors.Join(err, ctx.Err())
}
