package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// The states of a photo on its way.
const (
	stateWaiting   = "waiting"   // to be measured; Place tells how many come first
	stateMeasuring = "measuring" // now
	stateMeasured  = "measured"
	stateRefused   = "refused"
	stateFailed    = "failed" // could not be measured; Message says why
)

// photoState tells how far a photo is.
type photoState struct {
	ID          int64  `json:"id"`
	State       string `json:"state"`
	Place       int    `json:"place,omitempty"`
	RunningMS   int64  `json:"running_ms,omitempty"`
	UsualMS     int64  `json:"usual_ms,omitempty"`
	Message     string `json:"message,omitempty"`
	Measurement int64  `json:"measurement,omitempty"`
	SecondOf    int64  `json:"second_of,omitempty"` // the photo with which it is measured
	Page        string `json:"page"`
	changed     <-chan struct{}
	why         assess.Sentence // Message
}

// photoState of a second stance is that of the photo with which it is measured.
func (s *Server) photoState(ctx context.Context, p store.Photo) (photoState, error) {
	out := photoState{ID: p.ID}
	first, err := s.store.FirstOf(ctx, p.ID)
	if err != nil {
		return out, err
	}
	if first != 0 {
		p.ID, out.SecondOf = first, first
	}
	out.Page = photoPath(p.ID)
	ask, _, _, err := s.store.LatestAsk(ctx, p.ID)
	if err != nil {
		return out, err
	}
	// First where it stands in the queue, then what is kept: a measurement that
	// ends between the two looks is found by the second.
	place, since, usual, changed := s.queue.place(ask.ID)
	out.changed, out.UsualMS = changed, usual.Milliseconds()
	_, failed, open, err := s.store.LatestAsk(ctx, p.ID)
	if err != nil {
		return out, err
	}
	// A second stance that failed takes nothing away from what was measured.
	with := failed != nil && ask.Second != 0
	switch {
	case failed != nil && !with:
		out.State, out.Message, out.why = stateFailed, failed.Why.String(), failed.Why
	case open && place == 0:
		out.State, out.RunningMS = stateMeasuring, time.Since(since).Milliseconds()
	case open:
		out.State, out.Place = stateWaiting, max(place, 0)
	default:
		m, err := s.store.LatestGist(ctx, p.ID)
		if err != nil {
			return out, err
		}
		if m.ID == 0 {
			return out, fmt.Errorf("photo %d waits for nothing, and nothing was made of it", p.ID)
		}
		out.Measurement, out.State = m.ID, stateMeasured
		if with {
			out.Message, out.why = failed.Why.String(), failed.Why
		}
		if m.Outcome == assess.Refused {
			out.State = stateRefused
		}
	}
	return out, nil
}

func (s *Server) photoAt(c echo.Context) (store.Photo, error) {
	n, err := id(c, "photo")
	if err != nil {
		return store.Photo{}, err
	}
	return s.store.Photo(c.Request().Context(), n)
}

func (s *Server) getPhoto(c echo.Context) error {
	p, err := s.photoAt(c)
	if err != nil {
		return err
	}
	st, err := s.photoState(c.Request().Context(), p)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, st)
}

// heartbeat is how often a watcher hears something even when nothing changed:
// the elapsed time goes on, and a dead connection is noticed.
const heartbeat = time.Second

// photoEvents sends a photo's state whenever it changes, as server-sent
// events, until it is measured, refused or failed.
func (s *Server) photoEvents(c echo.Context) error {
	p, err := s.photoAt(c)
	if err != nil {
		return err
	}
	events := beginEvents(c)
	ctx := c.Request().Context()
	for {
		st, err := s.photoState(ctx, p)
		if err != nil {
			return err
		}
		if gone, err := events.send(st); gone || err != nil {
			return err
		}
		if st.State != stateWaiting && st.State != stateMeasuring {
			return nil
		}
		select {
		case <-ctx.Done():
			return nil
		case <-st.changed:
		case <-time.After(heartbeat):
		}
	}
}

// mmPerInch is exact by definition (international inch, 1959). What a person
// measured by hand comes in the unit in which it was typed, and is kept in mm.
const mmPerInch = 25.4

// addMarks asks for a photo to be measured by two marks that a person tapped,
// with the distance between them measured by hand.
func (s *Server) addMarks(c echo.Context) error {
	type body struct {
		A          assess.Point `json:"a"`
		B          assess.Point `json:"b"`
		DistanceMM float64      `json:"distance_mm"`
		DistanceIn float64      `json:"distance_in"`
	}
	name, p, in, err := handedIn[body](c, s.photoAt)
	if err != nil {
		return err
	}
	if in.DistanceMM != 0 && in.DistanceIn != 0 {
		return assess.Errorf(assess.EInvalid, "The distance came in millimetres and in inches: give one of them.")
	}
	in.DistanceMM += mmPerInch * in.DistanceIn
	if err := checkMarks(in.A, in.B, in.DistanceMM); err != nil {
		return err
	}
	ctx := c.Request().Context()
	if s.queue.full() {
		return assess.Errorf(assess.EBusy, "More photos wait to be measured than this machine can take. Try again in a moment.")
	}
	ask, err := s.store.AddAsk(ctx, p.ID, assess.Ask{Marks: &assess.Marks{A: in.A, B: in.B, DistanceMM: in.DistanceMM}}, name)
	if err != nil {
		return err
	}
	s.queue.add(ask)
	st, err := s.photoState(ctx, p)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusAccepted, st)
}

// The marks must be far enough apart that a slip of a finger doesn't spoil the
// scale, and their distance one that fits into a photo of one vine.
const (
	leastMarksPx = 40
	leastMarksMM = 50
	mostMarksMM  = 3000
)

func checkMarks(a, b assess.Point, mm float64) error {
	dx, dy := a[0]-b[0], a[1]-b[1]
	switch {
	case !(dx*dx+dy*dy >= leastMarksPx*leastMarksPx):
		return assess.Errorf(assess.EInvalid, "The two marks lie too close together. Choose two points that are further apart.")
	case !(mm >= leastMarksMM && mm <= mostMarksMM):
		return assess.Errorf(assess.EInvalid, "The distance between the marks must be %s to %s. Measure it again.", assess.Length{MM: leastMarksMM}, assess.Length{MM: mostMarksMM})
	}
	return nil
}
