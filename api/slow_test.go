package api

import (
	"bufio"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Whoever sends a body drop by drop is cut off after a while, and an upload
// after a longer one; nothing of it is left behind.
func TestSlowBodies(t *testing.T) {
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{BodyTime: 300 * time.Millisecond, UploadTime: 600 * time.Millisecond})
	r.block()
	address := strings.TrimPrefix(r.http.URL, "http://")
	for path, least := range map[string]time.Duration{"/api/blocks": 250 * time.Millisecond, "/api/blocks/1/rows/1/vines/1/photos": 550 * time.Millisecond} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "POST %s HTTP/1.1\r\nHost: %s\r\nOrigin: %s\r\n%s: 1\r\nCookie: %s=%s\r\nContent-Type: multipart/form-data; boundary=x\r\nContent-Length: 1000\r\n\r\n--x\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"a\"\r\n\r\n",
			path, address, r.http.URL, ownHeader, r.server.cookieName(), r.session("Ada"))
		began := time.Now()
		if err := c.SetDeadline(began.Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		a, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err == nil {
			a.Body.Close()
			if a.StatusCode < 400 {
				t.Errorf("%s: %d", path, a.StatusCode)
			}
		}
		if took := time.Since(began); took < least || took > 10*time.Second {
			t.Errorf("%s: cut off after %v", path, took)
		}
		c.Close()
	}
	left, err := filepath.Glob(filepath.Join(r.store.Dir(), "photos", "*.part"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	// An ordinary request over the same kind of connection isn't held to the
	// deadline of one before.
	client := &http.Client{}
	for range 2 {
		q, err := http.NewRequest("POST", r.http.URL+"/api/blocks", strings.NewReader("{}"))
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set(ownHeader, "1")
		q.Header.Set("Origin", r.http.URL)
		q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")})
		a, err := client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		a.Body.Close()
		time.Sleep(400 * time.Millisecond)
	}
}
