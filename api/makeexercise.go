package api

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
	"nodespan/web"
)

// teachable is how many photos a trainer is shown to choose from.
const teachable = 48

func (s *Server) newExercisePage(c echo.Context) error {
	ctx := c.Request().Context()
	g, err := s.groupAt(c)
	if err != nil {
		return err
	}
	p := web.NewExercisePage{Frame: s.frame(c, "exercise.new"), Group: g.ID, Most: store.MostExerciseVines}
	p.Script, p.Back = "newexercise", &web.Link{Text: g.Name, To: groupPath(g.ID)}
	blocks, err := s.store.Blocks(ctx, g.EstateID)
	if err != nil {
		return err
	}
	chosen, _ := strconv.ParseInt(c.QueryParam("block"), 10, 64)
	for _, b := range blocks {
		p.Blocks = append(p.Blocks, web.BlockOption{ID: b.ID, Name: b.Name, Chosen: b.ID == chosen})
	}
	photos, err := s.store.TeachablePhotos(ctx, g.EstateID, chosen, teachable)
	if err != nil {
		return err
	}
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return err
	}
	for _, ph := range photos {
		if hidden.vine(ph.Vine.ID) {
			continue
		}
		key := "exercise.photo.fresh"
		if ph.Confirmed {
			key = "exercise.photo.confirmed"
		}
		p.Photos = append(p.Photos, web.TeachablePhoto{ID: ph.ID, Where: s.where(c, store.Block{Name: ph.BlockName}, ph.Vine), Words: s.say(c, key, "canes", ph.Canes, "winter", ph.Winter), Picture: photoPath(ph.ID) + "/picture/small.jpg"})
	}
	members, err := s.store.GroupMembers(ctx, g.ID)
	if err != nil {
		return err
	}
	for _, m := range members {
		p.People = append(p.People, web.PersonLine{ID: m.ID, Name: m.Name})
	}
	for _, m := range exercise.Modes() {
		p.Modes = append(p.Modes, web.Choice{Value: string(m), Text: s.say(c, "exercise.mode."+string(m)), Hint: s.say(c, "exercise.mode.hint."+string(m))})
	}
	for _, j := range exercise.Judgings() {
		p.Judgings = append(p.Judgings, web.Choice{Value: string(j), Text: s.say(c, "exercise.judging."+string(j)), Hint: s.say(c, "exercise.judging.hint."+string(j))})
	}
	for _, f := range assess.Forms() {
		p.Forms = append(p.Forms, web.FormOption{ID: f.ID(), Title: s.toldText(c, f.Title)})
	}
	return s.render(c, http.StatusOK, "newexercise", p)
}

type exerciseIn struct {
	Name    string           `json:"name"`
	Mode    exercise.Mode    `json:"mode"`
	Judging exercise.Judging `json:"judging"`
	// Form is a training form by name, "" for that of each vine's block.
	Form         string  `json:"form,omitempty"`
	Photos       []int64 `json:"photos"`
	Participants []int64 `json:"participants"`
}

