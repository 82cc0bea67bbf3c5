package batch

import (
	"math"
	"strings"

	"nodespan/assess"
)

// The three tables. A field's tags are its column: parquet has the name, unit
// the unit ("" for none), is the meaning, from the source of the definition. A
// pointer is a column that may be empty; empty means "not known", never 0.

// PhotoRow is one photo.
type PhotoRow struct {
	Photo      string   `parquet:"photo" is:"path of the photo below the folder; with it the tables are joined" from:"nodespan"`
	SHA256     *string  `parquet:"sha256,optional" is:"SHA-256 of the file's bytes; empty when it could not be read" from:"FIPS 180-4"`
	SamePhoto  *string  `parquet:"same_photo_as,optional" is:"another photo of this table with the same bytes; that one stands for both" from:"nodespan"`
	Block      *string  `parquet:"block,optional" is:"block that the vine stands in" from:"given"`
	Row        *int64   `parquet:"row,optional" is:"row in the block, from 1" from:"given"`
	Vine       *int64   `parquet:"vine,optional" is:"vine in the row, from 1" from:"given"`
	Stance     *string  `parquet:"stance,optional" is:"which of several photos of the vine" from:"given"`
	Treatment  *string  `parquet:"treatment,optional" is:"treatment of the vine in the trial" from:"given"`
	Cultivar   *string  `parquet:"cultivar,optional" is:"cultivar of the vine" from:"given"`
	Winter     *string  `parquet:"winter,optional" is:"dormant season: 2026/27, south of the equator 2026" from:"nodespan"`
	PlacedBy   *string  `parquet:"placed_by,optional" is:"how the vine was found: name (of the file), list, walk (by time) or hand; empty when it was not" from:"nodespan"`
	TakenAt    *string  `parquet:"taken_at,optional" is:"when the camera says that the photo was taken; its local time, no zone" from:"Exif 2.32, DateTimeOriginal"`
	Outcome    string   `parquet:"outcome" is:"measured, refused (a photo, but not measurable) or failed (not readable); waiting when the run was ended before" from:"nodespan"`
	Reasons    *string  `parquet:"reasons,optional" is:"why it was refused, or measured with less; separated by semicolons" from:"nodespan"`
	Failure    *string  `parquet:"failure,optional" is:"why it failed, in words" from:"nodespan"`
	WidthPx    *int64   `parquet:"width_px,optional" unit:"px" is:"width of the upright photo" from:"nodespan"`
	HeightPx   *int64   `parquet:"height_px,optional" unit:"px" is:"height of the upright photo" from:"nodespan"`
	Reference  *string  `parquet:"reference,optional" is:"the thing of known size: checker (card), bar or marks" from:"nodespan"`
	MMPerPx    *float64 `parquet:"mm_per_px,optional" unit:"mm/px" is:"scale at the reference's centre" from:"nodespan"`
	ScaleU     *float64 `parquet:"scale_relative_u,optional" unit:"1" is:"relative standard uncertainty of the scale at the reference" from:"JCGM 100:2008"`
	ResidualPx *float64 `parquet:"reference_residual_px,optional" unit:"px" is:"root mean square of the reference's corners about the fitted mapping" from:"nodespan"`
	TiltDeg    *float64 `parquet:"reference_tilt_deg,optional" unit:"deg" is:"angle between the card's normal and the line of sight" from:"nodespan"`
	Canes      *int64   `parquet:"canes,optional" unit:"1" is:"one-year canes that were found" from:"nodespan"`
	MedianD    *float64 `parquet:"diameter_median_mm,optional" unit:"mm" is:"median of the canes' diameters" from:"nodespan"`
	MedianI    *float64 `parquet:"internode_median_mm,optional" unit:"mm" is:"median of the canes' internode lengths" from:"nodespan"`
	Program    *string  `parquet:"program,optional" is:"version of the program that measured" from:"nodespan"`
	RuleSet    string   `parquet:"rule_set" is:"rule set by which canes were judged, name@version" from:"nodespan"`
	Second     *string  `parquet:"second_photo,optional" is:"photo of the same vine from another stance that was measured together with this one" from:"nodespan"`
	WithDepth  *int64   `parquet:"canes_with_depth,optional" unit:"1" is:"canes whose distance from the wire the second photo showed; reasons tell why it showed none" from:"nodespan"`
	SecondOf   *string  `parquet:"second_photo_of,optional" is:"photo to which this one showed depth; this one's own canes, measured without depth, are in the tables too, but not counted" from:"nodespan"`
	Counted    bool     `parquet:"counted" is:"the vine's canes are counted by this photo: of several measured photos of a vine in one winter one is, with canes before without, with depth before without, then by the stance's name and by path; a copy of another photo never is" from:"nodespan"`
}

