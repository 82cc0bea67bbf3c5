package assess

import (
	"encoding/json"
	"fmt"
	"math"
)

// Interval is a measured value with the bounds of its 95 % interval, all in
// the same unit. The bounds need not lie symmetrically about the value: a
// cane that may lean away from the lens can only be longer than it looks.
type Interval struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Verdict is the outcome of holding an interval against a limit.
type Verdict int

// The three outcomes of a comparison with uncertainty: JCGM 106:2012 calls
// the first two acceptance and rejection with a guard band, the third is the
// zone in which neither may be claimed.
const (
	TooClose Verdict = iota
	Yes
	No
)

// Below tells whether the quantity lies below limit: Yes only when the whole
// interval does, No only when none of it does, TooClose when it straddles
// (decision with guard bands on both sides, JCGM 106:2012, 8.3).
func (q Interval) Below(limit float64) Verdict {
	switch {
	case q.High < limit:
		return Yes
	case q.Low >= limit:
		return No
	}
	return TooClose
}

// Above tells whether the quantity lies above limit, as Below does.
func (q Interval) Above(limit float64) Verdict {
	switch {
	case q.Low > limit:
		return Yes
	case q.High <= limit:
		return No
	}
	return TooClose
}

// Width is High - Low.
func (q Interval) Width() float64 { return q.High - q.Low }

// Known tells whether anything was measured at all: the zero Interval is
// "not measured".
func (q Interval) Known() bool { return q.High > 0 && q.High >= q.Low }

// String gives "8.6 (7.9 to 9.3)".
func (q Interval) String() string {
	return fmt.Sprintf("%.1f (%.1f to %.1f)", q.Value, q.Low, q.High)
}

// MarshalJSON writes an unknown interval as null, so that nobody reads "not
// measured" as 0 mm; null reads back as the zero Interval.
func (q Interval) MarshalJSON() ([]byte, error) {
	if !q.Known() || math.IsNaN(q.Value) || math.IsInf(q.High, 0) {
		return []byte("null"), nil
	}
	type plain Interval
	return json.Marshal(plain(q))
}
