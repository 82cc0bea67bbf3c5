package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"nodespan/assess"
	"nodespan/vision"
)

func runMeasure(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("measure", flag.ContinueOnError)
	asJSON := fs.Bool("json", false, "print one JSON object a photo instead of a table")
	marks := fs.String("marks", "", "two marks of known distance instead of card or bar: `x1,y1,x2,y2,mm`")
	guide := fs.String("guide", "", "follow canes from base to tip: `x1,y1,x2,y2[;…]`")
	picture := fs.String("picture", "", "write the photo with what was measured drawn over it to `FILE` (JPEG or PNG by its ending; one photo only)")
	with := fs.String("with", "", "a second photo `FILE` of the same vine from another stance, the card left hanging: shows how far canes stand off the wire (one photo only)")
	explain := fs.String("explain", "", "write one picture a stage into `DIR`")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan measure [options] PHOTO…\n\nMeasures each photo. Exit status: 0 all measured, 1 error, 2 wrong use, 3 a photo was refused.")
		fs.PrintDefaults()
	}
	if err := fs.Parse(args); err != nil {
		if err == flag.ErrHelp {
			return exitOK
		}
		return exitUsage
	}
	if fs.NArg() == 0 {
		fs.Usage()
		return exitUsage
	}
	var ask assess.Ask
	if *marks != "" {
		n, err := numbers(*marks, 5)
		if err != nil {
			fmt.Fprintln(os.Stderr, "nodespan: --marks needs x1,y1,x2,y2,mm:", err)
			return exitUsage
		}
		ask.Marks = &assess.Marks{A: assess.Point{n[0], n[1]}, B: assess.Point{n[2], n[3]}, DistanceMM: n[4]}
	}
	if *guide != "" {
		for _, g := range strings.Split(*guide, ";") {
			n, err := numbers(g, 4)
			if err != nil {
				fmt.Fprintln(os.Stderr, "nodespan: --guide needs x1,y1,x2,y2:", err)
				return exitUsage
			}
			ask.Guided = append(ask.Guided, [2]assess.Point{{n[0], n[1]}, {n[2], n[3]}})
		}
	}
	if *picture != "" && fs.NArg() > 1 {
		fmt.Fprintln(os.Stderr, "nodespan: --picture draws one photo, not", fs.NArg())
		return exitUsage
	}
	if *with != "" {
		if fs.NArg() > 1 || *marks != "" {
			fmt.Fprintln(os.Stderr, "nodespan: --with goes with one photo, and both need the card")
			return exitUsage
		}
		second, err := os.ReadFile(*with)
		if err != nil {
			return fail(err)
		}
		if ask.With = second; len(second) == 0 {
			return fail(assess.Errorf(assess.EInvalid, "%s is empty: give the second photo's file", *with))
		}
	}
	m := vision.New(version)
	rules := assess.DefaultRuleSet()
	code := exitOK
	for _, name := range fs.Args() {
		data, err := os.ReadFile(name)
		if err != nil {
			code = fail(err)
			continue
		}
		ask.Name = filepath.Base(name)
		if *explain != "" {
			m.Explain = func(stage string, jpeg []byte) error {
				if err := os.MkdirAll(*explain, 0o755); err != nil {
					return err
				}
				stem := strings.TrimSuffix(ask.Name, filepath.Ext(ask.Name))
				return os.WriteFile(filepath.Join(*explain, stem+"-"+stage+".jpg"), jpeg, 0o644)
			}
		}
		res, err := m.Measure(ctx, data, ask)
		if err != nil {
			code = fail(fmt.Errorf("%s: %w", name, err))
			continue
		}
		assess.Judge(res, rules)
		if *picture != "" {
			if err := drawTo(ctx, m, *picture, data, res); err != nil {
				code = fail(err)
			}
		}
		if *asJSON {
			enc := json.NewEncoder(os.Stdout)
			if err := enc.Encode(res); err != nil {
				return fail(err)
			}
		} else {
			printMeasurement(res)
		}
		if res.Outcome == assess.Refused && code == exitOK {
			code = exitRefused
		}
	}
	return code
}

func numbers(s string, n int) ([]float64, error) {
	parts := strings.Split(s, ",")
	if len(parts) != n {
		return nil, fmt.Errorf("%d numbers, not %d", n, len(parts))
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil {
			return nil, fmt.Errorf("%q is no number", p)
		}
		out[i] = v
	}
	return out, nil
}

// printMeasurement writes a table for a person.
func printMeasurement(m *assess.Measurement) {
	fmt.Printf("%s  %d x %d px, %s\n", m.Photo, m.WidthPx, m.HeightPx, m.Outcome)
	for _, a := range m.Advice {
		fmt.Println("  " + a)
	}
	if m.Reference != nil {
		fmt.Printf("  reference: %s, %.3f mm per pixel, corners within %.2f px\n", m.Reference.Kind, m.Reference.MMPerPx, m.Reference.ResidualPx)
	}
	if len(m.Canes) == 0 {
		return
	}
	w := tabwriter.NewWriter(os.Stdout, 2, 0, 2, ' ', 0)
	head, depth := "", func(assess.Cane) string { return "" }
	if m.With != "" {
		head = "off the wire mm\t"
		depth = func(c assess.Cane) string {
			if c.Depth == nil {
				return "–\t"
			}
			return fmt.Sprintf("%+.0f (%+.0f to %+.0f)\t", c.Depth.Value, c.Depth.Low, c.Depth.High)
		}
	}
	fmt.Fprintln(w, "  cane\t"+head+"diameter mm\tinternode mm\tlength mm\tnodes\tfinding\twhy")
	for _, c := range m.Canes {
		fmt.Fprintf(w, "  %d\t%s%s\t%s\t%s\t%d\t%s\t%s\n", c.ID, depth(c), span(c.Diameter, 1), span(c.Internode, 0), span(c.Length, 0), len(c.Nodes),
			strings.ReplaceAll(string(c.Finding), "_", " "), strings.Join(assess.Texts(c.Because), "; "))
	}
	w.Flush()
}

func span(q assess.Interval, digits int) string {
	if !q.Known() {
		return "–"
	}
	return fmt.Sprintf("%.*f (%.*f to %.*f)", digits, q.Value, digits, q.Low, digits, q.High)
}

// drawTo writes the annotated photo, as PNG when the file's name says so.
func drawTo(ctx context.Context, m *vision.Measurer, name string, data []byte, res *assess.Measurement) error {
	jpg, err := m.Picture(ctx, data, res)
	if err != nil {
		return err
	}
	if !strings.EqualFold(filepath.Ext(name), ".png") {
		return os.WriteFile(name, jpg, 0o644)
	}
	img, err := jpeg.Decode(bytes.NewReader(jpg))
	if err != nil {
		return err
	}
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := png.Encode(f, img); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
