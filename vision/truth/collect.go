package truth

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"nodespan/assess"
)

// Collect measures every photo of dir that has a truth with m and compares. A
// photo that m can't measure is a Result with Failed set, not an error; the
// error is for a folder or photo that can't be read, or ctx's end. progress,
// when given, is called after each photo.
func Collect(ctx context.Context, dir string, m assess.Measurer, r Rules, progress func(done, of int, res Result)) ([]Result, error) {
	photos, err := ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []Result
	for i, p := range photos {
		if err := ctx.Err(); err != nil {
			return out, err
		}
		data, err := os.ReadFile(filepath.Join(dir, filepath.Base(p.Image)))
		if err != nil {
			return out, fmt.Errorf("the photo of %s.json: %w", p.Scene, err)
		}
		got, err := m.Measure(ctx, data, assess.Ask{Name: p.Image})
		if ctx.Err() != nil {
			return out, ctx.Err()
		}
		res := Compare(p, got, r)
		if err != nil {
			res.Failed = err.Error()
		}
		out = append(out, res)
		if progress != nil {
			progress(i+1, len(photos), res)
		}
	}
	return out, nil
}

// Told is a Measurer that knows the truth: what a perfect measurement of a
// photo would report, with intervals of half a millimetre and five. It checks
// the comparison itself.
type Told struct{ ByImage map[string]*Photo }

// NewTold reads the truths of dir.
func NewTold(dir string) (*Told, error) {
	photos, err := ReadDir(dir)
	if err != nil {
		return nil, err
	}
	t := &Told{ByImage: map[string]*Photo{}}
	for _, p := range photos {
		t.ByImage[p.Image] = p
	}
	return t, nil
}

// Measure reports the truth of the photo that ask names; ENotFound without one.
func (t *Told) Measure(_ context.Context, _ []byte, ask assess.Ask) (*assess.Measurement, error) {
	p, ok := t.ByImage[ask.Name]
	if !ok {
		return nil, assess.Errorf(assess.ENotFound, "no truth is known of %s", ask.Name)
	}
	return AsMeasurement(p), nil
}

// Guide isn't offered: truth needs no guidance.
func (t *Told) Guide(context.Context, []byte, *assess.Measurement, assess.Point, assess.Point) (*assess.Cane, error) {
	return nil, assess.Errorf(assess.EInvalid, "a known truth can't be guided")
}

// AsMeasurement is the measurement that would be right in everything.
func AsMeasurement(p *Photo) *assess.Measurement {
	m := &assess.Measurement{Photo: p.Image, WidthPx: p.ImageSize[0], HeightPx: p.ImageSize[1], Outcome: assess.Measured}
	if p.Reference == nil {
		m.Outcome, m.Reasons = assess.Refused, []assess.Reason{assess.NoReference}
		return m
	}
	m.Reference = &assess.Reference{Kind: "checker", MMPerPx: p.Reference.MMPerPxCentre}
	if p.Reference.Kind == "bar" {
		m.Reference.Kind = "bar"
	}
	r := DefaultRules()
	for i := range p.Canes {
		c := &p.Canes[i]
		if !r.Eligible(c) {
			continue
		}
		k := assess.Cane{ID: len(m.Canes) + 1, Traced: "automatic", AlongMM: c.LineMM, Length: assess.Interval{Value: c.LengthMM, Low: c.LengthMM, High: c.LengthMM}}
		for _, q := range c.LinePx {
			k.CentreLine = append(k.CentreLine, assess.Point(q))
		}
		for _, n := range c.Nodes {
			k.Nodes = append(k.Nodes, assess.Node{Px: assess.Point(n.Px), AlongMM: n.MM, Side: n.BudSide, Confidence: 1})
		}
		if d := c.MedianDiameter; d != nil {
			k.Diameter = assess.Interval{Value: *d, Low: *d - 0.5, High: *d + 0.5}
		}
		if l := c.MedianInternode; l != nil {
			k.Internode = assess.Interval{Value: *l, Low: *l - 5, High: *l + 5}
		}
		m.Canes = append(m.Canes, k)
	}
	return m
}
