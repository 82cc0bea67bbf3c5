package api

import (
	"bytes"
	"context"
	"image"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

// looks bounds the quick look: it is for a small copy, and worth nothing to
// whoever has walked on.
var looks = struct {
	Bytes  int64         // of the copy. Larger only costs the phone time
	Pixels int           // of the copy
	Wait   time.Duration // for one of the places at which photos are decoded
}{Bytes: 4 << 20, Pixels: 8_000_000, Wait: 3 * time.Second}

// look tells what would make a better photo, from a small copy of it: a
// multipart form with "photo"; the query full is the longer side of the photo
// itself, px. Nothing is kept. EBusy when there is no place at the moment: the
// phone then goes by what it sees itself.
func (s *Server) look(c echo.Context) error {
	if s.looker == nil {
		return assess.Errorf(assess.ENotFound, "Photos aren't looked at before they are sent here.")
	}
	form, err := s.readUpload(c)
	if err != nil {
		return err
	}
	defer form.remove()
	if form.size > looks.Bytes {
		return assess.Errorf(assess.ETooLarge, "The copy to look at is larger than %d MB. Send a smaller one.", looks.Bytes>>20)
	}
	data, err := form.bytes()
	if err != nil {
		return err
	}
	conf, format, err := image.DecodeConfig(bytes.NewReader(data))
	if _, known := kinds[format]; err != nil || !known {
		return assess.Errorf(assess.EInvalid, "This file is no photo that can be read. Send a JPEG, PNG or WebP picture.")
	}
	if conf.Width < 1 || conf.Height < 1 || conf.Width > looks.Pixels/conf.Height {
		return assess.Errorf(assess.ETooLarge, "The copy to look at has more than %d million pixels. Send a smaller one.", looks.Pixels/1_000_000)
	}
	full, err := strconv.Atoi(c.QueryParam("full"))
	if err != nil || full < 0 {
		full = 0
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), looks.Wait)
	defer cancel()
	if s.takeDecoder(ctx) != nil {
		return assess.Errorf(assess.EBusy, "Many photos are on their way at the moment, so this one isn't looked at before it is sent.")
	}
	defer s.giveDecoder()
	seen, err := s.looker.Look(c.Request().Context(), data, full)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, seen)
}
