package api

import (
	"html/template"
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/labstack/echo/v4"
)

// Each route that changes something refuses whatever a foreign page could
// send. The routes come from the router itself, so a new one can't be missed.
func TestForeignPagesCannotWrite(t *testing.T) {
	r := newRig(t)
	r.view()
	param := regexp.MustCompile(`:[a-z]+`)
	n := 0
	for _, route := range r.server.echo.Routes() {
		if !changes(route.Method) || route.Method == "echo_route_not_found" {
			continue
		}
		n++
		path := param.ReplaceAllString(route.Path, "1")
		for name, header := range map[string][]string{
			"another site":         {"Sec-Fetch-Site", "cross-site"},
			"another site's form":  {"Sec-Fetch-Site", "", "Origin", "https://elsewhere.example"},
			"a sandboxed page":     {"Sec-Fetch-Site", "", "Origin", "null"},
			"another port":         {"Sec-Fetch-Site", "same-site"},
			"without own header":   {ownHeader, ""},
			"under another's name": {"Host", "elsewhere.example:8417", "Origin", "http://elsewhere.example:8417"},
		} {
			status, text := r.do(route.Method, path, strings.NewReader(`{}`), header...)
			if status != http.StatusForbidden && status != http.StatusMisdirectedRequest {
				t.Errorf("%s %s from %s: %d %s", route.Method, path, name, status, text)
			}
		}
	}
	if n < 8 {
		t.Errorf("only %d routes that write were found", n)
	}
}

// Every page forbids inline script and other hosts, and has none of either.
func TestPagesAreClosed(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, nil)
	_ = v
	inline := regexp.MustCompile(`(?i)<script(?:[^>]*[^>a-z]src=)?[^>]*>[^<]+</script>|<style|\sstyle=|\son[a-z]+=|javascript:`)
	foreign := regexp.MustCompile(`(?i)(?:src|href|action)="(?:https?:)?//`)
	for _, path := range []string{"/", "/blocks/new", "/blocks/1", "/blocks/1/4/7", "/blocks/1/4/7/photo", "/photos/1", "/photos/1/choice", "/card", "/about", "/account", "/people", "/sign-in", "/nowhere", "/blocks/1/99/1"} {
		q, err := http.NewRequest(http.MethodGet, r.http.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")})
		a, err := http.DefaultClient.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(a.Body)
		a.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		csp := a.Header.Get("Content-Security-Policy")
		if !strings.Contains(csp, "script-src 'self'") || strings.Contains(csp, "unsafe") || !strings.Contains(csp, "default-src 'none'") {
			t.Errorf("%s: policy %q", path, csp)
		}
		if a.Header.Get("X-Content-Type-Options") != "nosniff" || a.Header.Get("X-Frame-Options") != "DENY" {
			t.Errorf("%s: headers %v", path, a.Header)
		}
		if m := inline.FindString(string(data)); m != "" {
			t.Errorf("%s: inline script or style: %q", path, m)
		}
		if m := foreign.FindString(string(data)); m != "" {
			t.Errorf("%s: loads from elsewhere: %q", path, m)
		}
		if strings.Contains(string(data), "{") && strings.Contains(string(data), "ZgotmplZ") {
			t.Errorf("%s: a value was not safe to print", path)
		}
	}
}

// What people type is shown as they typed it, and is never markup: names of
// people, estates, blocks, files, tokens and rule sets, notes, and what stands
// in an address.
func TestTypedTextIsEscaped(t *testing.T) {
	r := newRig(t)
	const tag = `<script>alert("x")</script>`
	shown := template.HTMLEscapeString(tag)
	r.who = `<b title='x'>Eve</b>`
	j := func(v any) string { return toJSON(t, v) }
	r.post("/api/blocks", `{"name":`+j(tag)+`,"rows":12,"vines_per_row":40,"training_form":"four-cane@1"}`, http.StatusCreated, nil)
	r.post("/api/estate", `{"name":`+j(tag+"estate")+`}`, http.StatusNoContent, nil)
	r.post("/api/tokens", `{"name":`+j(tag+"token")+`,"scope":"read","days":2}`, http.StatusCreated, nil)
	r.post("/api/invitations", `{"role":"pruner"}`, http.StatusCreated, nil)
	const edge = "edgeofparts"
	body := "--" + edge + "\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"<img src=x onerror=alert(1)>.jpg\"\r\n\r\n" + string(vineJPEG) + "\r\n--" + edge + "--\r\n"
	if status, text := r.do("POST", "/api/blocks/1/rows/4/vines/7/photos", strings.NewReader(body), "Content-Type", "multipart/form-data; boundary="+edge); status != http.StatusCreated {
		t.Fatal(status, text)
	}
	r.measured(1)
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree","note":`+j(tag+"note")+`}]}`, http.StatusCreated, nil)
	markup := regexp.MustCompile(`(?i)<script>alert|<b title|<img src=x|"x"\)</`)
	for path, want := range map[string]string{
		"/": shown, "/blocks/1": shown, "/blocks/1/4/7": shown, "/blocks/1/4/7/photo": shown, "/photos/1": shown, "/photos/1/choice": shown, "/blocks/1/rules": "",
		"/people": shown + "estate", "/account": shown + "token", "/sign-in?to=/%22%3E" + url.QueryEscape(tag): "", "/join/" + url.PathEscape(tag): "", "/card/" + url.PathEscape(tag): "",
		"/" + url.PathEscape(tag): "", "/go?block=%22%3E&row=" + url.QueryEscape(tag): "",
	} {
		_, page := r.do("GET", path, nil)
		if m := markup.FindString(page); m != "" {
			t.Errorf("%s: typed text became markup: %s", path, m)
		}
		if !strings.Contains(page, want) {
			t.Errorf("%s: %q isn't shown", path, want)
		}
	}
	if status, _ := r.do("DELETE", "/api/photos/1", nil); status != http.StatusNoContent {
		t.Fatal(status)
	}
	if page := r.get("/deleted", http.StatusOK, nil); markup.MatchString(page) || !strings.Contains(page, "&lt;img src=x") {
		t.Error("the name of a file became markup, or isn't shown")
	}
	// JSON is told to be JSON, so that no browser reads it as a page.
	q, err := http.NewRequest("GET", r.http.URL+"/api/blocks", nil)
	if err != nil {
		t.Fatal(err)
	}
	q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session(r.who)})
	a, err := http.DefaultClient.Do(q)
	if err != nil {
		t.Fatal(err)
	}
	a.Body.Close()
	if !strings.HasPrefix(a.Header.Get("Content-Type"), "application/json") || a.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("headers %v", a.Header)
	}
}

