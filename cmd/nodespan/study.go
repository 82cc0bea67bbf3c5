package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

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
	workers := fs.Int("workers", 0, "photos measured at the same time (default: as many as processors)")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), `nodespan study DIR HAND.csv --out FILE.html [options]

Measures the photos in DIR and holds them against measurements by hand: bias,
limits of agreement, how often the intervals hold, what follows for them.
HAND.csv has the columns vine (as block-row-vine), cane, node_from, node_to,
diameter_mm, internode_mm, who, with; a cane is named by its number as the
program draws it (nodespan measure --picture), or by the column at_mm: where it
arises along the wire, from the card's centre to the right. along_mm, the middle
of the measured internode from the cane's base, may stand for the two nodes.`)
		fs.PrintDefaults()
	}
	if err := parseAnywhere(fs, args); err != nil {
		return afterParse(err)
	}
	if fs.NArg() != 2 || *out == "" {
		fs.Usage()
		return exitUsage
	}
	if err := makeStudy(ctx, fs.Arg(0), fs.Arg(1), *out, *figures, *record, batchCall{pattern: *pattern, vines: *vines, workers: *workers}); err != nil {
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
	photos, err := measureStudy(ctx, dir, match, st, o.workers)
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
	fmt.Printf("%d of %d hand measurements found no partner; written to %s\n", len(r.Unpaired), r.Hands, out)
	return nil
}

// measureStudy measures the photos of a folder, some at a time; they come out in
// the order of their names.
func measureStudy(ctx context.Context, dir string, match *batch.Matcher, st *store.Store, workers int) ([]study.Photo, error) {
	var names []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch strings.ToLower(filepath.Ext(path)) {
		case ".jpg", ".jpeg", ".png", ".webp":
			names = append(names, path)
		}
		return nil
	})
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s can't be read. Name the folder with the photos: %w", dir, err)
	}
	if len(names) == 0 {
		return nil, assess.Errorf(assess.EInvalid, "There is no photo in %s.", dir)
	}
	m := vision.New(version)
	photos := make([]study.Photo, len(names))
	if workers <= 0 {
		workers = runtime.NumCPU()
	}
	g, gctx := errgroup.WithContext(ctx)
	g.SetLimit(workers)
	for i, name := range names {
		g.Go(func() error {
			rel, err := filepath.Rel(dir, name)
			if err != nil {
				return err
			}
			p := study.Photo{Name: filepath.ToSlash(rel)}
			data, err := os.ReadFile(name)
			if err != nil {
				p.Why = "the file can't be read"
				photos[i] = p
				return nil
			}
			at := match.PlaceOf(p.Name, data)
			p.Block, p.Row, p.Vine = at.Block, at.Row, at.Vine
			if st != nil {
				if found, err := fromRecord(gctx, st, data, &p); err != nil || found {
					photos[i] = p
					return err
				}
			}
			res, err := m.Measure(gctx, data, assess.Ask{Name: p.Name})
			var ae *assess.Error
			switch {
			case gctx.Err() != nil:
				return gctx.Err()
			case errors.As(err, &ae):
				p.Why = ae.Message
			case err != nil:
				return fmt.Errorf("%s: %w", name, err)
			case res.Outcome == assess.Refused:
				p.Why = "refused: " + strings.Join(assess.Advise(res.Reasons), " ")
			default:
				p.Canes, p.Reference = res.Canes, res.Reference
			}
			photos[i] = p
			return nil
		})
	}
	return photos, g.Wait()
}

// fromRecord takes what a person confirmed of a photo, when the record has it.
func fromRecord(ctx context.Context, st *store.Store, data []byte, p *study.Photo) (bool, error) {
	sum := sha256.Sum256(data)
	there, err := st.PhotosOf(ctx, hex.EncodeToString(sum[:]))
	if err != nil || len(there) == 0 {
		return false, err
	}
	ph := there[0]
	m, err := st.LatestMeasurement(ctx, ph.ID)
	if err != nil || m == nil || m.Seen.Outcome != assess.Measured {
		return false, err
	}
	kept, err := st.Rulings(ctx, m.ID)
	if err != nil {
		return false, err
	}
	rulings, err := store.ReadRulings(kept)
	if err != nil {
		return false, err
	}
	vine, err := st.Vine(ctx, ph.VineID)
	if err != nil {
		return false, err
	}
	block, err := st.Block(ctx, vine.BlockID)
	if err != nil {
		return false, err
	}
	p.Block, p.Row, p.Vine, p.Ruled, p.Reference = block.Name, vine.Row, vine.Number, true, m.Seen.Reference
	for _, c := range assess.Confirm(m.Seen, rulings, assess.DefaultRuleSet()) {
		// A diameter that was ruled by caliper is the hand's, not the program's.
		if c.Kind == assess.OneYearCane && !c.ByHand {
			p.Canes = append(p.Canes, c.Cane)
		}
	}
	if len(p.Canes) == 0 {
		p.Why = "nobody has confirmed a cane on it yet"
	}
	return true, nil
}
