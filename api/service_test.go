package api

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/alexedwards/argon2id"

	"nodespan/api/apart"
	"nodespan/assess"
	"nodespan/assess/store"
)

// Words by which this test program turns into a service that can be killed,
// and into the process that works on one photo.
const (
	asService  = "serve-a-folder"
	asOnePhoto = "work-on-one-photo"
)

func TestMain(m *testing.M) {
	if len(os.Args) > 1 {
		switch os.Args[1] {
		case asService:
			if err := serveFolder(os.Args[2]); err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
			os.Exit(0)
		case asOnePhoto:
			if err := apart.Serve(context.Background(), os.Stdin, os.Stdout, busy{}); err != nil {
				os.Exit(1)
			}
			os.Exit(0)
		}
	}
	usual := *hashing
	usualHashing = &usual
	hashing = &argon2id.Params{Memory: 64, Iterations: 1, Parallelism: 1, SaltLength: 16, KeyLength: 32} // quick, for tests alone
	os.Exit(m.Run())
}

// usualHashing is how the service hashes passwords.
var usualHashing *argon2id.Params

// always measures whatever it gets as the kept vine, after a moment.
type always struct{ takes time.Duration }

func (a always) Measure(ctx context.Context, _ []byte, _ assess.Ask) (*assess.Measurement, error) {
	select {
	case <-time.After(a.takes):
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	m := new(assess.Measurement)
	return m, json.Unmarshal(vineKept, m)
}

func (always) Guide(context.Context, []byte, *assess.Measurement, assess.Point, assess.Point) (*assess.Cane, error) {
	return nil, assess.Errorf(assess.EInvalid, "No path can be followed there.")
}

// busy measures as always does, and computes meanwhile as measuring does: with
// all processors, for a tenth of a second.
type busy struct{ always }

func (b busy) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	var all sync.WaitGroup
	end := time.Now().Add(100 * time.Millisecond)
	for range runtime.NumCPU() {
		all.Go(func() {
			for time.Now().Before(end) {
			}
		})
	}
	all.Wait()
	return b.always.Measure(ctx, photo, ask)
}

// serveFolder is a whole service on a folder, until it is told to end.
func serveFolder(dir string) error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	st, err := store.Open(ctx, dir)
	if err != nil {
		return err
	}
	defer st.Close()
	s, err := New(ctx, Config{Store: st, Measurer: always{takes: 3 * time.Millisecond}, Program: "test"})
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println("http://" + l.Addr().String())
	web := &http.Server{Handler: s.Handler(), ReadHeaderTimeout: time.Second}
	go func() { <-ctx.Done(); web.Close() }()
	_ = web.Serve(l)
	s.Close()
	return nil
}

// A killable is a service in a process of its own.
type killable struct {
	cmd  *exec.Cmd
	base string
}

func startService(t testing.TB, dir string) *killable {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	k := &killable{cmd: exec.Command(self, asService, dir)}
	k.cmd.Stderr = os.Stderr
	out, err := k.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := k.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the service did not start: %v", err)
	}
	k.base = strings.TrimSpace(line)
	return k
}

func (k *killable) end(signal os.Signal) {
	_ = k.cmd.Process.Signal(signal)
	_ = k.cmd.Wait()
}

// send makes one request as a page would; an error, or status 0, when the
// service went away meanwhile.
func send(base, session, method, path, key, kind string, body []byte, into any) (int, error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	q, err := http.NewRequestWithContext(ctx, method, base+path, strings.NewReader(string(body)))
	if err != nil {
		return 0, err
	}
	q.Header.Set("Origin", base)
	q.Header.Set(ownHeader, "1")
	q.Header.Set("Content-Type", kind)
	if key != "" {
		q.Header.Set("Idempotency-Key", key)
	}
	q.AddCookie(&http.Cookie{Name: "nodespan_session", Value: session})
	a, err := http.DefaultClient.Do(q)
	if err != nil {
		return 0, err
	}
	defer a.Body.Close()
	data, err := io.ReadAll(a.Body)
	if err != nil {
		return 0, err
	}
	if a.StatusCode < 300 && into != nil {
		if err := json.Unmarshal(data, into); err != nil {
			return 0, err
		}
	}
	if a.StatusCode >= 500 && a.StatusCode != http.StatusServiceUnavailable {
		return a.StatusCode, fmt.Errorf("%s %s: %d %s", method, path, a.StatusCode, data)
	}
	return a.StatusCode, nil
}

// multipartPhoto is a form with one photo.
func multipartPhoto(data []byte) (kind string, body []byte) {
	const edge = "edgeofparts"
	return "multipart/form-data; boundary=" + edge,
		[]byte("--" + edge + "\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"IMG_1.png\"\r\n\r\n" + string(data) + "\r\n--" + edge + "--\r\n")
}

// newLocal serves a handler with the timeouts of the real service.
func newLocal(h http.Handler) *httptest.Server {
	s := httptest.NewUnstartedServer(h)
	s.Config.ReadHeaderTimeout = 10 * time.Second
	s.Start()
	return s
}
