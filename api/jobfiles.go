package api

import (
	"context"
	"mime"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

// jobFile serves one of the written tables.
func (s *Server) jobFile(c echo.Context) error {
	_, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	name, err := url.PathUnescape(c.Param("name"))
	missing := assess.Errorf(assess.ENotFound, "This job has no such file. Its tables are written when all photos were measured.")
	// Only what is written for people: the state is beside it.
	if err != nil || name != filepath.Base(name) || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "job.") {
		return missing
	}
	path := filepath.Join(o.Dir(), name)
	if info, err := os.Stat(path); err != nil || !info.Mode().IsRegular() {
		return missing
	}
	kind := mime.TypeByExtension(filepath.Ext(name))
	switch filepath.Ext(name) {
	case ".jsonl", ".parquet", "":
		kind = "application/octet-stream"
	case ".html":
		// Its pictures are within it; nothing is loaded, and no script runs.
		c.Response().Header().Set("Content-Security-Policy", "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'")
	}
	if filepath.Ext(name) != ".html" {
		c.Response().Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(name))
	}
	c.Response().Header().Set("Content-Type", kind)
	return c.File(path)
}

// jobPicture serves a smaller copy of a job's photo.
func (s *Server) jobPicture(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	size, ok := copies[strings.TrimSuffix(c.Param("size"), ".jpg")]
	if !ok {
		return assess.Errorf(assess.ENotFound, "There is no picture of this size.")
	}
	p, err := photoOf(c)
	if err != nil {
		return err
	}
	// Only photos that the job knows by this path: never a path of one's own.
	if known, err := o.Has(c.Request().Context(), p); err != nil {
		return err
	} else if !known {
		return assess.Errorf(assess.ENotFound, "This job has no such photo.")
	}
	ctx := c.Request().Context()
	data, err := os.ReadFile(filepath.Join(s.store.JobFolder(j.ID), jobPhotos, filepath.FromSlash(p)))
	if err != nil {
		return assess.Errorf(assess.ENotFound, "The photo's file is no longer there.")
	}
	copied, err := s.copyOf(ctx, data, size.side, size.quality)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "private, max-age=3600")
	return c.Blob(http.StatusOK, "image/jpeg", copied)
}

func (s *Server) copyOf(ctx context.Context, data []byte, side, quality int) ([]byte, error) {
	if err := s.takeDecoder(ctx); err != nil {
		return nil, err
	}
	defer s.giveDecoder()
	return s.decoder.Copy(ctx, data, side, quality)
}
