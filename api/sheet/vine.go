package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"nodespan/assess"
)

// Say gives the text of a key; args come in pairs, a name and its value. A
// sentence, a length or a place among them is told as the reader's language
// and unit have it.
type Say func(key string, args ...any) string

// tell gives a sentence.
func (say Say) tell(s assess.Sentence) string {
	if s.Empty() {
		return ""
	}
	return say("sheet.plain", "text", s)
}

// Vine is what is printed for one vine.
type Vine struct {
	Where     string // "Mill slope, row 4, vine 7"
	Number    int    // of the vine in its row
	Confirmed string // who and when
	Form      string // title of the training form
	Plan      assess.Plan
	Drawing   *Drawing // nil for none
	BudAdvice string   // "" for none
	Cautions  []assess.Caution
	Say       Say
}

const (
	margin   = 12.0
	fontName = "go"
	// Font sizes in points: the largest is tried first, the smallest can just
	// be read at arm's length.
	largestFont  = 10.0
	smallestFont = 7.0
	fontStep     = 0.5
)

// A page is a PDF being made, with a font size on which all lengths depend.
type page struct {
	*fpdf.Fpdf
	size float64 // points
	say  Say
}

// newPage begins a PDF with its first page on A4; orientation is P or L.
func newPage(orientation string, size float64, title string, say Say) *page {
	return newPageOn("A4", orientation, size, title, say)
}

// newPageOn begins one on A4 or Letter.
func newPageOn(paper, orientation string, size float64, title string, say Say) *page {
	p := &page{fpdf.New(orientation, "mm", paper, ""), size, say}
	p.AddUTF8FontFromBytes(fontName, "", goregular.TTF)
	p.AddUTF8FontFromBytes(fontName, "B", gobold.TTF)
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(false, margin)
	p.SetTitle(strings.ReplaceAll(printable(title), "\n", " "), true)
	p.SetCreator("nodespan", true)
	p.AddPage()
	return p
}

func (p *page) line() float64 { return p.size * 0.47 } // mm: points with leading
func (p *page) width() float64 {
	w, _ := p.GetPageSize()
	return w - 2*margin
}
func (p *page) bottom() float64 {
	_, h := p.GetPageSize()
	return h - margin
}
func (p *page) font(style string, factor float64) { p.SetFont(fontName, style, p.size*factor) }

// text writes a paragraph over the whole width.
func (p *page) text(style string, factor float64, words string) {
	p.font(style, factor)
	p.MultiCell(p.width(), p.line()*factor, words, "", "L", false)
}

func (p *page) heading(words string) {
	p.Ln(p.line() * 0.35)
	p.font("B", 1.05)
	p.CellFormat(p.width(), p.line()*1.2, words, "T", 1, "L", false, 0, "")
}

// item writes a line with a box to tick off before it.
func (p *page) item(words string) {
	x, y, h := margin, p.GetY(), p.line()
	p.SetLineWidth(0.25)
	p.Rect(x, y+h*0.15, h*0.7, h*0.7, "D")
	p.SetXY(x+h*1.1, y)
	p.font("", 1)
	p.MultiCell(p.width()-h*1.1, h, words, "", "L", false)
}

// WriteVine writes the sheet of one vine, always one page: the font is made
// smaller until it fits, and if that isn't enough the reasons for what is cut
// away are left out.
func WriteVine(w io.Writer, v Vine) error {
	short := false
	for size := largestFont; ; size -= fontStep {
		if size < smallestFont {
			if short {
				return fmt.Errorf("the sheet of %s doesn't fit on a page", v.Where)
			}
			short, size = true, largestFont
		}
		p := newPage("P", size, v.Where, v.Say)
		if fits := p.vine(v, short); fits {
			return p.Output(w)
		}
		if p.Err() {
			return p.Error()
		}
	}
}

