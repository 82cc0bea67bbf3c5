package batch

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"nodespan/assess"
)

// Output says what the tables are made of.
type Output struct {
	Folder string // where the files go; made when it isn't there
	Photos string // the folder with the photos, for pictures of single canes
	// Upright makes a JPEG of a photo's bytes, turned upright, for those pictures;
	// nil decodes in this process. A service gives what it decodes strangers'
	// photos with.
	Upright func(data []byte) ([]byte, error)
	Program string // as in Options
	Version string // of the program, for people
	Rules   assess.RuleSet
	Match   *Matcher
	Alone   bool // each photo was measured by itself: see Options.Match
	Check   Check
	Command []string // how it was called, for run.json
	Ran     Ran      // of this run, for run.json
	Found   Found    // likewise
	Started time.Time
}

// pairs is the matcher by which photos were measured together.
func (o Output) pairs() *Matcher {
	if o.Alone {
		return nil
	}
	return o.Match
}

// Written is what was written.
type Written struct {
	Files     []File    `json:"files"`
	Counts    Counts    `json:"counts"`
	Canes     int       `json:"canes"`         // rows of the table
	Counted   int       `json:"canes_counted"` // each vine's by one photo
	Unplaced  int       `json:"unplaced"`      // photos whose vine isn't known
	ErrorRate ErrorRate `json:"error_rate"`
	Timings   Timings   `json:"timings"`
	// Kept are files that a person had changed since they were written, under
	// the names to which they were moved out of the way.
	Kept []string `json:"kept,omitempty"`
}

// File is one file that was written.
type File struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// RunFile is the one file that differs from run to run.
const RunFile = "run.json"

// newFolder holds the files until all are whole.
const newFolder = ".new"

// Write writes all tables and the summary of the job. Files appear all
// together: until the last one is whole the earlier ones stay as they are. Their
// bytes, but those of run.json, depend only on the photos, the program, the
// rule set and the options; not on when, where or with how many workers.
func (j *Job) Write(ctx context.Context, o Output) (written Written, err error) {
	defer onDisk(&err)
	if err := o.Rules.Validate(); err != nil {
		return Written{}, err
	}
	temp := filepath.Join(o.Folder, newFolder)
	if err := errors.Join(os.RemoveAll(temp), os.MkdirAll(temp, 0o755)); err != nil {
		return Written{}, assess.Errorf(assess.EInvalid, "The folder %s can't be written to. Choose another, or change its rights: %w", o.Folder, err)
	}
	defer os.RemoveAll(temp)
	// Only what was measured together comes out so, whoever calls.
	if _, err := j.pairUp(ctx, o.Program, o.pairs(), true); err != nil {
		return Written{}, err
	}
	w := &writer{job: j, o: o, temp: temp, tally: newTally()}
	if err := w.all(ctx); err != nil {
		return Written{}, err
	}
	if err := w.moveAside(); err != nil {
		return Written{}, err
	}
	for _, f := range w.out.Files {
		if err := os.Rename(filepath.Join(temp, f.Name), filepath.Join(o.Folder, f.Name)); err != nil {
			return Written{}, err
		}
	}
	return w.out, nil
}

// forPeople are the written files that people fill in.
var forPeople = []string{"sample.csv", "unmatched.csv"}

