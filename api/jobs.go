package api

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/batch"
	"nodespan/assess/store"
)

// What a job is doing.
const (
	jobIdle      = "idle" // nothing waits
	jobQueued    = "queued"
	jobMeasuring = "measuring"
	jobWriting   = "writing" // the tables
	jobPaused    = "paused"
)

// Names in a job's folder.
const (
	jobPhotos  = "photos"
	jobResults = "results" // the tables, and the state
)

// jobs measures jobs of many photos, one job after another. What each has come
// to lies in its own folder; this only knows which are to be worked on.
type jobs struct {
	s    *Server
	ctx  context.Context
	mu   sync.Mutex
	open map[int64]*openJob
	wake chan struct{}
	done sync.WaitGroup
}

// An openJob is a job whose state is open, by this process alone.
type openJob struct {
	*batch.Job
	id int64
	// program is the build whose results count: that which wrote the tables, as
	// long as nothing was added since. Another build measures all photos anew.
	program string

	mu      sync.Mutex
	doing   string
	dirty   bool // something came since the tables were written
	stop    context.CancelFunc
	counts  batch.Counts
	start   time.Time       // of the present run
	fresh   int             // photos measured in it
	fault   assess.Sentence // why the last run ended
	changed chan struct{}
}

func newJobs(s *Server) *jobs {
	return &jobs{s: s, open: map[int64]*openJob{}, wake: make(chan struct{}, 1)}
}

// start takes up the jobs that an earlier stop cut off.
func (js *jobs) start(ctx context.Context) {
	js.ctx = ctx
	js.done.Go(func() { js.loop(ctx) })
}

// close waits until no job is worked on, and closes what is open; end the
// context first.
func (js *jobs) close() {
	js.done.Wait()
	js.mu.Lock()
	defer js.mu.Unlock()
	for id, o := range js.open {
		if err := o.Close(); err != nil {
			js.s.log.Error("a job could not be closed", "job", id, "error", err)
		}
	}
	js.open = map[int64]*openJob{}
}

// get opens a job's state, once for all.
func (js *jobs) get(ctx context.Context, id int64) (*openJob, error) {
	js.mu.Lock()
	defer js.mu.Unlock()
	if o := js.open[id]; o != nil {
		return o, nil
	}
	folder := js.s.store.JobFolder(id)
	if err := os.MkdirAll(filepath.Join(folder, jobPhotos), 0o750); err != nil {
		return nil, err
	}
	b, err := batch.Open(ctx, filepath.Join(folder, jobResults))
	if err != nil {
		return nil, err
	}
	o := &openJob{Job: b, id: id, program: js.s.programID, doing: jobIdle, changed: make(chan struct{})}
	if o.counts, err = b.Count(ctx, o.program); err != nil {
		return nil, errors.Join(err, b.Close())
	}
	if by, _, err := writtenIn(b.Dir()); err == nil && by != o.program {
		if c, err := b.Count(ctx, by); err == nil && c.Waiting == 0 {
			o.program, o.counts = by, c
		}
	}
	js.open[id] = o
	return o, nil
}

// patienceToEnd is how long a job that is taken away may need to end its run.
const patienceToEnd = 20 * time.Second

// remove ends a job's work and takes it away for good, with its folder.
func (js *jobs) remove(ctx context.Context, j store.Job, o *openJob) error {
	j.Paused = true // so that the loop doesn't take it up again
	if err := js.s.store.SetJob(ctx, j); err != nil {
		return err
	}
	o.pause()
	ctx, cancel := context.WithTimeout(ctx, patienceToEnd)
	defer cancel()
	for {
		o.mu.Lock()
		working, changed := o.stop != nil, o.changed
		o.mu.Unlock()
		if !working {
			break
		}
		select {
		case <-changed:
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			return assess.Errorf(assess.EBusy, "The job is still ending. Try again in a moment.")
		}
	}
	js.mu.Lock()
	defer js.mu.Unlock()
	delete(js.open, j.ID)
	return errors.Join(o.Close(), js.s.store.RemoveJob(ctx, j.ID))
}