// CaneRow is one cane as seen in one photo.
type CaneRow struct {
	Photo         string   `parquet:"photo" is:"photo in which the cane was seen" from:"nodespan"`
	Block         *string  `parquet:"block,optional" is:"block that the vine stands in" from:"given"`
	Row           *int64   `parquet:"row,optional" is:"row in the block, from 1" from:"given"`
	Vine          *int64   `parquet:"vine,optional" is:"vine in the row, from 1" from:"given"`
	Stance        *string  `parquet:"stance,optional" is:"which of several photos of the vine" from:"given"`
	Treatment     *string  `parquet:"treatment,optional" is:"treatment of the vine in the trial" from:"given"`
	Cultivar      *string  `parquet:"cultivar,optional" is:"cultivar of the vine" from:"given"`
	Winter        *string  `parquet:"winter,optional" is:"dormant season" from:"nodespan"`
	Cane          int64    `parquet:"cane" is:"number of the cane in its photo, from left to right" from:"nodespan"`
	Traced        string   `parquet:"traced" is:"automatic, or guided by two taps of a person" from:"nodespan"`
	Diameter      *float64 `parquet:"diameter_mm,optional" unit:"mm" is:"median of the apparent diameters in the middle of internodes 1 to 8" from:"nodespan; which internodes: common practice, no source"`
	DiameterLow   *float64 `parquet:"diameter_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	DiameterHigh  *float64 `parquet:"diameter_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	Internode     *float64 `parquet:"internode_mm,optional" unit:"mm" is:"median distance between neighbouring nodes along the cane, internodes 1 to 8" from:"nodespan"`
	InternodeLow  *float64 `parquet:"internode_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	InternodeHigh *float64 `parquet:"internode_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	Length        *float64 `parquet:"length_mm,optional" unit:"mm" is:"length of the traced part along the cane" from:"nodespan"`
	LengthLow     *float64 `parquet:"length_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	LengthHigh    *float64 `parquet:"length_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	LeavesFrame   bool     `parquet:"leaves_frame" is:"the tip is outside the picture, so the cane is longer" from:"nodespan"`
	Nodes         int64    `parquet:"nodes" unit:"1" is:"nodes that were seen" from:"nodespan"`
	Origin        string   `parquet:"origin" is:"what the cane arises from: head, old_wood or unknown" from:"nodespan"`
	Finding       string   `parquet:"finding" is:"sound, weak, short_noded, weak_and_short_noded, over_vigorous, too_close_to_call or not_measurable: a suggestion, not a ruling" from:"JCGM 106:2012 with the rule set's limits"`
	Because       string   `parquet:"because" is:"why, in words" from:"nodespan"`
	RelativeU     float64  `parquet:"relative_u" unit:"1" is:"relative standard uncertainty that all millimetres of this cane share: scale, distance from the reference, unseen depth" from:"JCGM 100:2008"`
	BaseX         *float64 `parquet:"base_x_px,optional" unit:"px" is:"base of the cane in the upright photo, from the left" from:"nodespan"`
	BaseY         *float64 `parquet:"base_y_px,optional" unit:"px" is:"base of the cane in the upright photo, from the top" from:"nodespan"`
	TipX          *float64 `parquet:"tip_x_px,optional" unit:"px" is:"end of the traced part, from the left" from:"nodespan"`
	TipY          *float64 `parquet:"tip_y_px,optional" unit:"px" is:"end of the traced part, from the top" from:"nodespan"`
	BaseXMM       *float64 `parquet:"base_x_mm,optional" unit:"mm" is:"base of the cane on the wire plane, to the right of the reference's centre" from:"nodespan"`
	BaseYMM       *float64 `parquet:"base_y_mm,optional" unit:"mm" is:"base of the cane on the wire plane, down from the reference's centre" from:"nodespan"`
	RuleSet       string   `parquet:"rule_set" is:"rule set by which the cane was judged, name@version" from:"nodespan"`
	Depth         *float64 `parquet:"depth_mm,optional" unit:"mm" is:"how far the cane stands off the reference's plane, positive away from the camera; empty without a second photo that shows it. Where it is known, all millimetres of the cane allow for it" from:"Hartley and Zisserman, Multiple View Geometry, 2nd ed., 13.3"`
	DepthLow      *float64 `parquet:"depth_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	DepthHigh     *float64 `parquet:"depth_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	LeanU         *float64 `parquet:"lean_u_deg,optional" unit:"deg" is:"standard uncertainty of the cane's lean towards the camera or away from it that is left after the second photo; empty without one" from:"JCGM 100:2008"`
	Counted       bool     `parquet:"counted" is:"counts in summary and methods: its vine is counted by this photo (see photos). Leave the others out wherever each cane of a vine is to count once" from:"nodespan"`
}

