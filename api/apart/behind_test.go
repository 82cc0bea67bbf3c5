//go:build linux

package apart

import (
	"bytes"
	"image"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"nodespan/assess"
)

func init() { priorities, confined = threadPriorities, threadsConfined }

// threadsConfined tells of each thread whether programs that it starts can get
// more rights, as proc(5) has it: 1 for no.
func threadsConfined() string {
	files, err := filepath.Glob("/proc/self/task/*/status")
	if err != nil {
		return err.Error()
	}
	var out []string
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			return err.Error()
		}
		_, rest, _ := strings.Cut(string(text), "NoNewPrivs:")
		out = append(out, strings.TrimSpace(strings.SplitN(rest, "\n", 2)[0]))
	}
	return strings.Join(out, " ")
}

// No thread of a process for a photo can start a program that gets more rights
// than it has; this process can, as before.
func TestAllThreadsConfined(t *testing.T) {
	r := runner(t)
	m, err := r.Measure(t.Context(), []byte("photo"), assess.Ask{Name: "confined"})
	if err != nil {
		t.Fatal(err)
	}
	threads := strings.Fields(m.Program)
	if len(threads) < 3 || slices.ContainsFunc(threads, func(s string) bool { return s != "1" }) {
		t.Errorf("threads are %q, want all of them 1", m.Program)
	}
	if here := strings.Fields(threadsConfined()); !slices.Contains(here, "0") {
		t.Errorf("the service's own threads are %q", here)
	}
}

// threadPriorities tells them while some have something to do and new ones come.
func threadPriorities() string {
	var stop atomic.Bool
	defer stop.Store(true)
	for range 4 {
		go func() {
			runtime.LockOSThread() // never unlocked: a thread of its own
			for !stop.Load() {
			}
		}()
	}
	time.Sleep(50 * time.Millisecond)
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return err.Error()
	}
	var out []string
	for _, t := range threads {
		id, err := strconv.Atoi(t.Name())
		if err != nil {
			return err.Error()
		}
		now, err := unix.Getpriority(unix.PRIO_PROCESS, id)
		if err != nil {
			return err.Error()
		}
		out = append(out, strconv.Itoa(20-now))
	}
	return strings.Join(out, " ")
}

// Every thread of a process for a photo stands behind the service's, those that
// were there before it was told to and those that come later.
func TestAllThreadsStepBehind(t *testing.T) {
	m, err := runner(t).Measure(t.Context(), []byte("photo"), assess.Ask{Name: "priorities"})
	if err != nil {
		t.Fatal(err)
	}
	threads := strings.Fields(m.Program)
	if len(threads) < 5 {
		t.Errorf("only %d threads: %q", len(threads), m.Program)
	}
	for _, nice := range threads {
		if n, err := strconv.Atoi(nice); err != nil || n < behindFor(doMeasure) {
			t.Fatalf("threads with priorities %q, want all at %d or more", m.Program, behindFor(doMeasure))
		}
	}
}

// A service that runs behind other programs (nice), for a user without rights,
// still has its photos decoded: a process can't come forward again.
func TestBehindOthers(t *testing.T) {
	if withRaceDetector {
		t.Skip("its address space can't be bounded")
	}
	for _, name := range []string{"nice", "setpriv"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip("NO " + name + ": A SERVICE BEHIND OTHERS WAS NOT TESTED")
		}
	}
	// Where another user may start it.
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	from, err := os.Open(self)
	if err != nil {
		t.Fatal(err)
	}
	defer from.Close()
	to, err := os.CreateTemp("", "one-photo-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.Remove(to.Name())
	if _, err := io.Copy(to, from); err != nil {
		t.Fatal(err)
	}
	if err := to.Chmod(0o755); err != nil {
		t.Fatal(err)
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	command := []string{"nice", "-n", "12", to.Name(), asProcess}
	if os.Getuid() == 0 {
		command = append([]string{"setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"}, command...)
	}
	var photo bytes.Buffer
	if err := png.Encode(&photo, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	if err := (&Runner{Command: command}).Check(t.Context(), photo.Bytes()); err != nil {
		t.Error(err)
	}
}
