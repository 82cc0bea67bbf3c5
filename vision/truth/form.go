package truth

// Photo is the truth of one rendered photo, the JSON that stands beside the
// JPEG. World millimetres: x along the row to the right, y away from the
// camera with the wire plane at y = 0, z up. Pixels are those of the upright
// picture, x right, y down, (0, 0) the centre of the top-left pixel. Where a
// field has a tag "round", its numbers are written to one part in that many
// (hundredths where there is none): what is meaningful, no more.
type Photo struct {
	Scene      string     `json:"scene"`
	Image      string     `json:"image"`
	ImageSize  [2]int     `json:"image_size"` // width, height, px
	Camera     Camera     `json:"camera" round:"1e6"`
	DistanceMM float64    `json:"distance_to_wire_plane_mm"`
	Background string     `json:"background"`
	Light      string     `json:"light"`
	Post       *string    `json:"post"`
	Blur       *Blur      `json:"blur"`
	Exif       int        `json:"exif_orientation"`
	MMPerPx    float64    `json:"mm_per_px_wire_plane" round:"1e5"` // on the wire plane at the head
	Reference  *Reference `json:"reference"`                        // nil: none in the picture
	Wires      []Wire     `json:"wires"`
	Head       *Head      `json:"head"` // nil where no vine stands
	Wood       []Wood     `json:"wood"`
	Canes      []Cane     `json:"canes"`
	StoredSize [2]int     `json:"stored_size"`
	// Made says how the photo can be made again: command and seed.
	Made string `json:"made,omitempty"`
}

// Camera is a pinhole with one radial term: x_d = x_u (1 + k1 r_u^2) in
// normalised coordinates, then px = fx x_d + cx.
type Camera struct {
	FX         float64       `json:"fx"`
	FY         float64       `json:"fy"`
	CX         float64       `json:"cx"`
	CY         float64       `json:"cy"`
	K1         float64       `json:"k1"`
	PositionMM [3]float64    `json:"position_mm"`
	R          [3][3]float64 `json:"R_world_to_cam"` // rows: right, down, forward
	YawDeg     float64       `json:"yaw_deg"`
	PitchDeg   float64       `json:"pitch_deg"`
	RollDeg    float64       `json:"roll_deg"`
}

// Blur is what the lens and a moving hand did, px of the picture.
type Blur struct {
	DefocusSigmaPx float64 `json:"defocus_sigma_px"`
	MotionPx       float64 `json:"motion_px"`
	MotionDeg      float64 `json:"motion_deg"`
}

// Reference is the card or bar that hangs on the wire. Kind is "card", "bar",
// "card_tilted" or "card_occluded"; the last two may fairly be refused.
// Corners go top-left, top-right, bottom-right, bottom-left as printed.
type Reference struct {
	Kind            string       `json:"kind"`
	Squares         [2]int       `json:"squares"`
	SquareMM        [2]float64   `json:"square_mm"`
	PatternMM       [2]float64   `json:"pattern_mm"`
	MarginMM        float64      `json:"margin_mm"`
	PatternPx       [][2]float64 `json:"pattern_corners_px"`
	CardPx          [][2]float64 `json:"card_corners_px"`
	GridPx          [][2]float64 `json:"grid_corners_px"`
	GridNote        string       `json:"grid_note"`
	PatternWorldMM  [][3]float64 `json:"pattern_corners_world_mm"`
	MMPerPxCentre   float64      `json:"mm_per_px_centre" round:"1e5"`
	VisibleFraction float64      `json:"corners_visible_fraction" round:"1e3"`
}

// Wire is one wire of the trellis.
type Wire struct {
	Name            string       `json:"name"`
	NominalHeightMM float64      `json:"nominal_height_mm"`
	HeightAtHeadMM  float64      `json:"height_at_head_mm"`
	DepthMM         float64      `json:"depth_mm"`
	DiameterMM      float64      `json:"diameter_mm" round:"100"`
	PolylinePx      [][2]float64 `json:"polyline_px" round:"10"`
}

