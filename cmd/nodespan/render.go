package main

import (
	"context"
	"flag"
	"fmt"
	"image/jpeg"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"nodespan/vision/render"
)

// runRender makes photos with known truth from seeds.
func runRender(ctx context.Context, args []string) int {
	fs := flag.NewFlagSet("nodespan render", flag.ContinueOnError)
	var o render.Options
	seed := fs.Uint64("seed", 1, "seed of the first photo; each further photo takes the next one")
	count := fs.Int("count", 1, "how many photos")
	out := fs.String("out", "", "folder for NAME.jpg and NAME.json (needed)")
	name := fs.String("name", "", "name of the photo instead of rSEED (with --count 1)")
	fs.IntVar(&o.Width, "width", 2000, "width in px; the height is three quarters of it")
	kind := fs.String("kind", "vine", "what stands in the scene: vine, empty (trellis), rods or card")
	back := fs.String("background", "", "sheet/white, sheet/blue, sky_grass, next_row or soil (default: drawn)")
	light := fs.String("light", "", "overcast, sun or dusk (default: drawn)")
	fs.StringVar(&o.Reference, "reference", "", "card, bar, none, rotated, tilted or hidden (default: drawn)")
	fs.StringVar(&o.Blur, "blur", "", "none, defocus or motion (default: drawn)")
	fs.IntVar(&o.JPEGQuality, "quality", 0, "JPEG quality (default: drawn, 75 to 95)")
	fs.Float64Var(&o.TruthStepMM, "truth-step", 6, "mm between points of a centre line in the truth")
	fs.IntVar(&o.Canes, "canes", 0, "canes of the middle vine (default: drawn)")
	fs.BoolVar(&o.Clean, "clean", false, "no noise, blur or distortion, camera square to the row")
	fs.IntVar(&o.Stance, "stance", 1, "from where: 1, or 2 to 9 for the same vines from a step aside, the card left hanging")
	rods := fs.String("rods", "", "with --kind rods: diameters in mm, such as 4,6,8,10,12,15")
	fs.Usage = func() {
		fmt.Fprintln(fs.Output(), "nodespan render --out DIR [options]\n\nMakes photos of vines of which everything is known, each with its truth.")
		fs.PrintDefaults()
	}
	if err := fs.Parse(args); err != nil {
		return afterParse(err)
	}
	o.Kind, o.Background, o.Light = render.Kind(*kind), render.Background(*back), render.Light(*light)
	switch {
	case *out == "" || fs.NArg() > 0:
		fs.Usage()
		return exitUsage
	case *count < 1 || (*name != "" && *count != 1):
		fmt.Fprintln(os.Stderr, "nodespan render: --count must be at least 1, and exactly 1 with --name")
		return exitUsage
	case o.Kind == render.Rods:
		var err error
		if o.Rods, err = parseRods(*rods); err != nil {
			fmt.Fprintln(os.Stderr, "nodespan render:", err)
			return exitUsage
		}
	}
	if err := o.Check(); err != nil {
		fail(err)
		return exitUsage
	}
	if err := os.MkdirAll(*out, 0o755); err != nil {
		return fail(err)
	}
	for i := 0; i < *count; i++ {
		if err := ctx.Err(); err != nil {
			return fail(err)
		}
		p := render.Random(*seed+uint64(i), o)
		if *name != "" {
			p.Name = *name
		}
		line, err := renderOne(p, *out, args)
		if err != nil {
			return fail(err)
		}
		fmt.Println(line)
	}
	return exitOK
}

func renderOne(p render.Params, dir string, args []string) (string, error) {
	img, t, err := render.Draw(p)
	if err != nil {
		return "", err
	}
	t.Made = fmt.Sprintf("nodespan render --seed %d%s", p.Seed, kept(args))
	path := filepath.Join(dir, p.Name)
	f, err := os.Create(path + ".jpg")
	if err != nil {
		return "", err
	}
	if err := jpeg.Encode(f, img, &jpeg.Options{Quality: p.JPEGQuality}); err != nil {
		f.Close()
		return "", err
	}
	if err := f.Close(); err != nil {
		return "", err
	}
	if err := t.Write(path + ".json"); err != nil {
		return "", err
	}
	ref := "no reference"
	if t.Reference != nil {
		ref = t.Reference.Kind
	}
	return fmt.Sprintf("%s.jpg  %s, %s, %s, %d canes", path, p.Background, p.Light, ref, len(t.Canes)), nil
}

// kept are the options that change what a photo shows, for the truth's note.
func kept(args []string) string {
	var b strings.Builder
	for i := 0; i < len(args); i++ {
		n := strings.TrimLeft(args[i], "-")
		key, _, joined := strings.Cut(n, "=")
		drop := key == "seed" || key == "count" || key == "out" || key == "name"
		with := i+1 < len(args) && !joined && key != "clean"
		if !drop {
			b.WriteString(" --" + n)
			if with {
				b.WriteString(" " + args[i+1])
			}
		}
		if with {
			i++
		}
	}
	return b.String()
}

func parseRods(list string) ([]render.Rod, error) {
	parts := strings.Split(list, ",")
	var out []render.Rod
	for i, s := range parts {
		d, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil || d <= 0 || d > 100 {
			return nil, fmt.Errorf("--rods takes diameters in mm with commas between, such as 4,8,12; %q isn't one", s)
		}
		out = append(out, render.Rod{DiameterMM: d, XMM: (float64(i) - float64(len(parts)-1)/2) * 90})
	}
	return out, nil
}
