package api

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/assess/exercise"
	"nodespan/assess/store"
	"nodespan/web"
)

// routesOfExercises serves groups and exercises: blind.go keeps from
// participants what they aren't to see yet, attempt.go is choosing,
// sidebyside.go looking at two choices, results.go the figures.
func (s *Server) routesOfExercises(e *echo.Echo, a *echo.Group) {
	e.GET("/exercises", s.exercisesPage)
	e.GET("/exercises/:exercise", s.exercisePage)
	e.GET("/exercises/:exercise/sheet.pdf", s.exerciseSheet)
	e.GET("/exercises/:exercise/results", s.resultsPage)
	e.GET("/exercises/:exercise/results.pdf", s.resultSheet)
	e.GET("/exercises/:exercise/:part", s.attemptPage)
	e.GET("/exercises/:exercise/:part/compare", s.comparePage)
	e.GET("/groups/:group", s.groupPage)
	e.GET("/groups/:group/exercise", s.newExercisePage)
	a.POST("/groups", s.addGroup)
	a.POST("/groups/:group/members", s.setGroupMember)
	a.POST("/groups/:group/exercises", s.addExercise)
	a.GET("/exercises", s.listExercises)
	a.GET("/exercises/:exercise/figures", s.exerciseFigures)
	a.POST("/exercises/:exercise/opening", s.openExercise)
	a.GET("/exercises/:exercise/vines/:part", s.getAttempt)
	a.POST("/exercises/:exercise/vines/:part/choices", s.sealChoice)
	a.POST("/exercises/:exercise/vines/:part/withdrawals", s.withdrawChoice)
	a.GET("/exercises/:exercise/vines/:part/comparison", s.getComparison)
	a.GET("/exercises/:exercise/vines/:part/suggestion", s.getSuggestion)
	a.POST("/exercises/:exercise/vines/:part/remarks", s.addRemark)
	a.POST("/exercises/:exercise/vines/:part/done", s.addDone)
}

func (s *Server) exercisesPage(c echo.Context) error {
	ctx, k := c.Request().Context(), callerOf(c)
	p := web.ExercisesPage{Frame: s.frame(c, "exercise.title")}
	p.Script, p.Back = "exercises", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	mine, err := s.store.ExercisesFor(ctx, estateOf(c), k.account.ID)
	if err != nil {
		return err
	}
	for _, e := range mine {
		x, err := s.everythingOf(ctx, e)
		if err != nil {
			return err
		}
		done := 0
		for _, v := range x.vines {
			done += oneIf(x.standing(v.ID, k.account.ID, 0) != nil)
		}
		p.Mine = append(p.Mine, web.ExerciseLine{To: exercisePath(e.ID), Name: e.Name, Group: e.Group.Name, Trainer: e.Group.Trainer.Name, When: s.day(c, e.MadeAt), Vines: len(x.vines), Done: done, Open: e.Opened()})
	}
	if !k.may(Teach) {
		return s.render(c, http.StatusOK, "exercises", p)
	}
	groups, err := s.store.GroupsOf(ctx, estateOf(c), k.account.ID)
	if err != nil {
		return err
	}
	for _, g := range groups {
		members, err := s.store.GroupMembers(ctx, g.ID)
		if err != nil {
			return err
		}
		all, err := s.store.ExercisesOfGroup(ctx, g.ID)
		if err != nil {
			return err
		}
		p.Groups = append(p.Groups, web.GroupLine{To: groupPath(g.ID), Name: g.Name, Members: len(members), Exercises: len(all)})
	}
	return s.render(c, http.StatusOK, "exercises", p)
}

func oneIf(b bool) int {
	if b {
		return 1
	}
	return 0
}

type exerciseView struct {
	ID      int64            `json:"id"`
	Name    string           `json:"name"`
	Group   string           `json:"group"`
	Trainer string           `json:"trainer"`
	Mode    exercise.Mode    `json:"mode"`
	Judging exercise.Judging `json:"judging"`
	Open    bool             `json:"open"` // its results
	Page    string           `json:"page"`
}

