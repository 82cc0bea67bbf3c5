package assess

// Point is a position in the upright photo, in pixels: x right, y down,
// (0, 0) the centre of the top-left pixel.
type Point [2]float64

// Outcome says whether a photo could be measured.
type Outcome string

// A photo is measured or refused; a refusal carries its reasons.
const (
	Measured Outcome = "measured"
	Refused  Outcome = "refused"
)

// Reason is a machine-readable reason for a refusal or a warning. Explain
// puts it in words with what to do.
type Reason string

// Reasons for which a photo is refused, or measured with less.
const (
	NoReference       Reason = "no_reference"          // neither card nor bar nor marks
	ReferenceTooSmall Reason = "reference_too_small"   // found, but under the pixels a square needs
	ReferenceImplaus  Reason = "reference_implausible" // its size or tilt cannot be a card hung on a wire
	ReferencePartly   Reason = "reference_partly_hidden"
	PhotoTooSmall     Reason = "photo_too_small"
	PhotoBlurred      Reason = "photo_blurred"
	PhotoTooDark      Reason = "photo_too_dark"
	PhotoTooBright    Reason = "photo_too_bright" // burnt out where the vine or the reference is
	NoCane            Reason = "no_cane"          // measured, but nothing that is a cane was seen

	// Warnings: measured, but with less.

	NoWire       Reason = "no_wire"       // no wire was seen: heights and places on it can't be told
	NoHead       Reason = "no_head"       // the head wasn't seen: distances from it can't be told
	ReferenceFar Reason = "reference_far" // canes stand far from the reference, so their scale is less sure
	CanesCutOff  Reason = "canes_cut_off" // canes run out of the picture
	NodesUnclear Reason = "nodes_unclear" // on most canes fewer than two nodes were seen
	CardAskew    Reason = "card_askew"    // the card hangs out of the wires' plane; they tell the plane, less surely
	ByMarks      Reason = "by_marks"      // the scale is from two tapped marks: tilt can't be seen

	// Warnings about a second photo; the numbers are then those of the first alone.

	SecondTooNear   Reason = "second_too_near"  // taken from nearly the same place: shows no depth
	SecondDisagrees Reason = "second_disagrees" // the card was moved between the two, or it is another vine
	SecondUnscaled  Reason = "second_unscaled"  // no card in one of the two photos: a bar doesn't show tilt
)

// Reference is the thing of known size in the picture, and the mapping from
// pixels to millimetres on the wire plane that follows from it.
type Reference struct {
	Kind       string  `json:"kind"`        // "checker", "bar" or "marks"
	MMPerPx    float64 `json:"mm_per_px"`   // at the reference's centre
	Outline    []Point `json:"outline_px"`  // corners of the pattern, clockwise from top left
	ResidualPx float64 `json:"residual_px"` // root mean square of the corners about the fitted mapping
	RelativeU  float64 `json:"relative_u"`  // relative standard uncertainty of the scale at the centre
	TiltDeg    float64 `json:"tilt_deg"`    // angle between the card's normal and the line of sight
	// PxToMM is the homography from pixel to millimetre on the wire plane, row
	// by row; the frame is the reference's own: origin at its centre, x along
	// its long side, y down.
	PxToMM [9]float64 `json:"px_to_mm"`
}

// Wire is one wire of the trellis as seen in the photo.
type Wire struct {
	Line []Point `json:"line_px"`
	// Role is "lower_fruiting", "upper_fruiting", "catch" or "unknown".
	Role string `json:"role"`
}

// Node is a joint of the cane, where a bud sits.
type Node struct {
	Px         Point   `json:"px"`
	AlongMM    float64 `json:"along_mm"` // from the cane's base along its centre line
	Side       string  `json:"side"`     // of the bud, looking from base to tip: "left", "right" or "unknown"
	Confidence float64 `json:"confidence"`
}

// Internode is the piece between two consecutive nodes.
type Internode struct {
	Length   Interval `json:"length_mm"`
	Diameter Interval `json:"diameter_mm"`
}

// ProfilePoint is the apparent diameter at one place of the centre line.
type ProfilePoint struct {
	AlongMM    float64 `json:"along_mm"`
	DiameterMM float64 `json:"diameter_mm"`
	// U is the standard uncertainty of this one reading from edge finding
	// alone, mm; 0 where no reading was possible (crossing, wire, tie).
	U float64 `json:"u_mm"`
	// Carried is true where nothing could be read and the value was carried on
	// from the cane's other readings along its taper.
	Carried bool `json:"carried,omitempty"`
}