// touch says that there is something to do in a job: anew with photos to be
// measured, else only its tables to be written.
func (js *jobs) touch(o *openJob, anew bool) {
	o.mu.Lock()
	o.dirty = true
	if anew {
		o.program = js.s.programID
	}
	o.tell()
	o.mu.Unlock()
	js.rouse()
}

func (js *jobs) rouse() {
	select {
	case js.wake <- struct{}{}:
	default:
	}
}

// tell wakes whoever watches; the lock is held.
func (o *openJob) tell() {
	close(o.changed)
	o.changed = make(chan struct{})
}

func (o *openJob) set(doing string) {
	o.mu.Lock()
	o.doing = doing
	o.tell()
	o.mu.Unlock()
}

// pause ends the present run of a job, if there is one.
func (o *openJob) pause() {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.stop != nil {
		o.stop()
	}
	o.tell()
}

func (js *jobs) loop(ctx context.Context) {
	all, err := js.s.store.Jobs(ctx, 0)
	if err != nil {
		js.s.log.Error("the jobs can't be listed", "error", err)
	}
	for _, j := range all {
		o, err := js.get(ctx, j.ID)
		if err != nil {
			js.s.log.Error("a job can't be opened", "job", j.ID, "error", err)
			continue
		}
		_, err = os.Stat(filepath.Join(o.Dir(), batch.RunFile))
		o.mu.Lock()
		// Photos may be coming in by now: what they said isn't taken back.
		if (err != nil || o.counts.Waiting > 0) && o.counts.Photos > 0 {
			o.dirty = true
		}
		o.mu.Unlock()
	}
	for ctx.Err() == nil {
		o, j := js.next(ctx)
		if o == nil {
			select {
			case <-ctx.Done():
			case <-js.wake:
			}
			continue
		}
		err := js.work(ctx, o, j)
		o.mu.Lock()
		o.fault = assess.Sentence{}
		if err != nil && ctx.Err() == nil && !errors.Is(err, context.Canceled) {
			js.s.log.Error("a job was ended by a fault", "job", o.id, "error", err, beneath(err))
			o.fault = assess.Tell("The job was ended by a fault in the program or a full disk. What was measured is kept. Resume it; if it stays, look into the log.")
			var ae *assess.Error
			if errors.As(err, &ae) {
				o.fault = ae.Sentence()
			}
			o.dirty = false
		}
		o.doing = jobIdle
		o.tell()
		o.mu.Unlock()
	}
}

// next finds the oldest job that isn't paused and has something to do.
func (js *jobs) next(ctx context.Context) (*openJob, store.Job) {
	all, err := js.s.store.Jobs(ctx, 0)
	if err != nil {
		if ctx.Err() == nil {
			js.s.log.Error("the jobs can't be listed", "error", err)
		}
		return nil, store.Job{}
	}
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].Paused {
			continue
		}
		o, err := js.get(ctx, all[i].ID)
		if err != nil {
			js.s.log.Error("a job can't be opened", "job", all[i].ID, "error", err)
			continue
		}
		o.mu.Lock()
		dirty := o.dirty
		o.mu.Unlock()
		if dirty {
			return o, all[i]
		}
	}
	return nil, store.Job{}
}

