package api

import (
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The scripts that the README links to run, with a token, against the service.
func TestExampleScripts(t *testing.T) {
	r := newRig(t)
	r.measurer.alike = true
	var token tokenAnswer
	r.post("/api/tokens", `{"name":"example","scope":"record","days":1}`, http.StatusCreated, &token)
	folder := t.TempDir()
	for i, name := range []string{"North-1-1.jpg", "South-1-1.jpg", "South-1-2.jpg"} {
		data := tailed(i) // of other bytes each: a copy isn't counted
		if i == 2 {
			data = []byte("a photo without a card") // refused
		}
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	run := func(program string, args ...string) string {
		t.Helper()
		path, err := exec.LookPath(program)
		if err != nil {
			t.Logf("NO %s FOUND: ITS EXAMPLE WAS NOT TESTED", strings.ToUpper(program))
			return ""
		}
		c := exec.CommandContext(t.Context(), path, args...)
		c.Env = append(os.Environ(), "NODESPAN_TOKEN="+token.Token)
		out, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v\n%s", program, err, out)
		}
		return string(out)
	}
	py := run("python3", "examples/canes.py", r.http.URL, folder)
	if py == "" {
		var v jobView
		r.post("/api/jobs", `{"name":"without python"}`, http.StatusCreated, &v)
		r.sendJob(v.ID, "North-1-1.jpg", vineJPEG)
		r.written(v.ID, 1)
	} else if !strings.Contains(py, "2 photos measured, 1 refused, 0 unreadable") || !strings.Contains(py, "South: 8 canes, median diameter") {
		t.Errorf("python3: %s", py)
	}
	if out := run("Rscript", "examples/canes.R", r.http.URL, "1"); out != "" && (!strings.Contains(out, "16 canes on 2 photos") || !strings.Contains(out, "median of the apparent diameters")) {
		t.Errorf("R: %s", out)
	}
}
