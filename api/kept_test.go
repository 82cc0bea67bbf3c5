package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

var (
	//go:embed testdata/vine.jpg
	vineJPEG []byte
	//go:embed testdata/vine.json
	vineKept []byte
)

// keptMeasurer returns a kept measurement, or a refusal for bytes that it
// doesn't know unless marks are given. gate, if set, holds every measurement
// until it is closed.
type keptMeasurer struct {
	gate chan struct{}

	mu     sync.Mutex
	asks   []assess.Ask
	panics bool
	err    error
	seen   []assess.LookPoint // what Look says
	large  float64            // a photo with so many times the pixels is known too
	alike  bool               // so is the photo with something behind its end
}

// Look says what it was told to.
func (k *keptMeasurer) Look(context.Context, []byte, int) (*assess.Look, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.seen == nil {
		return &assess.Look{Points: []assess.LookPoint{{Of: "reference", State: assess.LookGood, Say: "reference"}}}, nil
	}
	return &assess.Look{Points: k.seen}, nil
}

func kept(t testing.TB) *assess.Measurement {
	t.Helper()
	m := new(assess.Measurement)
	if err := json.Unmarshal(vineKept, m); err != nil {
		t.Fatal(err)
	}
	return m
}

func (k *keptMeasurer) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	k.mu.Lock()
	k.asks = append(k.asks, ask)
	panics, err, gate := k.panics, k.err, k.gate
	k.mu.Unlock()
	if gate != nil {
		select {
		case <-gate:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	if panics {
		panic("a fault in a codec")
	}
	if err != nil {
		return nil, err
	}
	m := new(assess.Measurement)
	if err := json.Unmarshal(vineKept, m); err != nil {
		return nil, err
	}
	if ask.Marks != nil {
		m.Reference.Kind = "marks"
		return m, nil
	}
	switch {
	case string(photo) == string(vineJPEG), k.alike && strings.HasPrefix(string(photo), string(vineJPEG)):
	case k.large > 0:
		return enlarged(m, k.large), nil
	default:
		return &assess.Measurement{Program: "kept", Outcome: assess.Refused, Reasons: []assess.Reason{assess.NoReference}, WidthPx: 600, HeightPx: 600}, nil
	}
	return withSecond(m, ask.With), nil
}

// withSecond is the kept measurement with a second stance: all canes but the
// last stand 29 mm nearer than the card. A second photo whose bytes end with
// "near" was taken from the same place.
func withSecond(m *assess.Measurement, second []byte) *assess.Measurement {
	switch {
	case len(second) == 0:
		return m
	case strings.HasSuffix(string(second), "near"):
		m.Reasons = append(m.Reasons, assess.SecondTooNear)
		return m
	}
	m.With = fmt.Sprintf("%x", sha256.Sum256(second))
	for i := range m.Canes[:len(m.Canes)-1] {
		c := &m.Canes[i]
		c.Depth, c.LeanU, c.RelativeU = &assess.Depth{Value: -29, Low: -45, High: -13}, 2, 0.011
		assess.Derive(c)
	}
	return m
}

// Guide gives a straight cane between the two places.
func (k *keptMeasurer) Guide(_ context.Context, _ []byte, on *assess.Measurement, base, tip assess.Point) (*assess.Cane, error) {
	if base == tip {
		return nil, assess.Errorf(assess.EInvalid, "No path can be followed there.")
	}
	mm := func(p assess.Point) assess.Point { q, _ := on.Reference.ToMM(p); return q }
	a, b := mm(base), mm(tip)
	length := math.Hypot(b[0]-a[0], b[1]-a[1])
	c := &assess.Cane{Traced: "guided", Origin: "unknown", RelativeU: 0.03, Length: assess.Interval{Value: length, Low: length * 0.95, High: length * 1.05}}
	for i := range 31 {
		f := float64(i) / 30
		c.CentreLine = append(c.CentreLine, assess.Point{base[0] + f*(tip[0]-base[0]), base[1] + f*(tip[1]-base[1])})
		c.AlongMM = append(c.AlongMM, f*length)
		c.Profile = append(c.Profile, assess.ProfilePoint{AlongMM: f * length, DiameterMM: 8, U: 0.1})
	}
	return c, nil
}

// A rig is a service with a record in a fresh folder.
type rig struct {
	t        testing.TB
	store    *store.Store
	measurer *keptMeasurer
	server   *Server
	http     *httptest.Server
	stop     func()
	who      string // acts as this manager of the first estate; "" as nobody
	role     Role   // of who, when it gets its account
	cookies  map[string]string
	cookieMu sync.Mutex
}

func newRig(t testing.TB) *rig {
	return rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{})
}

