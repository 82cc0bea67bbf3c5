package vision

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"time"

	"nodespan/assess"
	"nodespan/vision/caliper"
	"nodespan/vision/cores"
	"nodespan/vision/nodes"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/stance"
	"nodespan/vision/trace"
	"nodespan/vision/wood"
)

// Params gathers every stage's tunables, and those of the intervals.
type Params struct {
	Limits  photo.Limits
	Scale   scale.Params
	Wood    wood.Params
	Learn   wood.LearnParams
	Trace   trace.Params
	Caliper caliper.Params
	Nodes   nodes.Params
	Stance  stance.Params
	// DepthSD is the standard deviation of a cane's distance from the wire
	// plane, mm. One photo can't see it; it is the largest term of every
	// interval. Canes between catch wires stay within some 6 cm. Larger
	// widens all intervals. Default 33.
	DepthSD float64
	// RoundU is the relative standard uncertainty from a section that isn't
	// round, seen from one side. Default 0.01.
	RoundU float64
	// LookAgain is from which angle between the card and the wires' plane on, radians,
	// canes are looked for again by the wires' millimetres. Smaller takes more time.
	// Default 0.1.
	LookAgain float64
	// Pooling is how the edges of two photos of a vine are taken together.
	Pooling Pooling
	// Quality turns signs of a hard reading into uncertainty.
	Quality Quality
	// MaxCaneMM is the thickest that a one-year cane is taken to be; what is
	// thicker is a post or old wood. Default 20 mm: the thickest bull canes
	// stay below.
	MaxCaneMM float64
	// WorkMM is the millimetres to a pixel of the copy on which canes are looked
	// for and followed. Larger is faster and loses thin canes. Default 1.2.
	WorkMM float64
	// AroundMM is the side of the square that counts as a place's surroundings.
	// Smaller hollows out thick canes, larger takes in other light and ground.
	// Default 100.
	AroundMM float64
	// MinRead is the least share of a cane's places at which both edges must have
	// been read. Smaller reports canes of which hardly anything shows, with the
	// wide intervals that come of it. Default 0.08.
	MinRead float64
	// MinNodes is how many joints must show on what was followed by itself
	// before it is called a cane. Smaller takes posts' cracks and far stakes
	// for canes. Default 3.
	MinNodes int
	// LongMM is the length from which one node less is asked of what has the
	// colour of canes that were recognised before. Default 300.
	LongMM float64
	// StakeMM and StakeBend: what is shorter than the one and bends by less than
	// the other (share of its length) is a stake or a far post. Larger loses
	// short straight canes. Default 340 mm and 0.012.
	StakeMM, StakeBend float64
	// SureOdds is from what mean log odds of being wood on something needs no
	// joints to count, when it is longer than SureMM and bends. Smaller
	// takes what has nearly the canes' colour. Default 3.6 and 195 mm.
	SureOdds, SureMM float64
	// LeastLow is the least lower bound of the diameter's interval, as a share of
	// its value: what can't be told from nothing is no cane. Default 0.15.
	LeastLow float64
	// Alike is how much, of what most of the photo's canes have, a cane must look
	// like its wood; AlikeFrom is the log odds that most must have for it to
	// matter. Larger drops more posts and shaded canes. Default 0.72 and 2.5.
	Alike, AlikeFrom float64
	// AlikeThin is the same as Alike for canes narrower than ThinPx, whose colour
	// the lens mixes with the ground's. Default 0.5 and 9 px.
	AlikeThin, ThinPx float64
	// WireMM is how wide a stretch about a wire's middle is in which no edge is
	// read, mm. Default 8.
	WireMM float64
	// MaxBareMM is the longest stretch of a cane without a joint, on average, the
	// ends counted. The longest internodes that are on record have 350 mm; on
	// average over a whole cane none with known truth has more than 120, and some are
	// missed. Larger takes the grain of posts for canes. Default 170.
	MaxBareMM float64
}

