package api

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// measurementView is what the page to rule on needs.
type measurementView struct {
	ID        int64                  `json:"id"`
	Photo     int64                  `json:"photo"`
	Seq       int                    `json:"seq"` // number of the last ruling; goes back with the next ones
	Seen      *assess.Measurement    `json:"seen"`
	Rulings   []assess.Ruling        `json:"rulings"`
	Confirmed []assess.ConfirmedCane `json:"confirmed"`
	Findings  []assess.Finding       `json:"findings"` // what a person can say
	Closer    []closerView           `json:"closer"`   // canes of which one more photo would tell more
	Second    *secondView            `json:"second"`   // a second photo from a step aside
	Medium    string                 `json:"medium"`   // picture addresses
	Full      string                 `json:"full"`
	Who       string                 `json:"who"`
	Vine      string                 `json:"vine"`   // addresses
	Choice    string                 `json:"choice"` //
	// Words has the sentences of the answer, by their English text, in the
	// language of the page that asked.
	Words map[string]string `json:"words,omitempty"`
}

// closerView is what one more photo, with the card clipped to a cane, would
// tell of it.
type closerView struct {
	Cane     int             `json:"cane"`
	Finding  assess.Finding  `json:"finding"`
	Diameter assess.Interval `json:"diameter_mm"`
}

func (s *Server) viewMeasurement(c echo.Context, g *sighting, name string) (measurementView, error) {
	second, err := s.second(c.Request().Context(), g)
	if err != nil {
		return measurementView{}, err
	}
	seen := *g.measurement.Seen
	closer := []closerView{}
	for _, c := range seen.Canes {
		if with, helps := assess.WithCardOn(&seen, c, g.rules); helps {
			closer = append(closer, closerView{c.ID, with.Finding, with.Diameter})
		}
	}
	seen.Canes = slices.Clone(seen.Canes)
	for i := range seen.Canes {
		seen.Canes[i] = forPage(seen.Canes[i])
	}
	photo := photoPath(g.photo.ID)
	v := measurementView{
		ID: g.measurement.ID, Photo: g.photo.ID, Seq: len(g.rulings), Seen: &seen,
		Rulings: viewRulings(g.rulings), Confirmed: confirmedForPage(g.confirmed), Findings: assess.Findings(), Closer: closer, Second: &second,
		Medium: photo + "/picture/medium.jpg", Full: photo + "/picture/full.jpg", Who: name,
		Vine: vinePath(g.vine), Choice: photo + "/choice",
	}
	v.Words = s.words(c, []any{seen.Canes, v.Confirmed, second.Depths, second.Why})
	return v, nil
}

// forPage leaves the diameter readings along a cane out, which pages don't show
// and which are most of the bytes, and makes empty lists of those that are
// missing.
func forPage(c assess.Cane) assess.Cane {
	c.Profile = nil
	if c.Nodes == nil {
		c.Nodes = []assess.Node{}
	}
	if c.Internodes == nil {
		c.Internodes = []assess.Internode{}
	}
	if c.Because == nil {
		c.Because = []assess.Sentence{}
	}
	return c
}

func viewRulings(rs []assess.Ruling) []assess.Ruling {
	out := slices.Clone(rs)
	if out == nil {
		out = []assess.Ruling{}
	}
	for i := range out {
		for _, c := range []**assess.Cane{&out[i].Missed, &out[i].Line} {
			if *c != nil {
				shown := forPage(**c)
				*c = &shown
			}
		}
	}
	return out
}

// conflictView is what a person sees who saved second.
func conflictView(c *store.Conflict) any {
	if c.Choice != nil {
		return map[string]any{"seq": c.Choice.Seq, "who": c.Choice.Who, "when": c.Choice.At, "choice": c.Choice.Payload}
	}
	rs, err := store.ReadRulings(c.Rulings)
	if err != nil {
		return nil
	}
	return map[string]any{"seq": len(rs), "rulings": viewRulings(rs)}
}

func (s *Server) measurementAt(c echo.Context) (*sighting, error) {
	n, err := id(c, "measurement")
	if err != nil {
		return nil, err
	}
	return s.sightingByMeasurement(c.Request().Context(), n)
}

func (s *Server) getMeasurement(c echo.Context) error {
	g, err := s.measurementAt(c)
	if err != nil {
		return err
	}
	v, err := s.viewMeasurement(c, g, who(c))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, v)
}

// rulingIn is a ruling as a page sends it. What the program had said, who
// rules and when are the service's to fill in; a missed cane, and a line that
// was pulled, are named by the trace that the service kept.
type rulingIn struct {
	Cane       int            `json:"cane"`
	Said       assess.Said    `json:"said"`
	Kind       assess.Kind    `json:"kind"`
	Finding    assess.Finding `json:"finding"`
	Nodes      []assess.Node  `json:"nodes"`
	DiameterMM float64        `json:"diameter_mm_by_hand"`
	DiameterIn float64        `json:"diameter_in_by_hand,omitempty"` // instead, in inches
	Trace      int64          `json:"trace"`
	Note       string         `json:"note"`
}