// InternodeRow is one piece of a cane between two neighbouring nodes.
type InternodeRow struct {
	Photo        string   `parquet:"photo" is:"photo in which the cane was seen" from:"nodespan"`
	Block        *string  `parquet:"block,optional" is:"block that the vine stands in" from:"given"`
	Row          *int64   `parquet:"row,optional" is:"row in the block, from 1" from:"given"`
	Vine         *int64   `parquet:"vine,optional" is:"vine in the row, from 1" from:"given"`
	Stance       *string  `parquet:"stance,optional" is:"which of several photos of the vine" from:"given"`
	Treatment    *string  `parquet:"treatment,optional" is:"treatment of the vine in the trial" from:"given"`
	Cultivar     *string  `parquet:"cultivar,optional" is:"cultivar of the vine" from:"given"`
	Winter       *string  `parquet:"winter,optional" is:"dormant season" from:"nodespan"`
	Cane         int64    `parquet:"cane" is:"number of the cane in its photo" from:"nodespan"`
	Internode    int64    `parquet:"internode" is:"number of the internode from the cane's base, from 1" from:"nodespan"`
	From         float64  `parquet:"from_mm" unit:"mm" is:"place of its lower node, from the cane's base along the cane" from:"nodespan"`
	To           float64  `parquet:"to_mm" unit:"mm" is:"place of its upper node" from:"nodespan"`
	Length       *float64 `parquet:"length_mm,optional" unit:"mm" is:"distance between the two nodes along the cane" from:"nodespan"`
	LengthLow    *float64 `parquet:"length_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	LengthHigh   *float64 `parquet:"length_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	Diameter     *float64 `parquet:"diameter_mm,optional" unit:"mm" is:"apparent diameter in the internode's middle" from:"nodespan"`
	DiameterLow  *float64 `parquet:"diameter_low_mm,optional" unit:"mm" is:"lower bound of its 95 % interval" from:"JCGM 100:2008"`
	DiameterHigh *float64 `parquet:"diameter_high_mm,optional" unit:"mm" is:"upper bound of its 95 % interval" from:"JCGM 100:2008"`
	NodeSide     string   `parquet:"lower_node_side" is:"side of the lower node's bud, looking from base to tip: left, right or unknown" from:"nodespan"`
	NodeSure     float64  `parquet:"lower_node_confidence" unit:"1" is:"how sure the lower node is, 0 to 1" from:"nodespan"`
	Counted      bool     `parquet:"counted" is:"counts in summary and methods, as its cane does" from:"nodespan"`
}

// A sighting is one photo with everything that the tables tell of it.
type sighting struct {
	rec       record
	at        Place
	seen      *assess.Measurement // nil for a failed or waiting photo; judged
	samePhoto string
	secondOf  string // the photo to which it showed depth
	counted   bool   // its vine is counted by it
	rules     string
}

func (s *sighting) photoRow() PhotoRow {
	at := s.at
	r := PhotoRow{
		Photo: s.rec.path, SHA256: text(s.rec.sha), SamePhoto: text(s.samePhoto),
		Block: text(at.Block), Row: whole(at.Row), Vine: whole(at.Vine), Stance: text(at.Stance),
		Treatment: text(at.Treatment), Cultivar: text(at.Cultivar), Winter: text(at.Winter), PlacedBy: text(at.By),
		TakenAt: text(s.rec.taken), Outcome: s.rec.outcome, RuleSet: s.rules,
		Second: text(s.rec.second), SecondOf: text(s.secondOf), Counted: s.counted,
	}
	if r.Outcome == "" {
		r.Outcome = "waiting"
	}
	m := s.seen
	if m == nil {
		r.Failure = text(s.rec.why.String())
		return r
	}
	var reasons []string
	for _, w := range m.Reasons {
		reasons = append(reasons, string(w))
	}
	r.Reasons, r.Program = text(strings.Join(reasons, "; ")), text(m.Program)
	r.WidthPx, r.HeightPx = whole(m.WidthPx), whole(m.HeightPx)
	if f := m.Reference; f != nil {
		r.Reference, r.MMPerPx, r.ScaleU = text(f.Kind), number(f.MMPerPx, 5), number(f.RelativeU, 5)
		r.ResidualPx, r.TiltDeg = number(f.ResidualPx, 3), number(f.TiltDeg, 2)
	}
	if m.Outcome == assess.Measured {
		n := int64(len(m.Canes))
		r.Canes = &n
		var ds, ls []float64
		deep := int64(0)
		for _, c := range m.Canes {
			if c.Depth != nil {
				deep++
			}
			if c.Diameter.Known() {
				ds = append(ds, c.Diameter.Value)
			}
			if c.Internode.Known() {
				ls = append(ls, c.Internode.Value)
			}
		}
		if s.rec.second != "" {
			r.WithDepth = &deep
		}
		if len(ds) > 0 {
			r.MedianD = number(median(ds), 3)
		}
		if len(ls) > 0 {
			r.MedianI = number(median(ls), 2)
		}
	}
	return r
}

