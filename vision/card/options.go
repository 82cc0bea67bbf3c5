package card

import (
	"math"
	"strings"

	"nodespan/assess"
)

// Kind is what is drawn.
type Kind string

// The two references that a printer can make.
const (
	Checker Kind = "checker"
	Bar     Kind = "bar"
)

// Paper is the sheet that is printed on.
type Paper string

// A4 is 210 x 297 mm (ISO 216); Letter is 8.5 x 11 in, 215.9 x 279.4 mm (size
// A of ANSI/ASME Y14.1).
const (
	A4     Paper = "a4"
	Letter Paper = "letter"
)

// Format is the kind of file that is written.
type Format string

// Both formats are drawn from the same layout.
const (
	PDF Format = "pdf"
	SVG Format = "svg"
)

// Options says what to draw. The zero value of each field stands for its
// default; the zero Options is the checker card of 9 x 6 squares of 15 mm on
// A4 as PDF.
type Options struct {
	Kind   Kind
	Paper  Paper
	Format Format
	// Cols and Rows are the counts of squares: 9 and 6 for the checker. For
	// the bar Cols is the count of blocks (20) and Rows is not used. More
	// squares give more corners, but smaller ones on the same sheet.
	Cols, Rows int
	// SquareMM is the side of a square (15 mm) or the length of a block
	// (10 mm). Larger is found from further away; the sheet limits it.
	SquareMM float64
	// HeightMM is the height of the bar's blocks (20 mm); not used by the checker.
	HeightMM float64
	// MarginMM is the white margin round the pattern: one square for the
	// checker and 10 mm for the bar. A narrower one than that is refused,
	// because the edge finder needs the white.
	MarginMM float64
}

// Filled gives o with every default in place, or an assess.Error with code
// EInvalid that says which option can't be used and why.
func (o Options) Filled() (Options, error) {
	o.Kind = Kind(strings.ToLower(string(o.Kind)))
	o.Paper = Paper(strings.ToLower(string(o.Paper)))
	o.Format = Format(strings.ToLower(string(o.Format)))
	if o.Kind == "" {
		o.Kind = Checker
	}
	if o.Paper == "" {
		o.Paper = A4
	}
	if o.Format == "" {
		o.Format = PDF
	}
	if _, _, err := o.Paper.Size(); err != nil {
		return o, err
	}
	if o.Format != PDF && o.Format != SVG {
		return o, assess.Errorf(assess.EInvalid, "%q is no file format of the card: ask for pdf or svg", o.Format)
	}
	least := 10.0
	switch o.Kind {
	case Checker:
		o.Cols, o.Rows = or(o.Cols, 9), or(o.Rows, 6)
		o.SquareMM = orF(o.SquareMM, 15)
		least = o.SquareMM
	case Bar:
		o.Cols, o.Rows = or(o.Cols, 20), 1
		o.SquareMM, o.HeightMM = orF(o.SquareMM, 10), orF(o.HeightMM, 20)
	default:
		return o, assess.Errorf(assess.EInvalid, "%q is no kind of reference: ask for checker or bar", o.Kind)
	}
	o.MarginMM = orF(o.MarginMM, least)
	for _, v := range []float64{o.SquareMM, o.HeightMM, o.MarginMM} {
		if math.IsNaN(v) || v < 0 || v > 400 {
			return o, assess.Errorf(assess.EInvalid, "a size of %g mm can't be printed: sizes go from 3 to 400 mm", v)
		}
	}
	switch {
	case o.Kind == Checker && (o.Cols < 4 || o.Rows < 3):
		return o, assess.Errorf(assess.EInvalid, "a board of %d x %d squares has too few corners to measure by: use at least 4 x 3", o.Cols, o.Rows)
	case o.Kind == Checker && (o.Cols+o.Rows)%2 == 0:
		return o, assess.Errorf(assess.EInvalid, "a board of %d x %d squares looks the same upside down: make one count odd and the other even", o.Cols, o.Rows)
	case o.Kind == Bar && o.Cols < 6:
		return o, assess.Errorf(assess.EInvalid, "a bar of %d blocks is too short to be told from a fence: use at least 6", o.Cols)
	case o.SquareMM < 3 || (o.Kind == Bar && o.HeightMM < 3):
		return o, assess.Errorf(assess.EInvalid, "squares of %g mm are too small to be seen from where a vine is photographed: use at least 3 mm", o.SquareMM)
	case o.MarginMM < least:
		return o, assess.Errorf(assess.EInvalid, "a white margin of %g mm is too narrow: it needs at least %g mm here", o.MarginMM, least)
	}
	return o, nil
}

// Size gives the sheet's width and height in millimetres, portrait, or
// EInvalid for a paper that isn't known.
func (p Paper) Size() (w, h float64, err error) {
	switch p {
	case A4:
		return 210, 297, nil
	case Letter:
		return 8.5 * 25.4, 11 * 25.4, nil
	}
	return 0, 0, assess.Errorf(assess.EInvalid, "%q is no paper that the card is laid out for: ask for a4 or letter", p)
}

func or(v, def int) int {
	if v == 0 {
		return def
	}
	return v
}

func orF(v, def float64) float64 {
	if v == 0 {
		return def
	}
	return v
}
