package api

import (
	"net/http"
	"strings"
	"testing"
)

// FuzzNumbers: whatever stands in an address where a number should, it is
// answered and never with a fault of ours.
func FuzzNumbers(f *testing.F) {
	r := newRig(f)
	r.view()
	cookie := &http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")}
	for _, s := range []string{"1", "0", "-1", "9223372036854775808", "1e3", "%31", "1/2", "٣", "../1", " 1", "0x1", "1\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, n string) {
		for _, path := range []string{"/blocks/%", "/blocks/%/%/%", "/photos/%", "/photos/%/picture/%.jpg", "/api/measurements/%", "/api/blocks/%/rows/%/vines/%", "/join/%", "/card/%", "/text/%.json"} {
			q, err := http.NewRequest("GET", "http://127.0.0.1/", nil)
			if err != nil {
				t.Fatal(err)
			}
			q.RemoteAddr = "127.0.0.1:1"
			q.URL.Path = strings.ReplaceAll(path, "%", n)
			q.AddCookie(cookie)
			w := &recorder{header: http.Header{}}
			r.server.Handler().ServeHTTP(w, q)
			if w.status >= 500 {
				t.Errorf("%q: %d", q.URL.Path, w.status)
			}
		}
	})
}

// recorder keeps the status alone.
type recorder struct {
	header http.Header
	status int
}

func (w *recorder) Header() http.Header { return w.header }
func (w *recorder) WriteHeader(s int)   { w.status = s }
func (w *recorder) Write(p []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return len(p), nil
}
