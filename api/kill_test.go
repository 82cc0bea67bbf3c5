package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// What was acknowledged is there after the service was killed (signal 9) at
// random moments while several people upload and rule, and the whole record is
// sound. NODESPAN_KILLS sets how often; ten times without it.
func TestKilled(t *testing.T) {
	kills := 10
	if n, err := strconv.Atoi(os.Getenv("NODESPAN_KILLS")); err == nil {
		kills = n
	}
	dir := filepath.Join(t.TempDir(), "data")
	session := prepare(t, dir)

	var base atomic.Value
	base.Store("")
	var mu sync.Mutex
	photos := map[int64]string{}  // id -> SHA-256, acknowledged
	rulings := map[int64]string{} // measurement -> note of the ruling, acknowledged
	var cycles, again atomic.Int64
	stop := make(chan struct{})
	stopped := func() bool {
		select {
		case <-stop:
			return true
		default:
			return false
		}
	}
	// until sends until it is answered, whatever happens to the service, under
	// the same key each time.
	until := func(method, path, key, kind string, body []byte, into any) int {
		for first := true; ; first = false {
			if b := base.Load().(string); b != "" {
				if !first {
					again.Add(1)
				}
				status, err := send(b, session, method, path, key, kind, body, into)
				if err == nil && status != http.StatusServiceUnavailable {
					return status
				}
				if status != 0 && status != http.StatusServiceUnavailable {
					t.Error(err)
				}
			}
			if stopped() {
				return 0
			}
			time.Sleep(5 * time.Millisecond)
		}
	}
	person := func(n int) {
		r := rand.New(rand.NewPCG(uint64(n), 1))
		for i := 0; !stopped(); i++ {
			data := randomPNG(r)
			sum := sha256.Sum256(data)
			kind, body := multipartPhoto(data)
			var st photoState
			status := until("POST", fmt.Sprintf("/api/blocks/1/rows/%d/vines/%d/photos", n+1, i%40+1), fmt.Sprintf("photo %d %d", n, i), kind, body, &st)
			if status == 0 {
				return
			}
			if status != http.StatusCreated && status != http.StatusOK {
				t.Errorf("upload: %d", status)
				return
			}
			mu.Lock()
			photos[st.ID] = hex.EncodeToString(sum[:])
			mu.Unlock()
			for st.Measurement == 0 {
				if until("GET", fmt.Sprintf("/api/photos/%d", st.ID), "", "", nil, &st) == 0 {
					return
				}
				time.Sleep(2 * time.Millisecond)
			}
			note := fmt.Sprintf("person %d cycle %d", n, i)
			ruling := fmt.Sprintf(`{"after":0,"rulings":[{"cane":1,"said":"agree","note":%q}]}`, note)
			switch status := until("POST", fmt.Sprintf("/api/measurements/%d/rulings", st.Measurement), "ruling "+note, "application/json", []byte(ruling), nil); status {
			case 0:
				return
			case http.StatusCreated:
				mu.Lock()
				rulings[st.Measurement] = note
				mu.Unlock()
				cycles.Add(1)
			default:
				t.Errorf("ruling: %d", status)
				return
			}
		}
	}
	var people sync.WaitGroup
	for n := range 6 {
		people.Go(func() { person(n) })
	}
	r := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 2))
	longer := 1 // on a machine so busy that no cycle gets through
	for n := range kills {
		k := startService(t, dir)
		base.Store(k.base)
		time.Sleep(time.Duration(20+r.IntN(280)) * time.Millisecond * time.Duration(longer))
		k.end(syscall.SIGKILL)
		base.Store("")
		if int(cycles.Load()) <= n {
			longer = min(2*longer, 16)
		}
	}
	close(stop)
	people.Wait()
	// One start and one ordinary end more, as after any crash.
	k := startService(t, dir)
	k.end(syscall.SIGTERM)

	st, err := store.Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	report, err := st.Check(t.Context())
	if err != nil || len(report.Faults)+report.OnTheWay > 0 {
		t.Errorf("check: %v %v", report.Faults, err)
	}
	for id, sum := range photos {
		p, err := st.Photo(t.Context(), id)
		if err != nil || p.SHA256 != sum {
			t.Errorf("photo %d was acknowledged and is lost: %+v %v", id, p, err)
			continue
		}
		if _, err := st.PhotoBytes(sum); err != nil {
			t.Errorf("photo %d: %v", id, err)
		}
	}
	for m, note := range rulings {
		kept, err := st.Rulings(t.Context(), m)
		rs, err2 := store.ReadRulings(kept)
		if err != nil || err2 != nil || len(rs) != 1 || rs[0].Note != note {
			t.Errorf("the ruling %q on measurement %d was acknowledged: %+v %v %v", note, m, rs, err, err2)
		}
	}
	t.Logf("%d kills, %d whole cycles, %d photos and %d rulings acknowledged, %d sendings repeated; kept: %d photos, %d rulings, %d files set aside",
		kills, cycles.Load(), len(photos), len(rulings), again.Load(), report.Photos, report.Rulings, report.Unclaimed)
	if int(cycles.Load()) < kills {
		t.Errorf("only %d cycles came through in %d kills: the test shows little", cycles.Load(), kills)
	}
}

// prepare makes a record with a block and a manager, and gives a session.
func prepare(t testing.TB, dir string) string {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	b, err := NewBlock("South slope", 60, 40, false, "four-cane@1", assess.DefaultRuleSet(), "Ada")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.AddBlock(ctx, b); err != nil {
		t.Fatal(err)
	}
	a, err := st.AddMember(ctx, store.FirstEstate, "Ada", "", string(Manager))
	if err != nil {
		t.Fatal(err)
	}
	secret, hash := store.NewSecret()
	if err := st.AddSession(ctx, hash, a.ID, store.FirstEstate, 24*time.Hour); err != nil {
		t.Fatal(err)
	}
	return secret
}

func randomPNG(r *rand.Rand) []byte {
	img := image.NewGray(image.Rect(0, 0, 40, 30))
	for i := range img.Pix {
		img.Pix[i] = uint8(r.UintN(256))
	}
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		panic(err) // a buffer takes everything
	}
	return out.Bytes()
}
