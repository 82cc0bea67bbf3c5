package sheet

import (
	"bytes"
	"fmt"
	"io"
	"math"
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

// ExerciseCane is a cane's number and where it stands on the photo.
type ExerciseCane struct {
	ID int
	At assess.Point
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
// photo there's a line for each cane where there's room, else room to write.
func WriteExercise(w io.Writer, x Exercise) error {
	p := newPage("P", 8.5, x.Title, x.Say)
	p.head(x.Title, "", x.Who)
	p.text("", 1, x.Form)
	p.text("", 1, x.Say("exercise.sheet.how"))
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
	lines := len(v.Canes) + 1
	table := rowMM * float64(lines)
	// A wide photo leaves room; a small cell gets what is left below the photo.
	if table > h*0.5 || w < 85 {
		table = 0
	}
	room := h - math.Max(table, math.Min(h*0.28, 3*rowMM))
	f := math.Min(w/float64(max(v.WidthPx, 1)), room/float64(max(v.HeightPx, 1)))
	pw, ph := f*float64(v.WidthPx), f*float64(v.HeightPx)
	name := fmt.Sprintf("vine %d", n)
	p.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(v.JPEG))
	if p.Err() {
		return p.Error()
	}
	p.ImageOptions(name, x+(w-pw)/2, y, pw, ph, false, fpdf.ImageOptions{ImageType: "JPEG"}, 0, "")
	p.font("B", 0.95)
	p.SetLineWidth(0.2)
	p.SetDrawColor(0, 0, 0)
	for _, c := range v.Canes {
		words := fmt.Sprint(c.ID)
		tw := p.GetStringWidth(words) + 1.4
		cx, cy := x+(w-pw)/2+f*c.At[0], y+f*c.At[1]
		p.SetFillColor(255, 255, 255)
		p.Rect(cx-tw/2, cy-p.line()*0.45, tw, p.line()*0.9, "FD")
		p.SetXY(cx-tw/2, cy-p.line()*0.45)
		p.CellFormat(tw, p.line()*0.9, words, "", 0, "C", false, 0, "")
	}
	y += ph + 1
	left := h - ph - 1
	if table == 0 {
		for ; left >= rowMM; left -= rowMM {
			y += rowMM
			p.Line(x, y, x+w, y)
		}
		return nil
	}
	p.exerciseTable(v, x, y, w)
	return nil
}

// exerciseTable draws a line for each cane to write on.
func (p *page) exerciseTable(v ExerciseVine, x, y, w float64) {
	shares := []float64{0.1, 0.2, 0.12, 0.12, 0.16, 0.3}
	heads := []string{"exercise.sheet.cane", "exercise.sheet.lay", "exercise.sheet.spur", "exercise.sheet.away", "exercise.sheet.cut", "exercise.sheet.why"}
	for row := range len(v.Canes) + 1 {
		p.SetXY(x, y+rowMM*float64(row))
		for i, s := range shares {
			words := ""
			switch {
			case row == 0:
				words = p.say(heads[i])
				p.font("B", 0.8)
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
	p.font("B", 0.95)
	shares := []float64{0.3, 0.42, 0.28}
	for i, k := range []string{"exercise.results.kind", "exercise.results.alike", "exercise.results.kappa"} {
		p.CellFormat(p.width()*shares[i], p.line()*1.1, p.say(k), "B", 0, "L", false, 0, "")
	}
	p.Ln(-1)
	p.font("", 0.95)
	for _, f := range r.Figures {
		for i, words := range f {
			p.CellFormat(p.width()*shares[i], p.line()*1.1, words, "", 0, "L", false, 0, "")
		}
		p.Ln(-1)
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

// cautionFoot writes the cautions where the pen is.
func (p *page) cautionFoot(cautions []assess.Caution) {
	p.font("B", 0.95)
	p.CellFormat(p.width(), p.line()*1.1, p.say("choice.cautions"), "T", 1, "L", false, 0, "")
	p.text("", 0.8, cautionWords(cautions))
}

func cautionWords(cautions []assess.Caution) string {
	var words []string
	for _, c := range cautions {
		words = append(words, c.Text)
	}
	return strings.Join(words, "  ")
}

// cautionHeight is what cautionFoot will take.
func (p *page) cautionHeight(cautions []assess.Caution) float64 {
	p.font("", 0.8)
	return float64(len(p.SplitText(cautionWords(cautions), p.width())))*p.line()*0.8 + p.line()*1.3
}
