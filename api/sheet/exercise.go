package sheet

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/go-pdf/fpdf"

	"nodespan/assess"
)

// Exercise is what is printed of an exercise to be done on paper.
type Exercise struct {
	Title, Who, Form string
	Vines            []ExerciseVine
	Cautions         []assess.Caution
	Say              Say
}

// ExerciseVine is a vine of an exercise: its photo, and where the canes'
// numbers stand.
type ExerciseVine struct {
	Where             string
	JPEG              []byte
	WidthPx, HeightPx int // of the photo, in whose pixels canes lie
	Canes             []ExerciseCane
}

// ExerciseCane is a cane's number and its middle line on the photo, along which
// the number stands.
type ExerciseCane struct {
	ID   int
	Line []assess.Point
}

// columnsFor is how many vines stand beside each other.
func columnsFor(vines int) int {
	switch {
	case vines <= 2:
		return 1
	case vines <= 6:
		return 2
	}
	return 3
}

// WriteExercise writes the sheet of an exercise, always one page. Below each
// photo there's a line for each cane to write on where there's room, else a
// column.
func WriteExercise(w io.Writer, x Exercise) error {
	p := newPage("P", 8.5, x.Title, x.Say)
	p.head(x.Title, "", x.Who)
	p.text("", 1, x.Say("exercise.sheet.how"))
	p.text("", 1, x.Form)
	p.text("", 1, x.Say("exercise.sheet.name"))
	reserve := p.cautionHeight(x.Cautions)
	top, height := p.GetY()+1, p.bottom()-reserve-p.GetY()-1
	columns := columnsFor(len(x.Vines))
	rows := (len(x.Vines) + columns - 1) / columns
	for i, v := range x.Vines {
		cw, ch := p.width()/float64(columns), height/float64(max(rows, 1))
		if err := p.exerciseVine(v, i, margin+float64(i%columns)*cw, top+float64(i/columns)*ch, cw-2, ch-2); err != nil {
			return err
		}
	}
	p.SetXY(margin, p.bottom()-reserve)
	p.cautionFoot(x.Cautions)
	if p.Err() {
		return p.Error()
	}
	return p.Output(w)
}

// rowMM is the height of a line to write on.
const rowMM = 5.0

func (p *page) exerciseVine(v ExerciseVine, n int, x, y, w, h float64) error {
	p.SetXY(x, y)
	where := p.fitted(v.Where, "B", 1.1, w)
	p.CellFormat(w, p.line()*1.2, where, "", 0, "L", false, 0, "")
	y += p.line() * 1.3
	h -= p.line() * 1.3
	table := rowMM * float64(len(v.Canes)+1)
	// A line for each cane where there's room, else a column.
	columns := table > h*0.5 || w < 85
	if columns {
		table = 4 * rowMM
	}
	room := h - table - 1
	f := math.Min(w/float64(max(v.WidthPx, 1)), room/float64(max(v.HeightPx, 1)))
	pw, ph := f*float64(v.WidthPx), f*float64(v.HeightPx)
	name := fmt.Sprintf("vine %d", n)
	p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(v.JPEG))
	if p.Err() {
		return p.Error()
	}
	p.ImageOptions(name, x+(w-pw)/2, y, pw, ph, false, fpdf.ImageOptions{ImageType: "JPEG"}, 0, "")
	p.caneNumbers(v, x+(w-pw)/2, y, f)
	y += ph + 1
	if columns {
		p.exerciseColumns(v, x, y, w)
	} else {
		p.exerciseTable(v, x, y, w)
	}
	return nil
}

// caneNumbers writes the canes' numbers along their lines, none upon another
// as far as there's room.
func (p *page) caneNumbers(v ExerciseVine, x, y, f float64) {
	p.font("B", 0.95)
	p.SetLineWidth(0.2)
	p.SetDrawColor(0, 0, 0)
	p.SetFillColor(255, 255, 255)
	h := p.line() * 0.9
	var taken [][4]float64
	for _, c := range v.Canes {
		words := fmt.Sprint(c.ID)
		w := p.GetStringWidth(words) + 1.4
		var at [4]float64
		for _, share := range []float64{0.8, 0.65, 0.5, 0.9, 0.35, 0.72, 0.58, 0.42, 0.25, 0.97, 0.15} {
			q := c.Line[int(share*float64(len(c.Line)-1))]
			at = [4]float64{x + f*q[0] - w/2, y + f*q[1] - h/2, w, h}
			if !slices.ContainsFunc(taken, func(o [4]float64) bool {
				return at[0] < o[0]+o[2] && o[0] < at[0]+at[2] && at[1] < o[1]+o[3] && o[1] < at[1]+at[3]
			}) {
				break
			}
		}
		taken = append(taken, at)
		p.Rect(at[0], at[1], w, h, "FD")
		p.SetXY(at[0], at[1])
		p.CellFormat(w, h, words, "", 0, "C", false, 0, "")
	}
}

// exerciseColumns draws a column for each cane to write in: what becomes of it,
// and behind which bud it is cut.
func (p *page) exerciseColumns(v ExerciseVine, x, y, w float64) {
	label := math.Min(24, w*0.3)
	cw := (w - label) / float64(max(len(v.Canes), 1))
	for row, key := range []string{"exercise.sheet.cane", "exercise.sheet.becomes", "exercise.sheet.bud", "exercise.sheet.why"} {
		p.SetXY(x, y+rowMM*float64(row))
		p.CellFormat(label, rowMM, p.fit(p.say(key), "B", 0.75, smallestHead, label), "1", 0, "L", false, 0, "")
		if row == 3 {
			p.CellFormat(w-label, rowMM, "", "1", 0, "L", false, 0, "")
			continue
		}
		p.font("B", 0.9)
		for _, c := range v.Canes {
			words := ""
			if row == 0 {
				words = fmt.Sprint(c.ID)
			}
			p.CellFormat(cw, rowMM, words, "1", 0, "C", false, 0, "")
		}
	}
}

