package api

import (
	"encoding/json"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
)

// answer is what a route says, with its header, to nobody in particular.
func (r *rig) answer(path string, header ...string) (http.Header, string) {
	r.t.Helper()
	q, err := http.NewRequest(http.MethodGet, r.http.URL+path, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	for i := 0; i+1 < len(header); i += 2 {
		q.Header.Set(header[i], header[i+1])
	}
	a, err := (&http.Client{Transport: &http.Transport{DisableCompression: true}}).Do(q)
	if err != nil {
		r.t.Fatal(err)
	}
	defer a.Body.Close()
	body, err := io.ReadAll(a.Body)
	if err != nil || a.StatusCode != http.StatusOK {
		r.t.Fatalf("%s: %d, %v", path, a.StatusCode, err)
	}
	return a.Header, string(body)
}

// The manifest has what W3C's Web Application Manifest asks of one that can be
// installed (name, start_url within scope, display, icons of 192 and 512 px, as
// browsers want), and everything it names is there.
func TestInstallable(t *testing.T) {
	r := newRig(t)
	h, text := r.answer("/manifest.webmanifest", "Accept-Language", "fr")
	var m struct {
		Name, Lang, Display, Scope string
		Short                      string `json:"short_name"`
		Start                      string `json:"start_url"`
		Icons                      []struct{ Src, Sizes, Type string }
	}
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		t.Fatal(err)
	}
	if h.Get("Content-Type") != "application/manifest+json" || m.Name == "" || m.Short == "" || m.Lang != "fr" || m.Display != "standalone" || !strings.HasPrefix(m.Start, m.Scope) {
		t.Errorf("%s: %+v", h.Get("Content-Type"), m)
	}
	sizes := ""
	for _, i := range m.Icons {
		sizes += i.Sizes + " "
		if h, _ := r.answer(i.Src); h.Get("Content-Type") != i.Type {
			t.Errorf("%s is %s, said to be %s", i.Src, h.Get("Content-Type"), i.Type)
		}
	}
	if !strings.Contains(sizes, "192x192") || !strings.Contains(sizes, "512x512") {
		t.Errorf("icons of %s", sizes)
	}
}

// The service worker may answer for every page, is asked for anew each time,
// and each file and page that it keeps at once is there, under an address that
// never means anything else.
func TestWorkerKeepsWhatThereIs(t *testing.T) {
	r := newRig(t)
	h, script := r.answer("/worker.js")
	if !strings.HasPrefix(h.Get("Content-Type"), "text/javascript") || h.Get("Cache-Control") != "no-cache" || !strings.Contains(h.Get("Content-Security-Policy"), "connect-src 'self'") {
		t.Errorf("headers %v", h)
	}
	version := r.server.pages.Version()
	if !strings.Contains(script, `"`+version+`"`) {
		t.Error("the service worker doesn't change with what it keeps")
	}
	list := regexp.MustCompile(`(?s)FILES = \[(.*?)\]`).FindStringSubmatch(script)
	if list == nil {
		t.Fatal("no list of files")
	}
	kept := map[string]bool{}
	for _, m := range regexp.MustCompile(`'([^']+)'`).FindAllStringSubmatch(list[1], -1) {
		kept[m[1]] = true
		if h, _ := r.answer("/static/" + version + "/" + m[1]); h.Get("Cache-Control") != forever {
			t.Errorf("%s: %s", m[1], h.Get("Cache-Control"))
		}
	}
	// Whatever a kept script imports is kept too, or the page won't start.
	for name := range kept {
		if !strings.HasSuffix(name, ".js") {
			continue
		}
		_, text := r.answer("/static/" + version + "/" + name)
		for _, m := range regexp.MustCompile(`(?:from|import) '\./([^']+)'`).FindAllStringSubmatch(text, -1) {
			if !kept[m[1]] {
				t.Errorf("%s imports %s, which the service worker doesn't keep", name, m[1])
			}
		}
	}
	// What nobody in particular gets names nobody, whoever asks.
	for _, page := range []string{"/waiting", "/offline/photo"} {
		if text := r.get(page, http.StatusOK, nil); strings.Contains(text, "Ada") || !strings.Contains(text, "data-anybody") {
			t.Errorf("%s names who asked for it", page)
		}
	}
	// Another version's address gives what there is, and isn't kept.
	if h, _ := r.answer("/static/v000000000000/net.js"); h.Get("Cache-Control") != "no-cache" {
		t.Errorf("of another version: %s", h.Get("Cache-Control"))
	}
}

// What pages are made of is compressed, what may hold a secret isn't.
func TestSqueezed(t *testing.T) {
	r := newRig(t)
	r.view()
	for path, want := range map[string]string{
		"/static/" + r.server.pages.Version() + "/nodespan.css": "gzip", "/text/en.json": "gzip", "/sign-in": "gzip", "/healthz": "",
	} {
		if h, _ := r.answer(path, "Accept-Encoding", "gzip"); h.Get("Content-Encoding") != want {
			t.Errorf("%s is encoded %q, want %q", path, h.Get("Content-Encoding"), want)
		}
	}
	for _, path := range []string{"/account", "/people", "/api/blocks"} {
		if h, _ := r.answer(path, "Accept-Encoding", "gzip", "Cookie", r.server.cookieName()+"="+r.session("Ada")); h.Get("Content-Encoding") != "" {
			t.Errorf("%s is compressed", path)
		}
	}
}
