package api

import (
	"net"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

// ownHeader must come with every write. A page of another site can't set it
// without asking first (a preflight), and that is never granted.
const ownHeader = "X-Nodespan"

// contentPolicy lets a page load from this service alone, and run only the
// scripts that it serves as files.
var contentPolicy = strings.Join([]string{
	"default-src 'none'",
	"script-src 'self'",
	"style-src 'self'",
	"img-src 'self' blob:",
	"connect-src 'self'",
	"font-src 'self'",
	"manifest-src 'self'",
	"worker-src 'self'",
	"form-action 'self'",
	"base-uri 'none'",
	"frame-ancestors 'none'",
}, "; ")

// protect sets the headers that keep pages to themselves, and refuses requests
// that don't come from the service's own pages.
func (s *Server) protect(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), microphone=(), camera=(self)")
		h.Set("Cache-Control", "no-store")
		r := c.Request()
		// A name that a stranger's server resolves to this machine must not
		// reach the record (DNS rebinding), as long as there are no accounts.
		if !loopbackName(r.Host) {
			return refusal(http.StatusMisdirectedRequest, "This service answers on its own machine only. Open it as http://127.0.0.1 with its port.")
		}
		if !changes(r.Method) {
			return next(c)
		}
		if !sameOrigin(r) || r.Header.Get(ownHeader) == "" {
			return refusal(http.StatusForbidden, "This was not sent from a page of this service. Load the page anew and try again.")
		}
		return next(c)
	}
}

func changes(method string) bool {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodOptions:
		return false
	}
	return true
}

// sameOrigin holds the browser's own statement of where a request comes from
// against this service. A client that isn't a browser sends neither header and
// can't be lured into sending a request by a page.
func sameOrigin(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin":
	default:
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && u.Host == r.Host
}

func loopbackName(hostport string) bool {
	host, _, err := net.SplitHostPort(hostport)
	if err != nil {
		host = strings.Trim(hostport, "[]")
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// CheckAddress returns EInvalid unless a service may listen on address
// (host:port): without accounts, only the own machine may reach it.
func CheckAddress(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return assess.Errorf(assess.EInvalid, "%q is no address. Write it as host:port, like 127.0.0.1:8417.", address)
	}
	if !loopbackName(net.JoinHostPort(host, "0")) {
		return assess.Errorf(assess.EInvalid, "%s can be reached from other machines, and there are no accounts yet that would keep strangers out. Listen on 127.0.0.1.", address)
	}
	return nil
}
