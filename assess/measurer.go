package assess

import "context"

// Marks are two places in the photo that the person tapped, with the distance
// between them that was measured by hand: the reference of last resort.
type Marks struct {
	A, B       Point
	DistanceMM float64
}

// Ask says how a photo is to be measured. The zero Ask looks for a card or a
// bar and traces every cane by itself.
type Ask struct {
	Name   string     // the photo's name, for the record
	Marks  *Marks     // used only when neither card nor bar is found, or alone when given
	Guided [][2]Point // base and tip of canes that a person pointed out
	// With holds the bytes of a second photo of the same vine from another
	// stance, with the card where it was. It shows how far canes stand off the
	// wire; where it can't, the Measurement is that of the first photo alone,
	// with the reason.
	With []byte `json:"-"`
}

// Measurer turns the bytes of a photo into a Measurement. Package vision
// fulfils it; tests of other packages use one that returns kept measurements.
//
// A photo that can be decoded but not measured isn't an error: its
// Measurement has Outcome Refused and its reasons. The error is for bytes
// that are no readable photo (code EInvalid or ETooLarge) and for a context
// that ended. Findings are left empty: Judge fills them in.
type Measurer interface {
	Measure(ctx context.Context, photo []byte, ask Ask) (*Measurement, error)

	// Guide traces one cane from base to tip, both tapped by a person, on a
	// photo that was measured before; on gives the mapping to millimetres.
	// It returns EInvalid when no path can be followed, and says why.
	Guide(ctx context.Context, photo []byte, on *Measurement, base, tip Point) (*Cane, error)
}
