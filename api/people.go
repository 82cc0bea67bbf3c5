package api

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/web"
)

// peoplePage shows the members of the caller's estate and its open links.
func (s *Server) peoplePage(c echo.Context) error {
	ctx := c.Request().Context()
	k := callerOf(c)
	p := web.PeoplePage{Frame: s.frame(c, "people.title")}
	p.Script, p.Back = "people", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	members, err := s.store.Members(ctx, k.estate.ID)
	if err != nil {
		return err
	}
	for _, m := range members {
		p.Members = append(p.Members, web.MemberLine{
			ID: m.ID, Name: m.Name, Role: m.Role, RoleWords: s.say(c, "role."+m.Role), Since: s.day(c, m.Since), Self: m.ID == k.account.ID,
			CanSignIn: m.Password != "",
		})
	}
	links, err := s.store.Invitations(ctx, k.estate.ID)
	if err != nil {
		return err
	}
	for _, i := range links {
		l := web.LinkLine{ID: i.ID, RoleWords: s.say(c, "role."+i.Role), By: i.MadeBy, Expires: s.day(c, i.Expires)}
		if i.Account != nil {
			l.Account = i.Account.Name
		}
		p.Links = append(p.Links, l)
	}
	for _, r := range Roles() {
		p.Roles = append(p.Roles, web.Choice{Value: string(r), Text: s.say(c, "role."+string(r)), Hint: s.say(c, "role.may."+string(r))})
	}
	return s.render(c, http.StatusOK, "people", p)
}

// invite makes a one-time link for whoever gets it.
func (s *Server) invite(c echo.Context) error {
	type body struct {
		Role Role `json:"role"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	return s.answerLink(c, callerOf(c).estate.ID, in.Role, 0)
}

// answerLink gives a new link, which is shown this once.
func (s *Server) answerLink(c echo.Context, estate int64, role Role, account int64) error {
	path, err := NewLink(c.Request().Context(), s.store, estate, role, account, who(c))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]any{"link": s.originOf(c.Request()) + path, "days": int(accountRules.LinkLasts / (24 * time.Hour))})
}

func (s *Server) withdrawLink(c echo.Context) error {
	n, err := id(c, "link")
	if err != nil {
		return err
	}
	if err := s.store.CloseInvitation(c.Request().Context(), n); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// setRole gives a member of the caller's estate another role, or, with "",
// takes it out. What it saved stays, under its name.
func (s *Server) setRole(c echo.Context) error {
	n, err := id(c, "member")
	if err != nil {
		return err
	}
	type body struct {
		Role Role `json:"role"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	if in.Role != "" && !isRole(in.Role) {
		return assess.Errorf(assess.EInvalid, "%q is no role. There are: %s.", in.Role, rolesInWords())
	}
	if err := s.store.SetRole(c.Request().Context(), callerOf(c).estate.ID, n, string(in.Role), string(Manager)); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// passwordLink makes a link by which a member chooses a new password. A
// manager can hand it out only to members of no other estate: it opens all of
// an account.
func (s *Server) passwordLink(c echo.Context) error {
	n, err := id(c, "member")
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	estate := callerOf(c).estate.ID
	m, err := s.store.Member(ctx, estate, n)
	if err != nil {
		return err
	}
	if m == nil {
		return assess.Errorf(assess.ENotFound, "There is no such member of this estate.")
	}
	all, err := s.store.Memberships(ctx, n)
	if err != nil {
		return err
	}
	if len(all) > 1 {
		return assess.Errorf(codeNotAllowed, "This person belongs to another estate too, so a manager can't open the account. Whoever runs the service can: nodespan link --account NAME.")
	}
	return s.answerLink(c, estate, Role(m.Role), n)
}

// renameEstate gives the caller's estate a name.
func (s *Server) renameEstate(c echo.Context) error {
	type body struct {
		Name string `json:"name"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	if err := s.store.RenameEstate(c.Request().Context(), callerOf(c).estate.ID, in.Name); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// addEstate makes another estate, whose manager the caller is.
func (s *Server) addEstate(c echo.Context) error {
	type body struct {
		Name string `json:"name"`
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
	e, err := s.store.AddEstate(ctx, in.Name)
	if err != nil {
		return err
	}
	if err := s.store.Join(ctx, e.ID, k.account.ID, string(Manager)); err != nil {
		return err
	}
	if err := s.store.LookAt(ctx, k.session, e.ID); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]any{"id": e.ID, "name": e.Name})
}
