package api

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// queue measures photos by a bounded number of workers. People take turns: of
// two who wait, the one who has fewer photos before this one comes first, and
// within that the older photo. So who sends a whole row at once doesn't keep
// everybody else waiting until it is done.
// The database says what waits; the queue only knows the ids, so a restart
// loses nothing.
type queue struct {
	s       *Server
	mu      sync.Mutex
	cond    *sync.Cond
	waiting []store.Ask
	running map[int64]time.Time // ask -> start
	recent  []time.Duration     // of the last measurements, for telling how long one takes
	changed chan struct{}       // closed and renewed whenever something changes
	stopped bool
	workers sync.WaitGroup
}

// remembered is how many durations the usual one is taken over.
const remembered = 15

func newQueue(s *Server) *queue {
	q := &queue{s: s, running: map[int64]time.Time{}, changed: make(chan struct{})}
	q.cond = sync.NewCond(&q.mu)
	return q
}

// start takes up what waits and starts the workers, which end with ctx.
func (q *queue) start(ctx context.Context, workers int) error {
	open, err := q.s.store.OpenAsks(ctx)
	if err != nil {
		return err
	}
	for _, a := range open {
		q.waiting = inTurn(q.waiting, a)
	}
	context.AfterFunc(ctx, func() {
		q.mu.Lock()
		q.stopped = true
		q.mu.Unlock()
		q.cond.Broadcast()
	})
	for range workers {
		q.workers.Go(func() { q.work(ctx) })
	}
	return nil
}

func (q *queue) wait() { q.workers.Wait() }

// full tells whether no more photos should be taken for now.
func (q *queue) full() bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.waiting) >= q.s.limits.Queue
}

// inTurn puts an ask where its sender's turn is: behind every ask that has no
// more asks of its own sender before it.
func inTurn(waiting []store.Ask, a store.Ask) []store.Ask {
	own := 0
	for _, w := range waiting {
		if w.By == a.By {
			own++
		}
	}
	before := map[string]int{}
	for i, w := range waiting {
		if before[w.By] > own {
			return slices.Insert(waiting, i, a)
		}
		before[w.By]++
	}
	return append(waiting, a)
}

// add puts in an ask that was kept.
func (q *queue) add(a store.Ask) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.waiting = inTurn(q.waiting, a)
	q.tell()
	q.cond.Signal()
}

// tell wakes everybody who watches; the lock is held.
func (q *queue) tell() {
	close(q.changed)
	q.changed = make(chan struct{})
}

// place tells where an ask stands: 0 while it is measured (since when), 1 for
// the next one, -1 when it isn't here; the usual duration of a measurement, 0
// when none was made yet; and a channel that is closed at the next change.
func (q *queue) place(ask int64) (place int, since time.Time, usual time.Duration, changed <-chan struct{}) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.recent) > 0 {
		sorted := slices.Sorted(slices.Values(q.recent))
		usual = sorted[len(sorted)/2]
	}
	if t, ok := q.running[ask]; ok {
		return 0, t, usual, q.changed
	}
	if i := slices.IndexFunc(q.waiting, func(a store.Ask) bool { return a.ID == ask }); i >= 0 {
		return i + 1, time.Time{}, usual, q.changed
	}
	return -1, time.Time{}, usual, q.changed
}

func (q *queue) work(ctx context.Context) {
	for {
		q.mu.Lock()
		for len(q.waiting) == 0 && !q.stopped {
			q.cond.Wait()
		}
		if q.stopped {
			q.mu.Unlock()
			return
		}
		a := q.waiting[0]
		q.waiting = q.waiting[1:]
		start := time.Now()
		q.running[a.ID] = start
		q.tell()
		q.mu.Unlock()

		err := q.s.measure(ctx, a)
		q.s.countMeasured(ctx, err, time.Since(start))
		if err != nil && ctx.Err() == nil {
			q.s.fail(a, err)
		}

		q.mu.Lock()
		delete(q.running, a.ID)
		if err == nil {
			q.recent = append(q.recent, time.Since(start))
			q.recent = q.recent[max(0, len(q.recent)-remembered):]
		}
		q.tell()
		q.mu.Unlock()
	}
}

// measure answers one ask: photo in, judged measurement kept.
func (s *Server) measure(ctx context.Context, a store.Ask) (err error) {
	// A fault in the measuring of one photo must not take the service with it.
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the measuring panicked: %v", r)
		}
	}()
	photo, err := s.store.Photo(ctx, a.PhotoID)
	if assess.ErrorCode(err) == assess.ENotFound {
		return nil // deleted meanwhile; measured when that is taken back
	}
	if err != nil {
		return err
	}
	data, err := s.store.PhotoBytes(photo.SHA256)
	if err != nil {
		return err
	}
	block, err := s.blockOf(ctx, photo)
	if err != nil {
		return err
	}
	rules, _, err := s.rulesIn(ctx, block, photo.Winter)
	if err != nil {
		return err
	}
	ask := a.Ask
	ask.Name = photo.Name
	if ask.With, err = s.secondBytes(ctx, a); err != nil {
		return err
	}
	m, err := s.measurer.Measure(ctx, data, ask)
	if err != nil {
		return err
	}
	if m.Program == "" {
		m.Program = s.program
	}
	m.Photo, m.SHA256 = photo.Name, photo.SHA256
	assess.Judge(m, rules)
	_, err = s.store.AddMeasurement(ctx, a.ID, m)
	if assess.ErrorCode(err) == assess.EConflict {
		return nil // another process on the same folder was quicker
	}
	return err
}

// fail closes an ask that can't be answered. The person gets a sentence; what
// lies beneath goes to the log.
func (s *Server) fail(a store.Ask, err error) {
	why := assess.Tell("This photo could not be measured because of a fault in the program. The photo is kept. Take another one, or report the fault with the log.")
	var ae *assess.Error
	if errors.As(err, &ae) {
		why = ae.Sentence()
	}
	if assess.ErrorCode(err) == assess.EInternal {
		s.log.Error("measuring failed", "photo", a.PhotoID, "error", err, beneath(err))
	}
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	if err := s.store.AddFailure(ctx, a.ID, assess.ErrorCode(err), why); err != nil {
		s.log.Error("a failed measurement could not be noted", "photo", a.PhotoID, "error", err)
	}
}
