package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"nodespan/assess"
)

// Hand is one measurement by hand.
type Hand struct {
	Line  int    // of the file, for telling
	Photo string // the photo's name, "" when the vine tells it
	Block string
	Row   int
	Vine  int
	Cane  int // its number in the photo or in the record; 0 when its place tells it
	// AtMM is where the cane arises along the wire, from the reference's centre
	// to the right, mm; NaN when it wasn't measured.
	AtMM float64
	// NodeFrom and NodeTo are neighbouring nodes counted from the base, from 1;
	// both 0 for a value of the whole cane.
	NodeFrom, NodeTo int
	// AlongMM is the middle of the measured internode from the cane's base; NaN
	// when the nodes tell it.
	AlongMM  float64
	Diameter float64 // mm, NaN when not measured
	Length   float64 // of the internode, mm, NaN when not measured
	Who      string
	With     string // the instrument
}

// ranges in which a value can be meant; outside it's a slip of unit or point.
const (
	leastDiameter, mostDiameter = 1, 60
	leastLength, mostLength     = 2, 1000
)

// ReadHand reads a CSV file with the columns vine, cane, node_from, node_to,
// diameter_mm, internode_mm, who and with, and if wanted photo, block, row,
// at_mm (where the cane arises along the wire, from the card's centre, to the
// right) and along_mm (the middle of the measured internode from the cane's
// base). An empty cell is "not measured"; decimals with a point or a comma.
// EInvalid names the line that can't be read.
func ReadHand(r io.Reader, name string) ([]Hand, error) {
	data, err := io.ReadAll(io.LimitReader(r, 64<<20))
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s can't be read: %w", name, err)
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	head, _, _ := strings.Cut(text, "\n")
	c := csv.NewReader(strings.NewReader(text))
	c.FieldsPerRecord, c.TrimLeadingSpace = -1, true
	if strings.Contains(head, ";") && !strings.Contains(head, ",") {
		c.Comma = ';'
	}
	fields, err := c.Read()
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s is empty or no CSV file.", name)
	}
	at := map[string]int{}
	for i, f := range fields {
		at[strings.ToLower(strings.TrimSpace(f))] = i
	}
	for _, n := range []string{"vine", "cane", "diameter_mm", "internode_mm", "who", "with"} {
		if _, ok := at[n]; !ok {
			return nil, assess.Errorf(assess.EInvalid, "%s has no column %q. Its first line names vine, cane, node_from, node_to, diameter_mm, internode_mm, who and with.", name, n)
		}
	}
	var out []Hand
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, assess.Errorf(assess.EInvalid, "%s can't be read: %w", name, err)
		}
		line, _ := c.FieldPos(0)
		h, err := handOf(func(column string) string {
			if i, ok := at[column]; ok && i < len(row) {
				return strings.TrimSpace(row[i])
			}
			return ""
		})
		if err != nil {
			return nil, assess.Errorf(assess.EInvalid, "%s, line %d: %s. Correct it and try again.", name, line, err)
		}
		h.Line = line
		out = append(out, h)
	}
	if len(out) == 0 {
		return nil, assess.Errorf(assess.EInvalid, "%s has no measurement below its first line.", name)
	}
	return out, nil
}

func handOf(get func(string) string) (Hand, error) {
	h := Hand{Photo: get("photo"), Block: get("block"), Who: get("who"), With: get("with")}
	var err error
	whole := func(column string) int {
		t := get(column)
		if t == "" || err != nil {
			return 0
		}
		n, e := strconv.Atoi(t)
		if e != nil || n < 1 {
			err = fmt.Errorf("%s is %q, which is no whole number from 1", column, t)
		}
		return n
	}
	number := func(column string, least, most float64) float64 {
		t := get(column)
		if t == "" || err != nil {
			return math.NaN()
		}
		v, e := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
		if e != nil {
			err = fmt.Errorf("%s is %q, which is no number", column, t)
		} else if !(v >= least && v <= most) {
			err = fmt.Errorf("%s is %s; it can be from %g to %g mm", column, t, least, most)
		}
		return v
	}
	vine := get("vine")
	// block-row-vine in one cell is as good as three columns.
	if i := strings.LastIndexByte(vine, '-'); i > 0 && h.Block == "" {
		if k := strings.LastIndexByte(vine[:i], '-'); k > 0 {
			block, row, v := vine[:k], vine[k+1:i], vine[i+1:]
			if r, e := strconv.Atoi(row); e == nil {
				if n, e := strconv.Atoi(v); e == nil {
					h.Block, h.Row, h.Vine = block, r, n
				}
			}
		}
	}
	if h.Vine == 0 {
		h.Row, h.Vine = whole("row"), whole("vine")
	}
	h.Cane, h.NodeFrom, h.NodeTo = whole("cane"), whole("node_from"), whole("node_to")
	h.Diameter = number("diameter_mm", leastDiameter, mostDiameter)
	h.Length = number("internode_mm", leastLength, mostLength)
	h.AtMM = number("at_mm", -20000, 20000)
	h.AlongMM = number("along_mm", 0, 20000)
	switch {
	case err != nil:
	case h.Photo == "" && h.Vine == 0:
		err = errors.New("it names neither a vine nor a photo")
	case h.Cane == 0 && math.IsNaN(h.AtMM):
		err = errors.New("it names no cane, neither by its number nor by at_mm, its place along the wire")
	case math.IsNaN(h.Diameter) && math.IsNaN(h.Length):
		err = errors.New("it has neither a diameter nor an internode length")
	case (h.NodeFrom == 0) != (h.NodeTo == 0):
		err = errors.New("node_from and node_to go together")
	case h.NodeFrom > 0 && h.NodeTo != h.NodeFrom+1:
		err = errors.New("node_from and node_to are neighbours: write 3 and 4, not 3 and 6")
	case h.Who == "":
		err = errors.New("nobody signed it: write who measured")
	}
	return h, err
}
