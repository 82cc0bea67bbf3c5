package batch

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"nodespan/assess"
)

// List tells of photos by name or content whose vine they show.
type List struct{ by map[string]Place }

// Columns of the lists; others are allowed and left alone.
var (
	listColumns = []string{"photo", "block", "row", "vine"}
	planColumns = []string{"block", "treatment"}
)

// ReadList reads a CSV file with the columns photo, block, row, vine and, if
// wanted, stance, treatment, cultivar and winter. photo is the file's path below
// the folder, its name, or its SHA-256. Rows with an empty block, row and vine
// are passed over: the list of unmatched photos, partly filled in, is such a
// file. EInvalid names the line that can't be read.
func ReadList(r io.Reader, name string) (*List, error) {
	l := &List{by: map[string]Place{}}
	err := readTable(r, name, listColumns, func(line int, get func(string) string) error {
		key := Plain(get("photo"))
		if get("block") == "" && get("row") == "" && get("vine") == "" {
			return nil
		}
		at, err := placeOf(get, byList)
		if err != nil {
			return err
		}
		if key == "" {
			return errors.New("it names no photo")
		}
		if old, ok := l.by[key]; ok && old != at {
			return fmt.Errorf("%s stands there twice with different places", key)
		}
		l.by[key] = at
		return nil
	})
	if err != nil {
		return nil, err
	}
	return l, nil
}

func (l *List) find(p photo) (Place, bool) {
	for _, key := range []string{p.path, path.Base(p.path), p.sha} {
		if at, ok := l.by[key]; ok && key != "" {
			return at, true
		}
	}
	return Place{}, false
}

// Plan tells which treatment and cultivar a block, row or vine has.
type Plan struct{ lines []planLine }

type planLine struct {
	block               string
	row, vine           int // 0 for all
	treatment, cultivar string
}

// ReadPlan reads a CSV file with the columns block and treatment and, if
// wanted, row, vine and cultivar. An empty row or vine means all of them; a
// line for a vine comes before one for its row, that before one for the block.
func ReadPlan(r io.Reader, name string) (*Plan, error) {
	p := &Plan{}
	err := readTable(r, name, planColumns, func(line int, get func(string) string) error {
		l := planLine{block: get("block"), treatment: get("treatment"), cultivar: get("cultivar")}
		var err error
		if l.row, err = optionalNumber(get("row"), "row"); err != nil {
			return err
		}
		if l.vine, err = optionalNumber(get("vine"), "vine"); err != nil {
			return err
		}
		if l.block == "" {
			return errors.New("it names no block")
		}
		p.lines = append(p.lines, l)
		return nil
	})
	if err != nil {
		return nil, err
	}
	// The most particular line first.
	slices.SortStableFunc(p.lines, func(a, b planLine) int { return b.particular() - a.particular() })
	return p, nil
}

func (l planLine) particular() int {
	n := 0
	if l.row > 0 {
		n++
	}
	if l.vine > 0 {
		n += 2
	}
	return n
}

func (p *Plan) fill(at *Place) {
	for _, l := range p.lines {
		if !strings.EqualFold(l.block, at.Block) || l.row > 0 && l.row != at.Row || l.vine > 0 && l.vine != at.Vine {
			continue
		}
		if at.Treatment == "" {
			at.Treatment = l.treatment
		}
		if at.Cultivar == "" {
			at.Cultivar = l.cultivar
		}
	}
}

func placeOf(get func(string) string, by string) (Place, error) {
	at := Place{Block: get("block"), Stance: get("stance"), Treatment: get("treatment"), Cultivar: get("cultivar"), Winter: get("winter"), By: by}
	var err error
	if at.Row, err = optionalNumber(get("row"), "row"); err != nil {
		return Place{}, err
	}
	if at.Vine, err = optionalNumber(get("vine"), "vine"); err != nil {
		return Place{}, err
	}
	return at, checkPlace(at)
}

func optionalNumber(text, what string) (int, error) {
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		return 0, fmt.Errorf("%s is %q, which is no whole number", what, text)
	}
	return n, nil
}

// readTable reads a CSV file with a heading, separated by commas, semicolons or
// tabs, as spreadsheet programs of any country write it.
func readTable(r io.Reader, name string, needed []string, f func(line int, get func(string) string) error) error {
	data, err := io.ReadAll(io.LimitReader(r, 64<<20))
	if err != nil {
		return assess.Errorf(assess.EInvalid, "%s can't be read: %w", name, err)
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	head, _, _ := strings.Cut(text, "\n")
	c := csv.NewReader(strings.NewReader(text))
	c.FieldsPerRecord = -1
	c.TrimLeadingSpace = true
	for _, sep := range []rune{';', '\t'} {
		if strings.ContainsRune(head, sep) && !strings.ContainsRune(head, ',') {
			c.Comma = sep
		}
	}
	fields, err := c.Read()
	if err != nil {
		return assess.Errorf(assess.EInvalid, "%s is empty or no CSV file. Its first line names the columns: %s.", name, strings.Join(needed, ", "))
	}
	at := map[string]int{}
	for i, f := range fields {
		at[strings.ToLower(strings.TrimSpace(f))] = i
	}
	for _, n := range needed {
		if _, ok := at[n]; !ok {
			return assess.Errorf(assess.EInvalid, "%s has no column %q. Its first line must name the columns: %s.", name, n, strings.Join(needed, ", "))
		}
	}
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		var line int
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			line, err = parse.StartLine, parse.Err
		}
		if err == nil {
			line, _ = c.FieldPos(0)
			err = f(line, func(column string) string {
				i, ok := at[column]
				if !ok || i >= len(row) {
					return ""
				}
				return strings.TrimSpace(row[i])
			})
		}
		if err != nil {
			return assess.Errorf(assess.EInvalid, "%s, line %d: %s. Correct it and try again.", name, line, strings.TrimSuffix(err.Error(), "."))
		}
	}
}
