package api

import (
	"context"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// codeSlowDown says that too many sign-ins failed, and to wait.
const codeSlowDown = "slow_down"

// cookieName is the session cookie's. The prefix makes browsers insist on
// Secure, on this host and on the whole path; it needs https.
func (s *Server) cookieName() string {
	if s.access.secure() {
		return "__Host-nodespan_session"
	}
	return "nodespan_session"
}

func (s *Server) setCookie(c echo.Context, secret string, lasts time.Duration) {
	age := int(lasts.Seconds())
	if secret == "" {
		age = -1
	}
	c.SetCookie(&http.Cookie{
		Name: s.cookieName(), Value: secret, Path: "/", MaxAge: age,
		HttpOnly: true, Secure: s.access.secure(), SameSite: http.SameSiteLaxMode,
	})
}

// waitAfter is how long the next try to sign in waits after n failures.
func waitAfter(n, free int) time.Duration {
	if n < free {
		return 0
	}
	w := float64(accountRules.FirstWait) * math.Pow(2, float64(min(n-free, 30)))
	return time.Duration(min(w, float64(accountRules.LongestWait)))
}

// subjects are whose failed sign-ins count for a try: the account's and the
// address's, in this order.
func subjects(c echo.Context, account string) []store.Subject {
	return []store.Subject{
		{Key: store.HashSecret("account " + strings.ToLower(account)), Free: accountRules.FreeTries},
		{Key: store.HashSecret("address " + c.RealIP()), Free: accountRules.FreeTries * accountRules.AddressFactor},
	}
}

// slowDown holds a try to sign in against the failures so far, by account and
// by address.
func (s *Server) slowDown(c echo.Context, account string) error {
	left, err := s.store.Tries(c.Request().Context(), subjects(c, account), waitAfter)
	if err != nil || left <= 0 {
		return err
	}
	seconds := int(math.Ceil(left.Seconds()))
	c.Response().Header().Set("Retry-After", strconv.Itoa(seconds))
	return assess.Errorf(codeSlowDown, "Too many sign-ins failed. Wait %d seconds, then try again.", seconds)
}

// itWasGood takes back that a try counts as failed.
func (s *Server) itWasGood(c echo.Context, account string) error {
	who := subjects(c, account)
	if err := s.store.ForgetTries(c.Request().Context(), who[0].Key); err != nil {
		return err
	}
	return s.store.ForgiveTry(c.Request().Context(), who[1].Key)
}

// signIn starts a session, whatever session there was before.
func (s *Server) signIn(c echo.Context) error {
	type body struct {
		Name     string `json:"name"`
		Password string `json:"password"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	in.Name = strings.TrimSpace(in.Name)
	if len(in.Name) > 400 || len(in.Password) > 4*accountRules.MostPassword {
		return wrongSignIn()
	}
	if err := s.slowDown(c, in.Name); err != nil {
		return err
	}
	ctx := c.Request().Context()
	a, err := s.store.AccountByName(ctx, in.Name)
	if err != nil {
		return err
	}
	hash := ""
	if a != nil && !a.Disabled {
		hash = a.Password
	}
	ok, err := s.passwordIs(ctx, in.Password, hash)
	if err != nil {
		return err
	}
	if !ok {
		s.counts.signIns.WithLabelValues("failed").Inc()
		return wrongSignIn()
	}
	if err := s.itWasGood(c, in.Name); err != nil {
		return err
	}
	all, err := s.store.Memberships(ctx, a.ID)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return assess.Errorf(codeNotAllowed, "Your account belongs to no estate any more. Ask an estate's manager for an invitation.")
	}
	if err := s.beginSession(c, a.ID, all[0].Estate.ID); err != nil {
		return err
	}
	s.counts.signIns.WithLabelValues("good").Inc()
	return c.JSON(http.StatusCreated, map[string]any{"name": a.Name, "estate": all[0].Estate.Name, "role": all[0].Role})
}

func wrongSignIn() error {
	return assess.Errorf(assess.EInvalid, "Name and password don't go together. Type them again, or ask your estate's manager for a link to choose a new password.")
}

// beginSession gives the browser a session that is new, so that one that
// somebody slipped in before is worth nothing.
func (s *Server) beginSession(c echo.Context, account, estate int64) error {
	ctx := c.Request().Context()
	if k := callerOf(c); k != nil && k.session != 0 {
		if err := s.store.EndSession(ctx, k.account.ID, k.session); err != nil {
			return err
		}
	}
	if err := s.store.SweepSessions(ctx); err != nil {
		return err
	}
	secret, hash := store.NewSecret()
	if err := s.store.AddSession(ctx, hash, account, estate, accountRules.SessionLasts); err != nil {
		return err
	}
	s.setCookie(c, secret, accountRules.SessionLasts)
	return nil
}

// signOut ends the caller's session.
func (s *Server) signOut(c echo.Context) error {
	k := callerOf(c)
	if k.session != 0 {
		if err := s.store.EndSession(c.Request().Context(), k.account.ID, k.session); err != nil {
			return err
		}
	}
	s.setCookie(c, "", 0)
	return c.NoContent(http.StatusNoContent)
}

// ownPath lets only an address of this service pass, for going there after a
// sign-in.
func ownPath(to string) string {
	if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.ContainsAny(to, "\\\r\n\t") {
		return "/"
	}
	return to
}

func (s *Server) signInPage(c echo.Context) error {
	to := ownPath(c.QueryParam("to"))
	if callerOf(c) != nil && !s.access.Demo {
		return c.Redirect(http.StatusSeeOther, to)
	}
	p := web.SignInPage{Frame: s.frame(c, "signin.title"), To: to}
	p.Script = "signin"
	return s.render(c, http.StatusOK, "signin", p)
}

// joinPage shows what a one-time link is for. Looking at it doesn't use it up,
// so a mail program that opens links first does no harm.
func (s *Server) joinPage(c echo.Context) error {
	secret := c.Param("secret")
	i, err := s.store.Invitation(c.Request().Context(), store.HashSecret(secret))
	if err != nil {
		return err
	}
	p := web.JoinPage{
		Frame: s.frame(c, "join.title"), Secret: secret, To: i.Estate.Name, By: i.MadeBy,
		RoleWords: s.say(c, "role."+i.Role), Least: accountRules.LeastPassword,
	}
	p.Script = "join"
	if i.Account != nil {
		p.Account = i.Account.Name
	} else if k := callerOf(c); k != nil && k.session != 0 {
		p.Member = k.account.Name
	}
	return s.render(c, http.StatusOK, "join", p)
}

// join uses a one-time link: it makes an account, or sets the password of the
// account that the link is for. Either way the person is signed in then.
func (s *Server) join(c echo.Context) error {
	type body struct {
		Secret   string `json:"secret"`
		Name     string `json:"name"`
		Password string `json:"password"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	hash := store.HashSecret(in.Secret)
	// The link first: hashing a password is costly, and only its holder may ask
	// for that.
	i, err := s.store.Invitation(ctx, hash)
	if err != nil {
		return err
	}
	name := in.Name
	if i.Account != nil {
		name = i.Account.Name
	} else if name, err = store.CheckName(name, "The person"); err != nil {
		return err
	}
	if err := checkPassword(in.Password, name); err != nil {
		return err
	}
	password, err := s.hashPassword(ctx, in.Password)
	if err != nil {
		return err
	}
	a, i, err := s.store.UseInvitation(ctx, hash, name, password, 0)
	if err != nil {
		return err
	}
	if err := s.beginSession(c, a.ID, i.Estate.ID); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]string{"name": a.Name})
}