// moveAside renames what a person filled in since it was written, so that
// writing anew doesn't lose it.
func (w *writer) moveAside() error {
	text, err := os.ReadFile(filepath.Join(w.o.Folder, RunFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	var before Written
	if err := json.Unmarshal(text, &before); err != nil {
		return nil // not ours: nothing is known of what was written
	}
	for _, name := range forPeople {
		i := slices.IndexFunc(before.Files, func(f File) bool { return f.Name == name })
		data, err := os.ReadFile(filepath.Join(w.o.Folder, name))
		if i < 0 || errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		raw := sha256.Sum256(data)
		sum := hex.EncodeToString(raw[:])
		if sum == before.Files[i].SHA256 {
			continue
		}
		kept := name[:len(name)-len(".csv")] + "-filled-in-" + sum[:8] + ".csv"
		if err := os.Rename(filepath.Join(w.o.Folder, name), filepath.Join(w.o.Folder, kept)); err != nil {
			return err
		}
		w.out.Kept = append(w.out.Kept, kept)
	}
	return nil
}

type writer struct {
	job     *Job
	o       Output
	temp    string
	tally   *tally
	out     Written
	stand   *stand
	digest  hash.Hash // over all photos' paths and contents
	version string    // that measured, as the measurements say
}

// A sink is a table that takes rows.
type sink[T any] interface {
	add(T) error
	close() error
}

// create makes a file whose size and hash are noted when it is closed.
func (w *writer) create(name string) (*hashed, error) {
	f, err := os.Create(filepath.Join(w.temp, name))
	if err != nil {
		return nil, err
	}
	return &hashed{w: w, name: name, f: f, h: sha256.New()}, nil
}

type hashed struct {
	w    *writer
	name string
	f    *os.File
	h    hash.Hash
	n    int64
}

func (f *hashed) Write(p []byte) (int, error) {
	n, err := f.f.Write(p)
	f.h.Write(p[:n])
	f.n += int64(n)
	return n, err
}

func (f *hashed) close() error {
	f.w.out.Files = append(f.w.out.Files, File{f.name, f.n, hex.EncodeToString(f.h.Sum(nil))})
	return f.f.Close()
}

// one writes a file by a function.
func (w *writer) one(name string, f func(io.Writer) error) error {
	h, err := w.create(name)
	if err != nil {
		return err
	}
	return errors.Join(f(h), h.close())
}

func (w *writer) all(ctx context.Context) error {
	w.digest = sha256.New()
	var err error
	if w.stand, err = w.job.standOf(ctx, w.o.Program, w.o.Match); err != nil {
		return err
	}
	if err := w.tables(ctx); err != nil {
		return err
	}
	if err := w.one("dictionary.csv", writeDictionary); err != nil {
		return err
	}
	if err := w.one("unmatched.csv", func(out io.Writer) error { return writeUnmatched(out, w.tally.unplaced) }); err != nil {
		return err
	}
	drawn, err := draw(w.tally.facts, w.o.Check)
	if err != nil {
		return err
	}
	checked, rate, err := w.job.checked(ctx, w.o.Program, drawn, len(w.tally.facts))
	if err != nil {
		return err
	}
	w.out.ErrorRate = rate
	s, err := w.summarise(ctx, checked)
	if err != nil {
		return err
	}
	if len(checked) > 0 {
		if err := w.one("sample.csv", func(out io.Writer) error { return writeSample(out, checked) }); err != nil {
			return err
		}
		if err := w.one("sample.html", func(out io.Writer) error { return w.samplePage(ctx, out, checked) }); err != nil {
			return err
		}
	}
	if err := w.one("methods.txt", func(out io.Writer) error { _, err := io.WriteString(out, s.Methods+"\n"); return err }); err != nil {
		return err
	}
	if err := w.one("summary.html", func(out io.Writer) error { return writeSummary(out, s) }); err != nil {
		return err
	}
	slices.SortFunc(w.out.Files, func(a, b File) int { return bytes.Compare([]byte(a.Name), []byte(b.Name)) })
	w.out.Counted, w.out.Unplaced = len(w.tally.facts), len(w.tally.unplaced)
	t := w.tally
	w.out.Counts = Counts{Photos: t.photos, Waiting: t.waiting, Measured: t.measured, Refused: t.refused, Failed: t.failed}
	if w.out.Timings, err = w.job.Timing(ctx, w.o.Program); err != nil {
		return err
	}
	return w.one(RunFile, w.run)
}

// tables writes the row tables in one pass over the photos.
func (w *writer) tables(ctx context.Context) (err error) {
	book, err := newWorkbook()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, book.close()) }()
	photos, err := threeWays[PhotoRow](w, book, "photos")
	if err != nil {
		return err
	}
	canes, err := threeWays[CaneRow](w, book, "canes")
	if err != nil {
		return err
	}
	internodes, err := threeWays[InternodeRow](w, book, "internodes")
	if err != nil {
		return err
	}
	jsonl, err := w.create("measurements.jsonl")
	if err != nil {
		return err
	}
	ls := newLines(jsonl)
	brapiFile, err := w.create("brapi-observations.json")
	if err != nil {
		return err
	}
	obs, err := newBrAPI(brapiFile)
	if err != nil {
		return err
	}
	err = w.job.each(ctx, w.o.Program, "", 0, func(rec record) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		s, err := w.sighting(rec)
		if err != nil {
			return err
		}
		row := s.photoRow()
		w.tally.photo(s, row)
		if err := photos.add(row); err != nil {
			return err
		}
		if s.seen == nil {
			return nil
		}
		if err := ls.add(s.seen); err != nil {
			return err
		}
		for i := range s.seen.Canes {
			c := &s.seen.Canes[i]
			w.out.Canes++
			if err := canes.add(s.caneRow(c)); err != nil {
				return err
			}
			for _, in := range s.internodeRows(c) {
				if err := internodes.add(in); err != nil {
					return err
				}
			}
			if err := obs.add(s, c); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := errors.Join(photos.close(), canes.close(), internodes.close(), ls.close(), jsonl.close(), obs.close(), brapiFile.close()); err != nil {
		return err
	}
	return w.one("tables.xlsx", book.writeTo)
}

// sighting reads a photo's measurement and judges it.
func (w *writer) sighting(rec record) (*sighting, error) {
	s := &sighting{rec: rec, at: w.o.Match.Place(rec.photo), rules: w.o.Rules.ID(), samePhoto: w.stand.same[rec.path], secondOf: w.stand.lentTo[rec.path], counted: w.stand.counted[rec.path]}
	fmt.Fprintf(w.digest, "%s %s\n", rec.sha, rec.path)
	var err error
	if s.seen, err = rec.measurement(); err != nil {
		return nil, err
	}
	if s.seen != nil {
		assess.Judge(s.seen, w.o.Rules)
		if w.version == "" {
			w.version = s.seen.Program
		}
	}
	return s, nil
}

// threeWays writes one table as CSV, Parquet and a sheet of the workbook.
func threeWays[T any](w *writer, book *workbook, name string) (sink[T], error) {
	c, err := w.create(name + ".csv")
	if err != nil {
		return nil, err
	}
	p, err := w.create(name + ".parquet")
	if err != nil {
		return nil, err
	}
	t, err := newCSV[T](c)
	if err != nil {
		return nil, err
	}
	s, err := newSheet[T](book, name)
	if err != nil {
		return nil, err
	}
	return &together[T]{sinks: []sink[T]{t, newParquet[T](p), s}, files: []*hashed{c, p}}, nil
}

type together[T any] struct {
	sinks []sink[T]
	files []*hashed
}

func (t *together[T]) add(row T) error {
	for _, s := range t.sinks {
		if err := s.add(row); err != nil {
			return err
		}
	}
	return nil
}

func (t *together[T]) close() error {
	var errs []error
	for _, s := range t.sinks {
		errs = append(errs, s.close())
	}
	for _, f := range t.files {
		errs = append(errs, f.close())
	}
	return errors.Join(errs...)
}

// run writes what belongs to this run alone: when, where, how long.
func (w *writer) run(out io.Writer) error {
	type machine struct {
		OS         string `json:"os"`
		Arch       string `json:"arch"`
		Processors int    `json:"processors"`
		Go         string `json:"go"`
	}
	started, ended := w.o.Started.UTC(), w.job.now().UTC()
	if started.IsZero() {
		started = ended
	}
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(struct {
		Program        string         `json:"program"`
		ProgramID      string         `json:"program_id"`
		MeasuredBy     string         `json:"measured_by"`
		RuleSet        assess.RuleSet `json:"rule_set"`
		Command        []string       `json:"command"`
		Machine        machine        `json:"machine"`
		Started        time.Time      `json:"started"`
		Ended          time.Time      `json:"ended"`
		Found          Found          `json:"found"`
		Workers        int            `json:"workers"`
		MeasuredNow    int            `json:"measured_now"`
		MeasuredBefore int            `json:"measured_before"`
		Seconds        float64        `json:"measuring_seconds"`
		Rate           float64        `json:"photos_per_second"`
		PhotosSHA256   string         `json:"photos_sha256"`
		Written
	}{
		w.o.Version, w.o.Program, w.version, w.o.Rules, w.o.Command,
		machine{runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version()},
		started, ended, w.o.Found, w.o.Ran.Workers, w.o.Ran.Fresh, w.o.Ran.Known, rounded(w.o.Ran.Took.Seconds(), 2), rounded(w.o.Ran.Rate(), 3),
		hex.EncodeToString(w.digest.Sum(nil)), w.out,
	})
}
