package api

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// accountPage shows the caller's own account: estates, where it is signed in,
// tokens, and a form for another password.
func (s *Server) accountPage(c echo.Context) error {
	ctx := c.Request().Context()
	k := callerOf(c)
	p := web.AccountPage{
		Frame: s.frame(c, "account.title"), Role: s.say(c, "role."+string(k.role)), Hint: s.say(c, "role.may."+string(k.role)),
		EstateID: k.estate.ID, Guest: k.session == 0, Least: accountRules.LeastPassword, LongestDays: accountRules.TokenLongest,
	}
	p.Script, p.Back = "account", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	all, err := s.store.Memberships(ctx, k.account.ID)
	if err != nil {
		return err
	}
	for _, m := range all {
		p.Estates = append(p.Estates, web.EstateLine{ID: m.Estate.ID, Name: m.Estate.Name, RoleWords: s.say(c, "role."+m.Role), Here: m.Estate.ID == k.estate.ID})
	}
	sessions, err := s.store.Sessions(ctx, k.account.ID)
	if err != nil {
		return err
	}
	for _, x := range sessions {
		p.Sessions = append(p.Sessions, web.SessionLine{ID: x.ID, Began: s.day(c, x.Began), Seen: s.day(c, x.Seen), Here: x.ID == k.session})
	}
	tokens, err := s.store.Tokens(ctx, k.account.ID)
	if err != nil {
		return err
	}
	for _, x := range tokens {
		p.Tokens = append(p.Tokens, web.TokenLine{ID: x.ID, Name: x.Name, ScopeWords: s.say(c, "scope."+x.Scope), Expires: s.day(c, x.Expires), Used: s.day(c, x.Seen)})
	}
	for _, scope := range []Scope{ScopeRead, ScopeRecord, ScopeMetrics} {
		if scope != ScopeMetrics || k.role.May(Operate) {
			p.Scopes = append(p.Scopes, web.Choice{Value: string(scope), Text: s.say(c, "scope."+string(scope))})
		}
	}
	return s.render(c, http.StatusOK, "account", p)
}

// ownSession is the caller when it is a person at a browser, not a program
// with a token and not a demonstration's guest.
func ownSession(c echo.Context) (*caller, error) {
	k := callerOf(c)
	if k == nil || k.session == 0 {
		return nil, assess.Errorf(codeSignIn, "Sign in with your own account first.")
	}
	return k, nil
}

// setPassword takes another password, after the present one was given once
// more. Every other session and every token of the account ends.
func (s *Server) setPassword(c echo.Context) error {
	k, err := ownSession(c)
	if err != nil {
		return err
	}
	type body struct {
		Now  string `json:"now"`
		Next string `json:"next"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	if err := s.slowDown(c, k.account.Name); err != nil {
		return err
	}
	ctx := c.Request().Context()
	ok, err := s.passwordIs(ctx, in.Now, k.account.Password)
	if err != nil {
		return err
	}
	if !ok {
		return assess.Errorf(assess.EInvalid, "The present password isn't right. Type it again.")
	}
	if err := s.itWasGood(c, k.account.Name); err != nil {
		return err
	}
	if err := checkPassword(in.Next, k.account.Name); err != nil {
		return err
	}
	hash, err := s.hashPassword(ctx, in.Next)
	if err != nil {
		return err
	}
	if err := s.store.SetPassword(ctx, k.account.ID, hash, k.hash); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// lookAt turns the caller's pages to another of its estates.
func (s *Server) lookAt(c echo.Context) error {
	k, err := ownSession(c)
	if err != nil {
		return err
	}
	type body struct {
		Estate int64 `json:"estate"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	m, err := s.store.Member(ctx, in.Estate, k.account.ID)
	if err != nil {
		return err
	}
	if m == nil {
		return assess.Errorf(assess.ENotFound, "You belong to no such estate.")
	}
	if err := s.store.LookAt(ctx, k.session, in.Estate); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) endSession(c echo.Context) error {
	n, err := id(c, "session")
	if err != nil {
		return err
	}
	if err := s.store.EndSession(c.Request().Context(), callerOf(c).account.ID, n); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// addToken makes a token for a program; it is shown in this answer and never
// again.
func (s *Server) addToken(c echo.Context) error {
	k, err := ownSession(c)
	if err != nil {
		return err
	}
	type body struct {
		Name  string `json:"name"`
		Scope Scope  `json:"scope"`
		Days  int    `json:"days"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	if scopes[in.Scope] == nil || in.Scope == ScopeMetrics && !k.role.May(Operate) {
		return assess.Errorf(assess.EInvalid, "%q is nothing that a token of yours can be for. Choose one from the list.", in.Scope)
	}
	if in.Days < 1 || in.Days > accountRules.TokenLongest {
		return assess.Errorf(assess.EInvalid, "A token holds for 1 to %d days. Change the number.", accountRules.TokenLongest)
	}
	secret, hash := store.NewSecret()
	if err := s.store.AddToken(c.Request().Context(), hash, k.account.ID, k.estate.ID, in.Name, string(in.Scope), time.Duration(in.Days)*24*time.Hour); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]string{"token": secret})
}

func (s *Server) revokeToken(c echo.Context) error {
	n, err := id(c, "token")
	if err != nil {
		return err
	}
	if err := s.store.RevokeToken(c.Request().Context(), callerOf(c).account.ID, n); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}
