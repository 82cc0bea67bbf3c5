package batch

import (
	"encoding/csv"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// A column is one field of a row's struct.
type column struct {
	name, unit, meaning, source string
	kind                        string // "text", "whole number", "number" or "yes or no"
	optional                    bool
	field                       int
}

func columnsOf[T any]() []column {
	t := reflect.TypeFor[T]()
	var out []column
	for i := range t.NumField() {
		f := t.Field(i)
		name, rest, _ := strings.Cut(f.Tag.Get("parquet"), ",")
		c := column{name: name, unit: f.Tag.Get("unit"), meaning: f.Tag.Get("is"), source: f.Tag.Get("from"), optional: rest == "optional", field: i}
		k := f.Type
		if k.Kind() == reflect.Pointer {
			k = k.Elem()
		}
		switch k.Kind() {
		case reflect.Int64:
			c.kind = "whole number"
		case reflect.Float64:
			c.kind = "number"
		case reflect.Bool:
			c.kind = "yes or no"
		default:
			c.kind = "text"
		}
		out = append(out, c)
	}
	return out
}

// values gives a row's values in the order of its columns, nil for an empty one.
func values[T any](row *T) []any {
	v := reflect.ValueOf(row).Elem()
	out := make([]any, v.NumField())
	for i := range out {
		f := v.Field(i)
		if f.Kind() == reflect.Pointer {
			if f.IsNil() {
				continue
			}
			f = f.Elem()
		}
		out[i] = f.Interface()
	}
	return out
}

func cell(v any) string {
	switch x := v.(type) {
	case nil:
		return ""
	case string:
		return x
	case int64:
		return strconv.FormatInt(x, 10)
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case bool:
		if x {
			return "TRUE" // as R and Python's readers take it for a truth value
		}
		return "FALSE"
	}
	return ""
}

// csvTable writes one table as CSV (RFC 4180, UTF-8, decimal points).
type csvTable[T any] struct{ w *csv.Writer }

func newCSV[T any](out io.Writer) (*csvTable[T], error) {
	t := &csvTable[T]{csv.NewWriter(out)}
	var head []string
	for _, c := range columnsOf[T]() {
		head = append(head, c.name)
	}
	return t, t.w.Write(head)
}

func (t *csvTable[T]) add(row T) error {
	var cells []string
	for _, v := range values(&row) {
		cells = append(cells, harmless(cell(v)))
	}
	return t.w.Write(cells)
}

func (t *csvTable[T]) close() error {
	t.w.Flush()
	return t.w.Error()
}

// harmless keeps a spreadsheet program from running what somebody typed into a
// file's or block's name: a cell that begins like a formula gets an apostrophe.
// Numbers keep their sign.
func harmless(s string) string {
	if s == "" || !strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return s
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return s
	}
	return "'" + s
}

// Plain takes the apostrophe away again that was put before a cell.
func Plain(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune("=+-@\t\r", rune(cell[1])) {
		return cell[1:]
	}
	return cell
}

// writeDictionary writes a row for each column of each table.
func writeDictionary(out io.Writer) error {
	w := csv.NewWriter(out)
	if err := w.Write([]string{"table", "column", "kind", "unit", "may_be_empty", "meaning", "source"}); err != nil {
		return err
	}
	for _, t := range []struct {
		name    string
		columns []column
	}{{"photos", columnsOf[PhotoRow]()}, {"canes", columnsOf[CaneRow]()}, {"internodes", columnsOf[InternodeRow]()}} {
		for _, c := range t.columns {
			empty := "no"
			if c.optional {
				empty = "yes"
			}
			if err := w.Write([]string{t.name, c.name, c.kind, c.unit, empty, c.meaning, c.source}); err != nil {
				return err
			}
		}
	}
	w.Flush()
	return w.Error()
}

func median(xs []float64) float64 {
	if len(xs) == 0 {
		return math.NaN()
	}
	s := slices.Clone(xs)
	slices.Sort(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
