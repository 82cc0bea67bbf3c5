package api

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// codeSignIn asks the page to have the person sign in and to send again.
const codeSignIn = "sign_in_needed"

// codeNotAllowed says that the person's role doesn't give this right.
const codeNotAllowed = "not_allowed"

// codeOtherPerson says that what was made under one name came with the session
// of another: the page keeps it until the right person signs in.
const codeOtherPerson = "other_person"

// asHeader names, percent-encoded, the person under whose name the page made
// what it sends. Work that waited in a phone isn't sent under another's name.
const asHeader = "X-Nodespan-As"

// caller is who sent a request, and in which estate it acts.
type caller struct {
	account store.Account
	estate  store.Estate
	role    Role
	scope   Scope // "" for a browser
	session int64 // 0 for a token, and for a demonstration's guest
	hash    string
}

// may tells whether the caller has a right in the request's estate.
func (k *caller) may(a Action) bool {
	if k == nil {
		return a == Public
	}
	return k.role.May(a) && (k.scope == "" || slices.Contains(scopes[k.scope], a))
}

const callerKey = "caller"

// callerOf is who sent a request; nil when nobody signed in.
func callerOf(c echo.Context) *caller {
	k, _ := c.Get(callerKey).(*caller)
	return k
}

// who is the name by which the caller signs, "" when nobody signed in.
func who(c echo.Context) string {
	if k := callerOf(c); k != nil {
		return k.account.Name
	}
	return ""
}

// needWho is who, or the error that makes the page ask to sign in.
func needWho(c echo.Context) (string, error) {
	if name := who(c); name != "" {
		return name, nil
	}
	return "", signInNeeded()
}

func signInNeeded() error {
	return assess.Errorf(codeSignIn, "Sign in first. Nothing was saved.")
}

// estateOf is the estate that a request acts in.
func estateOf(c echo.Context) int64 {
	if k := callerOf(c); k != nil {
		return k.estate.ID
	}
	return 0
}

// addressed says of each parameter in an address whose the object is that it
// names. A parameter that isn't here names no object by itself: it must be in
// plainParams, or the route answers that there is nothing.
var addressed = map[string]func(*store.Store, context.Context, int64) (int64, error){
	"block":       (*store.Store).EstateOfBlock,
	"job":         (*store.Store).EstateOfJob,
	"photo":       (*store.Store).EstateOfPhoto,
	"measurement": (*store.Store).EstateOfMeasurement,
	"link":        (*store.Store).EstateOfInvitation,
	"deleted":     (*store.Store).EstateOfDeleted,
	"group":       (*store.Store).EstateOfGroup,
	"exercise":    (*store.Store).EstateOfExercise,
}

// plainParams name no object of an estate by themselves. Member, session and
// token, a rule set by its file, and the part of an exercise are looked up by
// their handlers within the caller's estate, account or exercise.
var plainParams = []string{"row", "vine", "part", "size", "name", "file", "language", "secret", "member", "session", "token", "*"}

// guard lets a request through to its handler only when the caller may do what
// the route does, in the estate whose object the address names.
func (s *Server) guard(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		action, known := routeRules[c.Request().Method+" "+c.Path()]
		if !known {
			return echo.ErrNotFound
		}
		k, err := s.callerFrom(c)
		if err != nil {
			return err
		}
		if k != nil {
			c.Set(callerKey, k)
			if h := c.Request().Header; h.Get("Idempotency-Key") != "" {
				// One person's keys mean nothing under another's account.
				h.Set("Idempotency-Key", fmt.Sprintf("%d:%.100s", k.account.ID, h.Get("Idempotency-Key")))
			}
		}
		if action == Public {
			return next(c)
		}
		if k == nil {
			return s.askToSignIn(c)
		}
		if as := c.Request().Header.Get(asHeader); as != "" {
			if name, err := url.PathUnescape(as); err != nil || name != k.account.Name {
				return assess.Errorf(codeOtherPerson, "This was made by somebody else than who is signed in now. It is kept: sign in under that name to send it.")
			}
		}
		for i, name := range c.ParamNames() {
			if slices.Contains(plainParams, name) {
				continue
			}
			if err := s.intoEstateOf(c, k, name, c.ParamValues()[i]); err != nil {
				return err
			}
		}
		if !k.may(action) {
			return assess.Errorf(codeNotAllowed, "Your role in this estate (%s) doesn't allow this. Ask its manager.", k.role)
		}
		if err := s.ownLesson(c, k); err != nil {
			return err
		}
		if err := s.heldBack(c, k, action); err != nil {
			return err
		}
		return next(c)
	}
}

