package main

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"os"
	"reflect"
	"syscall"
	"testing"
	"time"

	"nodespan/api/apart"
	"nodespan/assess"
	"nodespan/vision"
)

func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == onePhoto {
		os.Exit(runOnePhoto(context.Background()))
	}
	os.Exit(m.Run())
}

// A photo that is measured in a process of its own gives what it gives within,
// and the process's start costs at most a tenth of the measuring. Both are
// counted in processor time: on the clock, what else runs beside the test would
// be counted too, and it never runs beside both alike.
func TestMeasuringApart(t *testing.T) {
	photo, err := os.ReadFile("../../testdata/raytraced/d01.jpg")
	if err != nil {
		t.Fatal(err)
	}
	each, err := measuringApart()
	if err != nil {
		t.Fatal(err)
	}
	got, err := each.Measure(t.Context(), photo, assess.Ask{Name: "d01.jpg"})
	if err != nil {
		t.Fatal(err)
	}
	want, err := vision.New(version).Measure(t.Context(), photo, assess.Ask{Name: "d01.jpg"})
	if err != nil {
		t.Fatal(err)
	}
	got.TimingMS, want.TimingMS = nil, nil
	if got.Outcome != assess.Measured || !reflect.DeepEqual(got.Canes, want.Canes) {
		t.Errorf("%s with %d canes, want the %d that are measured within", got.Outcome, len(got.Canes), len(want.Canes))
	}
	var tiny bytes.Buffer
	if err := png.Encode(&tiny, image.NewGray(image.Rect(0, 0, 1, 1))); err != nil {
		t.Fatal(err)
	}
	// Processes are counted once what forks them has ended too.
	const times = 8
	spent := func(checks, measurements int) time.Duration {
		if err := each.Close(); err != nil {
			t.Fatal(err)
		}
		before := spentOnProcesses(t)
		for range checks {
			if err := each.Check(t.Context(), tiny.Bytes()); err != nil {
				t.Fatal(err)
			}
		}
		for range measurements {
			if _, err := each.Measure(t.Context(), photo, assess.Ask{Name: "d01.jpg"}); err != nil {
				t.Fatal(err)
			}
		}
		if err := each.Close(); err != nil {
			t.Fatal(err)
		}
		return spentOnProcesses(t) - before
	}
	one, many := spent(1, 0), spent(1+times, 0)
	start := (many - one) / times
	whole := spent(1, 1) - one
	t.Logf("start of the process %v, measuring %v: %.1f %%; once for all of them %v", start, whole, 100*start.Seconds()/whole.Seconds(), one-start)
	if start > whole/10 {
		t.Errorf("the start takes %v of %v, more than a tenth", start, whole)
	}
	if start < time.Millisecond || whole < 5*start {
		t.Errorf("%v and %v: the processes weren't counted", start, whole)
	}
}

// spentOnProcesses gives the processor time, in the system and out of it, of
// all processes that this one started and that have ended.
func spentOnProcesses(t *testing.T) time.Duration {
	t.Helper()
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_CHILDREN, &r); err != nil {
		t.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}

// A photo that would need more memory than its bounds is refused in words, and
// the caller goes on.
func TestTooLittleMemory(t *testing.T) {
	photo, err := os.ReadFile("../../testdata/raytraced/d01.jpg")
	if err != nil {
		t.Fatal(err)
	}
	each, err := measuringApart()
	if err != nil {
		t.Fatal(err)
	}
	each.Limits = func(pixels int) apart.Limits {
		l := apart.LimitsFor(pixels)
		l.DataBytes = 200 << 20
		return l
	}
	if m, err := each.Measure(t.Context(), photo, assess.Ask{}); err == nil {
		t.Errorf("measured with %d canes in 200 MB", len(m.Canes))
	} else if assess.ErrorCode(err) != assess.EInternal {
		t.Errorf("%v", err)
	} else {
		t.Log(err)
	}
}
