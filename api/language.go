package api

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/web"
)

// languageLasts is how long a browser keeps the language that was chosen.
// Longer spares choosing again; it tells nothing of a person but this.
const languageLasts = 365 * 24 * time.Hour

const languageKey = "language"

// inches is the value of the unit's cookie for who reads inches; any other
// reads millimetres.
const inches = "in"

// languageCookie is the name of the cookie with the chosen language.
func (s *Server) languageCookie() string { return s.choiceCookie("language") }

// choiceCookie is the name of the cookie with what was chosen of something.
func (s *Server) choiceCookie(of string) string {
	if s.access.secure() {
		return "__Host-nodespan_" + of
	}
	return "nodespan_" + of
}

// language is that of an answer: what was chosen in this browser, else what
// fits best what the browser asks for, else English. An answer that asked for
// it says that it differs by these.
func (s *Server) language(c echo.Context) string {
	if l, ok := c.Get(languageKey).(string); ok {
		return l
	}
	c.Response().Header().Set(echo.HeaderVary, "Accept-Language, Cookie")
	l := ""
	if k, err := c.Cookie(s.languageCookie()); err == nil && s.pages.Speaks(k.Value) {
		l = k.Value
	} else {
		l = s.pages.Language(c.Request().Header.Get("Accept-Language"))
	}
	c.Set(languageKey, l)
	return l
}

// chooseLanguage keeps the language and the unit that were chosen, and goes back to where
// the person was. It is reached by a plain form, so that it works without
// scripts, which can't send ownHeader; it writes nothing into the record, and
// a link from another site chooses nothing.
func (s *Server) chooseLanguage(c echo.Context) error {
	l := c.QueryParam("language")
	if !s.pages.Speaks(l) {
		return assess.Errorf(assess.ENotFound, "There is no text in this language.")
	}
	if unit := c.QueryParam("unit"); unit != "" && unit != "mm" && unit != inches {
		return assess.Errorf(assess.ENotFound, "There is no such unit. Choose mm or inches.")
	}
	unit := c.QueryParam("unit")
	if s.sameOrigin(c.Request()) {
		for of, chosen := range map[string]string{"language": l, "unit": unit} {
			if chosen == "" {
				continue
			}
			c.SetCookie(&http.Cookie{
				Name: s.choiceCookie(of), Value: chosen, Path: "/", MaxAge: int(languageLasts.Seconds()),
				HttpOnly: true, Secure: s.access.secure(), SameSite: http.SameSiteLaxMode,
			})
		}
	}
	return c.Redirect(http.StatusSeeOther, ownPath(c.QueryParam("to")))
}

// reader is for whom an answer is written: in the language and with the unit
// that were chosen in this browser.
func (s *Server) reader(c echo.Context) web.Reader {
	r := web.Reader{Language: s.language(c)}
	if k, err := c.Cookie(s.choiceCookie("unit")); err == nil {
		r.Inches = k.Value == inches
	}
	return r
}

// number writes a number as people read it, with all its decimals when
// decimals is below 0.
func (s *Server) number(c echo.Context, v float64, decimals int) string {
	return s.pages.Number(s.language(c), v, decimals)
}

// day writes a time as people read it, "" for the zero time.
func (s *Server) day(c echo.Context, t time.Time) string {
	return s.pages.Day(s.language(c), t)
}
