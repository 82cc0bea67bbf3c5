package api

import (
	"context"
	"encoding/json"
	"net/http"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// wishesIn is what a person wants otherwise than suggested.
type wishesIn struct {
	Wishes assess.Wishes `json:"wishes"`
	Buds   int           `json:"buds"` // asked of each cane; 0 for the form's own number
}

// keptChoice is what is kept of a confirmed choice.
type keptChoice struct {
	wishesIn
	Choice assess.Choice `json:"choice"`
}

// choiceView is what the page of the choice needs.
type choiceView struct {
	Measurement int64                  `json:"measurement"`
	Form        assess.Form            `json:"form"`
	Suggested   assess.Choice          `json:"suggested"`
	Choice      assess.Choice          `json:"choice"`    // with the wishes
	Head        *assess.Point          `json:"head_px"`   // null when it wasn't seen and nobody pointed it out
	HeadSaid    bool                   `json:"head_said"` // a person pointed it out
	Winter      string                 `json:"winter"`
	PhotoID     int64                  `json:"photo"`
	Say         string                 `json:"say"`        // where to say something of the vine
	Difference  assess.Difference      `json:"difference"` // of the two
	Advice      string                 `json:"advice"`     // buds by the block's formula, in words
	Wishes      assess.Wishes          `json:"wishes"`
	Buds        int                    `json:"buds"`
	Canes       []assess.ConfirmedCane `json:"canes"`
	Unruled     int                    `json:"unruled"` // canes that nobody ruled on, so that can't be chosen
	Seq         int                    `json:"seq"`
	By          string                 `json:"by,omitempty"` // who confirmed the choice that counts now
	WidthPx     int                    `json:"width_px"`
	HeightPx    int                    `json:"height_px"`
	Medium      string                 `json:"medium"`
	Full        string                 `json:"full"`
	Who         string                 `json:"who"`
	Vine        string                 `json:"vine"`
	// Words has the sentences of the answer, by their English text, in the
	// language of the page that asked.
	Words map[string]string `json:"words,omitempty"`
	Title string            `json:"form_title"` // of the form, in that language
}

// chooseFor computes the choice for a sighting's confirmed canes.
func chooseFor(g *sighting, in wishesIn) (assess.Form, assess.Choice, error) {
	form := g.form
	if in.Buds != 0 {
		var err error
		if form, err = form.WithBuds(in.Buds); err != nil {
			return form, assess.Choice{}, err
		}
	}
	choice, err := assess.SuggestKnowing(g.measurement.Seen, g.confirmed, g.descents, form, g.rules, in.Wishes)
	return form, choice, err
}

func unruled(g *sighting) int {
	ruled := map[int]bool{}
	for _, r := range g.rulings {
		ruled[r.Cane] = true
	}
	n := 0
	for _, c := range g.measurement.Seen.Canes {
		if !ruled[c.ID] {
			n++
		}
	}
	return n
}

func (s *Server) viewChoice(c echo.Context, g *sighting, kept *store.Choice, in wishesIn, name string) (choiceView, error) {
	ctx := c.Request().Context()
	form, suggested, err := chooseFor(g, wishesIn{})
	if err != nil {
		return choiceView{}, err
	}
	withWishes, choice, err := chooseFor(g, in)
	if err != nil {
		return choiceView{}, err
	}
	said, err := s.store.Sayings(ctx, g.vine.ID)
	if err != nil {
		return choiceView{}, err
	}
	photo := photoPath(g.photo.ID)
	v := choiceView{
		Measurement: g.measurement.ID, Form: form, Suggested: suggested, Choice: choice, Head: g.measurement.Seen.Head, HeadSaid: g.headSaid,
		Winter: g.photo.Winter, PhotoID: g.photo.ID, Say: sayingsPath(g.vine), Difference: assess.Compare(suggested, choice),
		Advice: s.budAdvice(c, g.block, pruningsOf(g.block, said, g.photo.Winter, g, &choice), choice.Buds), Wishes: in.Wishes, Buds: withWishes.Buds,
		Canes: confirmedForPage(g.confirmed), Unruled: unruled(g), Who: name, Vine: vinePath(g.vine),
		WidthPx: g.measurement.Seen.WidthPx, HeightPx: g.measurement.Seen.HeightPx,
		Medium: photo + "/picture/medium.jpg", Full: photo + "/picture/full.jpg",
	}
	v.Words, v.Title = s.words(c, []any{&suggested, &choice, v.Canes}), s.toldText(c, form.Title)
	if kept != nil {
		v.Seq, v.By = kept.Seq, kept.Who
	}
	return v, nil
}

// suggestChoice gives the suggested choice, and the one that was confirmed
// before if there is one for the same canes.
func (s *Server) suggestChoice(c echo.Context) error {
	g, err := s.measurementAt(c)
	if err != nil {
		return err
	}
	if err := s.knowing(c.Request().Context(), g); err != nil {
		return err
	}
	kept, err := s.store.LatestChoice(c.Request().Context(), g.vine.ID, g.photo.Winter)
	if err != nil {
		return err
	}
	var in wishesIn
	of, err := s.choiceOf(c.Request().Context(), kept, g)
	if err != nil {
		return err
	}
	if of {
		var k keptChoice
		if err := json.Unmarshal(kept.Payload, &k); err != nil {
			return err
		}
		in = k.wishesIn
	}
	v, err := s.viewChoice(c, g, kept, in, who(c))
	if err != nil {
		// A wish of then may name a cane that was rejected since.
		if v, err = s.viewChoice(c, g, kept, wishesIn{}, who(c)); err != nil {
			return err
		}
	}
	return c.JSON(http.StatusOK, v)
}

// choiceOf tells whether a choice names the canes of a sighting: it was made by
// this measurement, or by an earlier one of the photo with the same canes.
func (s *Server) choiceOf(ctx context.Context, k *store.Choice, g *sighting) (bool, error) {
	if k == nil || k.PhotoID != g.photo.ID {
		return false, nil
	}
	if k.MeasurementID == g.measurement.ID {
		return true, nil
	}
	m, err := s.store.Measurement(ctx, k.MeasurementID)
	return err == nil && assess.SameCanes(m.Seen, g.measurement.Seen), err
}

// previewChoice gives the choice with wishes, keeping nothing.
func (s *Server) previewChoice(c echo.Context) error {
	g, err := s.measurementAt(c)
	if err != nil {
		return err
	}
	in, err := sent[wishesIn](c)
	if err != nil {
		return err
	}
	if err := s.knowing(c.Request().Context(), g); err != nil {
		return err
	}
	kept, err := s.store.LatestChoice(c.Request().Context(), g.vine.ID, g.photo.Winter)
	if err != nil {
		return err
	}
	v, err := s.viewChoice(c, g, kept, in, who(c))
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, v)
}