func (s *sighting) caneRow(c *assess.Cane) CaneRow {
	at := s.at
	r := CaneRow{
		Photo: s.rec.path, Block: text(at.Block), Row: whole(at.Row), Vine: whole(at.Vine), Stance: text(at.Stance),
		Treatment: text(at.Treatment), Cultivar: text(at.Cultivar), Winter: text(at.Winter),
		Cane: int64(c.ID), Traced: c.Traced, LeavesFrame: c.LeavesFrame, Nodes: int64(len(c.Nodes)), Origin: c.Origin,
		Finding: string(c.Finding), Because: strings.Join(assess.Texts(c.Because), "; "), RelativeU: rounded(c.RelativeU, 5), RuleSet: s.rules, Counted: s.counted,
	}
	if d := c.Depth; d != nil {
		r.Depth, r.DepthLow, r.DepthHigh, r.LeanU = number(d.Value, 1), number(d.Low, 1), number(d.High, 1), number(c.LeanU, 2)
	}
	r.Diameter, r.DiameterLow, r.DiameterHigh = bounds(c.Diameter, 3)
	r.Internode, r.InternodeLow, r.InternodeHigh = bounds(c.Internode, 2)
	r.Length, r.LengthLow, r.LengthHigh = bounds(c.Length, 1)
	if n := len(c.CentreLine); n > 0 {
		base, tip := c.CentreLine[0], c.CentreLine[n-1]
		r.BaseX, r.BaseY, r.TipX, r.TipY = number(base[0], 1), number(base[1], 1), number(tip[0], 1), number(tip[1], 1)
		if q, ok := s.seen.Reference.ToMM(base); ok {
			r.BaseXMM, r.BaseYMM = number(q[0], 1), number(q[1], 1)
		}
	}
	return r
}

func (s *sighting) internodeRows(c *assess.Cane) []InternodeRow {
	at := s.at
	var out []InternodeRow
	for i, in := range c.Internodes {
		if i+1 >= len(c.Nodes) {
			break
		}
		r := InternodeRow{
			Photo: s.rec.path, Block: text(at.Block), Row: whole(at.Row), Vine: whole(at.Vine), Stance: text(at.Stance),
			Treatment: text(at.Treatment), Cultivar: text(at.Cultivar), Winter: text(at.Winter),
			Cane: int64(c.ID), Internode: int64(i + 1), From: rounded(c.Nodes[i].AlongMM, 1), To: rounded(c.Nodes[i+1].AlongMM, 1),
			NodeSide: c.Nodes[i].Side, NodeSure: rounded(c.Nodes[i].Confidence, 3), Counted: s.counted,
		}
		r.Length, r.LengthLow, r.LengthHigh = bounds(in.Length, 2)
		r.Diameter, r.DiameterLow, r.DiameterHigh = bounds(in.Diameter, 3)
		out = append(out, r)
	}
	return out
}

func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// whole is a number that counts from 1; 0 is unknown.
func whole(n int) *int64 {
	if n == 0 {
		return nil
	}
	v := int64(n)
	return &v
}

func number(v float64, decimals int) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = rounded(v, decimals)
	return &v
}

func bounds(q assess.Interval, decimals int) (value, low, high *float64) {
	if !q.Known() {
		return nil, nil, nil
	}
	return number(q.Value, decimals), number(q.Low, decimals), number(q.High, decimals)
}

// rounded rounds to decimals, so that the last digits, which mean nothing and
// may differ between machines, don't come into the tables.
func rounded(v float64, decimals int) float64 {
	k := math.Pow(10, float64(decimals))
	return math.Round(v*k) / k
}
