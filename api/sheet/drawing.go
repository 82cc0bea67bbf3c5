package sheet

import (
	"fmt"
	"html"
	"math"
	"strings"

	"nodespan/assess"
)

// Style is how a line is drawn, so that it can be told apart on a black and
// white print.
type Style string

// The styles.
const (
	Wire   Style = "wire"
	Timber Style = "timber"
	Lay    Style = "lay"
	Spur   Style = "spur"
	Away   Style = "away"
	Look   Style = "look"
	Stub   Style = "stub" // the part of a kept cane beyond its cut
	Cut    Style = "cut"
)

// Line is one line of a drawing, in the photo's pixels.
type Line struct {
	Style  Style
	Points []assess.Point
}

// Mark is a place with words: a cane's number, or the head.
type Mark struct {
	At    assess.Point
	Words string
	Lay   bool // of a cane that is kept
}

// Drawing is a vine with its cuts, seen as in the photo.
type Drawing struct {
	Lines []Line
	Marks []Mark
	Ties  []assess.Point
	Head  *assess.Point
	Low   assess.Point // corners of what is drawn
	High  assess.Point
}

// Draw draws the canes of a choice.
func Draw(m *assess.Measurement, canes []assess.ConfirmedCane, ch assess.Choice) Drawing {
	d := Drawing{Low: assess.Point{math.Inf(1), math.Inf(1)}, High: assess.Point{math.Inf(-1), math.Inf(-1)}, Head: m.Head}
	for _, w := range m.Wires {
		if w.Role == "lower_fruiting" || w.Role == "upper_fruiting" {
			d.line(Wire, w.Line)
		}
	}
	for _, t := range m.Timber {
		d.line(Timber, t.CentreLine)
	}
	for i := range canes {
		d.cane(&canes[i].Cane, ch)
	}
	// Wires and old wood may run far out; what is drawn is where canes are.
	for i := range canes {
		for _, p := range canes[i].Cane.CentreLine {
			d.widen(p)
		}
	}
	if m.Head != nil {
		d.widen(*m.Head)
	}
	air := 0.06 * math.Max(d.High[0]-d.Low[0], d.High[1]-d.Low[1])
	for k := range 2 {
		d.Low[k] -= air
		d.High[k] += air
	}
	return d
}

func (d *Drawing) widen(p assess.Point) {
	for k := range 2 {
		d.Low[k], d.High[k] = math.Min(d.Low[k], p[k]), math.Max(d.High[k], p[k])
	}
}

func (d *Drawing) line(s Style, ps []assess.Point) {
	if len(ps) > 1 {
		d.Lines = append(d.Lines, Line{s, ps})
	}
}

func (d *Drawing) cane(c *assess.Cane, ch assess.Choice) {
	if len(c.CentreLine) < 2 {
		return
	}
	fate := ch.FateOf(c.ID)
	style := map[string]Style{"lay": Lay, "spur": Spur, "remove": Away, "ask": Look}[fate.What]
	if style == "" {
		return
	}
	var cut *assess.Cut
	for _, k := range ch.Keep {
		if k.Cane == c.ID {
			cut = &k.Cut
			if k.Laying != nil {
				for _, t := range k.Laying.Ties {
					if t.Px != nil {
						d.Ties = append(d.Ties, *t.Px)
					}
				}
			}
		}
	}
	for _, s := range ch.Spurs {
		if s.Cane == c.ID {
			cut = &s.Cut
		}
	}
	if style == Away {
		cut = &assess.Cut{AfterNode: 1, AlongMM: 0}
	}
	at := c.CentreLine[min(len(c.CentreLine)-1, len(c.CentreLine)*3/4)]
	if cut != nil && cut.AfterNode > 0 && style != Away {
		kept, rest := split(c, cut.AlongMM)
		d.line(style, kept)
		d.line(Stub, rest)
		if n := len(kept); n > 1 {
			d.bar(kept[n-2], kept[n-1])
			at = kept[n/2]
		}
	} else {
		d.line(style, c.CentreLine)
		if style == Away {
			d.bar(c.CentreLine[1], c.CentreLine[0])
		}
	}
	d.Marks = append(d.Marks, Mark{at, fmt.Sprint(c.ID), style == Lay || style == Spur})
}

