package api

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// previewFolder holds smaller copies, which can be made anew at any time.
const previewFolder = "previews"

// The copies that pages ask for, by name: the longer side in pixels, 0 for the
// photo's own size, and the JPEG quality.
var copies = map[string]struct{ side, quality int }{
	"small":  {320, 75},  // lists
	"medium": {1600, 82}, // the whole vine on one screen
	"full":   {0, 88},    // zoomed in
}

// picture serves a copy of a photo: upright, as JPEG, without anything that
// the camera wrote beside the pixels (place, serial numbers).
func (s *Server) picture(c echo.Context) error {
	n, err := id(c, "photo")
	if err != nil {
		return err
	}
	size, ok := copies[strings.TrimSuffix(c.Param("size"), ".jpg")]
	if !ok {
		return assess.Errorf(assess.ENotFound, "There is no picture of this size.")
	}
	ctx := c.Request().Context()
	p, err := s.store.Photo(ctx, n)
	if err != nil {
		return err
	}
	path, err := s.previewOf(ctx, p, size.side, size.quality)
	if err != nil {
		return err
	}
	// A photo never changes under its number, so its copies may be kept.
	c.Response().Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	return c.File(path)
}

// previewOf gives the path of a copy, making it when it isn't there.
func (s *Server) previewOf(ctx context.Context, p store.Photo, side, quality int) (string, error) {
	name := p.SHA256 + "-" + strconv.Itoa(side) + ".jpg"
	path := filepath.Join(s.store.Dir(), previewFolder, name)
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	lock, _ := s.previews.LoadOrStore(name, &sync.Mutex{})
	lock.(*sync.Mutex).Lock()
	defer lock.(*sync.Mutex).Unlock()
	if _, err := os.Stat(path); err == nil {
		return path, nil
	}
	data, err := s.store.PhotoBytes(p.SHA256)
	if err != nil {
		return "", err
	}
	if err := s.takeDecoder(ctx); err != nil {
		return "", err
	}
	defer s.giveDecoder()
	copied, err := s.decoder.Copy(ctx, data, side, quality)
	if err != nil {
		return "", fmt.Errorf("photo %d can't be copied: %w", p.ID, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return "", err
	}
	// A name of its own until it is whole: a reader never gets half a picture.
	part, err := os.CreateTemp(filepath.Dir(path), "*.part")
	if err != nil {
		return "", err
	}
	defer os.Remove(part.Name())
	_, err = part.Write(copied)
	if err := errors.Join(err, part.Close()); err != nil {
		return "", err
	}
	return path, os.Rename(part.Name(), path)
}
