package api

import (
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
)

// codeSealFirst says that something stays closed until a choice is sealed.
const codeSealFirst = "seal_first"

// heldBackError says that something stays closed until a choice is sealed, or
// the results are open.
type heldBackError struct {
	cause    *assess.Error
	exercise string // address of the exercise's page
}

// Error gives the sentence for the person.
func (e *heldBackError) Error() string { return e.cause.Message }

// Unwrap gives the error that carries code and sentence.
func (e *heldBackError) Unwrap() error { return e.cause }

// holdBack makes such an error from a text of the catalogue.
func (s *Server) holdBack(c echo.Context, key, name string, exercise int64) error {
	return &heldBackError{assess.Errorf(codeSealFirst, "%s", s.say(c, key, "exercise", name)), exercisePath(exercise)}
}

const hiddenKey = "hidden vines"

// hiddenVines are the vines of which the caller may see nothing but their
// exercise yet.
type hiddenVines []store.HiddenVine

func (h hiddenVines) vine(id int64) bool {
	return slices.ContainsFunc(h, func(x store.HiddenVine) bool { return x.Vine.ID == id })
}

func (h hiddenVines) inBlock(id int64) bool {
	return slices.ContainsFunc(h, func(x store.HiddenVine) bool { return x.Vine.BlockID == id })
}

// elsewhere finds an exercise other than one, by which a vine is hidden.
func (h hiddenVines) elsewhere(vine, exercise int64) *store.HiddenVine {
	for i := range h {
		if h[i].Vine.ID == vine && h[i].Exercise != exercise {
			return &h[i]
		}
	}
	return nil
}

func (s *Server) hiddenVines(c echo.Context) (hiddenVines, error) {
	if h, ok := c.Get(hiddenKey).(hiddenVines); ok {
		return h, nil
	}
	k := callerOf(c)
	if k == nil {
		return nil, nil
	}
	all, err := s.store.HiddenVines(c.Request().Context(), k.account.ID)
	if err != nil {
		return nil, err
	}
	c.Set(hiddenKey, hiddenVines(all))
	return all, nil
}

// tellNoVine are the addresses of a block that tell nothing of what is known of
// its vines. All others could tell of many what is of one of them alone.
var tellNoVine = []string{"/blocks/:block", "/api/blocks/:block", "/blocks/:block/rules", "/api/blocks/:block/rules"}

// heldBack refuses whatever would show a person more of a vine than the
// exercise that it is in does, before the own choice is sealed and the results
// are open: the vine's pages, its photos, measurements and plans, and their
// JSON. The exercise's own photo is shown as a plain picture, and new photos of
// the vine are taken in. What is told of many vines of a block at once is
// refused while one of them is hidden, but for tellNoVine; the block's page
// leaves out what it tells of its winters.
func (s *Server) heldBack(c echo.Context, k *caller, action Action) error {
	if c.Param("photo") == "" && c.Param("measurement") == "" && c.Param("block") == "" {
		return nil
	}
	hidden, err := s.hiddenVines(c)
	if err != nil || len(hidden) == 0 {
		return err
	}
	ctx := c.Request().Context()
	number := func(name string) int64 {
		n, _ := strconv.ParseInt(c.Param(name), 10, 64)
		return n
	}
	refuse := func(h store.HiddenVine) error {
		key := "exercise.heldback"
		if h.Sealed {
			key = "exercise.heldback.sealed"
		}
		return s.holdBack(c, key, h.Name, h.Exercise)
	}
	photo := number("photo")
	if m := number("measurement"); m > 0 {
		of, err := s.store.Measurement(ctx, m)
		if err != nil {
			return err
		}
		photo = of.PhotoID
	}
	if photo > 0 {
		p, err := s.store.Photo(ctx, photo)
		if err != nil {
			return err
		}
		for _, h := range hidden {
			if h.Vine.ID != p.VineID || strings.HasPrefix(c.Path(), "/photos/:photo/picture/") && hidden.shows(photo) {
				continue
			}
			return refuse(h)
		}
		return nil
	}
	block, row, vine := number("block"), number("row"), number("vine")
	for _, h := range hidden {
		switch {
		case h.Vine.BlockID != block:
		case vine > 0 && h.Vine.Row == int(row) && h.Vine.Number == int(vine) && action != Upload:
			return refuse(h)
		case vine == 0 && !slices.Contains(tellNoVine, c.Path()) && (row == 0 || h.Vine.Row == int(row)):
			return refuse(h)
		}
	}
	return nil
}

// shows tells whether a photo is that of an exercise by which its vine is
// hidden.
func (h hiddenVines) shows(photo int64) bool {
	return slices.ContainsFunc(h, func(x store.HiddenVine) bool { return x.Photo == photo })
}

// mayShow refuses to show a vine of an exercise with what its mode shows, while
// another exercise shows the same person less of the same vine.
func (s *Server) mayShow(c echo.Context, e store.Exercise, v store.ExerciseVine) error {
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return err
	}
	rank := func(mode string) int { return slices.Index(exercise.Modes(), exercise.Mode(mode)) }
	for _, h := range hidden {
		if h.Vine.ID == v.Vine.ID && h.Exercise != e.ID && rank(h.Mode) < rank(e.Mode) {
			return s.holdBack(c, "exercise.heldback", h.Name, h.Exercise)
		}
	}
	return nil
}
