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
	"nodespan/assess/batch"
	"nodespan/assess/store"
	"nodespan/assess/study"
	"nodespan/vision"
)

// runStudy holds a folder of photos against measurements by hand.
func runStudy(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan study", flag.ContinueOnError)
	out := fs.String("out", "", "write the report as one page to `FILE`.html (needed)")
	figures := fs.String("json", "", "write the figures as JSON to `FILE` too")
	pattern := fs.String("pattern", batch.DefaultPattern, "how photos are named, as in nodespan batch")
	vines := fs.String("vines", "", "`CSV` that tells which photo shows which vine, as in nodespan batch")
	record := fs.String("record", "", "`FOLDER` of a record: canes of photos that are in it are those that a person confirmed there, with corrected nodes")
	alone := fs.Bool("alone", false, "measure every photo by itself, so that two stances of a vine are two readings")
	workers := fs.Int("workers", 0, "photos measured at the same time (default: as many as processors)")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), `nodespan study DIR HAND.csv --out FILE.html [options]

Measures the photos in DIR and holds them against measurements by hand: bias,
limits of agreement, how often the intervals hold, what follows for them.
HAND.csv has the columns vine (as block-row-vine), cane, node_from, node_to,
diameter_mm, internode_mm, who, with; a cane is named by its number as the
program draws it (nodespan measure --picture), or by the column at_mm: where it
arises along the wire, from the card's centre to the right. along_mm, the middle
of the measured internode from the cane's base, may stand for the two nodes.
Two stances of a vine, as names or list tell them, are measured together and are
one reading; several readings of a vine tell how the program repeats itself, if
canes are named by at_mm, since each photo numbers its canes by itself.`)
		fs.PrintDefaults()
	}
	if err := parseAnywhere(fs, args); err != nil {
		return afterParse(err)
	}
	if fs.NArg() != 2 || *out == "" {
		fs.Usage()
		return exitUsage
	}
	if err := makeStudy(ctx, fs.Arg(0), fs.Arg(1), *out, *figures, *record, batchCall{pattern: *pattern, vines: *vines, workers: *workers, alone: *alone}); err != nil {
		return fail(err)
	}
	return exitOK
}

func makeStudy(ctx context.Context, dir, handFile, out, figures, record string, o batchCall) error {
	f, err := os.Open(handFile)
	if err != nil {
		return assess.Errorf(assess.EInvalid, "%s can't be read. Check its name and rights: %w", handFile, err)
	}
	hands, err := study.ReadHand(f, filepath.Base(handFile))
	f.Close()
	if err != nil {
		return err
	}
	match, err := o.matcher()
	if err != nil {
		return err
	}
	var st *store.Store
	if record != "" {
		if _, err := os.Stat(record); err != nil {
			return assess.Errorf(assess.EInvalid, "There is no record in %s. Name the data folder of nodespan serve.", record)
		}
		if st, err = store.Open(ctx, record); err != nil {
			return err
		}
		defer st.Close()
	}
	photos, err := study.Take{Dir: dir, Match: match, Measurer: vision.New(version), Record: st, Alone: o.alone, Workers: o.workers}.Photos(ctx)
	if err != nil {
		return err
	}
	r := study.NewReport(hands, photos, version)
	var page bytes.Buffer
	if err := r.Page(&page); err != nil {
		return err
	}
	if err := os.WriteFile(out, page.Bytes(), 0o644); err != nil {
		return err
	}
	if figures != "" {
		text, err := json.MarshalIndent(r.Results, "", "  ")
		if err != nil {
			return err
		}
		if err := os.WriteFile(figures, append(text, '\n'), 0o644); err != nil {
			return err
		}
	}
	for _, q := range r.Results {
		if q.Problem != "" {
			fmt.Printf("%s: %s\n", q.What, q.Problem)
			continue
		}
		a := q.Agreement
		fmt.Printf("%s: %d pairs, bias %.2f mm (%.2f to %.2f), limits of agreement %.2f to %.2f mm, intervals hold %.0f %% (%.0f to %.0f %%)\n",
			q.What, a.N, a.Bias.Value, a.Bias.Low, a.Bias.High, a.Lower.Value, a.Upper.Value, 100*q.Held.Share.Value, 100*q.Held.Share.Low, 100*q.Held.Share.High)
	}
	for _, q := range r.Results {
		if q.Repeats != nil {
			fmt.Printf("%s from occasion to occasion: standard deviation %.2f mm, repeatability coefficient %.2f mm, %d things\n", q.What, q.Repeats.WithinSD.Value, q.Repeats.Coefficient.Value, q.Repeats.Things)
		}
	}
	fmt.Printf("%d occasions in %d photos. ", r.Read(), len(r.Photos))
	fmt.Printf("%d of %d hand measurements found no partner; written to %s\n", len(r.Unpaired), r.Hands, out)
	return nil
}
