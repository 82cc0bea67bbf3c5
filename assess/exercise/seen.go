package exercise

import (
	"slices"

	"nodespan/assess"
)

// Mode is what a participant sees before choosing.
type Mode string

// The modes, from the least shown to the most.
const (
	PhotoOnly        Mode = "photo"        // the photo; a cane's line once it is taken in hand
	WithMeasurements Mode = "measurements" // that, nodes, diameters and internodes
	WithFindings     Mode = "findings"     // that, and what the program found of each cane
)

// Modes lists the modes, that which shows the least first.
func Modes() []Mode { return []Mode{PhotoOnly, WithMeasurements, WithFindings} }

// Judging is how the trainer's choice comes about.
type Judging string

// The ways of judging.
const (
	Blind    Judging = "blind"  // the trainer chooses without seeing the participants' choices
	Reviewed Judging = "review" // the trainer goes through a participant's choice and changes it
)

// Judgings lists the ways of judging.
func Judgings() []Judging { return []Judging{Blind, Reviewed} }

// Seen is a vine as it was when an exercise was made of it.
type Seen struct {
	WidthPx  int           `json:"width_px"`
	HeightPx int           `json:"height_px"`
	Winter   string        `json:"winter"`
	Program  string        `json:"program"`
	Form     assess.Form   `json:"form"`
	RuleSet  string        `json:"rule_set"`
	Head     *assess.Point `json:"head_px,omitempty"`
	Canes    []SeenCane    `json:"canes"`
}

// SeenCane is a cane of a vine in an exercise.
type SeenCane struct {
	assess.Cane
	Confirmed bool `json:"confirmed"` // a person had ruled on it
	// Near says where it arises: "near" the head, by the limit of the rule set,
	// "far" from it, or "" where that isn't known.
	Near string `json:"near,omitempty"`
}

// See keeps a vine for an exercise: the canes that were confirmed, and those
// that nobody had ruled on yet as the program saw them. What was rejected or
// is old wood isn't among them. EInvalid when nothing is left to choose from.
func See(m *assess.Measurement, winter string, rulings []assess.Ruling, confirmed []assess.ConfirmedCane, form assess.Form, rs assess.RuleSet) (Seen, error) {
	s := Seen{WidthPx: m.WidthPx, HeightPx: m.HeightPx, Winter: winter, Program: m.Program, Form: form, RuleSet: rs.ID(), Head: m.Head, Canes: []SeenCane{}}
	ruled := map[int]bool{}
	for _, r := range rulings {
		ruled[r.Cane] = true
	}
	add := func(c assess.Cane, confirmed bool) {
		c.Profile = nil // measured once; what follows from it is in the cane
		k := SeenCane{Cane: c, Confirmed: confirmed}
		if mm, ok := assess.FromHeadMM(m, &c); ok {
			k.Near = "far"
			if mm <= rs.NearHead.Limit {
				k.Near = "near"
			}
		}
		s.Canes = append(s.Canes, k)
	}
	for _, c := range confirmed {
		if c.Kind == assess.OneYearCane {
			add(c.Cane, true)
		}
	}
	for _, c := range m.Canes {
		if !ruled[c.ID] {
			add(c, false)
		}
	}
	s.Canes = slices.DeleteFunc(s.Canes, func(c SeenCane) bool { return len(c.CentreLine) < 2 })
	slices.SortFunc(s.Canes, func(a, b SeenCane) int { return a.ID - b.ID })
	if m.Outcome == assess.Refused || len(s.Canes) == 0 {
		return s, assess.Errorf(assess.EInvalid, "On this photo no cane was seen, so there is nothing to choose from. Take another photo.")
	}
	return s, nil
}

func (s *Seen) cane(id int) *SeenCane {
	for i := range s.Canes {
		if s.Canes[i].ID == id {
			return &s.Canes[i]
		}
	}
	return nil
}

// Shown is what a participant is shown of a vine before choosing.
type Shown struct {
	Mode     Mode        `json:"mode"`
	WidthPx  int         `json:"width_px"`
	HeightPx int         `json:"height_px"`
	Winter   string      `json:"winter"`
	Form     assess.Form `json:"form"`
	Canes    []ShownCane `json:"canes"`
}

// ShownCane is what a participant is shown of a cane. What the mode doesn't
// show isn't there.
type ShownCane struct {
	ID   int            `json:"id"`
	Line []assess.Point `json:"line_px"` // the middle line, to tell which cane is meant

	Nodes     []assess.Point   `json:"nodes_px,omitempty"`
	Diameter  *assess.Interval `json:"diameter_mm,omitempty"`
	Internode *assess.Interval `json:"internode_mm,omitempty"`
	Length    *assess.Interval `json:"length_mm,omitempty"`

	Finding assess.Finding `json:"finding,omitempty"`
}

// Show gives what a mode shows of a vine.
func (s *Seen) Show(mode Mode) Shown {
	out := Shown{Mode: mode, WidthPx: s.WidthPx, HeightPx: s.HeightPx, Winter: s.Winter, Form: s.Form, Canes: []ShownCane{}}
	for _, c := range s.Canes {
		k := ShownCane{ID: c.ID, Line: c.CentreLine}
		if mode == WithMeasurements || mode == WithFindings {
			for _, n := range c.Nodes {
				k.Nodes = append(k.Nodes, n.Px)
			}
			for _, q := range []struct {
				to   **assess.Interval
				from assess.Interval
			}{{&k.Diameter, c.Diameter}, {&k.Internode, c.Internode}, {&k.Length, c.Length}} {
				if q.from.Known() {
					v := q.from
					*q.to = &v
				}
			}
		}
		if mode == WithFindings {
			k.Finding = c.Finding
		}
		out.Canes = append(out.Canes, k)
	}
	return out
}