// Quality says how far readings may be off that look as they do. The figures
// were set so that the 95 % intervals held about that share of the truth on
// the photos that the method was made with; they are wide because a wrong edge
// or a missed node is wrong by much. All are relative standard uncertainties.
type Quality struct {
	// Floor is there however steady the edges are. Default 0.03.
	Floor float64
	// EdgePx is the standard uncertainty of a whole diameter in pixels, whatever
	// the averaging: on a thin sunlit cane an edge in its own shade hides in
	// the slope of the lit side. It grows fast below four pixels of width, where
	// both edges are one blur. Default 0.6.
	EdgePx float64
	// Unsteady multiplies how far single readings scatter. Default 2.
	Unsteady float64
	// Unread multiplies the share of the cane where no edge could be read.
	// Default 0.25.
	Unread float64
	// Unlike multiplies how far the cane's middle is from looking surely like
	// wood, 0 to 1: where wood and ground have much the same colour, edges are
	// mistaken for each other. Default 0.35.
	Unlike float64
	// Told multiplies the share of a cane whose shaded edge wasn't read, but is told
	// by how wide the sunlit part is: canes of one photo, whose lit share should be
	// alike, differed by 5 to 8 % (physically based photos in the sun). Default 0.08.
	Told float64
	// Lost multiplies how many metres of the cane's lower end may not have been
	// seen: the diameter counts the first eight internodes, and canes taper. 500 mm
	// from the base they had 6 % (own renderer) and 15 % (physically based photos)
	// less than there, at 700 mm 11 and 24 %. Default 0.2.
	Lost float64
	// NodeFloor, NodeUneven, NodeFew and NodeUnsure do the same for the median
	// internode: what is there always, what multiplies the robust scatter of the
	// first internodes' logarithms (missed and surplus nodes make them uneven),
	// what is divided by the square of the number of nodes, and what multiplies the
	// nodes' mean lack of confidence. Default 0.04, 0.35, 4.5 and 0.8.
	NodeFloor, NodeUneven, NodeFew, NodeUnsure float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{Limits: photo.DefaultLimits(), Scale: scale.DefaultParams(), Wood: wood.DefaultParams(), Learn: wood.DefaultLearnParams(),
		Trace: trace.DefaultParams(), Caliper: caliper.DefaultParams(), Nodes: nodes.DefaultParams(), Stance: stance.DefaultParams(),
		DepthSD: 33, RoundU: 0.01, LookAgain: 0.1, Pooling: Pooling{Places: 12, Prior: 1, Floor: assess.PairFloor}, Quality: Quality{Floor: 0.03, EdgePx: 0.6, Unsteady: 2, Unread: 0.25, Unlike: 0.35, Told: 0.08, Lost: 0.2, NodeFloor: 0.04, NodeUneven: 0.35, NodeFew: 4.5, NodeUnsure: 0.8}, MaxCaneMM: 20, WorkMM: 1.2, AroundMM: 100, MinRead: 0.08, MinNodes: 3, LongMM: 300, StakeMM: 340, StakeBend: 0.012, SureOdds: 3.6, SureMM: 195, LeastLow: 0.15, WireMM: 8, Alike: 0.72, AlikeFrom: 2.5, AlikeThin: 0.5, ThinPx: 9, MaxBareMM: 170}
}

// Measurer measures photos in this process. It holds no state between calls
// and may be used from many goroutines.
type Measurer struct {
	Params  Params
	Program string // version, for the record
	// Explain, when not nil, gets one drawing a stage, as JPEG, after each
	// photo.
	Explain func(stage string, jpeg []byte) error
}

// New gives a Measurer with the default tunables.
func New(program string) *Measurer {
	return &Measurer{Params: DefaultParams(), Program: program}
}

var _ assess.Measurer = (*Measurer)(nil)