func viewExercise(e store.Exercise) exerciseView {
	return exerciseView{ID: e.ID, Name: e.Name, Group: e.Group.Name, Trainer: e.Group.Trainer.Name, Mode: exercise.Mode(e.Mode), Judging: exercise.Judging(e.Judging), Open: e.Opened(), Page: exercisePath(e.ID)}
}

// listExercises gives the exercises in which the caller takes part.
func (s *Server) listExercises(c echo.Context) error {
	all, err := s.store.ExercisesFor(c.Request().Context(), estateOf(c), callerOf(c).account.ID)
	if err != nil {
		return err
	}
	out := []exerciseView{}
	for _, e := range all {
		out = append(out, viewExercise(e))
	}
	return c.JSON(http.StatusOK, out)
}

type groupAnswer struct {
	ID   int64  `json:"id"`
	Name string `json:"name"`
	Page string `json:"page"`
}

func (s *Server) addGroup(c echo.Context) error {
	in, err := sent[nameIn](c)
	if err != nil {
		return err
	}
	g, err := s.store.AddGroup(c.Request().Context(), estateOf(c), callerOf(c).account.ID, in.Name)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, groupAnswer{g.ID, g.Name, groupPath(g.ID)})
}

type groupMemberIn struct {
	Account int64 `json:"account"`
	In      bool  `json:"in"`
}

func (s *Server) setGroupMember(c echo.Context) error {
	n, err := id(c, "group")
	if err != nil {
		return err
	}
	in, err := sent[groupMemberIn](c)
	if err != nil {
		return err
	}
	if err := s.store.SetGroupMember(c.Request().Context(), n, in.Account, in.In); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) groupPage(c echo.Context) error {
	ctx, k := c.Request().Context(), callerOf(c)
	g, err := s.groupAt(c)
	if err != nil {
		return err
	}
	p := web.GroupPage{Frame: s.frame(c, "exercise.group.title", "group", g.Name), ID: g.ID, Name: g.Name, New: groupPath(g.ID) + "/exercise"}
	p.Script, p.Back = "group", &web.Link{Text: s.say(c, "exercise.title"), To: "/exercises"}
	in, err := s.store.GroupMembers(ctx, g.ID)
	if err != nil {
		return err
	}
	all, err := s.store.Members(ctx, g.EstateID)
	if err != nil {
		return err
	}
	for _, m := range all {
		if m.ID != k.account.ID {
			p.People = append(p.People, web.PersonLine{ID: m.ID, Name: m.Name, Role: s.say(c, "role."+m.Role), In: slices.ContainsFunc(in, func(a store.Account) bool { return a.ID == m.ID })})
		}
	}
	exercises, err := s.store.ExercisesOfGroup(ctx, g.ID)
	if err != nil {
		return err
	}
	people := map[int64]*web.GrowthLine{}
	for i, e := range exercises {
		x, err := s.everythingOf(ctx, e)
		if err != nil {
			return err
		}
		line := web.ExerciseLine{To: exercisePath(e.ID), Name: e.Name, When: s.day(c, e.MadeAt), Vines: len(x.vines), Open: e.Opened(), Group: s.say(c, "exercise.mode."+e.Mode)}
		for _, a := range x.people {
			if people[a.ID] == nil {
				people[a.ID] = &web.GrowthLine{Name: a.Name, Cells: make([]web.GrowthCell, len(exercises))}
			}
			pairs, _, err := s.pairsOf(c, x, a.ID, true)
			if err != nil {
				return err
			}
			people[a.ID].Cells[i] = web.GrowthCell{To: exercisePath(e.ID) + "/results?who=" + strconv.FormatInt(a.ID, 10), Words: s.figureWords(c, exercise.Figures(pairs)[0])}
			for _, v := range x.vines {
				line.Done += oneIf(x.standing(v.ID, a.ID, 0) != nil)
			}
		}
		line.Vines *= len(x.people)
		line.Together = s.groupWords(c, x)
		p.Exercises = append(p.Exercises, line)
	}
	for _, l := range people {
		p.Growth = append(p.Growth, *l)
	}
	slices.SortFunc(p.Growth, func(a, b web.GrowthLine) int { return slices.Compare([]string{a.Name}, []string{b.Name}) })
	return s.render(c, http.StatusOK, "group", p)
}

