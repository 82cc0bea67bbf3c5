package api

import (
	"net/http"
	"net/url"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// whoCookie keeps the name of the person at this browser.
const (
	whoCookie = "nodespan_who"
	whoKept   = 365 * 24 * time.Hour
)

// who is the person at this browser, "" as long as nobody said.
func who(c echo.Context) string {
	k, err := c.Cookie(whoCookie)
	if err != nil {
		return ""
	}
	name, err := url.QueryUnescape(k.Value)
	if err != nil {
		return ""
	}
	name, err = store.CheckName(name, "The person")
	if err != nil {
		return ""
	}
	return name
}

// needWho is who, or the error that makes the page ask for a name.
func needWho(c echo.Context) (string, error) {
	if name := who(c); name != "" {
		return name, nil
	}
	return "", assess.Errorf(codeNoName, "Whoever saves something signs it. Type your name first.")
}

// setWho keeps the name of the person at this browser. It is no proof of who
// somebody is: it serves people who trust each other, on one machine.
func (s *Server) setWho(c echo.Context) error {
	var in struct {
		Name string `json:"name"`
	}
	if err := c.Echo().JSONSerializer.Deserialize(c, &in); err != nil {
		return err
	}
	name, err := store.CheckName(in.Name, "The person")
	if err != nil {
		return err
	}
	c.SetCookie(&http.Cookie{
		Name: whoCookie, Value: url.QueryEscape(name), Path: "/", MaxAge: int(whoKept.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode,
	})
	return c.JSON(http.StatusOK, map[string]string{"name": name})
}