func rigOn(t testing.TB, dir string, m *keptMeasurer, limits Limits) *rig {
	t.Helper()
	st, err := store.Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s, err := New(ctx, Config{
		Store: st, Measurer: m, Looker: m, Program: "test", Limits: limits,
		Card: func(w io.Writer, kind, paper, format string) error {
			_, err := fmt.Fprintf(w, "%s %s %s", kind, paper, format)
			return err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, store: st, measurer: m, server: s, http: httptest.NewServer(s.Handler()), who: "Ada", role: Manager, cookies: map[string]string{}}
	var once sync.Once
	r.stop = func() {
		once.Do(func() {
			cancel()
			s.Close()
			r.http.CloseClientConnections()
			r.http.Close()
			st.Close()
		})
	}
	t.Cleanup(r.stop)
	return r
}

// session gives the secret of a session of somebody, with an account that is
// made at the first call.
func (r *rig) session(name string) string {
	r.t.Helper()
	r.cookieMu.Lock()
	defer r.cookieMu.Unlock()
	if k := r.cookies[name]; k != "" {
		return k
	}
	a, err := r.store.AddMember(context.Background(), store.FirstEstate, name, "", string(r.role))
	if err != nil {
		r.t.Fatal(err)
	}
	secret, hash := store.NewSecret()
	if err := r.store.AddSession(context.Background(), hash, a.ID, store.FirstEstate, time.Hour); err != nil {
		r.t.Fatal(err)
	}
	r.cookies[name] = secret
	return secret
}

// do sends a request as a page of the service would, and gives status and body.
func (r *rig) do(method, path string, body io.Reader, header ...string) (int, string) {
	r.t.Helper()
	q, err := http.NewRequest(method, r.http.URL+path, body)
	if err != nil {
		r.t.Fatal(err)
	}
	q.Header.Set("Sec-Fetch-Site", "same-origin")
	q.Header.Set("Origin", r.http.URL)
	q.Header.Set(ownHeader, "1")
	q.Header.Set("Content-Type", "application/json")
	if r.who != "" {
		q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session(r.who)})
	}
	for i := 0; i+1 < len(header); i += 2 {
		if header[i+1] == "" {
			q.Header.Del(header[i])
			continue
		}
		q.Header.Set(header[i], header[i+1])
	}
	if h := q.Header.Get("Host"); h != "" {
		q.Host = h
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	a, err := client.Do(q)
	if err != nil {
		r.t.Fatal(err)
	}
	defer a.Body.Close()
	data, err := io.ReadAll(a.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return a.StatusCode, string(data)
}

// post sends JSON, wants a status, and reads the answer into into.
func (r *rig) post(path, body string, status int, into any, header ...string) {
	r.t.Helper()
	got, text := r.do(http.MethodPost, path, strings.NewReader(body), header...)
	r.check("POST "+path, got, status, text, into)
}

func (r *rig) get(path string, status int, into any) string {
	r.t.Helper()
	got, text := r.do(http.MethodGet, path, nil)
	r.check("GET "+path, got, status, text, into)
	return text
}

func (r *rig) check(what string, got, want int, text string, into any) {
	r.t.Helper()
	if got != want {
		r.t.Fatalf("%s: status %d, want %d: %.400s", what, got, want, text)
	}
	if into != nil {
		if err := json.Unmarshal([]byte(text), into); err != nil {
			r.t.Fatalf("%s: %v in %.200s", what, err, text)
		}
	}
}

// block makes a block, and gives its id.
func (r *rig) block() int64 {
	r.t.Helper()
	var b blockView
	r.post("/api/blocks", `{"name":"South slope","rows":12,"vines_per_row":40,"training_form":"four-cane@1"}`, http.StatusCreated, &b)
	return b.ID
}

// send uploads bytes as the photo of row 4, vine 7.
func (r *rig) send(block int64, data []byte, status int, header ...string) photoState {
	r.t.Helper()
	got, text := r.sendRaw(block, data, header...)
	var st photoState
	r.check("upload", got, status, text, &st)
	return st
}

func (r *rig) sendRaw(block int64, data []byte, header ...string) (int, string) {
	r.t.Helper()
	return r.sendTo(fmt.Sprintf("/api/blocks/%d/rows/4/vines/7/photos", block), data, header...)
}

// sendTo uploads bytes as a photo to an address.
func (r *rig) sendTo(path string, data []byte, header ...string) (int, string) {
	r.t.Helper()
	const edge = "edgeofparts"
	body := "--" + edge + "\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"IMG_1.jpg\"\r\nContent-Type: image/jpeg\r\n\r\n" + string(data) + "\r\n--" + edge + "--\r\n"
	return r.do(http.MethodPost, path, strings.NewReader(body),
		append([]string{"Content-Type", "multipart/form-data; boundary=" + edge}, header...)...)
}

// measured waits until a photo isn't on its way any more.
func (r *rig) measured(photo int64) photoState {
	r.t.Helper()
	deadline := time.Now().Add(20 * time.Second)
	for {
		var st photoState
		r.get(fmt.Sprintf("/api/photos/%d", photo), http.StatusOK, &st)
		if st.State != stateWaiting && st.State != stateMeasuring {
			return st
		}
		if time.Now().After(deadline) {
			r.t.Fatalf("photo %d is still %s", photo, st.State)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// view makes a block with a measured photo and gives its measurement.
func (r *rig) view() measurementView {
	r.t.Helper()
	st := r.measured(r.send(r.block(), vineJPEG, http.StatusCreated).ID)
	var v measurementView
	r.get(fmt.Sprintf("/api/measurements/%d", st.Measurement), http.StatusOK, &v)
	return v
}

// last is the latest question to the measurer.
func (k *keptMeasurer) last() assess.Ask {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.asks[len(k.asks)-1]
}

// pngOf is a plain picture that the measurer doesn't know.
func pngOf(t testing.TB, w, h int) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = uint8(i * 7)
	}
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// all are the questions to the measurer so far.
func (k *keptMeasurer) all() []assess.Ask {
	k.mu.Lock()
	defer k.mu.Unlock()
	return append([]assess.Ask{}, k.asks...)
}
