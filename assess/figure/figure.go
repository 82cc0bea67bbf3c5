// Package figure draws the plots of the reports as SVG that stands by itself:
// no script, no font and no file besides. The same numbers give the same bytes.
//
// Colours are those of Okabe & Ito (Color Universal Design, 2008), which people
// with the common kinds of colour blindness tell apart; groups also differ by
// the shape of their marks, so nothing is told by colour alone.
package figure

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Size of a figure, points: of one that is looked at on a desk, and of one of a
// block's page, whose letters are still read when a phone shows it at some
// two thirds of its size.
const (
	width, height         = 460, 280
	pageWidth, pageHeight = 320, 230
	widestBar, barsShare  = 34, 0.7 // points; of the room for the bars
	besideBars            = 60      // points that axis and margins take
)

var palette = []color.RGBA{
	{0, 114, 178, 255}, {213, 94, 0, 255}, {0, 158, 115, 255}, {204, 121, 167, 255}, {86, 180, 233, 255}, {230, 159, 0, 255}, {60, 60, 60, 255},
}

var shapes = []draw.GlyphDrawer{
	draw.CircleGlyph{}, draw.TriangleGlyph{}, draw.SquareGlyph{}, draw.PlusGlyph{}, draw.CrossGlyph{}, draw.RingGlyph{}, draw.PyramidGlyph{},
}

// mostPoints is how many points a figure draws at most: more can't be told
// apart, and would make the page too large to open. The others are thinned
// evenly.
const mostPoints = 3000

// A Line is a reference line across a figure.
type Line struct {
	At     float64
	Label  string
	Dashed bool
}

// A Group is the values of one block or treatment.
type Group struct {
	Name string
	X, Y []float64 // Y alone for boxes
}

func sans() font.Font { return font.Font{Typeface: "Liberation", Variant: "Sans"} }

// A sketch is a plot whose key stands below it, where it hides no value.
type sketch struct {
	*plot.Plot
	Legend key // in place of the plot's own
}

// newPlot begins a figure with numbers at its axes that a person would choose.
func newPlot(title, x, y string) *sketch {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	for f, size := range map[*font.Font]vg.Length{&p.Title.TextStyle.Font: 14, &p.X.Label.TextStyle.Font: 13, &p.Y.Label.TextStyle.Font: 13, &p.X.Tick.Label.Font: 12, &p.Y.Tick.Label.Font: 12} {
		*f = sans()
		f.Size = size
	}
	p.Title.Padding = vg.Points(6)
	p.X.Tick.Marker, p.Y.Tick.Marker = even{}, even{}
	return &sketch{Plot: p}
}

// render gives the SVG of a plot, with words for those who can't see it.
func render(p *sketch, alt string) (template.HTML, error) {
	return renderSized(p, alt, width, height)
}

func renderSized(p *sketch, alt string, w, h vg.Length) (template.HTML, error) {
	below := p.Legend.height()
	c := vgsvg.New(w, h+below)
	all := draw.New(c)
	p.Draw(draw.Crop(all, 0, 0, below, 0))
	p.Legend.draw(draw.Crop(all, 0, 0, 0, -h))
	var out bytes.Buffer
	if _, err := c.WriteTo(&out); err != nil {
		return "", err
	}
	text := out.String()
	// The library's heading is for a file of its own; inside a page the element
	// alone is wanted, scaled by the page.
	if i := strings.Index(text, "<svg"); i >= 0 {
		text = text[i:]
	}
	text = strings.ReplaceAll(text, "font-family:Liberation Sans", "font-family:Liberation Sans,Arial,Helvetica,sans-serif")
	text = strings.Replace(text, "<svg ", `<svg role="img" aria-label="`+template.HTMLEscapeString(alt)+`" `, 1)
	return template.HTML(text), nil
}

// Histogram draws how often values fall into equal steps. EInvalid never: an
// empty list gives an empty figure with its axes.
func Histogram(title, x, y string, values []float64, step float64, lines []Line) (template.HTML, error) {
	p := newPlot(title, x, y)
	p.Y.Min, p.Y.Tick.Marker = 0, even{whole: true}
	if len(values) > 0 {
		h := histogramOf(values, step)
		h.FillColor, h.LineStyle.Width = color.NRGBA{0, 114, 178, 140}, vg.Points(0.4)
		p.Add(h)
	}
	addUpright(p, lines)
	return render(p, fmt.Sprintf("%s: histogram of %d values", title, len(values)))
}

// mostBars bounds a histogram: a slip of one value must not draw a thousand
// empty bars.
const mostBars = 80

// histogramOf counts values in steps that begin at whole multiples of the step.
// Steps are doubled until all values fit.
func histogramOf(values []float64, step float64) *plotter.Histogram {
	least, most := slices.Min(values), slices.Max(values)
	for (most-least)/step > mostBars {
		step *= 2
	}
	from := math.Floor(least / step)
	h := &plotter.Histogram{Width: step, Bins: make([]plotter.HistogramBin, int(math.Floor(most/step)-from)+1)}
	for i := range h.Bins {
		h.Bins[i].Min, h.Bins[i].Max = (from+float64(i))*step, (from+float64(i)+1)*step
	}
	for _, v := range values {
		h.Bins[int(math.Floor(v/step)-from)].Weight++
	}
	return h
}

