package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"nodespan/vision/card"
)

// runCard writes the scale card or the scale bar to a file or standard output.
func runCard(_ context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan card", flag.ContinueOnError)
	var o card.Options
	out := fs.String("out", "", "file to write; .svg gives SVG, anything else PDF (default: PDF to standard output)")
	kind := fs.String("kind", "checker", "checker (card) or bar")
	paper := fs.String("paper", "a4", "a4 or letter")
	format := fs.String("format", "", "pdf or svg (default: by the name of --out)")
	fs.IntVar(&o.Cols, "cols", 0, "squares along the long side (default 9; bar: 20 blocks)")
	fs.IntVar(&o.Rows, "rows", 0, "squares along the short side (default 6)")
	fs.Float64Var(&o.SquareMM, "square", 0, "side of a square in mm (default 15; bar: blocks of 10)")
	fs.Float64Var(&o.HeightMM, "height", 0, "height of the bar in mm (default 20)")
	fs.Float64Var(&o.MarginMM, "margin", 0, "white margin in mm (default one square; bar: 10)")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan card [options]\n\nPrints the reference of known size that hangs on the wire in every photo.")
		fs.PrintDefaults()
	}
	if err := fs.Parse(args); err != nil {
		return afterParse(err)
	}
	if fs.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "nodespan card: %q isn't an option; name the file with --out FILE\n", fs.Arg(0))
		return exitUsage
	}
	o.Kind, o.Paper, o.Format = card.Kind(*kind), card.Paper(*paper), card.Format(*format)
	if o.Format == "" {
		o.Format = card.PDF
		if strings.EqualFold(filepath.Ext(*out), ".svg") {
			o.Format = card.SVG
		}
	}
	if _, err := card.Lay(o); err != nil { // before a file is made
		fail(err)
		return exitUsage
	}
	if *out == "" {
		if err := card.Write(os.Stdout, o); err != nil {
			return fail(err)
		}
		return exitOK
	}
	f, err := os.Create(*out)
	if err != nil {
		return fail(err)
	}
	if err := card.Write(f, o); err != nil {
		f.Close()
		return fail(err)
	}
	if err := f.Close(); err != nil {
		return fail(err)
	}
	fmt.Printf("%s written. Print it at 100 %% and measure its check line once: it must be 100 mm.\n", *out)
	return exitOK
}

// afterParse is the exit status after flags that could not be read: asking for
// help isn't an error.
func afterParse(err error) int {
	if errors.Is(err, flag.ErrHelp) {
		return exitOK
	}
	return exitUsage
}