// Finding is what the program says of one cane.
type Finding string

// The findings. A cane is called something only when the whole interval lies
// on one side of the limit.
const (
	Sound             Finding = "sound"
	Weak              Finding = "weak"
	ShortNoded        Finding = "short_noded"
	WeakAndShortNoded Finding = "weak_and_short_noded"
	OverVigorous      Finding = "over_vigorous"
	TooCloseToCall    Finding = "too_close_to_call"
	NotMeasurable     Finding = "not_measurable"
)

// Cane is one one-year cane as seen in one photo.
type Cane struct {
	ID         int         `json:"id"`
	Traced     string      `json:"traced"` // "automatic" or "guided"
	CentreLine []Point     `json:"centre_line_px"`
	AlongMM    []float64   `json:"along_mm"` // mm from the base at each point of CentreLine
	Length     Interval    `json:"length_mm"`
	Diameter   Interval    `json:"diameter_mm"`  // median of mid-internode diameters, internodes 1-8
	Internode  Interval    `json:"internode_mm"` // median, internodes 1-8
	Nodes      []Node      `json:"nodes"`
	Internodes []Internode `json:"internodes"`
	// Profile is the diameter along the cane, thinned to one reading every few
	// millimetres; from it a corrected node list gets its diameters anew
	// without another look at the photo.
	Profile []ProfilePoint `json:"profile,omitempty"`
	// Origin says what the cane arises from: "head", "old_wood" or "unknown".
	Origin string `json:"origin"`
	// LeavesFrame is true when the tip is outside the picture.
	LeavesFrame bool `json:"leaves_frame"`
	// RelativeU is the relative standard uncertainty of every millimetre of
	// this cane that all its readings share: scale, distance from the
	// reference, and the depth that one photo can't see.
	RelativeU float64 `json:"relative_u"`
	// EdgeDoubt is the relative standard uncertainty of every diameter of this
	// cane that comes from edges that may have been taken wrongly: clutter
	// behind it, shade on it, stretches where nothing could be read.
	EdgeDoubt float64 `json:"edge_doubt,omitempty"`
	// NodeDoubt is the relative standard uncertainty of the median internode
	// that comes from nodes that may be missed or seen where none is. It is 0
	// once a person has ruled on the nodes.
	NodeDoubt float64 `json:"node_doubt,omitempty"`
	// Depth is how far the cane stands off the card's plane, where a second
	// photo showed it; nil where only one photo was used. All millimetres of the
	// cane then allow for it.
	Depth *Depth `json:"depth_mm,omitempty"`
	// LeanU is the standard uncertainty of the cane's lean towards the lens or
	// away from it that is left after a second photo, degrees; 0 without one.
	LeanU   float64    `json:"lean_u_deg,omitempty"`
	Finding Finding    `json:"finding"`
	Because []Sentence `json:"because"`
}

// Depth is a distance from the card's plane with its 95 % interval, mm:
// positive is away from the camera, negative towards it. It is that of the
// stretch of the cane from which its diameter is read.
type Depth struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

// Timber is a piece of wood that is not a one-year cane: trunk or old wood.
type Timber struct {
	Kind       string  `json:"kind"` // "trunk" or "old_wood"
	CentreLine []Point `json:"centre_line_px"`
	WidthMM    float64 `json:"width_mm"`
}

// Measurement is what the program saw on one photo: the contract that
// `nodespan measure --json` prints. Fields may be added, none renamed.
type Measurement struct {
	Photo     string             `json:"photo"`
	SHA256    string             `json:"sha256"`
	WidthPx   int                `json:"width_px"`
	HeightPx  int                `json:"height_px"`
	With      string             `json:"with,omitempty"` // sha256 of the second photo that showed depth
	Program   string             `json:"program"`
	RuleSet   string             `json:"rule_set"`
	Outcome   Outcome            `json:"outcome"`
	Reasons   []Reason           `json:"reasons"`
	Advice    []string           `json:"advice,omitempty"` // the reasons in words, with what to do
	Reference *Reference         `json:"reference,omitempty"`
	Wires     []Wire             `json:"wires"`
	Head      *Point             `json:"head_px,omitempty"`
	Timber    []Timber           `json:"timber,omitempty"`
	Canes     []Cane             `json:"canes"`
	TimingMS  map[string]float64 `json:"timing_ms"`
}
