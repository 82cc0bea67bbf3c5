package assess

import (
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Said is a person's answer to a finding.
type Said string

// The three rulings. Correct also adds a cane that the program missed.
const (
	Agree   Said = "agree"   // the finding stands as the program gave it
	Correct Said = "correct" // the cane counts with what the ruling changes
	Reject  Said = "reject"  // nothing of what the program reported here counts
)

// Kind is what a traced piece of wood is.
type Kind string

// What a person can say that a traced line is.
const (
	OneYearCane Kind = "cane"
	OldWood     Kind = "old_wood"
	NotACane    Kind = "not_a_cane" // wire, post, tendril, shadow
)

// Seen is what the program had said of the cane when the ruling was made,
// kept beside it so that the pair (seen, said) outlives newer programs.
type Seen struct {
	Program   string     `json:"program"`
	RuleSet   string     `json:"rule_set"`
	Finding   Finding    `json:"finding"`
	Because   []Sentence `json:"because"`
	Diameter  Interval   `json:"diameter_mm"`
	Internode Interval   `json:"internode_mm"`
	Nodes     int        `json:"nodes"` // how many
}

// Ruling is what a person said of one cane of one measurement. It is only
// ever added: a later ruling of the same cane supersedes the earlier, and
// both are kept.
type Ruling struct {
	ID   int64 `json:"id"` // the store's; 0 before it was kept
	Cane int   `json:"cane"`
	Said Said  `json:"said"`

	// What follows may only be set with Correct; at least one must be.

	Kind    Kind    `json:"kind,omitempty"`    // "" leaves it a cane
	Finding Finding `json:"finding,omitempty"` // "" leaves it to Judge
	// Nodes is the full corrected list, by AlongMM; nil leaves the program's.
	// An empty list that isn't nil says that no node can be seen.
	Nodes []Node `json:"nodes"`
	// DiameterMM was measured by hand with a caliper and stands above the
	// photo's; 0 when nobody did.
	DiameterMM float64 `json:"diameter_mm_by_hand,omitempty"`
	// Missed is a cane that the program hadn't reported and that was traced
	// after a person pointed at it; Cane is then its new number.
	Missed *Cane `json:"missed,omitempty"`
	// Line is the cane as it was followed anew after a person pulled its centre
	// line to where it runs; Trace is the store's number of that trace, by which
	// a later ruling can mean it again.
	Line  *Cane `json:"line,omitempty"`
	Trace int64 `json:"trace,omitempty"`

	// Carried is the ruling that this one repeats, made of an earlier measurement
	// of the same photo; 0 for one that was made of this measurement.
	Carried int64 `json:"carried,omitempty"`

	Note string    `json:"note,omitempty"`
	Who  string    `json:"who"`
	When time.Time `json:"when"`
	Seen Seen      `json:"seen"`
}

// Limits on what a ruling may hold; beyond them it's a slip or an attack.
const (
	mostNodes        = 200  // of one cane
	nodesApartMM     = 3    // nearer together they are one node tapped twice
	beyondTipMM      = 10   // a node may be tapped this far past the traced tip
	longestNote      = 2000 // characters
	longestWho       = 200
	leastHandMM      = 1.0
	mostHandMM       = 50.0
	mostLinePoints   = 20000
	mostMissedLength = 10000.0 // mm
)

// SeenOf is what the program says of cane c of m, to be kept in a Ruling.
func SeenOf(m *Measurement, c *Cane) Seen {
	return Seen{
		Program: m.Program, RuleSet: m.RuleSet,
		Finding: c.Finding, Because: slices.Clone(c.Because),
		Diameter: c.Diameter, Internode: c.Internode, Nodes: len(c.Nodes),
	}
}

// NewRuling starts a ruling of a cane of m, or of one that earlier added, with
// what the program had said of it filled in. ENotFound when there's no such
// cane. Who, When and the corrections are the caller's to set; Validate comes
// after them.
func NewRuling(m *Measurement, earlier []Ruling, cane int, said Said) (Ruling, error) {
	c := findCane(m, earlier, cane)
	if c == nil {
		return Ruling{}, noSuchCane(cane)
	}
	return Ruling{Cane: cane, Said: said, Seen: SeenOf(m, c)}, nil
}

// NewMissed starts the ruling that adds a cane that the program had missed; it
// gets the next free number.
func NewMissed(m *Measurement, earlier []Ruling, c Cane) Ruling {
	c = cloneCane(c)
	c.ID = NextCane(m, earlier)
	return Ruling{Cane: c.ID, Said: Correct, Missed: &c, Seen: Seen{Program: m.Program, RuleSet: m.RuleSet}}
}

// NewRetraced starts the ruling that puts a line that was followed anew in the
// place of a cane's. ENotFound when there is no such cane.
func NewRetraced(m *Measurement, earlier []Ruling, cane int, line Cane, trace int64) (Ruling, error) {
	r, err := NewRuling(m, earlier, cane, Correct)
	if err != nil {
		return r, err
	}
	line = cloneCane(line)
	line.ID = cane
	r.Line, r.Trace = &line, trace
	return r, nil
}

// NextCane is a number that no cane of m and no added one has.
func NextCane(m *Measurement, earlier []Ruling) int {
	next := 1
	for _, c := range m.Canes {
		next = max(next, c.ID+1)
	}
	for _, r := range earlier {
		next = max(next, r.Cane+1)
	}
	return next
}

// Validate tells whether the ruling may be kept: nil, or an Error with code
// EInvalid or ENotFound and a sentence of what to do. m is the measurement
// that it's about, earlier the rulings that were made of it before.
func (r Ruling) Validate(m *Measurement, earlier []Ruling) error {
	c := r.Missed
	if c == nil {
		c = findCane(m, earlier, r.Cane)
	}
	switch {
	case c == nil:
		return noSuchCane(r.Cane)
	case strings.TrimSpace(r.Who) == "" || utf8.RuneCountInString(r.Who) > longestWho:
		return Errorf(EInvalid, "a ruling needs the name of who made it, up to %d characters: sign in, or type your name.", longestWho)
	case r.When.IsZero():
		return Errorf(EInvalid, "a ruling needs the time at which it was made.")
	case utf8.RuneCountInString(r.Note) > longestNote:
		return Errorf(EInvalid, "the note is longer than %d characters: shorten it.", longestNote)
	}
	switch r.Said {
	case Agree, Reject:
		if r.corrects() {
			return Errorf(EInvalid, "a ruling that says %q can't change anything of the cane: say %q instead.", r.Said, Correct)
		}
		return nil
	case Correct:
		if !r.corrects() {
			return Errorf(EInvalid, "a correction needs something corrected: nodes, diameter, finding or what it is; or agree instead.")
		}
	default:
		return Errorf(EInvalid, "a ruling says %q; say agree, correct or reject.", r.Said)
	}
	return r.validateCorrection(m, earlier, c)
}

func (r Ruling) corrects() bool {
	return r.Kind != "" || r.Finding != "" || r.Nodes != nil || r.DiameterMM != 0 || r.Missed != nil || r.Line != nil
}

func (r Ruling) validateCorrection(m *Measurement, earlier []Ruling, c *Cane) error {
	switch r.Kind {
	case "", OneYearCane:
	case OldWood, NotACane:
		if r.Finding != "" {
			return Errorf(EInvalid, "a finding is of one-year canes alone: leave it out when the wood is something else.")
		}
		if r.Missed != nil {
			return Errorf(EInvalid, "a missed cane can't be added as %q: add it as a cane, or leave it.", r.Kind)
		}
	default:
		return Errorf(EInvalid, "%q isn't a kind of wood; give cane, old_wood or not_a_cane.", r.Kind)
	}
	if r.Finding != "" && !slices.Contains(Findings(), r.Finding) {
		return Errorf(EInvalid, "%q isn't a finding; choose one of %s.", r.Finding, joinFindings())
	}
	// The negated form catches NaN.
	if r.DiameterMM != 0 && !(r.DiameterMM >= leastHandMM && r.DiameterMM <= mostHandMM) {
		return Errorf(EInvalid, "a diameter of %s can't be a cane's: measure it again, %s to %s.", Length{MM: r.DiameterMM, Decimals: -1}, Length{MM: leastHandMM}, Length{MM: mostHandMM})
	}
	if r.Missed != nil {
		if findCane(m, earlier, r.Cane) != nil || r.Missed.ID != r.Cane || r.Cane < 1 {
			return Errorf(EConflict, "a missed cane needs a number that no other cane of the photo has: reload the photo and add it again.")
		}
		if err := validLine(r.Missed); err != nil {
			return err
		}
		if err := validNodes(r.Missed.Nodes, c); err != nil {
			return err
		}
	}
	if r.Line != nil {
		if r.Missed != nil || r.Line.ID != r.Cane {
			return Errorf(EInvalid, "a line that was pulled belongs to one cane that is there already: pull it again.")
		}
		if err := validLine(r.Line); err != nil {
			return err
		}
		c = r.Line
		if err := validNodes(c.Nodes, c); err != nil {
			return err
		}
	}
	return validNodes(r.Nodes, c)
}

func validNodes(nodes []Node, c *Cane) error {
	if len(nodes) > mostNodes {
		return Errorf(EInvalid, "%d nodes on one cane: give at most %d.", len(nodes), mostNodes)
	}
	tip := math.Inf(1)
	if n := len(c.AlongMM); n > 0 {
		tip = c.AlongMM[n-1]
	}
	at := make([]float64, 0, len(nodes))
	for i, n := range nodes {
		switch {
		case !finite(n.AlongMM) || !finite(n.Px[0]) || !finite(n.Px[1]):
			return Errorf(EInvalid, "node %d has no place: tap it on the cane again.", i+1)
		case n.AlongMM < 0 || n.AlongMM > tip+beyondTipMM:
			return Errorf(EInvalid, "node %d lies %.0f mm from the base, beyond the traced cane of %.0f mm: move or delete it.", i+1, n.AlongMM, tip)
		case !slices.Contains([]string{"", "left", "right", "unknown"}, n.Side):
			return Errorf(EInvalid, "node %d is on the side %q: give left, right or unknown.", i+1, n.Side)
		case !(n.Confidence >= 0 && n.Confidence <= 1):
			return Errorf(EInvalid, "node %d has a confidence of %v: give 0 to 1.", i+1, n.Confidence)
		}
		at = append(at, n.AlongMM)
	}
	slices.Sort(at)
	for i := 1; i < len(at); i++ {
		if at[i]-at[i-1] < nodesApartMM {
			return Errorf(EInvalid, "two nodes lie within %d mm of each other, %.0f mm from the base: delete one.", nodesApartMM, at[i])
		}
	}
	return nil
}

func validLine(c *Cane) error {
	if len(c.CentreLine) < 2 || len(c.CentreLine) != len(c.AlongMM) || len(c.CentreLine) > mostLinePoints {
		return Errorf(EInvalid, "the missed cane has no usable middle line: point out its base and tip once more.")
	}
	before := 0.0
	for i, p := range c.CentreLine {
		a := c.AlongMM[i]
		if !finite(p[0]) || !finite(p[1]) || !finite(a) || a < before || a > mostMissedLength {
			return Errorf(EInvalid, "the missed cane's middle line is broken at its point %d: point out its base and tip once more.", i+1)
		}
		before = a
	}
	return nil
}

// Findings lists every finding that there is.
func Findings() []Finding {
	return []Finding{Sound, Weak, ShortNoded, WeakAndShortNoded, OverVigorous, TooCloseToCall, NotMeasurable}
}

func joinFindings() string {
	var s []string
	for _, f := range Findings() {
		s = append(s, string(f))
	}
	return strings.Join(s, ", ")
}

func noSuchCane(id int) error {
	return Errorf(ENotFound, "this photo has no cane %d: reload it, its canes may have been measured anew.", id)
}

// findCane finds a cane of m, or one that a person added; nil when there's
// none. The result is not to be changed.
func findCane(m *Measurement, rulings []Ruling, id int) *Cane {
	for i := range m.Canes {
		if m.Canes[i].ID == id {
			return &m.Canes[i]
		}
	}
	for i := range rulings {
		if rulings[i].Cane == id && rulings[i].Missed != nil {
			return rulings[i].Missed
		}
	}
	return nil
}

func cloneCane(c Cane) Cane {
	c.CentreLine = slices.Clone(c.CentreLine)
	c.AlongMM = slices.Clone(c.AlongMM)
	c.Nodes = slices.Clone(c.Nodes)
	c.Internodes = slices.Clone(c.Internodes)
	c.Profile = slices.Clone(c.Profile)
	c.Because = slices.Clone(c.Because)
	return c
}

// InWords is a finding as a person says it: "weak and short-noded".
func (f Finding) InWords() Sentence {
	switch f {
	case Sound:
		return Tell("sound")
	case Weak:
		return Tell("weak")
	case ShortNoded:
		return Tell("short-noded")
	case WeakAndShortNoded:
		return Tell("weak and short-noded")
	case OverVigorous:
		return Tell("over-vigorous")
	case TooCloseToCall:
		return Tell("too close to call")
	case NotMeasurable:
		return Tell("not measurable")
	case "":
		return Tell("not judged")
	}
	return cited(string(f))
}
