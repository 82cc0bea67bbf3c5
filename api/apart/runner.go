package apart

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"time"

	"nodespan/assess"
)

// Runner measures each photo in a process of its own. It may be used from many
// goroutines; each call is one process. It must not be copied after its first use.
type Runner struct {
	// Command starts the process, which calls Serve.
	Command []string
	// Limits gives the bounds for a photo of so many pixels; LimitsFor if nil.
	Limits func(pixels int) Limits

	processes processes
}

var (
	_ assess.Measurer = (*Runner)(nil)
	_ assess.Looker   = (*Runner)(nil)
)

const (
	// largestAnswer bounds what a process may say, in bytes; a copy of a photo
	// of 64 megapixels stays below.
	largestAnswer = 256 << 20
	// lastWords is how much of its standard error is kept for the log, bytes.
	lastWords = 4 << 10
	// lastMoment is how long what a process wrote is still waited for once it has
	// been told to end.
	lastMoment = 5 * time.Second
)

// Measure fulfils assess.Measurer. A process that breaks off or goes beyond
// its bounds is an error with a sentence for the person and code EInternal;
// the photo is as it was.
func (r *Runner) Measure(ctx context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	h := head{Do: doMeasure, Ask: ask}
	if len(ask.With) > 0 {
		h.First = len(photo)
	}
	a, err := r.ask(ctx, photo, h)
	if err != nil {
		return nil, err
	}
	if a.Measurement == nil {
		return nil, errors.New("a measuring process gave no measurement")
	}
	return a.Measurement, nil
}

// Guide fulfils assess.Measurer in the same way.
func (r *Runner) Guide(ctx context.Context, photo []byte, on *assess.Measurement, base, tip assess.Point) (*assess.Cane, error) {
	a, err := r.ask(ctx, photo, head{Do: doGuide, On: on, Base: base, Tip: tip})
	if err != nil {
		return nil, err
	}
	if a.Cane == nil {
		return nil, errors.New("a measuring process gave no cane")
	}
	return a.Cane, nil
}

// Look fulfils assess.Looker in the same way.
func (r *Runner) Look(ctx context.Context, copied []byte, full int) (*assess.Look, error) {
	a, err := r.ask(ctx, copied, head{Do: doLook, Full: full})
	if err != nil {
		return nil, err
	}
	if a.Look == nil {
		return nil, errors.New("a looking process saw nothing")
	}
	return a.Look, nil
}

// Check decodes a photo and returns an error when that doesn't go.
func (r *Runner) Check(ctx context.Context, photo []byte) error {
	_, err := r.ask(ctx, photo, head{Do: doCheck})
	return err
}

// Copy gives a photo's copy as the function Copy does.
func (r *Runner) Copy(ctx context.Context, photo []byte, side, quality int) ([]byte, error) {
	data, err := r.run(ctx, photo, head{Do: doCopy, Side: side, Quality: quality})
	if err != nil {
		return nil, err
	}
	if len(data) > 0 && data[0] == 'J' {
		return data[1:], nil
	}
	if _, err := read(data); err != nil {
		return nil, err
	}
	return nil, errors.New("a copying process gave no copy")
}

// Close ends what is kept running between photos, once the photos that are being
// worked on are done or their contexts have ended; a later call starts anew.
func (r *Runner) Close() error { return r.processes.close() }

func (r *Runner) ask(ctx context.Context, photo []byte, h head) (answer, error) {
	data, err := r.run(ctx, photo, h)
	if err != nil {
		return answer{}, err
	}
	return read(data)
}

func read(data []byte) (answer, error) {
	var a answer
	if err := json.Unmarshal(data, &a); err != nil {
		return a, fmt.Errorf("the answer of a measuring process can't be read: %w", err)
	}
	if a.Code == assess.EInternal {
		return a, errors.New(a.Message)
	}
	if a.Code != "" {
		told := &assess.Error{Code: a.Code, Message: a.Message}
		if a.Phrase != nil {
			told = told.Saying(*a.Phrase)
		}
		return a, told
	}
	return a, nil
}

// run starts a process for one photo and gives what it wrote.
func (r *Runner) run(ctx context.Context, photo []byte, h head) ([]byte, error) {
	limitsFor := LimitsFor
	if r.Limits != nil {
		limitsFor = r.Limits
	}
	h.Limits = limitsFor(pixelsOf(photo))
	second := h.Ask.With
	if len(second) > 0 {
		h.Limits = h.Limits.and(limitsFor(pixelsOf(second)))
	}
	text, err := json.Marshal(h)
	if err != nil {
		return nil, err
	}
	wall, cancel := context.WithTimeout(ctx, h.Limits.Wall)
	defer cancel()
	size := binary.BigEndian.AppendUint32(nil, uint32(len(text)))
	in := io.MultiReader(bytes.NewReader(size), bytes.NewReader(text), bytes.NewReader(photo), bytes.NewReader(second))
	out, said := &bounded{left: largestAnswer}, &bounded{left: lastWords, quiet: true}
	spent, err := r.processes.run(wall, r.Command, in, out, said)
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err == nil:
		return out.Bytes(), nil
	}
	why := assess.Tell("it broke off")
	switch {
	case wall.Err() != nil || spent >= h.Limits.CPU-time.Second:
		why = assess.Tell("it took longer than any photo should")
	case bytes.Contains(said.Bytes(), []byte("out of memory")) || bytes.Contains(said.Bytes(), []byte("cannot allocate")) || bytes.Contains(said.Bytes(), []byte("pthread_create failed")):
		why = assess.Tell("it needs more memory than any photo should")
	}
	told := assess.Errorf(assess.EInternal, "This photo could not be worked on: %s. The file may be damaged, or made to do harm. What was kept of it is safe; take another photo.", why)
	told.Err = fmt.Errorf("%w: %s", err, bytes.TrimSpace(said.Bytes()))
	return nil, told
}

// environment is what a process is given: no secrets of the service's, and where
// the libraries are to be found.
func environment() []string {
	env := []string{"GOTRACEBACK=none"}
	if path := os.Getenv("LD_LIBRARY_PATH"); path != "" {
		env = append(env, "LD_LIBRARY_PATH="+path)
	}
	return env
}

// pixelsOf tells a photo's size from its header, 0 where that can't be read.
func pixelsOf(photo []byte) int {
	conf, _, err := image.DecodeConfig(bytes.NewReader(photo))
	if err != nil {
		return 0
	}
	return conf.Width * conf.Height
}

// bounded keeps what is written up to a bound; beyond it, it fails, or, when
// quiet, forgets the rest.
type bounded struct {
	bytes.Buffer
	left  int
	quiet bool
}

func (b *bounded) Write(p []byte) (int, error) {
	n := len(p)
	if n > b.left {
		if !b.quiet {
			return 0, errors.New("a process said more than it should")
		}
		p = p[:b.left]
	}
	b.left -= len(p)
	b.Buffer.Write(p)
	return n, nil
}