// Boxes draws one box a group: median, quartiles, whiskers to 1.5 times the
// box's length (Tukey), and what lies beyond as points.
func Boxes(title, y string, groups []Group, lines []Line) (template.HTML, error) {
	p := newPlot(title, "", y)
	var names []string
	for i, g := range groups {
		names = append(names, g.Name)
		if len(g.Y) == 0 {
			continue
		}
		b, err := plotter.NewBoxPlot(vg.Points(18), float64(i), plotter.Values(g.Y))
		if err != nil {
			return "", err
		}
		b.FillColor = palette[i%len(palette)]
		b.MedianStyle.Width, b.MedianStyle.Color = vg.Points(2), color.White
		b.GlyphStyle.Radius = vg.Points(1)
		p.Add(b)
	}
	if len(names) > 0 {
		p.NominalX(names...)
	}
	if len(names) > 5 {
		p.X.Tick.Label.Rotation = math.Pi / 5
		p.X.Tick.Label.XAlign, p.X.Tick.Label.YAlign = draw.XRight, draw.YTop
	}
	addLevel(p, lines, -0.5, float64(max(1, len(groups)))-0.5)
	return render(p, title+": one box for each of "+fmt.Sprint(len(groups))+" groups")
}

// Bars draws one bar a name.
func Bars(title, y string, names []string, values []float64) (template.HTML, error) {
	p := newPlot(title, y, "")
	p.X.Min, p.X.Tick.Marker = 0, even{whole: true}
	b, err := plotter.NewBarChart(plotter.Values(values), vg.Points(14))
	if err != nil {
		return "", err
	}
	b.Horizontal, b.Color, b.LineStyle.Width = true, palette[0], 0
	p.Add(b)
	p.NominalY(names...)
	return renderSized(p, title, width, vg.Length(80+24*len(names)))
}

// Scatter draws y over x, a mark a point; at most some thousand are drawn.
func Scatter(title, x, y string, groups []Group, upright, level []Line) (template.HTML, error) {
	p := newPlot(title, x, y)
	total := 0
	for _, g := range groups {
		total += len(g.X)
	}
	stride := max(1, int(math.Ceil(float64(total)/mostPoints)))
	for i, g := range groups {
		var pts plotter.XYs
		for k := 0; k < len(g.X); k += stride {
			pts = append(pts, plotter.XY{X: g.X[k], Y: g.Y[k]})
		}
		if len(pts) == 0 {
			continue
		}
		s, err := plotter.NewScatter(pts)
		if err != nil {
			return "", err
		}
		s.GlyphStyle = draw.GlyphStyle{Color: palette[i%len(palette)], Radius: vg.Points(1.8), Shape: shapes[i%len(shapes)]}
		p.Add(s)
		if g.Name != "" && len(groups) <= len(palette) {
			p.Legend.Add(g.Name, s)
		}
	}
	addUpright(p, upright)
	lo, hi := p.X.Min, p.X.Max
	addLevel(p, level, lo, hi)
	return render(p, fmt.Sprintf("%s: %d points", title, total))
}

// Spans draws values with their intervals over what they should be, and the
// line on which both are the same.
func Spans(title, x, y string, truth, value, low, high []float64) (template.HTML, error) {
	p := newPlot(title, x, y)
	order := make([]int, len(truth))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(truth[a], truth[b]) })
	stride := max(1, int(math.Ceil(float64(len(truth))/400)))
	least, most := math.Inf(1), math.Inf(-1)
	var pts plotter.XYs
	for k := 0; k < len(order); k += stride {
		i := order[k]
		bar, err := plotter.NewLine(plotter.XYs{{X: truth[i], Y: low[i]}, {X: truth[i], Y: high[i]}})
		if err != nil {
			return "", err
		}
		bar.LineStyle.Color, bar.LineStyle.Width = color.NRGBA{0, 114, 178, 110}, vg.Points(1)
		if truth[i] < low[i] || truth[i] > high[i] {
			bar.LineStyle.Color, bar.LineStyle.Width = palette[1], vg.Points(1.6)
		}
		p.Add(bar)
		pts = append(pts, plotter.XY{X: truth[i], Y: value[i]})
		least, most = min(least, truth[i]), max(most, truth[i])
	}
	if len(pts) > 0 {
		s, err := plotter.NewScatter(pts)
		if err != nil {
			return "", err
		}
		s.GlyphStyle = draw.GlyphStyle{Color: palette[0], Radius: vg.Points(1.8), Shape: draw.CircleGlyph{}}
		same, err := plotter.NewLine(plotter.XYs{{X: least, Y: least}, {X: most, Y: most}})
		if err != nil {
			return "", err
		}
		p.Add(same, s)
	}
	return render(p, fmt.Sprintf("%s: %d values with their intervals", title, len(truth)))
}

func addUpright(p *sketch, lines []Line) {
	for _, l := range lines {
		if l.At < p.X.Min || l.At > p.X.Max {
			continue
		}
		addLine(p, l, plotter.XYs{{X: l.At, Y: p.Y.Min}, {X: l.At, Y: p.Y.Max}})
	}
}

func addLevel(p *sketch, lines []Line, from, to float64) {
	for _, l := range lines {
		addLine(p, l, plotter.XYs{{X: from, Y: l.At}, {X: to, Y: l.At}})
	}
}

func addLine(p *sketch, l Line, at plotter.XYs) {
	line, err := plotter.NewLine(at)
	if err != nil {
		return // a limit that is no number isn't drawn
	}
	line.LineStyle.Width, line.LineStyle.Color = vg.Points(1), palette[1]
	if l.Dashed {
		line.LineStyle.Dashes = []vg.Length{vg.Points(4), vg.Points(3)}
	}
	p.Add(line)
	if l.Label != "" {
		p.Legend.Add(l.Label, line)
	}
}