// bar draws a cut across the end of a line at b; its length is set by whoever
// draws, so both ends lie one pixel from b.
func (d *Drawing) bar(a, b assess.Point) {
	dx, dy := b[0]-a[0], b[1]-a[1]
	if l := math.Hypot(dx, dy); l > 0 {
		d.Lines = append(d.Lines, Line{Cut, []assess.Point{{b[0] - dy/l, b[1] + dx/l}, {b[0] + dy/l, b[1] - dx/l}}})
	}
}

// split cuts a cane's line at along mm from its base.
func split(c *assess.Cane, along float64) (kept, rest []assess.Point) {
	at, ok := c.PxAt(along)
	if !ok || len(c.AlongMM) != len(c.CentreLine) {
		return c.CentreLine, nil
	}
	for i, a := range c.AlongMM {
		if a < along {
			kept = append(kept, c.CentreLine[i])
		} else {
			rest = append(rest, c.CentreLine[i])
		}
	}
	return append(kept, at), append([]assess.Point{at}, rest...)
}

// frame maps the drawing into a box of w by h, keeping its shape.
type frame struct{ x, y, scale float64 }

func (d *Drawing) into(x, y, w, h float64) (frame, bool) {
	dw, dh := d.High[0]-d.Low[0], d.High[1]-d.Low[1]
	if !(dw > 0 && dh > 0) || math.IsInf(dw, 0) || math.IsInf(dh, 0) {
		return frame{}, false
	}
	s := math.Min(w/dw, h/dh)
	return frame{x + (w-s*dw)/2 - s*d.Low[0], y + (h-s*dh)/2 - s*d.Low[1], s}, true
}

func (f frame) at(p assess.Point) (float64, float64) { return f.x + f.scale*p[0], f.y + f.scale*p[1] }

// barLine is a cut's bar of so many units to either side.
func (f frame) barLine(l Line, half float64) (x1, y1, x2, y2 float64) {
	mx, my := f.at(assess.Point{(l.Points[0][0] + l.Points[1][0]) / 2, (l.Points[0][1] + l.Points[1][1]) / 2})
	dx, dy := (l.Points[1][0]-l.Points[0][0])/2, (l.Points[1][1]-l.Points[0][1])/2
	return mx - dx*half, my - dy*half, mx + dx*half, my + dy*half
}

// SVG writes the drawing for a page, width by height units large; classes
// stand in the page's styles. label is read out in its place.
func (d *Drawing) SVG(width, height float64, label string) string {
	f, ok := d.into(0, 0, width, height)
	if !ok {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plan" viewBox="0 0 %g %g" role="img" aria-label="%s">`, width, height, html.EscapeString(label))
	for _, l := range d.Lines {
		if l.Style == Cut {
			x1, y1, x2, y2 := f.barLine(l, 9)
			fmt.Fprintf(&b, `<path class="cut" d="M%.1f %.1fL%.1f %.1f"/>`, x1, y1, x2, y2)
			continue
		}
		fmt.Fprintf(&b, `<path class="%s" d="`, l.Style)
		for i, p := range l.Points {
			x, y := f.at(p)
			fmt.Fprintf(&b, "%c%.1f %.1f", "ML"[min(i, 1)], x, y)
		}
		b.WriteString(`"/>`)
	}
	for _, t := range d.Ties {
		x, y := f.at(t)
		fmt.Fprintf(&b, `<circle class="tie" cx="%.1f" cy="%.1f" r="4"/>`, x, y)
	}
	if d.Head != nil {
		x, y := f.at(*d.Head)
		fmt.Fprintf(&b, `<circle class="head" cx="%.1f" cy="%.1f" r="8"/>`, x, y)
	}
	for _, m := range d.Marks {
		x, y := f.at(m.At)
		class := "mark"
		if m.Lay {
			class = "mark kept"
		}
		w := 10 + 9*float64(len(m.Words))
		fmt.Fprintf(&b, `<g class="%s"><rect x="%.1f" y="%.1f" width="%.1f" height="20" rx="4"/><text x="%.1f" y="%.1f">%s</text></g>`, class, x-w/2, y-10, w, x, y+5.5, html.EscapeString(m.Words))
	}
	b.WriteString("</svg>")
	return b.String()
}
