package api

import (
	"context"
	"fmt"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// uploadSecond takes a second photo of the vine that a first one shows, from a
// step aside. The first is then measured anew with both; what people said of
// its canes comes over. It is answered as upload is, with the first's page.
func (s *Server) uploadSecond(c echo.Context) error {
	first, err := id(c, "photo")
	if err != nil {
		return err
	}
	return s.receive(c, func(n store.NewPhoto) (store.Photo, bool, error) {
		return s.KeepSecond(c.Request().Context(), first, n)
	})
}

// KeepSecond keeps a second photo of what a first one shows and has both
// measured together, as store.AddSecond tells.
func (s *Server) KeepSecond(ctx context.Context, first int64, n store.NewPhoto) (store.Photo, bool, error) {
	photo, ask, fresh, err := s.store.AddSecond(ctx, first, n)
	if err == nil && fresh {
		s.queue.add(ask)
	}
	return photo, fresh, err
}

// secondBytes are the bytes of the photo that is to be measured with an ask's;
// nil for none. One that was deleted meanwhile isn't used.
func (s *Server) secondBytes(ctx context.Context, a store.Ask) ([]byte, error) {
	if a.Second == 0 {
		return nil, nil
	}
	second, err := s.store.Photo(ctx, a.Second)
	if assess.ErrorCode(err) == assess.ENotFound {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return s.store.PhotoBytes(second.SHA256)
}

// secondView is what a page tells of a second photo from a step aside.
type secondView struct {
	Takes   bool             `json:"takes"` // one can be added
	Page    string           `json:"page"`  // to add it
	Step    string           `json:"step"`  // to which side: "left" or "right"
	Helps   []helpView       `json:"helps"` // canes of which it would tell more
	Picture string           `json:"picture,omitempty"`
	Used    bool             `json:"used"`
	Reason  string           `json:"reason,omitempty"` // it wasn't used: one of the reasons of a measurement, or "failed"
	Why     *assess.Sentence `json:"why,omitempty"`    // in words
	Depths  []depthView      `json:"depths"`           // of the measurement's canes
	Earlier []earlierView    `json:"earlier"`          // what was said before and has to be said anew
}

// helpView is a cane as it would stand with a second photo.
type helpView struct {
	Cane     int             `json:"cane"`
	At       assess.Corner   `json:"at"`
	Settles  bool            `json:"settles"`
	Edges    bool            `json:"edges,omitempty"` // most of the doubt that goes is its edges'
	Diameter assess.Interval `json:"diameter_mm"`
}

type depthView struct {
	Cane int             `json:"cane"`
	Say  assess.Sentence `json:"say"`
}

// earlierView is a ruling of an earlier measurement that doesn't hold for this
// one by itself, since the program says something else now.
type earlierView struct {
	Cane    int            `json:"cane"` // 0 when this measurement doesn't have it
	Said    assess.Said    `json:"said"`
	Finding assess.Finding `json:"finding"` // of which it was said
	Who     string         `json:"who"`
}

// second tells of a sighting's second photo.
func (s *Server) second(ctx context.Context, g *sighting) (secondView, error) {
	m := g.measurement.Seen
	v := secondView{
		Takes: assess.TakesSecondStance(m), Step: assess.StepTo(m), Used: m.With != "",
		Helps: []helpView{}, Depths: []depthView{}, Earlier: []earlierView{},
	}
	v.Page = fmt.Sprintf("%s/photo?second=%d&step=%s", vinePath(g.vine), g.photo.ID, v.Step)
	for _, c := range m.Canes {
		if f, helps := assess.WithSecondStance(m, c, g.rules); helps {
			v.Helps = append(v.Helps, helpView{c.ID, assess.CornerOf(m, c), f.Settles, f.Edges, f.Cane.Diameter})
		}
		if c.Depth != nil {
			v.Depths = append(v.Depths, depthView{c.ID, c.Depth.InWords()})
		} else if v.Used {
			v.Depths = append(v.Depths, depthView{c.ID, assess.Tell("Its place off the wire didn't show in the second photo: measured from the first alone.")})
		}
	}
	ask, failed, _, err := s.store.LatestAsk(ctx, g.photo.ID)
	if err != nil {
		return v, err
	}
	if ask.Second != 0 {
		if second, err := s.store.Photo(ctx, ask.Second); err == nil {
			v.Picture = photoPath(second.ID) + "/picture/medium.jpg"
		}
		if why, unused := assess.SecondUnused(m); failed != nil {
			v.Reason, v.Why = stateFailed, &failed.Why
		} else if unused {
			said := assess.Explain(why)
			v.Reason, v.Why = string(why), &said
		}
	}
	before, err := s.store.EarlierOf(ctx, g.photo.ID, g.measurement.ID)
	if err != nil {
		return v, err
	}
	for _, e := range before {
		_, left := assess.Carry(e.Measurement.Seen, e.Rulings, m, g.rulings)
		for _, r := range left {
			v.Earlier = append(v.Earlier, earlierView{r.Cane, r.Said, r.Seen.Finding, r.Who})
		}
	}
	return v, nil
}

// asSecond makes the page to add a photo one to add a second one, where the
// address asks for it: ?second=PHOTO&step=left.
func (s *Server) asSecond(c echo.Context, v store.Vine) (first int64, step string, err error) {
	first, err = strconv.ParseInt(c.QueryParam("second"), 10, 64)
	if err != nil || first < 1 {
		return 0, "", nil
	}
	p, err := s.store.Photo(c.Request().Context(), first)
	if err != nil {
		return 0, "", err
	}
	if v.ID == 0 || p.VineID != v.ID {
		return 0, "", assess.Errorf(assess.ENotFound, "There is no such photo. Go to the vine's page and pick it there.")
	}
	if step = "left"; c.QueryParam("step") == "right" {
		step = "right"
	}
	return first, step, nil
}
