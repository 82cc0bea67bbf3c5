package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"time"

	"nodespan/assess"
	"nodespan/assess/batch"
	"nodespan/vision"
)

// A batchCall is what the command line of batch says.
type batchCall struct {
	photos, out                        string
	workers                            int
	watch, retry, quiet, southern      bool
	alone                              bool
	pattern, vines, walk, plan, winter string
	rules, checked                     string
	clock                              time.Duration
	check                              batch.Check
}

// runBatch measures a folder of photos and writes tables.
func runBatch(ctx context.Context, args []string) int {
	var o batchCall
	fs := flag.NewFlagSet("nodespan batch", flag.ContinueOnError)
	fs.StringVar(&o.out, "out", "", "folder of the results and of the job's state (needed; not the photos' own)")
	fs.IntVar(&o.workers, "workers", 0, "photos measured at the same time (default: as many as processors; each needs some 40 bytes a pixel)")
	fs.BoolVar(&o.watch, "watch", false, "go on looking for new photos until stopped with Ctrl-C")
	fs.BoolVar(&o.retry, "retry", false, "try again what could not be read or measured before")
	fs.BoolVar(&o.quiet, "quiet", false, "no progress, only what went wrong and the end")
	fs.StringVar(&o.pattern, "pattern", batch.DefaultPattern, "how photos are named: {block} {row} {vine} {stance} {treatment} {cultivar} {winter} {any}, [optional]; with / folders too")
	fs.StringVar(&o.vines, "vines", "", "`CSV` with photo, block, row, vine[, stance, treatment, cultivar, winter]; stands above the pattern")
	fs.StringVar(&o.walk, "walk", "", "`CSV` with time, block, row, vine: photos belong to the last vine reached before they were taken")
	fs.DurationVar(&o.clock, "clock", 0, "added to the camera's times before they are held against --walk, such as 90s or -1h")
	fs.StringVar(&o.plan, "plan", "", "`CSV` with block[, row, vine], treatment[, cultivar]")
	fs.StringVar(&o.winter, "winter", "", "winter of photos without a time, such as 2026/27")
	fs.BoolVar(&o.southern, "southern", false, "south of the equator: a winter lies within one year")
	fs.BoolVar(&o.alone, "alone", false, "measure every photo by itself, also where two stances show one vine: for a study of repeatability")
	fs.StringVar(&o.rules, "rules", "", "`FILE` (.yaml, .toml or .json) with the rule set (default: nodespan's own); another one costs no measuring")
	fs.Float64Var(&o.check.Within, "check", 0, "draw canes for checking by hand, so many that the error rate is known to this share, such as 0.05")
	fs.Float64Var(&o.check.Expected, "check-expected", 0, "error rate that is expected; 0 draws enough for any")
	fs.Uint64Var(&o.check.Seed, "check-seed", 1, "another seed draws other canes")
	fs.StringVar(&o.checked, "checked", "", "`CSV` the written sample.csv, with said filled in")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan batch DIR --out RESULTS [options]\n\nMeasures all photos in DIR and below, and writes tables, a summary and a methods paragraph. Two photos of a vine from two stances are measured together, which shows how far canes stand off the wire. Stopped or cut off, the same command goes on where it was; nothing is measured twice unless the program changed.")
		fs.PrintDefaults()
	}
	if err := parseAnywhere(fs, args); err != nil {
		return afterParse(err)
	}
	if fs.NArg() != 1 || o.out == "" {
		fs.Usage()
		return exitUsage
	}
	o.photos = fs.Arg(0)
	match, err := o.matcher()
	if err != nil {
		return fail(err)
	}
	rules, err := readRules(o.rules)
	if err != nil {
		return fail(err)
	}
	if err := o.run(ctx, match, rules, append([]string{"nodespan", "batch"}, args...)); err != nil {
		return fail(err)
	}
	return exitOK
}

// parseAnywhere lets options stand after the folder as well: the package stops
// at the first argument that is none.
func parseAnywhere(fs *flag.FlagSet, args []string) error {
	var rest []string
	for {
		if err := fs.Parse(args); err != nil {
			return err
		}
		if fs.NArg() == 0 {
			return fs.Parse(append([]string{"--"}, rest...))
		}
		rest, args = append(rest, fs.Arg(0)), fs.Args()[1:]
	}
}

func (o *batchCall) matcher() (*batch.Matcher, error) {
	m := &batch.Matcher{Southern: o.southern, Winter: o.winter}
	var err error
	if o.pattern != "" {
		if m.Name, err = batch.ParsePattern(o.pattern); err != nil {
			return nil, err
		}
	}
	if m.List, err = readFile(o.vines, batch.ReadList); err != nil {
		return nil, err
	}
	if m.Plan, err = readFile(o.plan, batch.ReadPlan); err != nil {
		return nil, err
	}
	if m.Walk, err = readFile(o.walk, batch.ReadWalk); err != nil {
		return nil, err
	}
	if m.Walk != nil {
		m.Walk.Clock = o.clock
	}
	return m, nil
}

// readFile reads a file by a function, nil when none was named.
func readFile[T any](name string, read func(io.Reader, string) (*T, error)) (*T, error) {
	if name == "" {
		return nil, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s can't be read. Check its name and rights: %w", name, err)
	}
	defer f.Close()
	return read(f, filepath.Base(name))
}

