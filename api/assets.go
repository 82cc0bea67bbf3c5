package api

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"nodespan/assess"
	"nodespan/web"
)

// forever is said of what never changes under its address.
const forever = "public, max-age=31536000, immutable"

// static serves what web has embedded, also under the version that stands
// before the name in pages' addresses. A page of another version gets what
// there is, and keeps none of it.
func (s *Server) static() echo.HandlerFunc {
	version := s.pages.Version()
	files := http.FileServerFS(s.pages.Static())
	return func(c echo.Context) error {
		name := c.Param("*")
		keep := "no-cache"
		if first, rest, ok := strings.Cut(name, "/"); ok {
			name = rest
			if first == version {
				keep = forever
			}
		}
		c.Response().Header().Set("Cache-Control", keep)
		r := c.Request().Clone(c.Request().Context())
		r.URL.Path, r.URL.RawPath = "/"+name, ""
		files.ServeHTTP(c.Response(), r)
		return nil
	}
}

// text serves a language's catalogue to the scripts.
func (s *Server) text(c echo.Context) error {
	data, ok := s.pages.Catalogue(strings.TrimSuffix(c.Param("language"), ".json"))
	if !ok {
		return assess.Errorf(assess.ENotFound, "There is no text in this language.")
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	if c.QueryString() == s.pages.Version() {
		c.Response().Header().Set("Cache-Control", forever)
	}
	return c.JSONBlob(http.StatusOK, data)
}

// worker serves the service worker. It lies at the top so that it may answer
// for every page, and its text changes with whatever it keeps, so that a
// browser notices.
func (s *Server) worker(c echo.Context) error {
	script, err := fs.ReadFile(s.pages.Static(), "worker.js")
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	head := fmt.Sprintf("const VERSION = %q;\n", s.pages.Version())
	return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", append([]byte(head), script...))
}

// manifest lets a phone put the pages on its start screen (W3C Web Application
// Manifest).
func (s *Server) manifest(c echo.Context) error {
	icon := func(name, sizes, kind string) map[string]string {
		return map[string]string{"src": "/static/" + s.pages.Version() + "/" + name, "sizes": sizes, "type": kind, "purpose": "any"}
	}
	data, err := json.Marshal(map[string]any{
		"id": "/", "start_url": "/", "scope": "/", "display": "standalone", "lang": s.language(c),
		"name": s.say(c, "app.name"), "short_name": s.say(c, "app.name"), "description": s.say(c, "app.what"),
		"background_color": "#eef2f5", "theme_color": "#14202b",
		"icons": []any{icon("icon.svg", "any", "image/svg+xml"), icon("icon-192.png", "192x192", "image/png"), icon("icon-512.png", "512x512", "image/png")},
	})
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	return c.Blob(http.StatusOK, "application/manifest+json", data)
}

// waitingPage lists what waits in the phone. It needs nothing of the record, so
// the phone keeps it and shows it without signal and to nobody signed in.
func (s *Server) waitingPage(c echo.Context) error {
	f := s.frame(c, "wait.title")
	f.Anybody, f.Who, f.May = true, "", nil
	f.Script, f.Back = "waiting", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	return s.render(c, http.StatusOK, "waiting", web.WaitingPage{Frame: f})
}

// anyPhotoPage is the page to add a photo without a vine: without signal the
// phone shows it for every vine, and the script reads from the address whose
// it is.
func (s *Server) anyPhotoPage(c echo.Context) error {
	p := web.AddPhotoPage{Frame: s.frame(c, "addphoto.title"), LimitMB: s.limits.UploadBytes >> 20}
	p.Anybody, p.Who, p.May = true, "", nil
	p.Script, p.Back = "addphoto", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	return s.render(c, http.StatusOK, "addphoto", p)
}

// squeeze compresses what pages are made of. What may hold a secret beside
// what a stranger chose (links, tokens) isn't, since its length would tell of
// it; pictures and files are compact as they are.
func squeeze() echo.MiddlewareFunc {
	return middleware.GzipWithConfig(middleware.GzipConfig{MinLength: 1024, Skipper: func(c echo.Context) bool {
		if c.Request().Method != http.MethodGet {
			return true
		}
		p := c.Request().URL.Path
		switch {
		case strings.HasPrefix(p, "/static/"):
			return path.Ext(p) == ".png"
		case strings.HasPrefix(p, "/text/"), strings.HasPrefix(p, "/api/measurements/"), p == "/worker.js":
			return false
		case strings.HasPrefix(p, "/api/"), strings.HasPrefix(p, "/join/"), strings.HasPrefix(p, "/account"), strings.HasPrefix(p, "/people"), strings.HasPrefix(p, "/jobs"), p == "/metrics":
			return true
		}
		return path.Ext(p) != "" || strings.Contains(p, "/picture/") || strings.Contains(p, "/figures/")
	}})
}
