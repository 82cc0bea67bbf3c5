package card

import (
	"bufio"
	"fmt"
	"html"
	"io"
	"time"

	"github.com/go-pdf/fpdf"
)

// Write draws the card to w. It returns EInvalid for options that can't be
// used or don't fit, before anything was written, or what w returned.
func Write(w io.Writer, o Options) error {
	o, err := o.Filled()
	if err != nil {
		return err
	}
	l, err := Lay(o)
	if err != nil {
		return err
	}
	if o.Format == SVG {
		return writeSVG(w, l)
	}
	return writePDF(w, l)
}

// writeSVG writes one unit per millimetre (viewBox) on a sheet whose width
// and height are given in millimetres, so a printer needs no resolution.
func writeSVG(w io.Writer, l *Layout) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]gmm" height="%[2]gmm" viewBox="0 0 %[1]g %[2]g">`+"\n", l.WidthMM, l.HeightMM)
	fmt.Fprintf(b, "<title>%s</title>\n", html.EscapeString(l.Title))
	fmt.Fprintf(b, `<rect width="%g" height="%g" fill="#fff"/>`+"\n", l.WidthMM, l.HeightMM)
	fmt.Fprintln(b, `<g id="pattern" fill="#000" shape-rendering="crispEdges">`)
	for _, r := range l.Black {
		fmt.Fprintf(b, `<rect x="%g" y="%g" width="%g" height="%g"/>`+"\n", round(r.X), round(r.Y), round(r.W), round(r.H))
	}
	fmt.Fprintln(b, "</g>")
	fmt.Fprintln(b, `<g id="lines" stroke="#000" fill="none">`)
	for _, s := range l.Lines {
		dash := ""
		if s.Dash > 0 {
			dash = fmt.Sprintf(` stroke-dasharray="%g"`, s.Dash)
		}
		fmt.Fprintf(b, `<line x1="%g" y1="%g" x2="%g" y2="%g" stroke-width="%g"%s/>`+"\n", round(s.X1), round(s.Y1), round(s.X2), round(s.Y2), s.Width, dash)
	}
	for _, c := range l.Circles {
		fmt.Fprintf(b, `<circle cx="%g" cy="%g" r="%g" stroke-width="0.15"/>`+"\n", round(c.X), round(c.Y), c.R)
	}
	fmt.Fprintln(b, "</g>")
	fmt.Fprintln(b, `<g font-family="Helvetica, Arial, 'Liberation Sans', sans-serif">`)
	for _, t := range l.Texts {
		fmt.Fprintf(b, `<text x="%g" y="%g" font-size="%g" fill="%s">%s</text>`+"\n", round(t.X), round(t.Y), t.Size, grey(t), html.EscapeString(t.S))
	}
	fmt.Fprintln(b, "</g>\n</svg>")
	return b.Flush()
}

func grey(t Text) string {
	if t.Grey {
		return "#777"
	}
	return "#000"
}

// round keeps a tenth of a micrometre: less than any printer, and no 0.1+0.2.
func round(v float64) float64 { return float64(int64(v*1e4+0.5)) / 1e4 }

func writePDF(w io.Writer, l *Layout) error {
	p := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: l.WidthMM, Ht: l.HeightMM}})
	// The same options give the same bytes: no dates, sorted objects.
	p.SetCatalogSort(true)
	p.SetCreationDate(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	p.SetModificationDate(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC))
	p.SetTitle(l.Title, true)
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(0, 0, 0)
	p.AddPage()
	p.SetFillColor(0, 0, 0)
	for _, r := range l.Black {
		p.Rect(r.X, r.Y, r.W, r.H, "F")
	}
	p.SetDrawColor(0, 0, 0)
	p.SetLineCapStyle("butt")
	for _, s := range l.Lines {
		p.SetLineWidth(s.Width)
		if s.Dash > 0 {
			p.SetDashPattern([]float64{s.Dash, s.Dash}, 0)
		}
		p.Line(s.X1, s.Y1, s.X2, s.Y2)
		if s.Dash > 0 {
			p.SetDashPattern([]float64{}, 0)
		}
	}
	p.SetLineWidth(0.15)
	for _, c := range l.Circles {
		p.Circle(c.X, c.Y, c.R, "D")
	}
	for _, t := range l.Texts {
		p.SetTextColor(0, 0, 0)
		if t.Grey {
			p.SetTextColor(119, 119, 119)
		}
		p.SetFont("Helvetica", "", t.Size/25.4*72)
		p.Text(t.X, t.Y, t.S)
	}
	return p.Output(w)
}
