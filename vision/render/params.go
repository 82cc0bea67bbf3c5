package render

// Kind is what stands in the scene.
type Kind string

// The kinds of scene.
const (
	Vine     Kind = "vine"  // a trellis with three vines
	Empty    Kind = "empty" // a trellis without any vine
	Rods     Kind = "rods"  // smooth rods of given diameters, truth as canes without nodes
	CardOnly Kind = "card"  // the reference and the background alone
)

// Background names what is behind the row.
type Background string

// The backgrounds.
const (
	WhiteSheet Background = "sheet/white"
	BlueSheet  Background = "sheet/blue"
	SkyGrass   Background = "sky_grass"
	NextRow    Background = "next_row" // a row of the same vines 2 m behind
	Soil       Background = "soil"     // a bank of bare soil
)

// Light names the light.
type Light string

// The lights.
const (
	Overcast Light = "overcast"
	Sun      Light = "sun" // low sun, hard shadows
	Dusk     Light = "dusk"
)

// RefKind names the thing of known size.
type RefKind string

// The references.
const (
	NoRef   RefKind = "none"
	CardRef RefKind = "card"
	BarRef  RefKind = "bar"
)

// Reference is the card or bar in the scene. Sizes in mm.
type Reference struct {
	Kind       RefKind
	Cols, Rows int
	SquareMM   float64
	HeightMM   float64 // of the bar's blocks
	MarginMM   float64
	XMM        float64 // its centre along the row
	DepthMM    float64 // of its centre; 0 is the wire plane, where it belongs
	TopZMM     float64 // height of its upper edge; 0 hangs it under the lower wire
	TiltDeg    float64 // about the horizontal: top towards the camera
	TurnDeg    float64 // about the vertical
	RotateDeg  float64 // in its own plane
	WhiteFirst bool    // the top left square is white
	// HideFraction of the pattern's width is covered by a dark rag; 0 none.
	HideFraction float64
}

// Growth bounds what grows. Pairs are lower and upper bounds.
type Growth struct {
	Canes       [2]int     // one-year canes of the middle vine
	DiameterMM  [2]float64 // near the base
	InternodeMM [2]float64 // mean of a cane's internodes
	LeanDeg     float64    // largest lean from upright, along the row and across it
	DepthMM     float64    // canes stay within this distance of the wire plane
	ShortNoded  float64    // share of canes with internodes of 20 to 45 mm
	Swelling    [2]float64 // radius at a node over that beside it
	ZigZagDeg   float64    // largest bend at a node
	Tendrils    float64    // chance of one at a node
	Laterals    float64    // chance of a short side shoot at a node
	Ellipticity float64    // largest ratio of the axes of a cross-section
	Neighbours  bool       // vines to the left and right
	SpacingMM   float64    // between vines
}

// Rod is one smooth rod of KindRods: upright before lean, from the lower wire.
type Rod struct {
	DiameterMM, XMM, DepthMM, LeanDeg, LengthMM float64
}

// Params is everything that a photo depends on.
type Params struct {
	Name          string
	Seed          uint64 // of growth, textures and noise
	Kind          Kind
	Width, Height int // px

	HFOVDeg    float64 // across the picture's width
	K1         float64 // lens distortion
	DistanceMM float64 // from the wire plane
	CameraXMM  float64
	CameraZMM  float64
	YawDeg     float64 // positive looks to the right
	PitchDeg   float64 // positive looks up
	RollDeg    float64
	// From, when not nil, is where the picture is taken from instead: the scene
	// stays as it grew for the camera above.
	From *View

	Background   Background
	SheetDepthMM float64 // of a backdrop sheet behind the wires
	Light        Light
	SunAzimuth   float64 // degrees; 0 is behind the camera, positive from the right
	SunElevation float64 // degrees

	LowerWireMM, UpperWireMM float64 // heights of the fruiting wires
	CatchWiresMM             []float64
	Post                     bool
	PostXMM                  float64

	Reference Reference
	Growth    Growth
	Rods      []Rod

	Exposure   float64 // of full scale that a white card in open shade reaches; 0.65 is usual, 0.9 clips
	DefocusPx  float64 // sigma
	MotionPx   float64 // length of the trail
	MotionDeg  float64
	FullWell   float64 // electrons at full scale: 8000 is a phone by day, 400 a phone at dusk
	ReadNoise  float64 // electrons
	Sharpening float64 // unsharp mask amount at 1 px; 0 none, 1 strong

	JPEGQuality int // for whoever encodes the picture
	// TruthStepMM is the distance between points of a centre line in the truth
	// (6 mm when 0). Larger makes a smaller file, but blunts the swellings.
	TruthStepMM float64
}

// View is a camera's place and direction, as in Params.
type View struct {
	DistanceMM, CameraXMM, CameraZMM float64
	YawDeg, PitchDeg, RollDeg        float64
}

// Scene is the grown scene, all in world millimetres.
type Scene struct {
	tubes  []*tube
	beads  []bead
	boards []board
	wires  []wireLine
	canes  []*grownCane
	wood   []*tube // in the order of the truth's list
	head   *vec
	lowerZ float64
}

// wireLine is a wire's truth beside its tube.
type wireLine struct {
	name    string
	nominal float64
	depth   float64
	dia     float64
	tube    *tube
}

// Materials decide reflectance and relief.
type material uint8

const (
	matCane material = iota
	matOld
	matTrunk
	matKnob
	matWire
	matTie
	matPost
	matRod
	matBud
	matCut
	matRag
	matClip
	matFar
)

// station is one place on a tube's centre line.
type station struct {
	p    vec
	r    float64 // mean radius, mm
	s    float64 // mm along
	node float64 // 0..1: how near a node
}

// tube is a generalised cylinder. axis is the direction of the major axis of
// its cross-section, ell major / minor.
type tube struct {
	st     []station
	axis   vec
	ell    float64
	rough  float64 // relative unevenness of the silhouette
	mat    material
	tint   rgb
	seed   uint32
	id     int32 // whose it is in the identity buffer; 0 nobody's
	shadow bool  // casts one
	class  string
	name   string
}

// bead is a ball.
type bead struct {
	p    vec
	r    float64
	mat  material
	tint rgb
	seed uint32
	id   int32
}

// board is a flat rectangle: centre, half axes (with their lengths), pattern.
type board struct {
	c, hx, hy vec
	paint     func(x, y float64) rgb // mm from the centre; reflectance
	id        int32
	edge      float64 // raggedness, mm
	seed      uint32
}

// grownCane keeps what the truth needs of a cane.
type grownCane struct {
	t       *tube
	vine    int
	origin  string
	nodeS   []float64
	budDir  []vec
	diaAt   func(s float64) float64 // mean diameter, mm
	lengthS float64
}
