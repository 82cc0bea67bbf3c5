package apart

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

// asProcess turns this test program into the process that Serve runs in.
const asProcess = "serve-one-photo"

func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == asProcess {
		if err := Serve(context.Background(), os.Stdin, os.Stdout, harmful{}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// priorities tells how nice each thread of this process is, confined what the
// programs that it starts can get, where that can be told.
var (
	priorities = func() string { return "" }
	confined   = func() string { return "" }
)

// harmful does what a hostile image might make a codec do, by the ask's name.
type harmful struct{}

func (harmful) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	out := &assess.Measurement{Outcome: assess.Measured, Photo: ask.Name}
	switch ask.Name {
	case "panics":
		panic("a fault in a codec")
	case "kills":
		p, err := os.FindProcess(os.Getpid())
		if err != nil {
			return nil, err
		}
		_ = p.Kill()
		select {}
	case "eats":
		var all [][]byte
		for range 4096 {
			b := make([]byte, 1<<20)
			for i := range b {
				b[i] = byte(i)
			}
			all = append(all, b)
		}
		runtime.KeepAlive(all)
	case "spins":
		for i := 0; ; i++ {
			out.WidthPx = i
		}
	case "sleeps":
		time.Sleep(time.Hour)
	case "pair":
		out.SHA256, out.With = string(photo), string(ask.With)
	case "writes":
		if err := os.WriteFile(string(photo), []byte("x"), 0o600); err != nil {
			return nil, assess.Errorf(assess.EInvalid, "could not write")
		}
	case "says":
		return nil, assess.Errorf(assess.ETooLarge, "The photo is too large. Send a smaller one.")
	case "environment":
		out.Program = strings.Join(os.Environ(), "\n")
	case "priorities":
		out.Program = priorities()
	case "confined":
		out.Program = confined()
	case "talks":
		fmt.Print(strings.Repeat("x", 1000))
	}
	return out, nil
}

func (harmful) Guide(_ context.Context, _ []byte, on *assess.Measurement, base, tip assess.Point) (*assess.Cane, error) {
	return &assess.Cane{ID: on.WidthPx, CentreLine: []assess.Point{base, tip}}, nil
}

func runner(t testing.TB) *Runner {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("limits are set on Linux alone")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return &Runner{Command: []string{self, asProcess}, Limits: func(int) Limits {
		if withRaceDetector {
			return Limits{AddressBytes: math.MaxUint64, DataBytes: math.MaxUint64, CPU: 10 * time.Second, Wall: 15 * time.Second}
		}
		return Limits{AddressBytes: 4 << 30, DataBytes: 256 << 20, CPU: 2 * time.Second, Wall: 6 * time.Second}
	}}
}

// Whatever the process does, the caller goes on, hears why in a sentence, and
// nothing is left running.
func TestHarm(t *testing.T) {
	r := runner(t)
	for name, want := range map[string]string{
		"panics": "it broke off", "kills": "it broke off", "eats": "more memory", "spins": "took longer", "talks": "can't be read",
	} {
		t.Run(name, func(t *testing.T) {
			if withRaceDetector && name == "eats" {
				t.Skip("memory isn't bounded under the race detector")
			}
			began := time.Now()
			_, err := r.Measure(t.Context(), []byte("photo"), assess.Ask{Name: name})
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%v, want %q", err, want)
			}
			if took := time.Since(began); took > 20*time.Second {
				t.Errorf("took %v", took)
			}
		})
	}
	target := t.TempDir() + "/written"
	if _, err := r.Measure(t.Context(), []byte(target), assess.Ask{Name: "writes"}); err == nil {
		t.Error("the process wrote a file")
	}
	if info, err := os.Stat(target); err == nil && info.Size() > 0 {
		t.Errorf("%d bytes were written", info.Size())
	}
	// And after all that it works as ever.
	if m, err := r.Measure(t.Context(), nil, assess.Ask{Name: "good"}); err != nil || m.Photo != "good" {
		t.Errorf("%+v, %v", m, err)
	}
}

// What a process is told to end, ends.
func TestStopped(t *testing.T) {
	r := runner(t)
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	began := time.Now()
	_, err := r.Measure(ctx, nil, assess.Ask{Name: "sleeps"})
	if !errors.Is(err, context.DeadlineExceeded) || time.Since(began) > 5*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
}

// Errors for the person come through with their code, values as they are, and
// no environment of the service's goes along.
func TestThrough(t *testing.T) {
	r := runner(t)
	t.Setenv("NODESPAN_SECRET", "hidden")
	_, err := r.Measure(t.Context(), nil, assess.Ask{Name: "says"})
	if assess.ErrorCode(err) != assess.ETooLarge || !strings.HasPrefix(err.Error(), "The photo is too large.") {
		t.Errorf("%v", err)
	}
	m, err := r.Measure(t.Context(), nil, assess.Ask{Name: "environment"})
	if err != nil || strings.Contains(m.Program, "hidden") {
		t.Errorf("environment %q, %v", m.Program, err)
	}
	m, err = r.Measure(t.Context(), []byte("first"), assess.Ask{Name: "pair", With: []byte("second")})
	if err != nil || m.SHA256 != "first" || m.With != "second" {
		t.Errorf("two photos came through as %+v, %v", m, err)
	}
	c, err := r.Guide(t.Context(), nil, &assess.Measurement{WidthPx: 7}, assess.Point{1, 2}, assess.Point{3, 4})
	if err != nil || c.ID != 7 || !slices.Equal(c.CentreLine, []assess.Point{{1, 2}, {3, 4}}) {
		t.Errorf("%+v, %v", c, err)
	}
}

// A photo's copy has its pixels and nothing else; what is no photo is refused.
func TestCopyAndCheck(t *testing.T) {
	r := runner(t)
	var photo bytes.Buffer
	if err := jpeg.Encode(&photo, image.NewGray(image.Rect(0, 0, 400, 300)), nil); err != nil {
		t.Fatal(err)
	}
	data, err := r.Copy(t.Context(), photo.Bytes(), 100, 80)
	if err != nil {
		t.Fatal(err)
	}
	conf, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || conf.Width != 100 || conf.Height != 75 {
		t.Errorf("%+v, %v", conf, err)
	}
	if err := r.Check(t.Context(), photo.Bytes()); err != nil {
		t.Error(err)
	}
	for _, bad := range [][]byte{nil, []byte("x"), photo.Bytes()[:photo.Len()/2]} {
		if err := r.Check(t.Context(), bad); err == nil {
			t.Errorf("%d bytes passed", len(bad))
		}
		if _, err := r.Copy(t.Context(), bad, 100, 80); err == nil {
			t.Errorf("%d bytes were copied", len(bad))
		}
	}
}

// The bounds grow with the photo, and a common one has room.
func TestLimitsFor(t *testing.T) {
	small, large := LimitsFor(7_000_000), LimitsFor(48_000_000)
	if small.DataBytes < 600<<20 || large.DataBytes < 2700<<20 || large.DataBytes > 6<<30 || small.CPU < time.Minute || large.CPU <= small.CPU {
		t.Errorf("%+v %+v", small, large)
	}
}

// Two photos in one process: the memory of the larger, since they are measured
// one after the other, and the time of both.
func TestLimitsForTwo(t *testing.T) {
	a, b := LimitsFor(7_000_000), LimitsFor(48_000_000)
	got := a.and(b)
	if got.DataBytes != b.DataBytes || got.AddressBytes != b.AddressBytes || got.CPU != a.CPU+b.CPU || got.Wall != a.Wall+b.Wall {
		t.Errorf("%+v and %+v give %+v", a, b, got)
	}
}