func (p *page) vine(v Vine, short bool) bool {
	say := v.Say
	p.head(v.Where, say("sheet.winter", "winter", v.Plan.Winter), v.Confirmed)
	p.text("", 0.95, say("sheet.form", "form", v.Form, "rules", v.Plan.RuleSet))
	if v.Drawing != nil {
		p.draw(v.Drawing, 78-(largestFont-p.size)*4)
	}
	p.heading(say("sheet.buds", "buds", v.Plan.Buds))
	b := v.Plan.Pointing
	pointing := say("sheet.pointing", "up", b.Up, "out", b.Out, "down", b.Down, "rising", b.Rising)
	if b.Unknown > 0 {
		pointing += " " + say("sheet.pointing.unknown", "n", b.Unknown)
	}
	p.text("", 1, pointing)
	if v.BudAdvice != "" {
		p.text("", 1, v.BudAdvice)
	}
	for _, s := range v.Plan.Missing {
		p.text("", 1, say("sheet.missing", "what", s))
	}

	if len(v.Plan.Look) > 0 {
		p.heading(say("sheet.look"))
		for _, a := range v.Plan.Look {
			words := say("choice.ask.line", "cane", a.Cane, "why", a.Why)
			if !a.IfSound.Empty() {
				words += "; " + say.tell(a.IfSound)
			}
			p.item(words)
		}
	}
	if len(v.Plan.Away)+len(v.Plan.OldWood) > 0 {
		p.heading(say("sheet.away"))
		p.away(v.Plan, short)
	}
	if len(v.Plan.Spurs) > 0 {
		p.heading(say("choice.spurs"))
		for _, s := range v.Plan.Spurs {
			p.item(CutLine(say, "choice.spur.line", s.Cane, nil, s.Buds, s.Cut) + p.checked(s.Cut))
		}
	}
	if len(v.Plan.Lay) > 0 {
		p.heading(say("sheet.lay"))
		p.text("", 0.9, say("sheet.before"))
		for _, k := range v.Plan.Lay {
			p.laid(k)
		}
	}
	if len(v.Plan.Lay)+len(v.Plan.Spurs) > 0 {
		p.text("", 0.85, say("sheet.cutsource", "why", p.cutWhy(v.Plan)))
	}
	for _, n := range v.Plan.Notes {
		p.text("", 0.9, capital(say.tell(n)))
	}
	return p.foot(v.Cautions)
}

func (p *page) away(plan assess.Plan, short bool) {
	for _, o := range plan.OldWood {
		p.item(p.say("sheet.oldwood", "what", o))
	}
	if short {
		var ids []string
		for _, r := range plan.Away {
			ids = append(ids, fmt.Sprint(r.Cane))
		}
		if len(ids) > 0 {
			p.item(p.say("sheet.awayall", "canes", strings.Join(ids, ", ")))
		}
		return
	}
	for _, r := range plan.Away {
		p.item(p.say("choice.remove.line", "cane", r.Cane, "why", r.Why))
	}
}

// CutLine puts a cut in words by a text of the catalogue; where the node isn't
// known it asks to count first.
func CutLine(say Say, key string, cane int, place *assess.Place, buds int, cut assess.Cut) string {
	if cut.AfterNode == 0 {
		return say("sheet.countfirst", "cane", cane, "buds", buds)
	}
	args := []any{"cane", cane, "buds", buds, "node", cut.AfterNode, "cut", assess.Length{MM: cut.AlongMM}}
	if place != nil {
		args = append(args, "place", *place)
	}
	return say(key, args...)
}

func (p *page) laid(k assess.Kept) {
	p.item(CutLine(p.say, "choice.keep.line", k.Cane, &k.Place, k.Buds, k.Cut) + p.checked(k.Cut))
	if k.Laying == nil {
		return
	}
	var words []string
	if at := TiesAt(p.say, k.Laying); at != "" {
		words = append(words, p.say("sheet.ties", "at", at))
	}
	if n := len(k.Laying.Steps); n >= 5 {
		words = append(words, p.say.tell(k.Laying.Steps[n-2]))
	}
	if len(words) > 0 {
		indent := p.line() * 1.1
		p.font("", 0.9)
		p.SetX(margin + indent)
		p.MultiCell(p.width()-indent, p.line()*0.9, strings.Join(words, "; ")+".", "", "L", false)
	}
}

func (p *page) checked(cut assess.Cut) string {
	if cut.Check.Empty() {
		return ""
	}
	return " " + capital(p.say.tell(cut.Check)) + "."
}

// TiesAt lists where a cane is tied, from its base; "" for nowhere.
func TiesAt(say Say, l *assess.Laying) string {
	var at []string
	for i, t := range l.Ties {
		// The unit stands once, behind the last.
		at = append(at, say("sheet.plain", "text", assess.Length{MM: t.AlongMM, Bare: i+1 < len(l.Ties)}))
	}
	return strings.Join(at, ", ")
}

