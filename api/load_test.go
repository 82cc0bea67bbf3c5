package api

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"nodespan/api/apart"
	"nodespan/assess/store"
)

// What the pages of a service are to take while fifty phones send: at the 95th
// percentile at most ten times what they take when nothing else goes on, and
// under 200 ms. Both hold, in the best of up to three rounds: another program
// that uses the machine meanwhile, as the tests of other packages do, adds to a
// round's times under load and never takes away from them, so a round that holds
// shows what the service does by itself, and a service that couldn't hold it
// wouldn't in any. What is added to the idle times would make the first bound
// easier; they are therefore those of the quietest of some stretches. What isn't
// held is that every round holds: that is for a machine that runs nothing else.
// Last seen on two cores that others used too: 6 to 12 ms idle and 12 to 17 ms
// under load; a round alone held in twenty of twenty.
const (
	idleStretches, idlePages = 3, 100
	mostTimesIdle            = 10
	mostUnderLoad            = 200 * time.Millisecond
	loadRounds               = 3
)

// Fifty phones send at once, more than the queue takes, while somebody looks at
// pages. Photos are decoded and measured in processes of their own, as in the
// service; measuring is a computation that leads nowhere. Every photo arrives in
// the end, by waiting and trying again when told so; the phones get their turns
// alike; pages stay quick, and memory stays bounded. NODESPAN_LOAD sets how many
// photos each phone sends in a round.
func TestFiftyPhones(t *testing.T) {
	if testing.Short() {
		t.Skip("takes some seconds")
	}
	if withRaceDetector {
		t.Skip("speed means nothing under the race detector, and its address space can't be bounded")
	}
	const phones = 50
	each := 1
	if n, err := strconv.Atoi(os.Getenv("NODESPAN_LOAD")); err == nil {
		each = n
	}
	photo, err := os.ReadFile("../testdata/raytraced/d01.jpg")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "data")
	session := prepare(t, dir)
	st, err := store.Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	processes := &apart.Runner{Command: []string{self, asOnePhoto}}
	s, err := New(ctx, Config{
		Store: st, Measurer: processes, Program: "test",
		Decoder: processes,
		Limits:  Limits{Queue: 20, Receiving: 40, Workers: 1},
	})
	if err != nil {
		t.Fatal(err)
	}
	web := newLocal(s.Handler())
	defer func() { cancel(); s.Close(); web.Close(); st.Close() }()

	unique := func(n int) []byte { // a comment behind the JPEG's start
		text := fmt.Sprintf("photo %d", n)
		return slices.Concat(photo[:2], []byte{0xff, 0xfe, 0, byte(len(text) + 2)}, []byte(text), photo[2:])
	}
	put := func(phone, n int) (int, error) {
		var ps photoState
		kind, body := multipartPhoto(unique(phone*1000 + n))
		return send(web.URL, session, "POST", fmt.Sprintf("/api/blocks/1/rows/%d/vines/%d/photos", phone+1, n+1), fmt.Sprintf("%d/%d", phone, n), kind, body, &ps)
	}
	if status, err := put(phones, 0); status != http.StatusCreated {
		t.Fatal(status, err)
	}
	pages := []string{"/", "/blocks/1", fmt.Sprintf("/blocks/1/%d/1", phones+1), "/photos/1", "/api/photos/1", "/about"}
	look := func() time.Duration {
		began := time.Now()
		if status, err := send(web.URL, session, "GET", pages[rand.N(len(pages))], "", "", nil, nil); status != http.StatusOK {
			t.Errorf("a page: %d %v", status, err)
		}
		return time.Since(began)
	}
	p95 := func(all []time.Duration) time.Duration {
		slices.Sort(all)
		return all[len(all)*95/100]
	}
	for range 30 {
		look()
	}
	var heap uint64
	rounds, held := 0, false
	for ; rounds < loadRounds && !held && !t.Failed(); rounds++ {
		measured(t, s) // what waits from the round before
		a := time.Duration(math.MaxInt64)
		for range idleStretches {
			var idle []time.Duration
			for range idlePages {
				idle = append(idle, look())
				time.Sleep(2 * time.Millisecond)
			}
			a = min(a, p95(idle))
		}
		var later, done atomic.Int64
		counts := make([]atomic.Int64, phones)
		var half [phones]int64
		var once sync.Once
		var people sync.WaitGroup
		began := time.Now()
		for p := range phones {
			people.Go(func() {
				for n := range each {
					for {
						status, err := put(p, rounds*each+n)
						if status == http.StatusCreated {
							counts[p].Add(1)
							if done.Add(1) == int64(phones*each/2) {
								once.Do(func() {
									for i := range half {
										half[i] = counts[i].Load()
									}
								})
							}
							break
						}
						if status != http.StatusServiceUnavailable {
							t.Errorf("upload: %d %v", status, err)
							return
						}
						later.Add(1)
						time.Sleep(50*time.Millisecond + rand.N(100*time.Millisecond)) // the page waits as it is told, 20 s
					}
				}
			})
		}
		finished := make(chan struct{})
		go func() { people.Wait(); close(finished) }()
		var under []time.Duration
		for waiting := true; waiting; {
			select {
			case <-finished:
				waiting = false
			default:
				under = append(under, look())
				var m runtime.MemStats
				if len(under)%20 == 0 {
					runtime.ReadMemStats(&m)
					heap = max(heap, m.HeapSys)
				}
				time.Sleep(2 * time.Millisecond)
			}
		}
		took := time.Since(began)
		b := p95(under)
		held = b < mostUnderLoad && b <= mostTimesIdle*a
		t.Logf("%d photos from %d phones in %.1f s, %d told to come later; pages' 95th percentile: idle %v, under load %v (%d pages), ratio %.1f; heap %d MB; photos by phone when half was there: %d to %d",
			phones*each, phones, took.Seconds(), later.Load(), a.Round(10*time.Microsecond), b.Round(10*time.Microsecond), len(under), b.Seconds()/a.Seconds(), heap>>20, slices.Min(half[:]), slices.Max(half[:]))
		if later.Load() == 0 {
			t.Error("nobody was told to come later: the queue was not full")
		}
	}
	if !held {
		t.Errorf("in none of %d rounds did pages under load take less than %v and at most %d times as long as idle", rounds, mostUnderLoad, mostTimesIdle)
	}
	if heap > 700<<20 {
		t.Errorf("the heap grew to %d MB", heap>>20)
	}
	report, err := st.Check(t.Context())
	if err != nil || len(report.Faults) > 0 || report.Photos != rounds*phones*each+1 {
		t.Errorf("check: %+v %v, want %d photos", report, err, rounds*phones*each+1)
	}
}

// measured waits until nothing is measured any more.
func measured(t *testing.T, s *Server) {
	t.Helper()
	for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
		s.queue.mu.Lock()
		n := len(s.queue.waiting) + len(s.queue.running)
		s.queue.mu.Unlock()
		if n == 0 {
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%d photos still wait after a minute", n)
		}
	}
}