// work measures what waits in a job, and writes its tables.
func (js *jobs) work(ctx context.Context, o *openJob, j store.Job) error {
	run, stop := context.WithCancel(ctx)
	defer stop()
	o.mu.Lock()
	o.stop, o.dirty, o.doing, o.start, o.fresh = stop, false, jobMeasuring, time.Now(), 0
	program := o.program
	o.tell()
	o.mu.Unlock()
	defer func() {
		o.mu.Lock()
		o.stop = nil
		o.mu.Unlock()
	}()
	started := time.Now()
	photos := filepath.Join(js.s.store.JobFolder(j.ID), jobPhotos)
	var found batch.Found
	var sum batch.Ran
	var match *batch.Matcher
	// What is sent meanwhile is measured before the tables are written: with
	// photos coming one by one they would be written again and again.
	for {
		var err error
		if found, err = o.Find(run, photos, false); err != nil {
			return err
		}
		if err := js.count(run, o); err != nil {
			return err
		}
		// What was set meanwhile holds.
		if j, err = js.s.store.Job(run, j.ID); err != nil {
			return err
		}
		if match, err = js.matcher(j, o); err != nil {
			return err
		}
		// What another build measured is only written anew.
		if program == js.s.programID {
			options := batch.Options{
				Photos: photos, Measurer: politely{js.s}, Program: program, Workers: js.s.limits.Workers,
				Told: func(st batch.Step) { js.told(o, st) }, Match: match,
			}
			if j.Alone {
				options.Match = nil
			}
			ran, err := o.Run(run, options)
			sum = batch.Ran{Fresh: sum.Fresh + ran.Fresh, Known: sum.Known + ran.Known, Took: sum.Took + ran.Took, Workers: ran.Workers}
			if err != nil {
				// What is left waits for the next resume.
				o.mu.Lock()
				o.dirty = true
				o.mu.Unlock()
				return errors.Join(err, js.count(context.WithoutCancel(ctx), o))
			}
		}
		if err := js.count(run, o); err != nil {
			return err
		}
		o.mu.Lock()
		more := o.dirty
		o.dirty, program = false, o.program
		o.mu.Unlock()
		if !more {
			break
		}
	}
	if o.counts.Photos == 0 {
		return nil
	}
	o.set(jobWriting)
	rules, err := js.rulesFor(run, j)
	if err != nil {
		return err
	}
	_, err = o.Write(run, batch.Output{
		Folder: o.Dir(), Photos: photos, Upright: func(data []byte) ([]byte, error) { return js.s.copyOf(run, data, 0, 88) }, Program: program, Version: js.s.program, Rules: rules, Match: match, Alone: j.Alone,
		Check: batch.Check{Within: j.Check, Seed: 1}, Command: []string{"job", j.Name}, Ran: sum, Found: found, Started: started,
	})
	if errors.Is(err, context.Canceled) {
		o.mu.Lock()
		o.dirty = true
		o.mu.Unlock()
	}
	return err
}

// rulesFor gives the rule set by which a job's canes are judged. Another one
// costs no measuring.
func (js *jobs) rulesFor(ctx context.Context, j store.Job) (assess.RuleSet, error) {
	if j.RuleSet == "" {
		return assess.DefaultRuleSet(), nil
	}
	l, err := js.s.store.RuleSet(ctx, j.EstateID, j.RuleSet)
	return l.Rules, err
}

func (js *jobs) count(ctx context.Context, o *openJob) error {
	c, err := o.Count(ctx, o.by())
	if err != nil {
		return err
	}
	o.mu.Lock()
	o.counts = c
	o.tell()
	o.mu.Unlock()
	return nil
}

func (js *jobs) told(o *openJob, st batch.Step) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if st.Fresh {
		o.fresh++
	}
	c := &o.counts
	c.Photos, c.Refused, c.Failed = st.Total, st.Refused, st.Failed
	c.Measured = st.Done - st.Refused - st.Failed
	c.Waiting = st.Total - st.Done
	o.tell()
}

// politely measures for a job only while nobody waits for a photo of a vine:
// who stands in the vineyard comes first.
type politely struct{ s *Server }

func (p politely) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	for {
		busy, changed := p.s.queue.busy()
		if !busy {
			break
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	return p.s.measurer.Measure(ctx, photo, ask)
}

func (p politely) Guide(ctx context.Context, photo []byte, on *assess.Measurement, base, tip assess.Point) (*assess.Cane, error) {
	return p.s.measurer.Guide(ctx, photo, on, base, tip)
}

// busy tells whether photos of vines wait or are measured, and gives a channel
// that is closed at the next change.
func (q *queue) busy() (bool, <-chan struct{}) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.waiting) > 0 || len(q.running) > 0, q.changed
}

// jobLists are the files by which a job's photos find their vines, with how each
// is read.
var jobLists = map[string]func(f *os.File, m *batch.Matcher) error{
	"vines.csv": func(f *os.File, m *batch.Matcher) (err error) {
		m.List, err = batch.ReadList(f, "vines.csv")
		return err
	},
	"walk.csv": func(f *os.File, m *batch.Matcher) (err error) {
		m.Walk, err = batch.ReadWalk(f, "walk.csv")
		return err
	},
	"plan.csv": func(f *os.File, m *batch.Matcher) (err error) {
		m.Plan, err = batch.ReadPlan(f, "plan.csv")
		return err
	},
}

