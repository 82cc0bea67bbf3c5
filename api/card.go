package api

import (
	"bytes"
	"net/http"
	"regexp"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

var cardName = regexp.MustCompile(`^nodespan-(checker|bar)-(a4|letter)\.(pdf|svg)$`)

var cardTypes = map[string]string{"pdf": "application/pdf", "svg": "image/svg+xml"}

// cardFile gives the printable scale card or scale bar.
func (s *Server) cardFile(c echo.Context) error {
	m := cardName.FindStringSubmatch(c.Param("name"))
	if m == nil {
		return assess.Errorf(assess.ENotFound, "There is no such card. Pick one on the page of the scale card.")
	}
	if s.card == nil {
		return assess.Errorf(assess.EInternal, "This service can't draw the card. Use the command: nodespan card.")
	}
	var out bytes.Buffer
	if err := s.card(&out, m[1], m[2], m[3]); err != nil {
		return err
	}
	saveAs(c, "attachment", m[0])
	return c.Blob(http.StatusOK, cardTypes[m[3]], out.Bytes())
}