// Whatever a file is called, the header that names it is whole, and the name
// safe on every system.
func TestDownloadNames(t *testing.T) {
	for name, want := range map[string]string{
		"rules@1.yaml":              `attachment; filename="rules@1.yaml"`,
		"Südhang 2.yaml":            `attachment; filename="S-dhang-2.yaml"; filename*=UTF-8''S%C3%BCdhang%202.yaml`,
		"../../etc/passwd":          `attachment; filename="passwd"`,
		`..\..\x.exe`:               `attachment; filename="x.exe"`,
		"a\"; filename=\"evil.html": `attachment; filename="a-filename-evil.html"; filename*=UTF-8''a%22%3B%20filename=%22evil.html`,
		"a\r\nSet-Cookie: x=1":      `attachment; filename="aSet-Cookie-x-1"; filename*=UTF-8''aSet-Cookie:%20x=1`,
		".htaccess":                 `attachment; filename="htaccess"`,
		"CON":                       `attachment; filename="nodespan-CON"; filename*=UTF-8''CON`,
		"":                          `attachment; filename="photo"`,
	} {
		w := httptest.NewRecorder()
		saveAs(echo.New().NewContext(httptest.NewRequest("GET", "/", nil), w), "attachment", name)
		if got := w.Header().Get("Content-Disposition"); got != want {
			t.Errorf("%q: %s, want %s", name, got, want)
		}
	}
}

// Where a service may listen, and with what.
func TestAddresses(t *testing.T) {
	proxy := []netip.Prefix{netip.MustParsePrefix("10.0.0.5/32")}
	named := Access{Origin: "https://vines.example", Proxies: proxy}
	for _, c := range []struct {
		name    string
		access  Access
		address string
		ok      bool
	}{
		{"own machine", Access{}, "127.0.0.1:8417", true},
		{"own machine by name", Access{}, "localhost:0", true},
		{"own machine, IPv6", Access{}, "[::1]:80", true},
		{"every address in the clear", Access{}, "0.0.0.0:8417", false},
		{"no host in the clear", Access{}, ":8417", false},
		{"a network in the clear", Access{}, "192.168.1.5:8417", false},
		{"IPv6 in the clear", Access{}, "[::]:80", false},
		{"a name in the clear", Access{}, "example.org:80", false},
		{"no port", Access{TLS: true}, "8417", false},
		{"TLS", Access{TLS: true}, ":443", true},
		{"behind a proxy", named, ":8417", true},
		{"behind a proxy on the own machine", named, "127.0.0.1:8417", true},
		{"a name without the proxy's address", Access{Origin: "https://vines.example"}, ":8417", false},
		{"a proxy without a name", Access{Proxies: proxy}, ":8417", false},
		{"a name in the clear before the proxy", Access{Origin: "http://vines.example", Proxies: proxy}, ":8417", false},
		{"a name with a path", Access{Origin: "https://vines.example/x", Proxies: proxy}, ":8417", false},
		{"demonstration", Access{Demo: true}, "127.0.0.1:8417", true},
		{"demonstration for everybody", Access{Demo: true}, ":8417", false},
		{"demonstration with TLS", Access{Demo: true, TLS: true}, ":8417", false},
		{"demonstration behind a proxy", Access{Demo: true, Origin: "https://vines.example", Proxies: proxy}, "127.0.0.1:8417", false},
	} {
		if err := c.access.Check(c.address); (err == nil) != c.ok {
			t.Errorf("%s: %v, want accepted %v", c.name, err, c.ok)
		}
	}
}

func TestCardAndLost(t *testing.T) {
	r := newRig(t)
	if got := r.get("/card/nodespan-checker-a4.pdf", http.StatusOK, nil); got != "checker a4 pdf" {
		t.Errorf("card: %q", got)
	}
	for _, path := range []string{"/card/nodespan-checker-a3.pdf", "/card/..%2fx", "/photos/1/picture/huge.jpg", "/photos/0", "/photos/x", "/api/measurements/7", "/text/xx.json", "/static/../pages.go", "/blocks/1"} {
		if status, _ := r.do("GET", path, nil); status != http.StatusNotFound {
			t.Errorf("%s: %d, want not found", path, status)
		}
	}
	r.get("/healthz", http.StatusOK, nil)
	r.get("/readyz", http.StatusOK, nil)
	r.get("/text/en.json", http.StatusOK, nil)
}