// matcher finds photos' vines as the job says.
func (js *jobs) matcher(j store.Job, o *openJob) (*batch.Matcher, error) {
	m := &batch.Matcher{}
	var err error
	if j.Pattern != "" {
		if m.Name, err = batch.ParsePattern(j.Pattern); err != nil {
			return nil, err
		}
	}
	for name, read := range jobLists {
		f, err := os.Open(filepath.Join(js.s.store.JobFolder(j.ID), name))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err == nil {
			err = errors.Join(read(f, m), f.Close())
		}
		if err != nil {
			return nil, err
		}
	}
	return m, nil
}

// jobView is a job as the pages and programs see it.
type jobView struct {
	ID      int64        `json:"id"`
	Name    string       `json:"name"`
	Pattern string       `json:"pattern"`
	RuleSet string       `json:"rule_set"` // "" for the program's own
	Alone   bool         `json:"alone"`    // each photo is measured by itself, also where two stances show one vine
	Check   float64      `json:"check"`
	Doing   string       `json:"doing"` // "idle", "queued", "measuring", "writing" or "paused"
	Paused  bool         `json:"paused"`
	Counts  batch.Counts `json:"counts"`
	Rate    float64      `json:"photos_per_second"` // of the present run, 0 while none was measured
	Left    int          `json:"seconds_left"`      // by that rate, 0 when it can't be told
	Fault   string       `json:"fault,omitempty"`
	Told    string       `json:"fault_told,omitempty"` // the fault in the language of the page that asked
	By      string       `json:"by"`
	At      time.Time    `json:"at"`
	// Written is what the last writing of the tables brought; null before.
	Written *batch.Written `json:"written" jsonschema:"nullable"`
	// Older says that another version of the program measured; resuming measures
	// all photos anew.
	Older bool     `json:"older"`
	Lists []string `json:"lists"` // lists that were given
	Page  string   `json:"page"`
}

func (s *Server) viewJob(c echo.Context, j store.Job, o *openJob) (jobView, <-chan struct{}, error) {
	o.mu.Lock()
	v := jobView{
		ID: j.ID, Name: j.Name, Pattern: j.Pattern, RuleSet: j.RuleSet, Alone: j.Alone, Check: j.Check, Doing: o.doing, Paused: j.Paused, Counts: o.counts, Fault: o.fault.String(), Told: s.told(c, o.fault),
		By: j.CreatedBy, At: j.CreatedAt, Page: jobPath(j.ID), Lists: []string{},
	}
	if v.Doing == jobIdle && o.dirty {
		v.Doing = jobQueued
	}
	if j.Paused && v.Doing != jobMeasuring && v.Doing != jobWriting {
		v.Doing = jobPaused
	}
	if o.doing == jobMeasuring && o.fresh > 0 {
		v.Rate = float64(o.fresh) / time.Since(o.start).Seconds()
		v.Left = int(float64(o.counts.Waiting) / v.Rate)
	}
	changed := o.changed
	o.mu.Unlock()
	for name := range jobLists {
		if _, err := os.Stat(filepath.Join(s.store.JobFolder(j.ID), name)); err == nil {
			v.Lists = append(v.Lists, name)
		}
	}
	by, written, err := writtenIn(o.Dir())
	if errors.Is(err, os.ErrNotExist) {
		return v, changed, nil
	}
	v.Written, v.Older = written, by != s.programID
	return v, changed, err
}

// by is the build whose results count.
func (o *openJob) by() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.program
}

// writtenIn reads what the last writing of a job's tables brought, and the build
// that had measured; os.ErrNotExist before the first.
func writtenIn(folder string) (by string, w *batch.Written, err error) {
	text, err := os.ReadFile(filepath.Join(folder, batch.RunFile))
	if err != nil {
		return "", nil, err
	}
	var run struct {
		ProgramID string `json:"program_id"`
		batch.Written
	}
	if err := json.Unmarshal(text, &run); err != nil {
		return "", nil, err
	}
	return run.ProgramID, &run.Written, nil
}