// Head is where the trunk ends and canes arise.
type Head struct {
	Px                    [2]float64 `json:"px"`
	HeightMM              float64    `json:"height_mm"`
	RelativeToLowerWireMM float64    `json:"height_relative_to_lower_wire_mm"` // positive is above
}

// Wood is one piece of wood of any class: "trunk", "old_wood", "cane" or
// "tendril" (thin things that grow on a cane: tendrils and laterals).
type Wood struct {
	ID          string       `json:"id"`
	Class       string       `json:"class"`
	PolylinePx  [][2]float64 `json:"polyline_px" round:"10"`
	DiameterMM  []float64    `json:"diameter_mm" round:"100"`
	MeanDepthMM float64      `json:"mean_depth_mm" round:"10"`
}

// Cane is one one-year cane.
type Cane struct {
	ID              string       `json:"id"`
	Vine            int          `json:"vine"`   // 0 the middle one, 1 and 2 its neighbours
	Origin          string       `json:"origin"` // "head", "spur" or "old_wood"
	BasePx          [2]float64   `json:"base_px"`
	TipPx           [2]float64   `json:"tip_px"`
	LengthMM        float64      `json:"length_mm"`
	LinePx          [][2]float64 `json:"centreline_px" round:"10"`
	LineMM          []float64    `json:"centreline_mm" round:"10"` // along the cane from its base
	LineDepthMM     []float64    `json:"centreline_depth_mm" round:"10"`
	LineDiameterMM  []float64    `json:"centreline_diameter_mm"`
	LineMMPerPx     []float64    `json:"centreline_mm_per_px" round:"1e4"` // across the cane
	Nodes           []Node       `json:"nodes"`
	Internodes      []Internode  `json:"internodes"`
	Ellipticity     float64      `json:"ellipticity" round:"1e3"` // major / minor
	MeanDepthMM     float64      `json:"mean_depth_mm" round:"10"`
	MaxAbsDepthMM   float64      `json:"max_abs_depth_mm" round:"10"`
	VisibleFraction float64      `json:"visible_fraction" round:"1e3"` // of the part in the frame
	InFrameFraction float64      `json:"in_frame_fraction" round:"1e3"`
	VisibleLengthMM float64      `json:"visible_length_mm" round:"10"`
	MedianDiameter  *float64     `json:"median_diameter_first8_mm" round:"1e3"` // mm, over internodes 1-8
	MedianInternode *float64     `json:"median_internode_first8_mm"`            // mm; nil where there are no nodes
	Flags           Flags        `json:"flags"`
}

// Node is one joint.
type Node struct {
	MM               float64    `json:"mm"` // along the cane from its base
	Px               [2]float64 `json:"px"`
	BudSide          string     `json:"bud_side"`                       // in the picture, looking from base to tip
	BudTowardsCamera float64    `json:"bud_towards_camera" round:"100"` // cosine: 1 points at the lens
	Visible          bool       `json:"visible"`
	MMPerPx          float64    `json:"mm_per_px" round:"1e4"`
	DepthMM          float64    `json:"depth_mm"`
}

// Internode is the piece between two consecutive nodes.
type Internode struct {
	Index      int     `json:"index"`
	LengthMM   float64 `json:"length_mm"` // arc in three dimensions
	MidMM      float64 `json:"mid_mm"`
	DiameterMM float64 `json:"diameter_mm" round:"100"`          // mean of the two axes at the middle
	ApparentMM float64 `json:"apparent_diameter_mm" round:"1e3"` // of the silhouette
}

// Flags hold the cane against fixed limits: weak under 6 mm, short-noded under
// 50 mm, vigorous over 13 mm.
type Flags struct {
	Weak       bool `json:"weak"`
	ShortNoded bool `json:"short_noded"`
	Vigorous   bool `json:"vigorous"`
}

// Limits of Flags, mm.
const (
	WeakMM       = 6.0
	ShortNodedMM = 50.0
	VigorousMM   = 13.0
)
