package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"nodespan/assess"
	"nodespan/vision"
	"nodespan/vision/truth"
)

// runTruth measures photos with known truth and tells how well.
func runTruth(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan truth", flag.ContinueOnError)
	page := fs.String("html", "", "write a page with tables, plots and the worst canes to this file")
	asJSON := fs.Bool("json", false, "print the summaries as JSON instead of the table")
	self := fs.Bool("self", false, "report the truth itself as the measurement: checks the comparison, not the measuring")
	quiet := fs.Bool("quiet", false, "don't tell of each photo while measuring")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan truth DIR [options]\n\nMeasures the photos in DIR that have a truth beside them (NAME.jpg, NAME.json),\nand tells how far the measurements are from it.")
		fs.PrintDefaults()
	}
	dir, err := parseWithOne(fs, args)
	if err != nil {
		return afterParse(err)
	}
	if dir == "" {
		fs.Usage()
		return exitUsage
	}
	var m assess.Measurer = vision.New(version)
	if *self {
		if m, err = truth.NewTold(dir); err != nil {
			return fail(err)
		}
	}
	rules := truth.DefaultRules()
	results, err := truth.Collect(ctx, dir, m, rules, func(done, of int, r truth.Result) {
		if *quiet {
			return
		}
		state := fmt.Sprintf("%d of %d canes, %d reported", r.Found, r.Eligible, r.Reported)
		if r.Refused {
			state = "refused"
		}
		if r.Failed != "" {
			state = "failed: " + r.Failed
		}
		fmt.Fprintf(os.Stderr, "%d/%d  %s (%s, %s, %s): %s\n", done, of, r.Photo, r.Background, r.Light, r.Reference, state)
	})
	if err != nil {
		return fail(err)
	}
	sums := truth.ByCondition(results, rules)
	if *asJSON {
		e := json.NewEncoder(os.Stdout)
		e.SetIndent("", "  ")
		err = e.Encode(sums)
	} else {
		err = truth.WriteTable(os.Stdout, sums)
	}
	if err != nil {
		return fail(err)
	}
	if *page != "" {
		var b bytes.Buffer
		if err := truth.WriteHTML(&b, "Measured against the truth: "+filepath.Base(filepath.Clean(dir)), dir, results, rules); err != nil {
			return fail(err)
		}
		if err := os.WriteFile(*page, b.Bytes(), 0o644); err != nil {
			return fail(err)
		}
	}
	return exitOK
}

// parseWithOne parses flags that may stand before or after the one argument;
// a second argument gives "" as well.
func parseWithOne(fs *flag.FlagSet, args []string) (string, error) {
	if err := fs.Parse(args); err != nil {
		return "", err
	}
	one := fs.Arg(0)
	if fs.NArg() > 1 {
		if err := fs.Parse(fs.Args()[1:]); err != nil {
			return "", err
		}
		if fs.NArg() > 0 {
			return "", nil
		}
	}
	return one, nil
}
