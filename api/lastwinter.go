package api

import (
	"github.com/labstack/echo/v4"

	"nodespan/web"
)

// lastWinter is the latest winter of a sighting's vine before the sighting's
// own, nil when nothing is recorded.
func (s *Server) lastWinter(c echo.Context, g *sighting) (*web.LastWinter, error) {
	w, err := s.winterBefore(c.Request().Context(), g.vine, g.photo.Winter)
	if err != nil || w == nil {
		return nil, err
	}
	out := &web.LastWinter{Name: w.name}
	shown := w.sightings[0]
	if w.choice != nil {
		if out.Choice, err = s.choicePart(c, w.choice, w.sightings); err != nil {
			return nil, err
		}
		for _, x := range w.sightings {
			if x.measurement != nil && x.photo.ID == w.choice.PhotoID {
				shown = x
			}
		}
	}
	out.Photo = photoPath(shown.photo.ID)
	out.Picture = out.Photo + "/picture/medium.jpg"
	return out, nil
}
