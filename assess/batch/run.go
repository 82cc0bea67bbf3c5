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
func (j *Job) Run(ctx context.Context, o Options) (Ran, error) {
	if o.Workers <= 0 {
		o.Workers = runtime.NumCPU()
	}
	start := time.Now()
	r := &runner{job: j, o: o, ran: Ran{Workers: o.Workers}}
	c, err := j.Count(ctx, o.Program)
	if err != nil {
		return r.ran, err
	}
	r.step = Step{Done: c.Done(), Total: c.Photos, Refused: c.Refused, Failed: c.Failed}
	g, gctx := errgroup.WithContext(ctx)
	work := make(chan photo) // unbuffered: what isn't begun stays in the database
	g.Go(func() error {
		defer close(work)
		return r.feed(gctx, work)
	})
	for range o.Workers {
		g.Go(func() error {
			for p := range work {
				if err := r.next(gctx, p); err != nil {
					return err
				}
			}
			return nil
		})
	}
	err = g.Wait()
	r.ran.Took = time.Since(start)
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return r.ran, err
}

// feed hands out the photos without an outcome by path.
func (r *runner) feed(ctx context.Context, work chan<- photo) error {
	return r.job.each(ctx, r.o.Program, "", 0, func(rec record) error {
		if rec.outcome != "" {
			return nil
		}
		select {
		case work <- rec.photo:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
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
	s.Path, s.Outcome, s.Reason, s.Fresh = p.path, res.outcome, res.reason, fresh
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
			t.DecodeMS += ms["decode"]
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