// Measure fulfils assess.Measurer.
func (v *Measurer) Measure(ctx context.Context, data []byte, ask assess.Ask) (*assess.Measurement, error) {
	if len(ask.With) > 0 {
		return v.withSecond(ctx, data, ask)
	}
	start := time.Now()
	out := &assess.Measurement{Photo: ask.Name, Program: v.Program, Outcome: assess.Refused,
		Reasons: []assess.Reason{}, Wires: []assess.Wire{}, Canes: []assess.Cane{}, TimingMS: map[string]float64{}}
	sum := sha256.Sum256(data)
	out.SHA256 = hex.EncodeToString(sum[:])
	lap := start
	done := func(stage string) {
		now := time.Now()
		out.TimingMS[stage] = math.Round(float64(now.Sub(lap).Microseconds())/10) / 100
		out.TimingMS["total"] = math.Round(float64(now.Sub(start).Microseconds())/10) / 100
		lap = now
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p, err := photo.Decode(data, v.Params.Limits)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	out.WidthPx, out.HeightPx = p.Width, p.Height
	done("decode")

	m, why, err := scale.Find(ctx, p, ask.Marks, v.Params.Scale)
	if err != nil {
		return nil, err
	}
	done("scale")
	if m == nil {
		out.Reasons = why
		out.Advice = assess.Advise(why)
		return out, v.explain(p, nil, story{})
	}
	out.Reference = m.Reference()

	w, err := v.traced(ctx, p, m, func() { done("wood") })
	if err != nil {
		return nil, err
	}
	if flat, by := m.Straighten(w.found.Wires); by > 0 {
		m, out.Reference = flat, flat.Reference()
		// All was looked for by the card's millimetres. Some degrees change little in
		// what is found; many do.
		if by > v.Params.LookAgain {
			out.Reasons = append(out.Reasons, assess.CardAskew)
			if w, err = v.traced(ctx, p, m, func() {}); err != nil {
				return nil, err
			}
		}
	}
	t, learned := w.found, w.learned
	for _, g := range ask.Guided {
		l, err := trace.Guide(ctx, p, m, g[0], g[1], v.Params.Trace)
		if err != nil {
			return nil, err
		}
		t.Canes = append(t.Canes, *l)
	}
	if t.Wires != nil {
		out.Wires = t.Wires
	}
	done("trace")
	profiles, err := v.profiles(ctx, p, m, t.Canes, t.Wires, learned)
	if err != nil {
		return nil, err
	}
	// The caliper moves a line that ran along one side of a cane to its
	// middle: only now two of the same cane are seen to be one.
	read := make([]trace.Line, len(profiles))
	for i, pr := range profiles {
		read[i] = lineOf(pr, &t.Canes[i])
	}
	keep := trace.OnceEach(read)
	slices.SortStableFunc(keep, func(a, b int) int { return cmp.Compare(t.Canes[a].Points[0][0], t.Canes[b].Points[0][0]) })
	done("caliper")
	joints := v.joints(profiles, keep, t.Wires)
	for k, i := range keep {
		if c, ok := v.cane(m, &t.Canes[i], profiles[i], joints[k], learned, p); ok && (t.Canes[i].Guided || v.grown(c, t.Canes[i].Learned, learned)) {
			c.ID = len(out.Canes) + 1
			out.Canes = append(out.Canes, *c)
		}
	}
	out.Canes = v.alike(out.Canes, learned, m)
	for _, o := range t.OldWood {
		mid := o.Points[len(o.Points)/2]
		out.Timber = append(out.Timber, assess.Timber{Kind: "old_wood", CentreLine: thinPoints(o.Points), WidthMM: round(o.MedianWidth()*m.At(mid[0], mid[1]), 1)})
	}
	done("nodes")
	out.Outcome = assess.Measured
	if len(out.Canes) == 0 {
		out.Reasons = append(out.Reasons, assess.NoCane)
	}
	out.Advice = assess.Advise(out.Reasons)
	return out, v.explain(p, m, story{w.seeds, learned, t, profiles, out.Canes})
}

// lineOf makes a line of a profile again, as refined.
func lineOf(pr *caliper.Profile, from *trace.Line) trace.Line {
	l := trace.Line{Guided: from.Guided, Learned: from.Learned, Clear: from.Clear}
	for i, s := range pr.Stations {
		if i%4 != 0 {
			continue
		}
		l.Points = append(l.Points, s.Px)
		l.Seen = append(l.Seen, s.U > 0)
		l.Width = append(l.Width, s.Left+s.Right)
	}
	return l
}

// bands makes lines of wires, as wide as they may disturb an edge.
func (v *Measurer) bands(m *scale.Map, wires []assess.Wire) []trace.Line {
	var out []trace.Line
	for _, w := range wires {
		l := trace.Line{}
		for _, q := range w.Line {
			l.Points = append(l.Points, q)
			l.Width = append(l.Width, max(4, v.Params.WireMM/m.At(q[0], q[1])))
			l.Seen = append(l.Seen, true)
		}
		out = append(out, l)
	}
	return out
}

// profiles reads every line's profile, over all cores.
func (v *Measurer) profiles(ctx context.Context, p *photo.Photo, m *scale.Map, lines []trace.Line, wires []assess.Wire, like *wood.Likeness) ([]*caliper.Profile, error) {
	var likely caliper.Likelihood // none, where nothing was learned
	if like != nil {
		likely = like
	}
	land := trace.NewTerritory(p.Width, p.Height, append(slices.Clone(lines), v.bands(m, wires)...))
	courses, errs := make([]*caliper.Course, len(lines)), make([]error, len(lines))
	cores.Each(len(lines), func(i int) {
		courses[i], errs[i] = caliper.Lay(ctx, p, m, &lines[i], likely, func(x, y float64) bool { return land.Foreign(x, y, i) }, v.Params.Caliper)
	})
	if err := cmp.Or(errs...); err != nil {
		return nil, err
	}
	light := caliper.LightOf(courses)
	out := make([]*caliper.Profile, len(lines))
	cores.Each(len(lines), func(i int) { out[i], errs[i] = courses[i].Read(ctx, light) })
	return out, cmp.Or(errs...)
}

// joints finds the nodes of the profiles that are kept, together.
func (v *Measurer) joints(profiles []*caliper.Profile, keep []int, wires []assess.Wire) [][]assess.Node {
	ps, ws := make([]*caliper.Profile, len(keep)), make([][]float64, len(keep))
	for k, i := range keep {
		ps[k], ws[k] = profiles[i], crossings(profiles[i].Stations, wires)
	}
	return nodes.FindAll(ps, ws, v.Params.Nodes)
}

// cane makes a Cane of a line and its profile; ok is false when nothing of it
// could be read.
func (v *Measurer) cane(m *scale.Map, line *trace.Line, prof *caliper.Profile, joints []assess.Node, like *wood.Likeness, p *photo.Photo) (*assess.Cane, bool) {
	st := prof.Stations
	read := 0
	for _, s := range st {
		if s.U > 0 {
			read++
		}
	}
	if len(st) < 10 || float64(read) < v.Params.MinRead*float64(len(st)) {
		return nil, false
	}
	c := &assess.Cane{Traced: "automatic", Origin: "unknown", Because: []assess.Sentence{}}
	if line.Guided {
		c.Traced = "guided"
	}
	taper := caliper.Tapering(st)
	for i, s := range st {
		if i%3 == 0 || i == len(st)-1 {
			c.CentreLine = append(c.CentreLine, assess.Point{round(s.Px[0], 1), round(s.Px[1], 1)})
			c.AlongMM = append(c.AlongMM, round(s.AlongMM, 1))
		}
		if i%2 == 0 {
			q := assess.ProfilePoint{AlongMM: round(s.AlongMM, 1), DiameterMM: round(s.DiameterMM, 3), U: round(s.U, 3)}
			if d, u, ok := taper.At(s.AlongMM); ok && s.U == 0 {
				q.DiameterMM, q.U, q.Carried = round(d, 3), round(u, 3), true
			}
			c.Profile = append(c.Profile, q)
		}
	}
	tip := st[len(st)-1].Px
	const border = 12
	c.LeavesFrame = tip[0] < border || tip[1] < border || tip[0] > float64(p.Width)-border || tip[1] > float64(p.Height)-border
	c.Nodes = joints
	if float64(len(c.Nodes)+1)*v.Params.MaxBareMM < st[len(st)-1].AlongMM {
		c.Nodes = nil // so few on so long a line are chance
	}
	for i := range c.Nodes {
		n := &c.Nodes[i]
		n.Px = assess.Point{round(n.Px[0], 1), round(n.Px[1], 1)}
		n.AlongMM = round(n.AlongMM, 1)
	}
	if c.Nodes == nil {
		c.Nodes = []assess.Node{}
	}
	mid := st[min(len(st)-1, len(st)/3)].Px
	depth := 0.0
	if m.DistanceMM > 0 {
		depth = v.Params.DepthSD / m.DistanceMM
	}
	u := m.RelativeUAt(mid[0], mid[1])
	steady, share := unsteady(st), float64(read)/float64(len(st))
	q := v.Params.Quality
	trust := math.Hypot(math.Hypot(q.Floor, q.Unsteady*steady), q.Unread*(1-share))
	if like != nil {
		trust = math.Hypot(trust, q.Unlike*(1-like.Clear(centres(st))))
	}
	if w := medianWidth(st); w > 0 {
		trust = math.Hypot(trust, q.EdgePx/w*(1+16/(w*w)))
	}
	trust = math.Hypot(trust, q.Told*told(st))
	trust = math.Hypot(trust, q.Lost*line.LostMM/1000)
	c.RelativeU = round(math.Sqrt(u*u+depth*depth+v.Params.RoundU*v.Params.RoundU), 5)
	c.EdgeDoubt = round(trust, 4)
	c.NodeDoubt = round(math.Min(q.ofNodes(c.Nodes), 0.8), 4)
	assess.Derive(c)
	return c, true
}

// told is the share of the readings whose shaded edge the sunlit part tells.
func told(st []caliper.Station) float64 {
	n, all := 0.0, 0.0
	for _, s := range st {
		if s.U > 0 {
			all++
			if s.Told {
				n++
			}
		}
	}
	return n / max(all, 1)
}

// centres are the places of the stations.
func centres(st []caliper.Station) []assess.Point {
	out := make([]assess.Point, len(st))
	for i, s := range st {
		out[i] = s.Px
	}
	return out
}

// ofNodes is the relative standard uncertainty of the median internode from
// nodes that may be missing or too many.
func (q Quality) ofNodes(ns []assess.Node) float64 {
	const first, most = 8, 0.8
	var logs []float64
	sure, n := 0.0, 0.0
	for i := 0; i < len(ns) && i <= first; i++ {
		sure, n = sure+ns[i].Confidence, n+1
		if i > 0 {
			if d := ns[i].AlongMM - ns[i-1].AlongMM; d > 0 {
				logs = append(logs, math.Log(d))
			}
		}
	}
	uneven := most
	if len(logs) > 2 {
		uneven = min(most, robustSD(logs))
	}
	few := q.NodeFew / math.Pow(float64(max(len(ns), 1)), 2)
	unsure := q.NodeUnsure * (1 - sure/max(n, 1))
	return math.Sqrt(q.NodeFloor*q.NodeFloor + q.NodeUneven*q.NodeUneven*uneven*uneven + few*few + unsure*unsure)
}

// robustSD is the standard deviation of a normal law with the values' median
// absolute deviation.
func robustSD(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	mid := v[len(v)/2]
	for i := range v {
		v[i] = math.Abs(v[i] - mid)
	}
	slices.Sort(v)
	return 1.4826 * v[len(v)/2]
}

// medianWidth is the median of the readings, px, 0 without any.
func medianWidth(st []caliper.Station) float64 {
	var w []float64
	for _, s := range st {
		if s.U > 0 {
			w = append(w, s.Left+s.Right)
		}
	}
	if len(w) == 0 {
		return 0
	}
	slices.Sort(w)
	return w[len(w)/2]
}

// unsteady is the median distance of single readings from the running median
// of seven, relative to the diameter: how much clutter disturbs the edges.
func unsteady(st []caliper.Station) float64 {
	var d []float64
	for _, s := range st {
		if s.U > 0 {
			d = append(d, s.DiameterMM)
		}
	}
	if len(d) < 8 {
		return 0.2
	}
	off := make([]float64, len(d))
	for i := range d {
		w := slices.Clone(d[max(0, i-3):min(len(d), i+4)])
		slices.Sort(w)
		m := w[len(w)/2]
		off[i] = math.Abs(d[i]-m) / m
	}
	slices.Sort(off)
	return off[len(off)/2]
}

// grown tells whether something that was followed by itself can be a one-year
// cane at all: not thicker than one grows, and with a joint at least every so
// often, which posts and stakes don't have. Joints of thin canes aren't always
// seen; what surely has the colour of wood, and bends, needs none.
func (v *Measurer) grown(c *assess.Cane, learned bool, like *wood.Likeness) bool {
	if !c.Diameter.Known() || c.Diameter.Value > v.Params.MaxCaneMM {
		return false
	}
	if c.Diameter.Low < v.Params.LeastLow*c.Diameter.Value {
		return false // not told from nothing: no reading at all
	}
	least := v.Params.MinNodes
	if learned && c.Length.Value > v.Params.LongMM {
		least-- // it has the colour of the photo's canes, and a cane's length
	}
	straight := bend(c.CentreLine) < v.Params.StakeBend
	jointed := len(c.Nodes) >= least && float64(len(c.Nodes)+1)*v.Params.MaxBareMM > c.Length.Value
	if jointed && !(straight && c.Length.Value < v.Params.StakeMM) {
		return true
	}
	return !straight && c.Length.Value > v.Params.SureMM && learned && like != nil && like.Mean(c.CentreLine) >= v.Params.SureOdds
}

// bend is the largest distance of a line's points from the straight line
// between its ends, over the distance of the ends.
func bend(line []assess.Point) float64 {
	if len(line) < 3 {
		return 0
	}
	a, b := line[0], line[len(line)-1]
	d := distance(a, b)
	most := 0.0
	for _, q := range line {
		most = max(most, math.Abs((b[0]-a[0])*(q[1]-a[1])-(b[1]-a[1])*(q[0]-a[0]))/max(d, 1e-9))
	}
	return most / max(d, 1e-9)
}

// crossings gives where wires cross a cane, mm along it.
func crossings(st []caliper.Station, wires []assess.Wire) []float64 {
	var out []float64
	for _, w := range wires {
		a, b := w.Line[0], w.Line[1]
		side := func(q assess.Point) float64 { return (b[0]-a[0])*(q[1]-a[1]) - (b[1]-a[1])*(q[0]-a[0]) }
		for i := 1; i < len(st); i++ {
			if (side(st[i-1].Px) < 0) != (side(st[i].Px) < 0) {
				out = append(out, st[i].AlongMM)
			}
		}
	}
	return out
}

func thinPoints(p []assess.Point) []assess.Point {
	var out []assess.Point
	for i, q := range p {
		if i%4 == 0 || i == len(p)-1 {
			out = append(out, assess.Point{round(q[0], 1), round(q[1], 1)})
		}
	}
	return out
}

func round(v float64, digits int) float64 {
	k := math.Pow(10, float64(digits))
	return math.Round(v*k) / k
}
