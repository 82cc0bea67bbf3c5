package figure

import (
	"math"
	"strconv"
	"unicode/utf8"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// even puts some five to ten numbers at an axis: multiples of 1, 2 or 5 times a
// power of ten, with no digit that is zero for all of them.
type even struct{ whole bool } // whole: of things that are counted

func (e even) Ticks(low, high float64) []plot.Tick {
	if !(high > low) || math.IsInf(high-low, 0) {
		return []plot.Tick{{Value: low, Label: strconv.FormatFloat(low, 'g', 4, 64)}}
	}
	power := math.Floor(math.Log10((high - low) / 5))
	step := 0.0
	for _, k := range []float64{1, 2, 5, 10} {
		if step = k * math.Pow(10, power); (high-low)/step <= 8 {
			break
		}
	}
	if e.whole {
		step = math.Max(1, step)
	}
	decimals := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	var out []plot.Tick
	for i := math.Ceil(low/step - 1e-9); i*step <= high+1e-9*step; i++ {
		v := i * step
		if v == 0 {
			v = 0 // not minus nothing
		}
		out = append(out, plot.Tick{Value: v, Label: strconv.FormatFloat(v, 'f', decimals, 64)})
	}
	return out
}

// A key tells what lines and marks of a figure mean.
type key struct{ entries []keyEntry }

type keyEntry struct {
	name   string
	thumbs []plot.Thumbnailer
}

// Add is as that of the plot's own key.
func (k *key) Add(name string, thumbs ...plot.Thumbnailer) {
	k.entries = append(k.entries, keyEntry{name, thumbs})
}

const (
	keyRow     = 18 // points
	keyColumns = 2
	keyTop     = 6
	keyMargin  = 40 // to the left, about as wide as the numbers of an axis
	keyWide    = 16 // characters: with longer names each entry has a row of its own
)

// columns is in how many columns the entries stand.
func (k *key) columns() int {
	for _, e := range k.entries {
		if utf8.RuneCountInString(e.name) > keyWide {
			return 1
		}
	}
	return min(keyColumns, max(1, len(k.entries)))
}

// height is how much room the key takes below the figure, points.
func (k *key) height() vg.Length {
	if len(k.entries) == 0 {
		return 0
	}
	return vg.Points(keyTop + keyRow*float64((len(k.entries)+k.columns()-1)/k.columns()))
}

func (k *key) draw(c draw.Canvas) {
	columns := k.columns()
	for i, e := range k.entries {
		l := plot.NewLegend()
		l.Top, l.Left, l.ThumbnailWidth, l.Padding = true, true, vg.Points(20), vg.Points(6)
		l.TextStyle.Font = sans()
		l.TextStyle.Font.Size = 12
		l.Add(e.name, e.thumbs...)
		column, row := i%columns, i/columns
		wide := (c.Size().X - keyMargin) / vg.Length(columns)
		from := keyMargin + vg.Length(column)*wide
		l.Draw(draw.Crop(c, from, from+wide-c.Size().X, 0, -vg.Points(keyTop+keyRow*float64(row))))
	}
}
