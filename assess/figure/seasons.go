package figure

import (
	"html/template"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// signed writes the numbers at an axis with a decimal sign of its own.
type signed struct {
	plot.Ticker
	decimal string
}

func (s signed) Ticks(low, high float64) []plot.Tick {
	ticks := s.Ticker.Ticks(low, high)
	for i := range ticks {
		ticks[i].Label = strings.Replace(ticks[i].Label, ".", s.decimal, 1)
	}
	return ticks
}

// Step is how many values lie in one equal step of a distribution.
type Step struct {
	From, To float64
	N        int
}

// Distribution is the distribution of one season.
type Distribution struct {
	Name  string
	Steps []Step // in order; steps that are missing hold none
}

// Distributions draws, with the numbers at the axes written with decimal as
// their sign, the distributions of some seasons over each other, as
// shares of each one's values in percent: the last as bars, those before as
// lines, so that a small season can be held against a large one.
func Distributions(decimal, title, x, y string, seasons []Distribution, lines []Line) (template.HTML, error) {
	p := newPlot(title, x, y)
	p.Y.Min = 0
	for i, d := range seasons {
		outline, total := outlineOf(d.Steps), 0
		for _, s := range d.Steps {
			total += s.N
		}
		if total == 0 {
			continue
		}
		for k := range outline {
			outline[k].Y *= 100 / float64(total)
		}
		if last := i == len(seasons)-1; last {
			area, err := plotter.NewPolygon(outline)
			if err != nil {
				return "", err
			}
			area.Color = color.NRGBA{0, 114, 178, 120}
			area.LineStyle.Width, area.LineStyle.Color = vg.Points(1), palette[0]
			p.Add(area)
			p.Legend.Add(d.Name, area)
			continue
		}
		line, err := plotter.NewLine(outline)
		if err != nil {
			return "", err
		}
		// Seasons differ by their dashes too; the earlier, the finer.
		age := float64(len(seasons) - 1 - i)
		line.LineStyle.Color, line.LineStyle.Width = palette[(len(seasons)-1-i)%len(palette)], vg.Points(1.5)
		line.LineStyle.Dashes = []vg.Length{vg.Points(8 / age), vg.Points(3)}
		p.Add(line)
		p.Legend.Add(d.Name, line)
	}
	addUpright(p, lines)
	p.X.Tick.Marker, p.Y.Tick.Marker = signed{p.X.Tick.Marker, decimal}, signed{p.Y.Tick.Marker, decimal}
	return renderSized(p, title, pageWidth, pageHeight)
}

// outlineOf goes around the bars of a distribution.
func outlineOf(steps []Step) plotter.XYs {
	var out plotter.XYs
	add := func(x, y float64) { out = append(out, plotter.XY{X: x, Y: y}) }
	for i, s := range steps {
		if i == 0 || steps[i-1].To < s.From {
			if i > 0 {
				add(steps[i-1].To, 0)
			}
			add(s.From, 0)
		}
		add(s.From, float64(s.N))
		add(s.To, float64(s.N))
	}
	if n := len(steps); n > 0 {
		add(steps[n-1].To, 0)
	}
	return out
}

// Season is the middle and the quartiles of one season's values.
type Season struct {
	Name                   string
	Quarter, Middle, Three float64 // 25, 50 and 75 %
	N                      int     // of how many; a season of none leaves a gap
}

// Trend draws median and quartiles season by season.
func Trend(decimal, title, y string, seasons []Season, lines []Line) (template.HTML, error) {
	p := newPlot(title, "", y)
	var names []string
	var middle plotter.XYs
	for i, s := range seasons {
		names = append(names, s.Name)
		if s.N == 0 {
			continue
		}
		at := float64(i)
		bar, err := plotter.NewLine(plotter.XYs{{X: at, Y: s.Quarter}, {X: at, Y: s.Three}})
		if err != nil {
			return "", err
		}
		bar.LineStyle.Color, bar.LineStyle.Width = palette[4], vg.Points(8)
		p.Add(bar)
		middle = append(middle, plotter.XY{X: at, Y: s.Middle})
	}
	if len(middle) > 0 {
		line, points, err := plotter.NewLinePoints(middle)
		if err != nil {
			return "", err
		}
		line.LineStyle.Color, line.LineStyle.Width = palette[6], vg.Points(1.5)
		points.GlyphStyle = draw.GlyphStyle{Color: palette[6], Radius: vg.Points(3.5), Shape: draw.CircleGlyph{}}
		p.Add(line, points)
	}
	if len(names) > 0 {
		p.NominalX(names...)
		p.X.Min, p.X.Max = -0.5, float64(len(names))-0.5
	}
	addLevel(p, lines, -0.5, max(0.5, float64(len(names))-0.5))
	p.X.Tick.Marker, p.Y.Tick.Marker = signed{p.X.Tick.Marker, decimal}, signed{p.Y.Tick.Marker, decimal}
	return renderSized(p, title, pageWidth, pageHeight)
}

// Part is one share of each season's whole.
type Part struct {
	Name   string
	Values []float64 // one a season
}

// Stacks draws one bar a season, its parts upon each other in the order given;
// a mark in each part says by its shape, as the legend does, which it is.
func Stacks(decimal, title, y string, seasons []string, parts []Part) (template.HTML, error) {
	p := newPlot(title, "", y)
	p.Y.Min = 0
	below := make([]float64, len(seasons))
	var last *plotter.BarChart
	whole := true
	for i, part := range parts {
		if len(part.Values) != len(seasons) || len(seasons) == 0 {
			continue
		}
		b, err := plotter.NewBarChart(plotter.Values(part.Values), vg.Points(min(widestBar, barsShare*(pageWidth-besideBars)/float64(len(seasons)))))
		if err != nil {
			return "", err
		}
		b.Color, b.LineStyle.Width = palette[i%len(palette)], vg.Points(0.5)
		if last != nil {
			b.StackOn(last)
		}
		last = b
		var middles plotter.XYs
		for k, v := range part.Values {
			if v > 0 {
				middles = append(middles, plotter.XY{X: float64(k), Y: below[k] + v/2})
			}
			below[k] += v
			whole = whole && v == math.Trunc(v)
		}
		p.Add(b)
		if len(middles) == 0 {
			continue
		}
		marks, err := plotter.NewScatter(middles)
		if err != nil {
			return "", err
		}
		marks.GlyphStyle = draw.GlyphStyle{Color: color.Black, Radius: vg.Points(4), Shape: shapes[i%len(shapes)]}
		p.Add(marks)
		p.Legend.Add(part.Name, b, marks)
	}
	if len(seasons) > 0 {
		p.NominalX(seasons...)
		p.X.Min, p.X.Max = -0.6, float64(len(seasons))-0.4
	}
	p.Y.Tick.Marker = even{whole: whole} // there is no half vine
	p.X.Tick.Marker, p.Y.Tick.Marker = signed{p.X.Tick.Marker, decimal}, signed{p.Y.Tick.Marker, decimal}
	return renderSized(p, title, pageWidth, pageHeight)
}