// smallestHead is how small a heading may get to fit above its column, of the
// font's size: smaller than what is read, but it is the same on every sheet.
const smallestHead = 0.55

// exerciseTable draws a line for each cane to write on.
func (p *page) exerciseTable(v ExerciseVine, x, y, w float64) {
	shares := []float64{0.12, 0.19, 0.12, 0.12, 0.16, 0.29}
	heads := []string{"exercise.sheet.cane", "exercise.sheet.lay", "exercise.sheet.spur", "exercise.sheet.away", "exercise.sheet.bud", "exercise.sheet.why"}
	for row := range len(v.Canes) + 1 {
		p.SetXY(x, y+rowMM*float64(row))
		for i, s := range shares {
			words := ""
			switch {
			case row == 0:
				words = p.fit(p.say(heads[i]), "B", 0.75, smallestHead, w*s)
			case i == 0:
				words = fmt.Sprint(v.Canes[row-1].ID)
				p.font("B", 1)
			}
			p.CellFormat(w*s, rowMM, words, "1", 0, "L", false, 0, "")
		}
	}
}

// Result is what is printed of somebody's results.
type Result struct {
	Title, Who, How string
	Figures         [][3]string // kind, how often alike, beyond chance
	Vines           []ResultVine
	Over            []string
	Mistakes        []string
	Cautions        []assess.Caution
	Say             Say
}

// ResultVine is a vine of a result sheet.
type ResultVine struct {
	Where, Words         string
	Differences, Remarks []string
}

// WriteResult writes the sheet of somebody's results, always one page: the font
// is made smaller until it fits, and if that isn't enough only the vines'
// counts are told, and of what recurs the most frequent.
func WriteResult(w io.Writer, r Result) error {
	for _, short := range []bool{false, true} {
		for size := largestFont; size >= smallestFont; size -= fontStep {
			p := newPage("P", size, r.Title, r.Say)
			p.result(r, short)
			if p.Err() {
				return p.Error()
			}
			if p.GetY() <= p.bottom() {
				return p.Output(w)
			}
		}
	}
	return fmt.Errorf("the result sheet of %s doesn't fit on a page", r.Title)
}

// mostRecurring are told on a sheet that is too full.
const mostRecurring = 6

func (p *page) result(r Result, short bool) {
	p.head(r.Title, "", r.Who)
	p.text("", 0.95, r.How)
	p.heading(p.say("exercise.results.figures"))
	p.figureRow("B", [3]string{p.say("exercise.results.kind"), p.say("exercise.results.alike"), p.say("exercise.results.kappa")})
	for _, f := range r.Figures {
		p.figureRow("", f)
	}
	p.text("", 0.8, p.say("exercise.results.why"))
	if len(r.Mistakes) > 0 {
		p.heading(p.say("exercise.results.recurring"))
		told := r.Mistakes
		if short {
			told = told[:min(len(told), mostRecurring)]
		}
		for _, m := range told {
			p.text("", 1, "• "+m)
		}
	}
	if len(r.Over) > 1 {
		p.heading(p.say("exercise.results.over"))
		p.text("", 1, strings.Join(r.Over, "\n"))
	}
	p.heading(p.say("exercise.results.vines"))
	for _, v := range r.Vines {
		p.text("B", 1, v.Where+": "+v.Words)
		if short {
			continue
		}
		for _, d := range append(v.Differences, v.Remarks...) {
			p.text("", 0.95, "• "+d)
		}
	}
	p.Ln(p.line() * 0.4)
	p.cautionFoot(r.Cautions)
}

// figureRow writes a row of the figures, as high as its longest cell takes.
func (p *page) figureRow(style string, cells [3]string) {
	shares := [3]float64{0.3, 0.34, 0.36}
	p.font(style, 0.95)
	x, y, lines := margin, p.GetY(), 1
	for i, words := range cells {
		w := p.width() * shares[i]
		lines = max(lines, len(p.SplitText(words, w)))
		p.SetXY(x, y)
		p.MultiCell(w, p.line()*1.05, words, "", "L", false)
		x += w
	}
	y += float64(lines) * p.line() * 1.05
	if style == "B" {
		p.Line(margin, y, margin+p.width(), y)
	}
	p.SetXY(margin, y)
}

// cautionFoot writes the cautions where the pen is.
func (p *page) cautionFoot(cautions []assess.Caution) {
	p.font("B", 0.95)
	p.CellFormat(p.width(), p.line()*1.1, p.say("choice.cautions"), "T", 1, "L", false, 0, "")
	p.text("", 0.8, p.allCautions(cautions))
}

func (p *page) allCautions(cautions []assess.Caution) string {
	var words []string
	for _, c := range cautions {
		words = append(words, p.say.tell(c.Text))
	}
	return strings.Join(words, "  ")
}

// cautionHeight is what cautionFoot will take.
func (p *page) cautionHeight(cautions []assess.Caution) float64 {
	p.font("", 0.8)
	return float64(len(p.SplitText(p.allCautions(cautions), p.width())))*p.line()*0.8 + p.line()*1.3
}
