package apart

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

// When the fork server ends, whoever ended it, the processes that it forked end
// with it, their callers hear of it, and the next photo is measured as ever.
func TestForkServerEnds(t *testing.T) {
	r := runner(t)
	for name, end := range map[string]func(context.CancelFunc) error{
		"killed": func(context.CancelFunc) error { return r.processes.server.Process.Kill() },
		"closed": func(stop context.CancelFunc) error { time.AfterFunc(100*time.Millisecond, stop); return r.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			heard := make(chan error, 1)
			go func() {
				_, err := r.Measure(ctx, nil, assess.Ask{Name: "sleeps"})
				heard <- err
			}()
			var forked []int
			for began := time.Now(); len(forked) < 2; time.Sleep(time.Millisecond) { // one that keeps, one that sleeps
				if time.Since(began) > 10*time.Second {
					t.Fatalf("no process was forked: %v", forked)
				}
				r.processes.mu.Lock()
				if r.processes.server != nil {
					forked = under(t, r.processes.server.Process.Pid)
				}
				r.processes.mu.Unlock()
			}
			if err := end(stop); err != nil {
				t.Error(err)
			}
			select {
			case err := <-heard:
				if ctx.Err() == nil && (err == nil || !strings.Contains(err.Error(), "it broke off")) || ctx.Err() != nil && !errors.Is(err, context.Canceled) {
					t.Errorf("heard %v", err)
				}
			case <-time.After(5 * time.Second):
				t.Error("the caller still waits")
			}
			for _, pid := range forked {
				gone := false
				for began := time.Now(); !gone && time.Since(began) < 5*time.Second; time.Sleep(time.Millisecond) {
					parent, state := parentOf(pid)
					gone = parent == 0 || state == "Z"
				}
				if !gone {
					t.Errorf("process %d is still there", pid)
				}
			}
			if m, err := r.Measure(t.Context(), nil, assess.Ask{Name: "good"}); err != nil || m.Photo != "good" {
				t.Errorf("%+v, %v", m, err)
			}
		})
	}
}

// Nothing stays of processes that ended: the server has none left unwaited for,
// but for the last.
func TestForkServerKeepsNothing(t *testing.T) {
	r := runner(t)
	open := func() int {
		t.Helper()
		for range 3 {
			if _, err := r.Measure(t.Context(), nil, assess.Ask{Name: "good"}); err != nil {
				t.Fatal(err)
			}
		}
		files, err := os.ReadDir(filepath.Join("/proc", strconv.Itoa(r.processes.server.Process.Pid), "fd"))
		if err != nil {
			t.Fatal(err)
		}
		return len(files)
	}
	// What the libraries opened as they were loaded stays.
	if first, later := open(), open(); first != later {
		t.Errorf("the server holds %d files open after three photos, %d after six", first, later)
	}
	if left := under(t, r.processes.server.Process.Pid); len(left) > 1 {
		t.Errorf("%d processes are left under the server", len(left))
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
}

// under gives the processes that came from one, and from those.
func under(t *testing.T, pid int) []int {
	t.Helper()
	entries, err := os.ReadDir("/proc")
	if err != nil {
		t.Fatal(err)
	}
	parents := map[int]int{}
	for _, e := range entries {
		if id, err := strconv.Atoi(e.Name()); err == nil {
			parents[id], _ = parentOf(id)
		}
	}
	var out []int
	for id := range parents {
		for up := parents[id]; up > 1; up = parents[up] {
			if up == pid {
				out = append(out, id)
				break
			}
		}
	}
	return out
}

// parentOf reads a process's parent and state from proc(5), 0 where it's gone.
func parentOf(pid int) (parent int, state string) {
	text, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return 0, ""
	}
	// The name stands in parentheses and may hold anything.
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+1:]))
	parent, _ = strconv.Atoi(fields[1])
	return parent, fields[0]
}