// intoEstateOf turns to the estate of an object that the address names. What
// isn't there and what belongs to another estate are answered alike.
func (s *Server) intoEstateOf(c echo.Context, k *caller, name, value string) error {
	find := addressed[name]
	n, err := strconv.ParseInt(value, 10, 64)
	if find == nil || err != nil || n < 1 {
		return echo.ErrNotFound
	}
	ctx := c.Request().Context()
	estate, err := find(s.store, ctx, n)
	if assess.ErrorCode(err) == assess.ENotFound {
		return echo.ErrNotFound
	}
	if err != nil {
		return err
	}
	if estate == k.estate.ID {
		return nil
	}
	m, err := s.store.Member(ctx, estate, k.account.ID)
	if err != nil {
		return err
	}
	// A token is of one estate alone, and so is a demonstration's guest.
	if m == nil || k.session == 0 {
		return echo.ErrNotFound
	}
	k.estate, k.role = m.Estate, Role(m.Role)
	return nil
}

func (s *Server) askToSignIn(c echo.Context) error {
	r := c.Request()
	if strings.HasPrefix(r.URL.Path, "/api/") || r.URL.Path == "/metrics" || changes(r.Method) || strings.Contains(r.URL.Path, "/picture/") {
		return signInNeeded()
	}
	return c.Redirect(http.StatusSeeOther, "/sign-in?to="+url.QueryEscape(r.URL.RequestURI()))
}

// callerFrom tells who sent a request: by its token, else by its session's
// cookie, else, in a demonstration, as its guest; nil for nobody.
func (s *Server) callerFrom(c echo.Context) (*caller, error) {
	ctx := c.Request().Context()
	secret, isToken := bearer(c.Request())
	var found *store.Session
	var err error
	hash := ""
	switch {
	case isToken:
		if found, err = s.store.Token(ctx, store.HashSecret(secret)); err == nil && found == nil {
			return nil, assess.Errorf(codeSignIn, "This token is unknown, revoked or too old. Make a new one on the page of your account.")
		}
	default:
		if k, kerr := c.Cookie(s.cookieName()); kerr == nil {
			hash = store.HashSecret(k.Value)
			found, err = s.store.Session(ctx, hash, accountRules.SessionIdle)
		}
	}
	if err != nil {
		return nil, err
	}
	if found == nil {
		return s.guest(ctx)
	}
	m, err := s.store.Member(ctx, found.Estate, found.Account.ID)
	if err != nil {
		return nil, err
	}
	if m == nil {
		// Taken out of that estate, but perhaps a member of another.
		all, err := s.store.Memberships(ctx, found.Account.ID)
		if err != nil || len(all) == 0 || isToken {
			return nil, err
		}
		m = &all[0]
	}
	k := &caller{account: found.Account, estate: m.Estate, role: Role(m.Role), scope: Scope(found.Scope), hash: hash}
	if !isToken {
		k.session = found.ID
	}
	return k, nil
}

// guest is who acts in a demonstration when nobody signed in: the invented
// estate's manager. Nothing real is in there, and only this machine reaches it.
func (s *Server) guest(ctx context.Context) (*caller, error) {
	if !s.access.Demo {
		return nil, nil
	}
	a, err := s.store.AccountByName(ctx, s.access.DemoName)
	if err != nil || a == nil {
		return nil, err
	}
	m, err := s.store.Member(ctx, store.FirstEstate, a.ID)
	if err != nil || m == nil {
		return nil, err
	}
	return &caller{account: *a, estate: m.Estate, role: Role(m.Role)}, nil
}

// bearer gives the token of a request; false when it brings none.
func bearer(r *http.Request) (string, bool) {
	kind, secret, found := strings.Cut(r.Header.Get("Authorization"), " ")
	return strings.TrimSpace(secret), found && strings.EqualFold(kind, "Bearer")
}
