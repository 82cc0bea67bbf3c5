package batch

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"nodespan/assess"
	"nodespan/assess/figure"
)

// mostGroups is how many groups one figure compares; more are too narrow to
// read, and stand in the tables.
const mostGroups = 12

// figures draws the plots of the summary.
func figures(s *summary, rs assess.RuleSet) ([]template.HTML, error) {
	var out []template.HTML
	add := func(svg template.HTML, err error) error {
		if err == nil {
			out = append(out, svg)
		}
		return err
	}
	weak := figure.Line{At: rs.Weak.Limit, Label: "weak below " + rs.Weak.String()}
	bull := figure.Line{At: rs.OverVigorous.Limit, Label: "over-vigorous above " + rs.OverVigorous.String(), Dashed: true}
	short := figure.Line{At: rs.ShortNoded.Limit, Label: "short-noded below " + rs.ShortNoded.String()}
	facts := s.T.facts
	if s.D.N > 0 {
		if err := add(figure.Histogram("Diameter", "mm", "canes", known(facts, diameterOf), 0.5, []figure.Line{weak, bull})); err != nil {
			return nil, err
		}
	}
	if s.L.N > 0 {
		if err := add(figure.Histogram("Internode length", "mm", "canes", known(facts, internodeOf), 5, []figure.Line{short})); err != nil {
			return nil, err
		}
	}
	if deep := known(facts, depthOf); len(deep) > 0 {
		if err := add(figure.Histogram("Distance of canes from the wire", "mm, away from the camera positive", "canes", deep, 20, []figure.Line{{At: 0}})); err != nil {
			return nil, err
		}
	}
	for _, g := range []struct {
		what   string
		groups []Compared
	}{{"block", s.Blocks}, {"treatment", s.Treatments}} {
		if len(g.groups) < 2 || len(g.groups) > mostGroups {
			continue
		}
		var ds, ls []figure.Group
		for _, c := range g.groups {
			ds = append(ds, figure.Group{Name: c.Title(), Y: known(c.facts, diameterOf)})
			ls = append(ls, figure.Group{Name: c.Title(), Y: known(c.facts, internodeOf)})
		}
		if err := add(figure.Boxes("Diameter by "+g.what, "mm", ds, []figure.Line{weak})); err != nil {
			return nil, err
		}
		if err := add(figure.Boxes("Internode length by "+g.what, "mm", ls, []figure.Line{short})); err != nil {
			return nil, err
		}
	}
	groups := s.Treatments
	if len(groups) < 2 {
		groups = s.Blocks
	}
	var points []figure.Group
	if len(groups) > 1 && len(groups) <= 6 {
		for _, c := range groups {
			points = append(points, pointsOf(c.Name, c.facts))
		}
	} else {
		points = append(points, pointsOf("", facts))
	}
	if s.D.N > 0 && s.L.N > 0 {
		if err := add(figure.Scatter("Diameter against internode length", "internode length, mm", "diameter, mm", points, []figure.Line{short}, []figure.Line{{At: rs.Weak.Limit, Label: weak.Label, Dashed: true}})); err != nil {
			return nil, err
		}
	}
	if s.Canes > 0 {
		var names []string
		var counts []float64
		for _, f := range assess.Findings() {
			names, counts = append(names, fmt.Sprintf("%s (%d)", f.InWords(), s.Found[f])), append(counts, float64(s.Found[f]))
		}
		if err := add(figure.Bars("Findings", "canes", names, counts)); err != nil {
			return nil, err
		}
	}
	if len(s.Reasons) > 0 {
		var names []string
		var counts []float64
		for _, r := range s.Reasons {
			names, counts = append(names, fmt.Sprintf("%s (%d)", strings.ReplaceAll(r.Name, "_", " "), r.N)), append(counts, float64(r.N))
		}
		if err := add(figure.Bars("Refused photos", "photos", names, counts)); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func pointsOf(name string, facts []fact) figure.Group {
	g := figure.Group{Name: name}
	for _, f := range facts {
		if !math.IsNaN(f.d) && !math.IsNaN(f.l) {
			g.X, g.Y = append(g.X, f.l), append(g.Y, f.d)
		}
	}
	return g
}