func (s *Server) exercisePage(c echo.Context) error {
	ctx, k, l := c.Request().Context(), callerOf(c), lessonOf(c)
	x, err := s.everythingOf(ctx, l.Exercise)
	if err != nil {
		return err
	}
	to := exercisePath(l.ID)
	p := web.ExercisePage{
		Frame: s.frame(c, "exercise.one", "exercise", l.Name), ID: l.ID, Name: l.Name, Trainer: l.Group.Trainer.Name, Trains: l.trains, Open: l.Opened(), OpenedWhen: s.day(c, l.OpenedAt),
		Mode: s.say(c, "exercise.mode."+l.Mode), ModeHint: s.say(c, "exercise.mode.hint."+l.Mode), Judging: s.say(c, "exercise.judging.hint."+l.Judging), Sheet: to + "/sheet.pdf", Results: to + "/results",
		Chooses: !l.trains || l.Judging == string(exercise.Blind),
	}
	p.Script, p.Back = "exercise", &web.Link{Text: s.say(c, "exercise.title"), To: "/exercises"}
	if l.trains {
		p.Back = &web.Link{Text: l.Group.Name, To: groupPath(l.Group.ID)}
	}
	me := k.account.ID
	for _, v := range x.vines {
		line := web.ExerciseVine{N: v.Seq, Where: s.where(c, store.Block{Name: v.BlockName}, v.Vine), Picture: photoPath(v.PhotoID) + "/picture/small.jpg", To: fmt.Sprintf("%s/%d", to, v.Seq)}
		mine := x.standing(v.ID, me, 0)
		line.State = s.stateOf(mine)
		line.StateWords = s.say(c, "exercise.state."+line.State)
		look := x.mayLook(v.ID, me, l.trains)
		if !l.trains && look {
			line.Compare = fmt.Sprintf("%s/%d/compare", to, v.Seq)
		}
		p.Waits += oneIf(mine == nil)
		if l.trains {
			for _, a := range x.people {
				cell := web.ExerciseCell{Name: a.Name}
				theirs := x.standing(v.ID, a.ID, 0)
				cell.State = s.stateOf(theirs)
				cell.Words = s.say(c, "exercise.state."+cell.State)
				if theirs != nil && !theirs.Passed && look {
					cell.To = fmt.Sprintf("%s/%d/compare?who=%d", to, v.Seq, a.ID)
					if x.judged(v.ID, a.ID) != nil {
						cell.State, cell.Words = "judged", s.say(c, "exercise.state.judged")
					}
				}
				p.Unsealed += oneIf(theirs == nil)
				line.People = append(line.People, cell)
			}
		}
		p.Vines = append(p.Vines, line)
	}
	for _, a := range x.people {
		if l.trains {
			p.People = append(p.People, web.Link{Text: a.Name, To: fmt.Sprintf("%s/results?who=%d", to, a.ID)})
		}
	}
	p.Together = s.groupWords(c, x)
	if !l.trains {
		p.Together = ""
	}
	return s.render(c, http.StatusOK, "exercise", p)
}

func (s *Server) stateOf(k *store.SealedChoice) string {
	switch {
	case k == nil:
		return "open"
	case k.Passed:
		return "passed"
	}
	return "sealed"
}

// openExercise lets participants see what became of their choices.
func (s *Server) openExercise(c echo.Context) error {
	l := lessonOf(c)
	if err := trainsHere(l); err != nil {
		return err
	}
	if err := s.store.OpenExercise(c.Request().Context(), l.ID, who(c)); err != nil {
		return err
	}
	e, err := s.store.Exercise(c.Request().Context(), l.ID)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, viewExercise(e))
}
