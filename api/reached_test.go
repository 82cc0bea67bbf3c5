package api

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
)

// From where a request may come, by how the service is set up.
func TestReached(t *testing.T) {
	proxied := Access{Origin: "https://vines.example", Proxies: []netip.Prefix{netip.MustParsePrefix("10.0.0.5/32")}}
	for _, c := range []struct {
		name, peer, host string
		access           Access
		header           []string
		ok               bool
	}{
		{"own machine", "127.0.0.1:5000", "127.0.0.1:8417", Access{}, nil, true},
		{"own machine, IPv6", "[::1]:5000", "[::1]:8417", Access{}, nil, true},
		{"a name that leads here", "127.0.0.1:5000", "elsewhere.example:8417", Access{}, nil, false},
		{"TLS from anywhere", "203.0.113.7:5000", "vines.example", Access{TLS: true}, nil, true},
		{"TLS under another name", "203.0.113.7:5000", "other.example", Access{TLS: true, Origin: "https://vines.example"}, nil, false},
		{"through the proxy", "10.0.0.5:5000", "vines.example", proxied, []string{"X-Forwarded-For", "203.0.113.7", "X-Forwarded-Proto", "https"}, true},
		{"through the proxy that writes its own host", "10.0.0.5:5000", "127.0.0.1:8417", proxied, nil, true},
		{"through the proxy in the clear", "10.0.0.5:5000", "vines.example", proxied, []string{"X-Forwarded-Proto", "http"}, false},
		{"past the proxy", "203.0.113.7:5000", "vines.example", proxied, []string{"X-Forwarded-For", "10.0.0.5"}, false},
		{"demonstration", "127.0.0.1:5000", "localhost:8417", Access{Demo: true}, nil, true},
		{"demonstration behind a proxy", "127.0.0.1:5000", "127.0.0.1:8417", Access{Demo: true}, []string{"X-Forwarded-For", "203.0.113.7"}, false},
		{"demonstration under a name", "127.0.0.1:5000", "elsewhere.example", Access{Demo: true}, nil, false},
	} {
		q := httptest.NewRequest("GET", "http://"+c.host+"/", nil)
		q.RemoteAddr = c.peer
		for i := 0; i+1 < len(c.header); i += 2 {
			q.Header.Set(c.header[i], c.header[i+1])
		}
		if err := c.access.reached(q); (err == nil) != c.ok {
			t.Errorf("%s: %v, want let in %v", c.name, err, c.ok)
		}
	}
	// Who asks, for slowing sign-ins down: the address that the proxy saw, and
	// nothing that the client made up before it.
	q := httptest.NewRequest("GET", "http://vines.example/", nil)
	q.RemoteAddr = "10.0.0.5:5000"
	q.Header.Set("X-Forwarded-For", "1.2.3.4, 203.0.113.7")
	if got := proxied.ipOf()(q); got != "203.0.113.7" {
		t.Errorf("through the proxy: %s", got)
	}
	if got := (Access{}).ipOf()(q); got != "10.0.0.5" {
		t.Errorf("without a proxy: %s", got)
	}
}

// In a demonstration whoever is on the machine acts as the invented manager,
// within the first estate alone; a foreign page still can't.
func TestDemonstration(t *testing.T) {
	r := newRig(t)
	r.view()
	r.session("Visitor")
	r.server.access = Access{Demo: true, DemoName: "Visitor"}
	r.who = ""
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); !strings.Contains(page, "Visitor") {
		t.Error("the page doesn't say who looks")
	}
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, nil)
	if status, _ := r.do("POST", "/api/measurements/1/rulings", strings.NewReader(`{}`), "Sec-Fetch-Site", "cross-site"); status != http.StatusForbidden {
		t.Errorf("a foreign page: %d", status)
	}
	if page := r.get("/account", http.StatusOK, nil); !strings.Contains(page, "invented estate") {
		t.Error("the account's page doesn't say what this is")
	}
	r.post("/api/tokens", `{"name":"x","scope":"read","days":3}`, http.StatusUnauthorized, nil)
}

// Metrics count requests by route, and neither they nor the log name anybody.
func TestMetricsAndLog(t *testing.T) {
	r := newRig(t)
	var lines strings.Builder
	r.server.log = slog.New(slog.NewTextHandler(&lines, &slog.HandlerOptions{Level: slog.LevelDebug}))
	r.view()
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree","note":"a note of Ada"}]}`, http.StatusCreated, nil)
	r.get("/nowhere/else", http.StatusNotFound, nil)
	r.do("GET", "/blocks/1?secret=in-the-address", nil)
	text := r.get("/metrics", http.StatusOK, nil)
	for _, want := range []string{
		`nodespan_requests_total{method="POST",route="/api/measurements/:measurement/rulings",status="201"} 1`,
		`nodespan_requests_total{method="any",route="none",status="404"} 1`,
		`nodespan_photos_total{outcome="done"} 1`, "nodespan_photos_waiting 0", "nodespan_request_seconds_bucket", "process_resident_memory_bytes",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
	for _, secret := range []string{"Ada", "a note", "in-the-address", "127.0.0.1", "South slope", r.cookies["Ada"]} {
		if strings.Contains(text, secret) || strings.Contains(lines.String(), secret) {
			t.Errorf("%q stands in metrics or log", secret)
		}
	}
	if !strings.Contains(lines.String(), "route=/api/measurements/:measurement/rulings status=201") || !strings.Contains(lines.String(), "request=") {
		t.Errorf("log: %s", lines.String())
	}
	r.who, r.role = "Ben", Pruner
	if status, _ := r.do("GET", "/metrics", nil); status != http.StatusForbidden {
		t.Errorf("metrics for a pruner: %d", status)
	}
}
