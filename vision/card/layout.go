package card

import (
	"fmt"

	"nodespan/assess"
)

// Sizes of the sheet's furniture, mm.
const (
	clipStripMM  = 18.0  // above the margin, for a soft clip; wider keeps clips further off the pattern
	edgeMM       = 6.0   // what a printer may leave unprinted at each edge; 4.2 mm is usual
	checkLineMM  = 100.0 // long enough that 0.5 mm on a steel rule is 0.5 %
	holeRadiusMM = 2.5   // of the marks where a hole may be punched
	textMM       = 4.2   // font size, about 12 point
	lineMM       = 5.6   // from one text line to the next
)

// Rect is a black rectangle, mm from the sheet's top left.
type Rect struct{ X, Y, W, H float64 }

// Line is a stroke; Dash is 0 for a full one.
type Line struct{ X1, Y1, X2, Y2, Width, Dash float64 }

// Circle is an outline.
type Circle struct{ X, Y, R float64 }

// Text is one line of text with its baseline's left end at (X, Y).
type Text struct {
	X, Y, Size float64
	Grey       bool
	S          string
}

// Layout is a sheet in millimetres, origin at the top left, y down.
type Layout struct {
	Title            string
	WidthMM          float64
	HeightMM         float64
	Pattern          Rect // bounds of the pattern
	Card             Rect // the outline to cut along
	Black            []Rect
	Lines            []Line
	Circles          []Circle
	Texts            []Text
	CheckX1, CheckX2 float64 // ends of the check line
	CheckY           float64
}

// Lay lays the sheet out. It returns EInvalid when the card does not fit on
// the paper either way round, with the room that there is.
func Lay(o Options) (*Layout, error) {
	o, err := o.Filled()
	if err != nil {
		return nil, err
	}
	pw, ph := float64(o.Cols)*o.SquareMM, float64(o.Rows)*o.SquareMM
	if o.Kind == Bar {
		ph = o.HeightMM
	}
	cw, ch := pw+2*o.MarginMM, ph+2*o.MarginMM+clipStripMM
	const below = 9*lineMM + 22 // check line and text
	w, h, _ := o.Paper.Size()
	if cw > w-2*edgeMM || ch > h-2*edgeMM-below {
		w, h = h, w
	}
	if cw > w-2*edgeMM || ch > h-2*edgeMM-below {
		pw, ph, _ := o.Paper.Size()
		return nil, assess.Errorf(assess.EInvalid,
			"a card of %.0f x %.0f mm doesn't fit on this paper (%.0f x %.0f mm with room for the check line): fewer or smaller squares would", cw, ch, pw, ph)
	}
	l := &Layout{WidthMM: w, HeightMM: h}
	l.Card = Rect{(w - cw) / 2, edgeMM + 4, cw, ch}
	l.Pattern = Rect{l.Card.X + o.MarginMM, l.Card.Y + clipStripMM + o.MarginMM, pw, ph}
	for r := 0; r < o.Rows; r++ {
		for c := 0; c < o.Cols; c++ {
			if (r+c)%2 == 0 {
				l.Black = append(l.Black, Rect{l.Pattern.X + float64(c)*o.SquareMM, l.Pattern.Y + float64(r)*o.SquareMM, o.SquareMM, ph / float64(o.Rows)})
			}
		}
	}
	l.outline()
	l.hanging()
	switch o.Kind {
	case Checker:
		l.Title = fmt.Sprintf("nodespan scale card: %d x %d squares of %g mm", o.Cols, o.Rows, o.SquareMM)
	default:
		l.Title = fmt.Sprintf("nodespan scale bar: %d blocks of %g mm, %g mm high", o.Cols, o.SquareMM, o.HeightMM)
	}
	l.below()
	return l, nil
}

// outline is the hairline to cut along. It is thin and dashed so that what is
// left of it on the card can't pass for a pattern edge.
func (l *Layout) outline() {
	c := l.Card
	l.Lines = append(l.Lines,
		Line{c.X, c.Y, c.X + c.W, c.Y, 0.15, 2}, Line{c.X + c.W, c.Y, c.X + c.W, c.Y + c.H, 0.15, 2},
		Line{c.X + c.W, c.Y + c.H, c.X, c.Y + c.H, 0.15, 2}, Line{c.X, c.Y + c.H, c.X, c.Y, 0.15, 2})
}

// hanging marks where the strip is clipped to the wire or punched.
func (l *Layout) hanging() {
	y := l.Card.Y + clipStripMM/2
	for _, x := range []float64{l.Card.X + l.Card.W/6, l.Card.X + l.Card.W*5/6} {
		l.Circles = append(l.Circles, Circle{x, y, holeRadiusMM})
		l.Lines = append(l.Lines,
			Line{x - 1, y, x + 1, y, 0.15, 0}, Line{x, y - 1, x, y + 1, 0.15, 0})
	}
	l.Texts = append(l.Texts, Text{l.Card.X + l.Card.W/6 + 6, y + 1, 3, true, "Soft clips here (or punch the two marks)."})
}

func (l *Layout) below() {
	x, y := (l.WidthMM-checkLineMM)/2, l.Card.Y+l.Card.H+14
	l.CheckX1, l.CheckX2, l.CheckY = x, x+checkLineMM, y
	// The ticks stand inside the line's ends: their outer edges are 100 mm
	// apart, as is the line.
	const tick = 0.3
	l.Lines = append(l.Lines,
		Line{x, y, x + checkLineMM, y, tick, 0},
		Line{x + tick/2, y - 3, x + tick/2, y + 3, tick, 0},
		Line{x + checkLineMM - tick/2, y - 3, x + checkLineMM - tick/2, y + 3, tick, 0})
	l.Texts = append(l.Texts, Text{x + 2, y - 1.5, 3.2, false, "Check line: 100 mm from outer edge to outer edge. Measure it once."})
	y += 5 + lineMM
	left := (l.WidthMM - 168) / 2
	l.Texts = append(l.Texts, Text{left, y, textMM, false, l.Title})
	for _, s := range instructions {
		y += lineMM
		l.Texts = append(l.Texts, Text{left, y, textMM, false, s})
	}
}

// instructions are broken by hand so that every line is under 168 mm at
// textMM in the writers' fonts.
var instructions = []string{
	"Print at 100 % (\"actual size\", not \"fit to page\") on stiff, matt, white paper; hold a steel rule",
	"against the check line, and enter what you read if it isn't 100 mm.",
	"Hang it from the wire with soft clips so that it lies flat in the plane of the wires, faces the",
	"camera and no cane covers it; reach it from the ground, and don't lean into the wires.",
}
