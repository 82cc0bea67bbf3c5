package batch

import (
	"fmt"
	"io"
	"slices"
	"time"

	"nodespan/assess"
)

// Walk tells when somebody stood before which vine: photos find their vine by
// the time that the camera wrote into them.
type Walk struct {
	stops []stop
	// Within is how long after the stop's time a photo may have been taken, at
	// most. Larger matches photos of a long stop, and of what came after it and
	// isn't on the list. Default 15 minutes.
	Within time.Duration
	// Clock is added to the camera's times: how far its clock is behind.
	Clock time.Duration
}

type stop struct {
	from time.Time
	at   Place
}

var walkForms = []string{timeForm, "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"}

// ReadWalk reads a CSV file with the columns time, block, row and vine and, if
// wanted, stance, treatment and cultivar. time is when the vine was reached, as
// 2026-12-03 09:41:30, in the camera's own zone. A photo belongs to the last
// stop before it. EInvalid names the line that can't be read.
func ReadWalk(r io.Reader, name string) (*Walk, error) {
	w := &Walk{Within: 15 * time.Minute}
	err := readTable(r, name, []string{"time", "block", "row", "vine"}, func(line int, get func(string) string) error {
		var t time.Time
		var err error
		for _, form := range walkForms {
			if t, err = time.Parse(form, get("time")); err == nil {
				break
			}
		}
		if err != nil {
			return fmt.Errorf("%q is no time; write it as 2026-12-03 09:41:30", get("time"))
		}
		at, err := placeOf(get, byWalk)
		if err != nil {
			return err
		}
		w.stops = append(w.stops, stop{t, at})
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(w.stops, func(a, b stop) int { return a.from.Compare(b.from) })
	for i := 1; i < len(w.stops); i++ {
		if w.stops[i].from.Equal(w.stops[i-1].from) && w.stops[i].at != w.stops[i-1].at {
			return nil, assess.Errorf(assess.EInvalid, "%s has two places for %s. Correct one of the times.", name, w.stops[i].from.Format(timeForm))
		}
	}
	return w, nil
}

func (w *Walk) find(taken time.Time) (Place, bool) {
	taken = taken.Add(w.Clock)
	i, exact := slices.BinarySearchFunc(w.stops, taken, func(s stop, t time.Time) int { return s.from.Compare(t) })
	if !exact {
		i--
	}
	if i < 0 || taken.Sub(w.stops[i].from) > w.Within {
		return Place{}, false
	}
	return w.stops[i].at, true
}