func (s *Server) addExercise(c echo.Context) error {
	n, err := id(c, "group")
	if err != nil {
		return err
	}
	in, err := sent[exerciseIn](c)
	if err != nil {
		return err
	}
	if len(in.Photos) > store.MostExerciseVines {
		return tooManyVines(len(in.Photos))
	}
	for _, photo := range in.Photos {
		estate, err := s.store.EstateOfPhoto(c.Request().Context(), photo)
		if err != nil {
			return err
		}
		if estate != estateOf(c) {
			return echo.ErrNotFound
		}
		hidden, err := s.hiddenVines(c)
		if err != nil {
			return err
		}
		p, err := s.store.Photo(c.Request().Context(), photo)
		if err != nil {
			return err
		}
		if h := hidden.elsewhere(p.VineID, 0); h != nil {
			return s.holdBack(c, "exercise.heldback", h.Name, h.Exercise)
		}
	}
	e, err := s.MakeExercise(c.Request().Context(), Assignment{
		Group: n, Name: in.Name, Mode: in.Mode, Judging: in.Judging, Form: in.Form, Photos: in.Photos, Participants: in.Participants,
		By: who(c), Key: c.Request().Header.Get("Idempotency-Key"),
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, viewExercise(e))
}

// Assignment is what an exercise is made of.
type Assignment struct {
	Group                int64
	Name                 string
	Mode                 exercise.Mode
	Judging              exercise.Judging
	Form                 string // by name, "" for that of each vine's block
	Photos, Participants []int64
	By, Key              string
}

// MakeExercise keeps an exercise with its vines as they are now. EInvalid when
// a photo has nothing to choose from.
func (s *Server) MakeExercise(ctx context.Context, a Assignment) (store.Exercise, error) {
	if !slices.Contains(exercise.Modes(), a.Mode) || !slices.Contains(exercise.Judgings(), a.Judging) {
		return store.Exercise{}, assess.Errorf(assess.EInvalid, "Say what is shown, and how it is judged. Load the page anew and try again.")
	}
	n := store.NewExercise{Group: a.Group, Name: a.Name, Mode: string(a.Mode), Judging: string(a.Judging), Participants: a.Participants, By: a.By, Key: a.Key}
	if len(a.Photos) > store.MostExerciseVines {
		return store.Exercise{}, tooManyVines(len(a.Photos))
	}
	for _, photo := range a.Photos {
		p, err := s.store.Photo(ctx, photo)
		if err != nil {
			return store.Exercise{}, err
		}
		v, err := s.seeFor(ctx, p, a.Form)
		if err != nil {
			return store.Exercise{}, err
		}
		n.Vines = append(n.Vines, v)
	}
	return s.store.AddExercise(ctx, n)
}

func tooManyVines(n int) error {
	return assess.Errorf(assess.EInvalid, "An exercise has 1 to %d vines, and %d are chosen.", store.MostExerciseVines, n)
}

// seeFor keeps a photo's vine as it is now, with what the program suggests.
func (s *Server) seeFor(ctx context.Context, p store.Photo, form string) (store.ExerciseVine, error) {
	v := store.ExerciseVine{PhotoID: p.ID}
	g, err := s.sightingOf(ctx, p)
	if err != nil {
		return v, err
	}
	if g.measurement == nil {
		return v, assess.Errorf(assess.EInvalid, "A photo isn't measured yet. Wait until it is, or choose another one.")
	}
	if form != "" {
		if g.form, err = assess.FormByName(form); err != nil {
			return v, err
		}
	}
	seen, err := exercise.See(g.measurement.Seen, p.Winter, g.rulings, g.confirmed, g.form, g.rules)
	if err != nil {
		return v, err
	}
	if err := s.knowing(ctx, g); err != nil {
		return v, err
	}
	canes := make([]assess.ConfirmedCane, 0, len(seen.Canes))
	for _, c := range seen.Canes {
		canes = append(canes, assess.ConfirmedCane{Cane: c.Cane, Kind: assess.OneYearCane})
	}
	suggested, err := assess.SuggestKnowing(g.measurement.Seen, canes, g.descents, g.form, g.rules, assess.Wishes{})
	if err != nil {
		return v, err
	}
	v.MeasurementID = g.measurement.ID
	if v.Seen, err = json.Marshal(seen); err != nil {
		return v, err
	}
	v.Suggested, err = json.Marshal(suggested)
	return v, err
}

// Attempt is one attempt of somebody at a vine of an exercise.
type Attempt struct {
	Account int64
	Name    string // of the account
	About   int64  // whose choice a trainer goes through; 0 for one's own
	After   int    // attempts made before
	Pass    bool
	Choice  exercise.Choice
	Key     string
}

// SealFor checks and keeps an attempt, together with what was shown for it.
func (s *Server) SealFor(ctx context.Context, e store.Exercise, v store.ExerciseVine, a Attempt) (store.SealedChoice, error) {
	var seen exercise.Seen
	if err := json.Unmarshal(v.Seen, &seen); err != nil {
		return store.SealedChoice{}, err
	}
	ch := exercise.Choice{Canes: []exercise.Decision{}}
	if !a.Pass {
		var err error
		if ch, err = seen.Seal(a.Choice); err != nil {
			return store.SealedChoice{}, err
		}
	}
	return s.store.Seal(ctx, store.NewSealed{
		VineID: v.ID, Account: a.Account, About: a.About, After: a.After, Passed: a.Pass, Who: a.Name, Key: a.Key,
		Shown: mustJSON(seen.Show(exercise.Mode(e.Mode))), Payload: mustJSON(ch),
	})
}

// RemarkOn leaves a word or an arrow on a sealed choice for a vine.
func (s *Server) RemarkOn(ctx context.Context, v store.ExerciseVine, choice int64, r exercise.Remark, who string) error {
	var seen exercise.Seen
	if err := json.Unmarshal(v.Seen, &seen); err != nil {
		return err
	}
	if err := r.Check(&seen); err != nil {
		return err
	}
	_, err := s.store.AddRemark(ctx, choice, mustJSON(r), who)
	return err
}
