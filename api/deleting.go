package api

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"nodespan/assess/store"
	"nodespan/web"
)

// deletePhoto marks a photo as deleted; nothing is lost by it.
func (s *Server) deletePhoto(c echo.Context) error {
	n, err := id(c, "photo")
	if err != nil {
		return err
	}
	if err := s.store.DeletePhoto(c.Request().Context(), n, who(c)); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// undeletePhoto brings a photo back, and has it measured if that is still to
// be done.
func (s *Server) undeletePhoto(c echo.Context) error {
	n, err := id(c, "deleted")
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	if err := s.store.UndeletePhoto(ctx, n, who(c)); err != nil {
		return err
	}
	if first, err := s.store.FirstOf(ctx, n); err != nil {
		return err
	} else if first != 0 {
		return c.NoContent(http.StatusNoContent) // a second stance is measured with its first
	}
	ask, _, open, err := s.store.LatestAsk(ctx, n)
	if err != nil {
		return err
	}
	if place, _, _, _ := s.queue.place(ask.ID); open && place < 0 {
		s.queue.add(ask)
	}
	return c.NoContent(http.StatusNoContent)
}

// deletedPage lists the photos of the estate that are marked as deleted.
func (s *Server) deletedPage(c echo.Context) error {
	ctx := c.Request().Context()
	all, err := s.store.DeletedPhotos(ctx, estateOf(c))
	if err != nil {
		return err
	}
	p := web.DeletedPage{Frame: s.frame(c, "deleted.title")}
	p.Script, p.Back = "deleted", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	blocks := map[int64]store.Block{}
	for _, d := range all {
		b, there := blocks[d.Vine.BlockID]
		if !there {
			if b, err = s.store.Block(ctx, d.Vine.BlockID); err != nil {
				return err
			}
			blocks[b.ID] = b
		}
		p.Photos = append(p.Photos, web.DeletedLine{ID: d.ID, Where: s.where(c, b, d.Vine), Winter: d.Winter, Name: d.Name, By: d.By, When: s.day(c, d.At)})
	}
	return s.render(c, http.StatusOK, "deleted", p)
}