// ruling makes of it what assess can judge, and validates it.
func (s *Server) ruling(ctx context.Context, g *sighting, earlier []assess.Ruling, in rulingIn, name string, now time.Time) (assess.Ruling, error) {
	var r assess.Ruling
	if in.DiameterMM != 0 && in.DiameterIn != 0 {
		return r, assess.Errorf(assess.EInvalid, "The diameter came in millimetres and in inches: give one of them.")
	}
	in.DiameterMM += mmPerInch * in.DiameterIn
	m := g.measurement
	if in.Trace != 0 {
		c, err := s.store.Trace(ctx, m.ID, in.Trace)
		if err != nil {
			return r, err
		}
		r, err = assess.NewRetraced(m.Seen, earlier, in.Cane, c, in.Trace)
		if in.Cane == c.ID || assess.ErrorCode(err) == assess.ENotFound {
			r = assess.NewMissed(m.Seen, earlier, c)
			r.Cane, r.Missed.ID = c.ID, c.ID
		}
	} else {
		var err error
		if r, err = assess.NewRuling(m.Seen, earlier, in.Cane, in.Said); err != nil {
			return r, err
		}
	}
	r.Kind, r.Finding, r.Nodes, r.DiameterMM, r.Note = in.Kind, in.Finding, in.Nodes, in.DiameterMM, in.Note
	r.Who, r.When = name, now
	return r, r.Validate(m.Seen, earlier)
}

// rulingPreview is what a cane would be; null for what a ruling says is none.
type rulingPreview struct {
	Cane *assess.Cane `json:"cane" jsonschema:"nullable"`
	Kind assess.Kind  `json:"kind,omitempty"`
	// Words has the sentences of the answer, by their English text, in the
	// language of the page that asked.
	Words map[string]string `json:"words,omitempty"`
}

// previewRuling tells what a cane would be with a ruling that isn't kept: the
// nodes' new internodes, diameters and finding.
func (s *Server) previewRuling(c echo.Context) error {
	g, err := s.measurementAt(c)
	if err != nil {
		return err
	}
	in, err := sent[rulingIn](c)
	if err != nil {
		return err
	}
	name := who(c)
	if name == "" {
		name = "?"
	}
	now := time.Now()
	if n := len(g.rulings); n > 0 && now.Before(g.rulings[n-1].When) {
		now = g.rulings[n-1].When
	}
	r, err := s.ruling(c.Request().Context(), g, g.rulings, in, name, now)
	if err != nil {
		return err
	}
	all := assess.Confirm(g.measurement.Seen, append(slices.Clone(g.rulings), r), g.rules)
	i := slices.IndexFunc(all, func(cc assess.ConfirmedCane) bool { return cc.Cane.ID == r.Cane })
	if i < 0 {
		return c.JSON(http.StatusOK, rulingPreview{})
	}
	cane := forPage(all[i].Cane)
	return c.JSON(http.StatusOK, rulingPreview{&cane, all[i].Kind, s.words(c, &cane)})
}

// addRulings keeps what a person said, all of it or nothing.
func (s *Server) addRulings(c echo.Context) error {
	type body struct {
		After   int        `json:"after"` // number of the last ruling that the person had seen
		Rulings []rulingIn `json:"rulings"`
	}
	name, g, in, err := handedIn[body](c, s.measurementAt)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	// Validated against what the person had seen; what came later is for the
	// version check to find.
	earlier := slices.Clone(g.rulings[:min(max(in.After, 0), len(g.rulings))])
	now := time.Now()
	var add []store.NewRuling
	for _, ri := range in.Rulings {
		r, err := s.ruling(ctx, g, earlier, ri, name, now)
		if err != nil {
			return err
		}
		earlier = append(earlier, r)
		n, err := store.KeepRuling(r)
		if err != nil {
			return err
		}
		if n.Sent, err = json.Marshal(ri); err != nil {
			return err
		}
		add = append(add, n)
	}
	if _, err := s.store.AddRulings(ctx, g.measurement.ID, in.After, name, c.Request().Header.Get("Idempotency-Key"), add); err != nil {
		return err
	}
	if g, err = s.gather(ctx, g.photo, g.measurement); err != nil {
		return err
	}
	v, err := s.viewMeasurement(c, g, name)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, v)
}

// mostPulls is how many places of a line a person may pull it to; with more
// it would be drawn by hand, which measures nothing.
const mostPulls = 6

// guide traces a cane that was missed, from the base and tip that a person
// tapped, or one that is there, whose line a person pulled: it then runs
// through each place of via. The trace is kept; it counts only when a ruling
// adds it.
func (s *Server) guide(c echo.Context) error {
	type body struct {
		Base assess.Point   `json:"base"`
		Tip  assess.Point   `json:"tip"`
		Via  []assess.Point `json:"via"`
	}
	name, g, in, err := handedIn[body](c, s.measurementAt)
	if err != nil {
		return err
	}
	if len(in.Via) > mostPulls {
		return assess.Errorf(assess.EInvalid, "A line can be pulled to at most %d places. Undo some, or point out the cane anew.", mostPulls)
	}
	ctx := c.Request().Context()
	data, err := s.store.PhotoBytes(g.photo.SHA256)
	if err != nil {
		return err
	}
	if err := s.takeDecoder(ctx); err != nil {
		return err
	}
	defer s.giveDecoder()
	var pieces []assess.Cane
	from := in.Base
	for _, to := range append(slices.Clone(in.Via), in.Tip) {
		piece, err := s.measurer.Guide(ctx, data, g.measurement.Seen, from, to)
		if err != nil {
			return err
		}
		pieces = append(pieces, *piece)
		from = to
	}
	cane := pieces[0]
	if len(pieces) > 1 {
		cane = assess.Joined(pieces...)
	}
	assess.JudgeCane(&cane, g.rules)
	trace, kept, err := s.store.AddTrace(ctx, g.measurement.ID, cane, s.program, name)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]any{"trace": trace, "cane": forPage(kept)})
}
