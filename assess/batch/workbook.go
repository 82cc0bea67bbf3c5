package batch

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// sheetRows is the most rows of one sheet, the heading among them: what the
// format allows (ECMA-376 programs read 1 048 576). Further rows go to a
// further sheet.
const sheetRows = 1_048_576

// longestCell is the most characters that a cell of the format may hold.
const longestCell = 32_000

// workbook writes all tables as one XLSX file. Rows are spooled to disk by the
// library, so its memory doesn't grow with them.
type workbook struct {
	f    *excelize.File
	rows int // of one sheet at most
}

func newWorkbook() (*workbook, error) {
	f := excelize.NewFile()
	// A fixed date: when it was written isn't a property of the data.
	const when = "2000-01-01T00:00:00Z"
	if err := f.SetDocProps(&excelize.DocProperties{Creator: "nodespan", LastModifiedBy: "nodespan", Created: when, Modified: when, Title: "Canes measured in photos"}); err != nil {
		return nil, err
	}
	return &workbook{f, sheetRows}, nil
}

// sheet is one table of a workbook.
type sheet[T any] struct {
	book *workbook
	name string
	part int
	w    *excelize.StreamWriter
	row  int
	bold int
}

func newSheet[T any](b *workbook, name string) (*sheet[T], error) {
	s := &sheet[T]{book: b, name: name}
	var err error
	if s.bold, err = b.f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}}); err != nil {
		return nil, err
	}
	return s, s.next()
}

func (s *sheet[T]) next() error {
	s.part++
	name := s.name
	if s.part > 1 {
		name = fmt.Sprintf("%s %d", s.name, s.part)
	}
	if _, err := s.book.f.NewSheet(name); err != nil {
		return err
	}
	w, err := s.book.f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	s.w, s.row = w, 1
	var head []any
	for _, c := range columnsOf[T]() {
		head = append(head, excelize.Cell{StyleID: s.bold, Value: c.name})
	}
	return s.write(head)
}

func (s *sheet[T]) write(cells []any) error {
	at, err := excelize.CoordinatesToCellName(1, s.row)
	if err != nil {
		return err
	}
	s.row++
	return s.w.SetRow(at, cells)
}

func (s *sheet[T]) add(row T) error {
	if s.row > s.book.rows {
		if err := s.w.Flush(); err != nil {
			return err
		}
		if err := s.next(); err != nil {
			return err
		}
	}
	cells := values(&row)
	for i, c := range cells {
		// Texts are written as texts, so that none is taken for a formula.
		if t, ok := c.(string); ok {
			if r := []rune(t); len(r) > longestCell {
				t = string(r[:longestCell])
			}
			cells[i] = t
		}
	}
	return s.write(cells)
}

func (s *sheet[T]) close() error { return s.w.Flush() }

// writeTo writes the file. The library puts its parts into the archive in an
// order that differs from time to time, so they are put in order once more.
func (b *workbook) writeTo(out io.Writer) (err error) {
	if err := b.f.DeleteSheet("Sheet1"); err != nil {
		return err
	}
	b.f.SetActiveSheet(0)
	spool, err := os.CreateTemp("", "nodespan-*.xlsx")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, spool.Close(), os.Remove(spool.Name())) }()
	size, err := b.f.WriteTo(spool)
	if err != nil {
		return err
	}
	parts, err := zip.NewReader(spool, size)
	if err != nil {
		return err
	}
	slices.SortFunc(parts.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	w := zip.NewWriter(out)
	for _, p := range parts.File {
		if err := w.Copy(p); err != nil {
			return err
		}
	}
	return w.Close()
}

func (b *workbook) close() error { return b.f.Close() }
