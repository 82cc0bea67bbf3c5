package assess

import "context"

// Looker looks at a small copy of a photo quickly, while whoever took it still
// stands at the vine, and tells what would make a better one. Package vision
// fulfils it. It only advises: what it has a word against can be measured all
// the same, and what it likes can be refused.
//
// full is the longer side of the photo that the copy was made of, px; 0 when
// the copy is the photo. The error is as of Measurer.
type Looker interface {
	Look(ctx context.Context, copied []byte, full int) (*Look, error)
}

// Look is what was seen, one point for each thing that matters.
type Look struct {
	Points []LookPoint `json:"points"`
}

// LookPoint is one thing that matters in a photo.
type LookPoint struct {
	Of    string    `json:"of"` // "reference", "size", "light", "sharp", "wire", "room" or "background"
	State LookState `json:"state"`
	Say   string    `json:"say"` // what to say or change, a key of the texts: "step_nearer"
}

// LookState says whether something is to be changed.
type LookState string

// The states of a LookPoint.
const (
	LookGood    LookState = "good"
	LookChange  LookState = "change"
	LookUnknown LookState = "unknown" // it can't be told from here
)