// cutWhy is where the distances of the cuts come from, each said once.
func (p *page) cutWhy(plan assess.Plan) string {
	var all []string
	add := func(why assess.Sentence) {
		if s := p.say.tell(why); s != "" && !slices.Contains(all, s) {
			all = append(all, s)
		}
	}
	for _, k := range plan.Lay {
		add(k.Cut.Why)
	}
	for _, s := range plan.Spurs {
		add(s.Cut.Why)
	}
	return strings.Join(all, "; ")
}

func (p *page) head(where, winter, confirmed string) {
	where = p.fitted(where, "B", 1.7, p.width()*0.72)
	p.CellFormat(p.width()*0.72, p.line()*1.8, where, "", 0, "L", false, 0, "")
	p.font("B", 1.1)
	p.CellFormat(p.width()*0.28, p.line()*1.8, winter, "", 1, "R", false, 0, "")
	p.text("", 0.95, confirmed)
}

// foot writes the cautions and the line to sign at the page's end; false when
// there's no room for them.
func (p *page) foot(cautions []assess.Caution) bool {
	p.Ln(p.line() * 0.4)
	var words []string
	for _, c := range cautions {
		words = append(words, p.say.tell(c.Text))
	}
	p.font("B", 0.95)
	p.CellFormat(p.width(), p.line()*1.1, p.say("choice.cautions"), "T", 1, "L", false, 0, "")
	p.text("", 0.8, strings.Join(words, "  "))
	p.Ln(p.line() * 0.5)
	p.text("", 1, p.say("sheet.done"))
	return p.GetY() <= p.bottom() && !p.Err()
}

// draw puts the drawing in a box of the page's width and so many mm of height.
func (p *page) draw(d *Drawing, height float64) {
	x, y := margin, p.GetY()+1
	f, ok := d.into(x, y, p.width(), height)
	if !ok {
		return
	}
	p.SetDrawColor(0, 0, 0)
	p.ClipRect(x, y, p.width(), height, false)
	p.SetLineCapStyle("round")
	for _, l := range d.Lines {
		if l.Style == Cut {
			p.SetDashPattern(nil, 0)
			p.SetLineWidth(0.9)
			p.Line(f.barLine(l, 2.2))
			continue
		}
		p.style(l.Style)
		p.polyline(f, l.Points)
	}
	p.SetDashPattern(nil, 0)
	p.SetLineWidth(0.3)
	for _, t := range d.Ties {
		tx, ty := f.at(t)
		p.SetFillColor(255, 255, 255)
		p.Circle(tx, ty, 0.8, "FD")
	}
	if d.Head != nil {
		hx, hy := f.at(*d.Head)
		p.SetLineWidth(0.5)
		p.Circle(hx, hy, 1.8, "D")
	}
	p.font("B", 1)
	for _, m := range d.Marks {
		mx, my := f.at(m.At)
		w := p.GetStringWidth(m.Words) + 1.6
		fill := 255
		if m.Lay {
			fill = 0
		}
		p.SetFillColor(fill, fill, fill)
		p.SetTextColor(255-fill, 255-fill, 255-fill)
		p.SetLineWidth(0.2)
		p.Rect(mx-w/2, my-p.line()/2, w, p.line(), "FD")
		p.SetXY(mx-w/2, my-p.line()/2)
		p.CellFormat(w, p.line(), m.Words, "", 0, "C", false, 0, "")
	}
	p.ClipEnd()
	p.SetTextColor(0, 0, 0)
	p.SetLineWidth(0.2)
	p.SetXY(margin, y+height)
	p.text("", 0.85, p.say("sheet.legend"))
}

func (p *page) style(s Style) {
	p.SetDrawColor(0, 0, 0)
	p.SetDashPattern(nil, 0)
	switch s {
	case Wire:
		p.SetLineWidth(0.2)
	case Timber:
		p.SetDrawColor(170, 170, 170)
		p.SetLineWidth(1.6)
	case Lay:
		p.SetLineWidth(1.1)
	case Spur:
		p.SetLineWidth(1.4)
	case Stub:
		p.SetLineWidth(0.25)
		p.SetDashPattern([]float64{0.4, 1.2}, 0)
	case Away:
		p.SetLineWidth(0.35)
		p.SetDashPattern([]float64{2, 1.4}, 0)
	case Look:
		p.SetLineWidth(0.7)
		p.SetDashPattern([]float64{0.2, 1.4}, 0)
	}
}

func (p *page) polyline(f frame, ps []assess.Point) {
	for i, q := range ps {
		x, y := f.at(q)
		if i == 0 {
			p.MoveTo(x, y)
		} else {
			p.LineTo(x, y)
		}
	}
	p.DrawPath("D")
}
