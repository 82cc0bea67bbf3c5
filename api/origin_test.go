package api

import (
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
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
	for _, path := range []string{"/", "/blocks/new", "/blocks/1", "/blocks/1/4/7", "/blocks/1/4/7/photo", "/photos/1", "/photos/1/choice", "/card", "/about", "/nowhere", "/blocks/1/99/1"} {
		q, err := http.NewRequest(http.MethodGet, r.http.URL+path, nil)
		if err != nil {
			t.Fatal(err)
		}
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

// What people type is shown as they typed it, and is never markup.
func TestTypedTextIsEscaped(t *testing.T) {
	r := newRig(t)
	r.who = "%3Cb%3EEve%3C%2Fb%3E" // <b>Eve</b>, as the cookie keeps it
	r.post("/api/blocks", `{"name":"<script>alert(1)</script>","rows":2,"vines_per_row":2,"training_form":"two-cane"}`, http.StatusCreated, nil)
	for _, path := range []string{"/", "/blocks/1", "/blocks/1/1/1"} {
		page := r.get(path, http.StatusOK, nil)
		if strings.Contains(page, "<script>alert") || strings.Contains(page, "<b>Eve") {
			t.Errorf("%s: typed text became markup", path)
		}
		if !strings.Contains(page, "&lt;script&gt;alert(1)&lt;/script&gt;") || !strings.Contains(page, "&lt;b&gt;Eve&lt;/b&gt;") {
			t.Errorf("%s: typed text isn't shown", path)
		}
	}
}

func TestAddresses(t *testing.T) {
	for address, ok := range map[string]bool{
		"127.0.0.1:8417": true, "localhost:0": true, "[::1]:80": true,
		"0.0.0.0:8417": false, ":8417": false, "192.168.1.5:8417": false, "[::]:80": false, "example.org:80": false, "8417": false,
	} {
		if err := CheckAddress(address); (err == nil) != ok {
			t.Errorf("CheckAddress(%q): %v, want accepted %v", address, err, ok)
		}
	}
}

func TestWhoAndCard(t *testing.T) {
	r := newRig(t)
	r.post("/api/who", `{"name":"  "}`, http.StatusUnprocessableEntity, nil)
	r.post("/api/who", `{"name":"Ada Weiß"}`, http.StatusOK, nil)
	if got := r.get("/card/nodespan-checker-a4.pdf", http.StatusOK, nil); got != "checker a4 pdf" {
		t.Errorf("card: %q", got)
	}
	for _, path := range []string{"/card/nodespan-checker-a3.pdf", "/card/..%2fx", "/photos/1/picture/huge.jpg", "/photos/0", "/photos/x", "/api/measurements/7", "/text/xx.json", "/static/../pages.go", "/blocks/1"} {
		if status, _ := r.do("GET", path, nil); status != http.StatusNotFound {
			t.Errorf("%s: %d, want not found", path, status)
		}
	}
	r.get("/healthz", http.StatusOK, nil)
	r.get("/text/en.json", http.StatusOK, nil)
}
