package sheet

import (
	"fmt"
	"io"
	"strings"

	"nodespan/assess"
)

// Row is what is printed for the vines of one row that have a choice.
type Row struct {
	Where     string // "Mill slope, row 4"
	Winter    string
	Form      string
	Vines     []Vine
	Cautions  []assess.Caution
	Say       Say
	Undecided int // recorded vines of the row without a choice
}

// column is one of the row sheet's; its width is a share of the page's.
type column struct {
	key   string
	share float64
	cell  func(*page, Vine) string
}

var columns = []column{
	{"sheet.col.vine", 0.05, func(_ *page, v Vine) string { return fmt.Sprint(v.Number) }},
	{"sheet.col.lay", 0.42, func(p *page, v Vine) string { return strings.Join(p.laidShort(v), "; ") }},
	{"sheet.col.spur", 0.16, func(p *page, v Vine) string {
		var out []string
		for _, s := range v.Plan.Spurs {
			out = append(out, cutShort(p.say, s.Cane, nil, s.Buds, s.Cut))
		}
		return strings.Join(out, "; ")
	}},
	{"sheet.col.away", 0.13, func(_ *page, v Vine) string {
		var out []string
		for _, r := range v.Plan.Away {
			out = append(out, fmt.Sprint(r.Cane))
		}
		return strings.Join(out, ", ")
	}},
	{"sheet.col.look", 0.1, func(_ *page, v Vine) string {
		var out []string
		for _, a := range v.Plan.Look {
			out = append(out, fmt.Sprint(a.Cane))
		}
		return strings.Join(out, ", ")
	}},
	{"sheet.col.buds", 0.07, func(_ *page, v Vine) string { return fmt.Sprint(v.Plan.Buds) }},
	{"sheet.col.done", 0.07, func(*page, Vine) string { return "" }},
}

// laidShort lists the laid canes, and the places that stay empty.
func (p *page) laidShort(v Vine) []string {
	var out []string
	for _, k := range v.Plan.Lay {
		out = append(out, cutShort(p.say, k.Cane, &k.Place, k.Buds, k.Cut))
	}
	for _, e := range v.Plan.Empty {
		out = append(out, p.say("sheet.emptyplace", "place", e))
	}
	return out
}

func cutShort(say Say, cane int, place *assess.Place, buds int, cut assess.Cut) string {
	if cut.AfterNode == 0 {
		return say("sheet.countfirst", "cane", cane, "buds", buds)
	}
	key := "sheet.cutlay"
	var at any
	if place == nil {
		key = "sheet.cutspur"
	} else {
		at = *place
	}
	words := say(key, "cane", cane, "place", at, "buds", buds, "cut", assess.Length{MM: cut.AlongMM})
	if !cut.Check.Empty() {
		words += " " + say("sheet.count")
	}
	return words
}

// WriteRow writes the sheet of a row: one page where its vines fit on one at a
// size that can be read, else as many as it takes, numbered, each with the
// cautions.
func WriteRow(w io.Writer, r Row) error {
	for size := largestFont; ; size -= fontStep {
		p := newPage("L", size, r.Where, r.Say)
		pages := p.row(r)
		if p.Err() {
			return p.Error()
		}
		if pages == 1 || size <= smallestFont {
			return p.Output(w)
		}
	}
}

// row writes all vines, and tells how many pages they took.
func (p *page) row(r Row) int {
	pages := 1
	p.rowHead(r, pages)
	reserve := p.footHeight(r.Cautions)
	for _, v := range r.Vines {
		cells, height := p.cells(v)
		if p.GetY()+height > p.bottom()-reserve && p.GetY() > margin+30 {
			p.foot(r.Cautions)
			pages++
			p.AddPage()
			p.rowHead(r, pages)
		}
		y, x := p.GetY(), margin
		p.font("", 1)
		for i, c := range columns {
			cw := p.width() * c.share
			p.Rect(x, y, cw, height, "D")
			p.SetXY(x, y+0.4)
			if i == 0 {
				p.font("B", 1.15)
			} else {
				p.font("", 1)
			}
			p.MultiCell(cw, p.line(), cells[i], "", "L", false)
			x += cw
		}
		p.SetXY(margin, y+height)
	}
	p.foot(r.Cautions)
	return pages
}

func (p *page) rowHead(r Row, number int) {
	where := r.Where
	if number > 1 {
		where = p.say("sheet.page", "where", r.Where, "n", number)
	}
	p.head(where, p.say("sheet.winter", "winter", r.Winter), p.say("sheet.rowform", "form", r.Form, "n", len(r.Vines), "left", r.Undecided))
	p.text("", 0.9, p.say("sheet.rowhow"))
	p.SetLineWidth(0.2)
	p.font("B", 0.95)
	for _, c := range columns {
		p.CellFormat(p.width()*c.share, p.line()*1.2, p.say(c.key), "1", 0, "L", false, 0, "")
	}
	p.Ln(-1)
}

// cells are a vine's texts, and the height that they take.
func (p *page) cells(v Vine) (cells []string, height float64) {
	p.font("", 1)
	lines := 1
	for _, c := range columns {
		text := c.cell(p, v)
		cells = append(cells, text)
		lines = max(lines, len(p.SplitText(text, p.width()*c.share)))
	}
	return cells, float64(lines)*p.line() + 0.8
}

// footHeight is what the cautions will take.
func (p *page) footHeight(cautions []assess.Caution) float64 {
	var words []string
	for _, c := range cautions {
		words = append(words, p.say.tell(c.Text))
	}
	p.font("", 0.8)
	n := len(p.SplitText(strings.Join(words, "  "), p.width()))
	return float64(n)*p.line()*0.8 + p.line()*3.2
}
