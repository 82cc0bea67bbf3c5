package api

import (
	"bytes"
	"fmt"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/api/sheet"
	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// mostLabels bounds one PDF; a longer row is printed in parts.
const mostLabels = 1000

// routesOfLabels serves labels with codes that lead to a vine's page.
func (s *Server) routesOfLabels(e *echo.Echo) {
	e.GET("/blocks/:block/labels", s.labelsPage)
	e.GET("/blocks/:block/labels.pdf", s.labelSheets)
}

func (s *Server) labelsPage(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	p := web.LabelsPage{Frame: s.frame(c, "labels.page"), ID: b.ID, Name: b.Name, Rows: b.Rows, Vines: b.VinesPerRow, Row: 1, Lead: s.originOf(c.Request())}
	p.Back = &web.Link{Text: b.Name, To: fmt.Sprintf("/blocks/%d", b.ID)}
	if n, err := strconv.Atoi(c.QueryParam("row")); err == nil && n >= 1 && n <= b.Rows {
		p.Row = n
	}
	p.Own = loopbackName(c.Request().Host)
	return s.render(c, http.StatusOK, "labels", p)
}

// labelSheets prints the labels of a row, or of a part of it.
func (s *Server) labelSheets(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	number := func(name string, or int) int {
		if text := c.QueryParam(name); text != "" {
			n, err := strconv.Atoi(text)
			if err != nil {
				return 0
			}
			return n
		}
		return or
	}
	row := number("row", 0)
	from := number("from", 1)
	to := number("to", min(b.VinesPerRow, from+mostLabels-1))
	paper := c.QueryParam("paper")
	switch {
	case row < 1 || row > b.Rows:
		return assess.Errorf(assess.ENotFound, "There is no such row. Go to the block and pick one.")
	case from < 1 || to > b.VinesPerRow || from > to:
		return assess.Errorf(assess.EInvalid, "The vines of a row are numbered from 1 to %d. Give the first and the last one to print.", b.VinesPerRow)
	case to-from >= mostLabels:
		return assess.Errorf(assess.EInvalid, "One file holds at most %d labels. Print the row in parts.", mostLabels)
	case paper != "" && paper != "A4" && paper != "Letter":
		return assess.Errorf(assess.EInvalid, "The paper can be A4 or Letter.")
	}
	if paper == "" {
		paper = "A4"
	}
	l := sheet.Labels{Block: b.Name, Row: row, Paper: paper, Say: s.sayer(c)}
	for n := from; n <= to; n++ {
		l.Labels = append(l.Labels, sheet.Label{Number: n, URL: s.originOf(c.Request()) + vinePath(store.Vine{BlockID: b.ID, Row: row, Number: n})})
	}
	var out bytes.Buffer
	if err := sheet.WriteLabels(&out, l); err != nil {
		return err
	}
	return pdf(c, fmt.Sprintf("nodespan-labels-%d-%d.pdf", b.ID, row), out.Bytes())
}
