package api

import (
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

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

// Access says from where the service may be reached.
type Access struct {
	// Demo lets everybody on this machine act as the member DemoName of the
	// first estate without signing in. It holds for loopback alone.
	Demo     bool
	DemoName string
	// TLS is true when the service speaks TLS by itself.
	TLS bool
	// Origin is the address that people type, https://NAME[:PORT], when the
	// service isn't reached under its own: behind a proxy. "" otherwise.
	Origin string
	// Proxies are the addresses from which the proxy connects. Only they are
	// believed when they say for whom they ask, and nobody else may connect.
	Proxies []netip.Prefix
}

// secure tells whether people reach the service by https alone.
func (a Access) secure() bool { return a.TLS || strings.HasPrefix(a.Origin, "https://") }

// Check returns EInvalid unless a service that listens on address (host:port)
// keeps strangers and listeners out.
func (a Access) Check(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return assess.Errorf(assess.EInvalid, "%q is no address. Write it as host:port, like 127.0.0.1:8417.", address)
	}
	own := loopbackName(net.JoinHostPort(host, "0"))
	if a.Origin != "" {
		u, err := url.Parse(a.Origin)
		if err != nil || u.Scheme != "https" || u.Host == "" || u.Path != "" || u.RawQuery != "" || u.User != nil {
			return assess.Errorf(assess.EInvalid, "%q isn't the address that people type. Write it as https://NAME, without a path.", a.Origin)
		}
	}
	switch {
	case a.Demo && (!own || a.Origin != "" || a.TLS):
		return assess.Errorf(assess.EInvalid, "A demonstration lets everybody in, so it is served on this machine alone. Listen on 127.0.0.1, without certificate and proxy.")
	case (a.Origin != "" && !a.TLS) != (len(a.Proxies) > 0):
		return assess.Errorf(assess.EInvalid, "Behind a proxy both are needed: --origin https://NAME, which people type, and --proxy ADDRESS, from which the proxy connects.")
	case !own && !a.TLS && a.Origin == "":
		return assess.Errorf(assess.EInvalid, "%s can be reached from other machines, and without TLS everybody on the way could read passwords and photos. Give --cert and --key, or put a proxy that speaks TLS before it and name it with --origin and --proxy, or listen on 127.0.0.1.", address)
	}
	return nil
}

// reached refuses requests that came another way than Access says.
func (a Access) reached(r *http.Request) error {
	forwarded := r.Header.Get("X-Forwarded-For") != "" || r.Header.Get("Forwarded") != "" || r.Header.Get("X-Forwarded-Host") != ""
	peer, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return refusal(http.StatusForbidden, "It can't be told from where this request came.")
	}
	from := peer.Addr().Unmap()
	switch {
	case len(a.Proxies) > 0:
		if !slices.ContainsFunc(a.Proxies, func(p netip.Prefix) bool { return p.Contains(from) }) {
			return refusal(http.StatusForbidden, "This service answers through its proxy alone. Open it under its own address.")
		}
		if p := r.Header.Get("X-Forwarded-Proto"); p != "" && p != "https" {
			return refusal(http.StatusForbidden, "This service answers by https alone. Open its address with https://.")
		}
	case a.TLS:
		if a.Origin != "" && !strings.EqualFold("https://"+r.Host, a.Origin) {
			return refusal(http.StatusMisdirectedRequest, "This service answers under its own name alone.")
		}
	case !loopbackName(r.Host):
		// A name that a stranger's server resolves to this machine must not
		// reach the record (DNS rebinding).
		return refusal(http.StatusMisdirectedRequest, "This service answers on its own machine only. Open it as http://127.0.0.1 with its port.")
	case a.Demo && forwarded:
		return refusal(http.StatusForbidden, "A demonstration is served on its own machine only, and this request came through a proxy.")
	}
	return nil
}

// ipOf finds the address of who asks, for slowing sign-ins down.
func (a Access) ipOf() echo.IPExtractor {
	if len(a.Proxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range a.Proxies {
		trust = append(trust, echo.TrustIPRange(&net.IPNet{IP: p.Masked().Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())}))
	}
	return echo.ExtractIPFromXFFHeader(trust...)
}

// originOf is the address under which people reach the service.
func (s *Server) originOf(r *http.Request) string {
	switch {
	case s.access.Origin != "":
		return s.access.Origin
	case s.access.TLS:
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

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
		if s.access.secure() {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		r := c.Request()
		// Probes of the machine itself may come past the proxy: they tell nothing.
		if err := s.access.reached(r); err != nil && r.URL.Path != "/healthz" && r.URL.Path != "/readyz" {
			return err
		}
		if !changes(r.Method) {
			return next(c)
		}
		readUntil(c, time.Now().Add(s.limits.BodyTime))
		// A token isn't sent by a browser on its own, as a cookie is.
		if _, isToken := bearer(r); isToken {
			return next(c)
		}
		if !s.sameOrigin(r) || r.Header.Get(ownHeader) == "" {
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
func (s *Server) sameOrigin(r *http.Request) bool {
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin":
	default:
		return false
	}
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true
	}
	return strings.EqualFold(origin, s.originOf(r))
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