// programID tells this build from any other: the hash of the program's own
// file, or its version where the file can't be read.
func programID() string {
	path, err := os.Executable()
	if err != nil {
		return version
	}
	f, err := os.Open(path)
	if err != nil {
		return version
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return version
	}
	return hex.EncodeToString(h.Sum(nil))
}

func (o *batchCall) run(ctx context.Context, match *batch.Matcher, rules assess.RuleSet, command []string) error {
	started := time.Now()
	job, err := batch.Open(ctx, o.out)
	if err != nil {
		return err
	}
	defer job.Close()
	program := programID()
	if o.retry {
		if _, err := job.Retry(ctx, program); err != nil {
			return err
		}
	}
	if o.checked != "" {
		f, err := os.Open(o.checked)
		if err != nil {
			return assess.Errorf(assess.EInvalid, "%s can't be read. Check its name and rights: %w", o.checked, err)
		}
		n, err := job.ReadChecks(ctx, program, f, filepath.Base(o.checked))
		f.Close()
		if err != nil {
			return err
		}
		fmt.Fprintf(os.Stderr, "%d checks taken from %s\n", n, o.checked)
	}
	show := newProgress(os.Stderr, o.quiet)
	options := batch.Options{Photos: o.photos, Measurer: vision.New(version), Program: program, Workers: o.workers, Told: show.step, Match: match}
	if o.alone {
		options.Match = nil
	}
	write := func(ctx context.Context, ran batch.Ran, found batch.Found) error {
		show.end()
		w, err := job.Write(ctx, batch.Output{
			Folder: o.out, Photos: o.photos, Program: program, Version: version, Rules: rules, Match: match, Alone: o.alone,
			Check: o.check, Command: command, Ran: ran, Found: found, Started: started,
		})
		if err != nil {
			return err
		}
		report(os.Stdout, o.out, w, ran)
		return nil
	}
	if o.watch {
		fmt.Fprintf(os.Stderr, "watching %s (stop with Ctrl-C)\n", o.photos)
		return job.Watch(ctx, options, func(ran batch.Ran) error {
			// A stop while the tables are written lets them be written to the end.
			return write(context.WithoutCancel(ctx), ran, batch.Found{})
		})
	}
	found, err := job.Find(ctx, o.photos, false)
	if err != nil {
		return err
	}
	if found.Photos == 0 {
		return assess.Errorf(assess.EInvalid, "There is no photo in %s. Name the folder that holds them.", o.photos)
	}
	ran, err := job.Run(ctx, options)
	show.end()
	if errors.Is(err, context.Canceled) {
		c, cerr := job.Count(context.WithoutCancel(ctx), program)
		if cerr != nil {
			return cerr
		}
		fmt.Fprintf(os.Stderr, "stopped: %d of %d photos have an outcome. The same command goes on from there.\n", c.Done(), c.Photos)
		return err
	}
	if err != nil {
		return err
	}
	// The tables take a moment; Ctrl-C still ends the program at once.
	wctx, stop := signal.NotifyContext(context.WithoutCancel(ctx), os.Interrupt)
	defer stop()
	return write(wctx, ran, found)
}

// report tells a person what was written.
func report(out io.Writer, folder string, w batch.Written, ran batch.Ran) {
	c := w.Counts
	fmt.Fprintf(out, "%d photos: %d measured, %d refused, %d unreadable; %d canes\n", c.Photos, c.Measured, c.Refused, c.Failed, w.Canes)
	if w.Counted < w.Canes {
		fmt.Fprintf(out, "%d of these canes are counted, each vine's by one photo (column counted)\n", w.Counted)
	}
	for _, k := range w.Kept {
		fmt.Fprintf(out, "%s had been changed by hand and was kept as %s; give it back with --checked or --vines\n", strings.Split(k, "-filled-in-")[0]+".csv", filepath.Join(folder, k))
	}
	if w.Unplaced > 0 {
		fmt.Fprintf(out, "%d photos belong to no known vine: fill in %s and give it back with --vines\n", w.Unplaced, filepath.Join(folder, "unmatched.csv"))
	}
	if ran.Fresh > 0 {
		fmt.Fprintf(out, "measured %d photos in %s by %d workers: %.2f photos a second\n", ran.Fresh, ran.Took.Round(100*time.Millisecond), ran.Workers, ran.Rate())
	}
	if t := w.Timings; t.Photos > 0 {
		fmt.Fprintf(out, "a photo took %.0f ms on average, %.1f times as long as decoding it (%.0f ms)\n", t.TotalMS, t.OverDecode, t.DecodeMS)
	}
	if r := w.ErrorRate; r.Rate != nil {
		fmt.Fprintf(out, "checked by hand: %d of %d drawn canes, %d wrong: %.1f %% (%.1f to %.1f %%)\n", r.Checked, r.Sample, r.Wrong, 100*r.Rate.Value, 100*r.Rate.Low, 100*r.Rate.High)
	} else if r.Sample > 0 {
		fmt.Fprintf(out, "%d canes drawn for checking by hand: look at %s\n", r.Sample, filepath.Join(folder, "sample.html"))
	}
	var names []string
	for _, f := range w.Files {
		names = append(names, f.Name)
	}
	fmt.Fprintf(out, "written to %s: %s\n", folder, strings.Join(names, ", "))
}