// addChoice keeps a choice that a person confirmed. It is computed anew here
// from the confirmed canes, so that what is kept follows from the record.
func (s *Server) addChoice(c echo.Context) error {
	type body struct {
		wishesIn
		After int `json:"after"` // Seq of the choice that the person had seen
	}
	name, g, in, err := handedIn[body](c, s.measurementAt)
	if err != nil {
		return err
	}
	ctx, key := c.Request().Context(), c.Request().Header.Get("Idempotency-Key")
	// A second sending may come when more was ruled on, from which another
	// choice would follow: it is the first that was confirmed.
	again, err := s.sameChoice(ctx, g, in.wishesIn, name, key)
	if err != nil {
		return err
	}
	if again != nil {
		return c.JSON(http.StatusCreated, viewKept(again, g))
	}
	kept, err := s.choose(ctx, g, in.wishesIn, in.After, name, key)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, viewKept(&kept, g))
}

func viewKept(kept *store.Choice, g *sighting) map[string]any {
	return map[string]any{"seq": kept.Seq, "who": kept.Who, "when": kept.At, "vine": vinePath(g.vine)}
}

// sameChoice is the choice that was confirmed under a key with the same
// wishes, nil when there is none.
func (s *Server) sameChoice(ctx context.Context, g *sighting, in wishesIn, name, key string) (*store.Choice, error) {
	if key == "" {
		return nil, nil
	}
	was, err := s.store.ChoiceUnder(ctx, g.measurement.ID, key)
	if err != nil || was == nil || was.Who != name {
		return nil, err
	}
	var k keptChoice
	if err := json.Unmarshal(was.Payload, &k); err != nil {
		return nil, err
	}
	then, err := json.Marshal(k.wishesIn)
	if err != nil {
		return nil, err
	}
	now, err := json.Marshal(in)
	if err != nil || string(then) != string(now) {
		return nil, err
	}
	return was, nil
}

// Choose keeps the suggested choice for a measurement as confirmed by who,
// when nobody chose for that vine and winter yet.
func (s *Server) Choose(ctx context.Context, measurement int64, who string) error {
	g, err := s.sightingByMeasurement(ctx, measurement)
	if err != nil {
		return err
	}
	_, err = s.choose(ctx, g, wishesIn{}, 0, who, "")
	return err
}

func (s *Server) choose(ctx context.Context, g *sighting, in wishesIn, after int, name, key string) (store.Choice, error) {
	if len(g.confirmed) == 0 {
		return store.Choice{}, assess.Errorf(assess.EInvalid, "No cane of this photo is confirmed yet. Rule on its findings first.")
	}
	if err := s.knowing(ctx, g); err != nil {
		return store.Choice{}, err
	}
	_, suggested, err := chooseFor(g, wishesIn{})
	if err != nil {
		return store.Choice{}, err
	}
	_, choice, err := chooseFor(g, in)
	if err != nil {
		return store.Choice{}, err
	}
	payload, err := json.Marshal(keptChoice{in, choice})
	if err != nil {
		return store.Choice{}, err
	}
	said, err := json.Marshal(suggested)
	if err != nil {
		return store.Choice{}, err
	}
	return s.store.AddChoice(ctx, g.measurement.ID, after, name, key, payload, said)
}
