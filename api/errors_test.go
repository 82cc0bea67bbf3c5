package api

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A page that is left while its pictures still come is no fault: nothing is
// logged as an error, and no answer with a fault is counted.
func TestWhoGoesAwayIsNoFault(t *testing.T) {
	r := newRig(t)
	r.view()
	var out bytes.Buffer
	r.server.log = slog.New(slog.NewTextHandler(&out, &slog.HandlerOptions{Level: slog.LevelInfo}))
	for _, path := range []string{"/photos/1/picture/medium.jpg", "/photos/1", "/api/measurements/1"} {
		ctx, cancel := context.WithCancel(t.Context())
		q := httptest.NewRequest(http.MethodGet, r.http.URL+path, nil).WithContext(ctx)
		q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")})
		cancel()
		a := httptest.NewRecorder()
		r.server.Handler().ServeHTTP(a, q)
		if a.Code != statusWentAway {
			t.Errorf("%s: %d, want %d", path, a.Code, statusWentAway)
		}
	}
	if strings.Contains(out.String(), "level=ERROR") || strings.Contains(out.String(), "request failed") {
		t.Errorf("logged:\n%s", out.String())
	}
	// What is the person's own is told, whether or not they still listen.
	q := httptest.NewRequest(http.MethodGet, r.http.URL+"/photos/99", nil)
	q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")})
	a := httptest.NewRecorder()
	if r.server.Handler().ServeHTTP(a, q); a.Code != http.StatusNotFound {
		t.Errorf("a photo that isn't there: %d", a.Code)
	}
}