// joinAsMember lets somebody who has an account join another estate by a link.
func (s *Server) joinAsMember(c echo.Context) error {
	type body struct {
		Secret string `json:"secret"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	k := callerOf(c)
	if k.session == 0 {
		return signInNeeded()
	}
	hash := store.HashSecret(in.Secret)
	if i, err := s.store.Invitation(ctx, hash); err != nil {
		return err
	} else if i.Account != nil {
		return assess.Errorf(assess.EInvalid, "This link is for choosing a new password. Open it and choose one.")
	}
	_, i, err := s.store.UseInvitation(ctx, hash, "", "", k.account.ID)
	if err != nil {
		return err
	}
	if err := s.store.LookAt(ctx, k.session, i.Estate.ID); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]string{"name": k.account.Name})
}

// NewLink makes a one-time link by which somebody joins an estate in a role,
// or, with account, by which that account chooses a new password. It returns
// the link's path, to be put behind the service's address; what is kept can't
// be turned back into it.
func NewLink(ctx context.Context, st *store.Store, estate int64, role Role, account int64, by string) (string, error) {
	if !isRole(role) {
		return "", assess.Errorf(assess.EInvalid, "%q is no role. There are: %s.", role, rolesInWords())
	}
	secret, hash := store.NewSecret()
	if err := st.AddInvitation(ctx, hash, estate, string(role), account, by, accountRules.LinkLasts); err != nil {
		return "", err
	}
	return "/join/" + secret, nil
}

func rolesInWords() string {
	var names []string
	for _, r := range Roles() {
		names = append(names, string(r))
	}
	return strings.Join(names, ", ")
}
