package sheet

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/boombuler/barcode"
	"github.com/boombuler/barcode/qr"
)

// Label is what hangs at one vine.
type Label struct {
	Number int    // of the vine in its row
	URL    string // of the vine's page
}

// Labels is a row's labels, to print, cut out and protect from rain.
type Labels struct {
	Block  string
	Row    int
	Paper  string // "A4" or "Letter"
	Labels []Label
	Say    Say
}

// A label's sizes, mm. The code is read from an arm's length by any phone when
// its modules are 0.8 mm or more; around it stays the margin of four modules
// that ISO/IEC 18004 asks for.
const (
	labelWidth  = 62.0
	labelHeight = 42.0
	labelCode   = 36.0 // with its margin
	labelEdge   = 10.0 // of the sheet, at least
	quietZone   = 4    // modules, ISO/IEC 18004
)

// codeOf makes the QR code of an address. Its level of correction is Q, which
// bears a quarter of the code being scratched or dirty.
func codeOf(address string) (barcode.Barcode, error) { return qr.Encode(address, qr.Q, qr.Auto) }

// WriteLabels writes sheets of labels with lines to cut along, numbered on.
// An error when an address is too long for a code.
func WriteLabels(w io.Writer, l Labels) error {
	p := newPageOn(l.Paper, "P", 9, l.Say("labels.title", "block", l.Block, "row", l.Row), l.Say)
	p.SetMargins(0, 0, 0)
	width, height := p.GetPageSize()
	const headline = 7.0
	across, down := int((width-2*labelEdge)/labelWidth), int((height-2*labelEdge-headline)/labelHeight)
	left, top := (width-float64(across)*labelWidth)/2, labelEdge+headline
	each := across * down
	sheets := (len(l.Labels) + each - 1) / each
	for i, label := range l.Labels {
		k := i % each
		if k == 0 {
			if i > 0 {
				p.AddPage()
			}
			p.font("", 1)
			p.SetXY(left, labelEdge)
			p.CellFormat(float64(across)*labelWidth, headline-2, l.Say("labels.sheet", "block", l.Block, "row", l.Row, "n", i/each+1, "all", sheets), "", 0, "L", false, 0, "")
		}
		if err := p.label(left+float64(k%across)*labelWidth, top+float64(k/across)*labelHeight, l, label); err != nil {
			return err
		}
	}
	if p.Err() {
		return p.Error()
	}
	return p.Output(w)
}

func (p *page) label(x, y float64, l Labels, label Label) error {
	p.SetDrawColor(150, 150, 150)
	p.SetLineWidth(0.1)
	p.Rect(x, y, labelWidth, labelHeight, "D")
	code, err := codeOf(label.URL)
	if err != nil {
		return fmt.Errorf("a code for %s: %w", label.URL, err)
	}
	n := code.Bounds().Dx()
	module := labelCode / float64(n+2*quietZone)
	x0, y0 := x+(labelHeight-labelCode)/2+quietZone*module, y+(labelHeight-labelCode)/2+quietZone*module
	p.SetFillColor(0, 0, 0)
	for r := range n {
		for c := 0; c < n; c++ {
			// Neighbours in one bar, so that no hairline shows between them.
			from := c
			for c < n && dark(code, c, r) {
				c++
			}
			if c > from {
				p.Rect(x0+float64(from)*module, y0+float64(r)*module, float64(c-from)*module, module, "F")
			}
		}
	}
	right := x + labelCode + 4
	room := labelWidth - labelCode - 5
	line := func(dy, factor float64, style, words string) {
		p.SetXY(right, y+dy)
		words = p.fitted(words, style, factor, room+2)
		p.Fpdf.CellFormat(room, p.line()*factor, words, "", 0, "L", false, 0, "")
	}
	p.font("", 1)
	name := p.SplitText(l.Block, room)
	if len(name) > 2 {
		name = []string{name[0], strings.Join(name[1:], " ")}
	}
	for i, words := range name {
		line(2.5+3.8*float64(i), 1, "", words)
	}
	line(11, 1.1, "", l.Say("labels.row"))
	line(15, 2.3, "B", fmt.Sprint(l.Row))
	line(25, 1.1, "", l.Say("labels.vine"))
	line(29, 2.3, "B", fmt.Sprint(label.Number))
	return nil
}

func dark(code barcode.Barcode, x, y int) bool {
	r, g, b, _ := code.At(code.Bounds().Min.X+x, code.Bounds().Min.Y+y).RGBA()
	return math.Max(float64(r), math.Max(float64(g), float64(b))) < 0x8000
}
