package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// mostHarvestKG bounds a vine's yield, kg: beyond it, it's a row's or a slip.
const mostHarvestKG = 100

// saySomething keeps what a person says of a vine in a winter: the mass of its prunings
// or of its harvest, what a cane grew from, where the head is, that it was pruned. A payload of
// null takes it back.
func (s *Server) saySomething(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	_, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	if v.ID == 0 {
		return assess.Errorf(assess.EInvalid, "Nothing is recorded of this vine yet. Add a photo first.")
	}
	type body struct {
		Winter  string          `json:"winter"`
		Kind    string          `json:"kind"`
		Cane    int             `json:"cane"`
		Payload json.RawMessage `json:"payload"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	payload, err := checkSaying(in.Kind, in.Cane, in.Payload)
	if err != nil {
		return err
	}
	if in.Kind == store.SaidHead && string(payload) != "null" {
		if err := s.checkHead(c.Request().Context(), v, payload); err != nil {
			return err
		}
	}
	said, err := s.store.Say(c.Request().Context(), store.Saying{VineID: v.ID, Winter: in.Winter, Kind: in.Kind, Cane: in.Cane, Payload: payload, Who: name, Key: c.Request().Header.Get("Idempotency-Key")})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]any{"id": said.ID, "who": said.Who, "when": said.At})
}

func sayingsPath(v store.Vine) string {
	return fmt.Sprintf("/api/blocks/%d/rows/%d/vines/%d/sayings", v.BlockID, v.Row, v.Number)
}

// headSaid is where a person pointed out the head on a photo.
type headSaid struct {
	Photo int64        `json:"photo"`
	Px    assess.Point `json:"px"`
}

// checkHead tells whether the head lies on one of the vine's photos.
func (s *Server) checkHead(ctx context.Context, v store.Vine, payload json.RawMessage) error {
	var h headSaid
	if err := json.Unmarshal(payload, &h); err != nil {
		return err
	}
	p, err := s.store.Photo(ctx, h.Photo)
	if err != nil {
		return err
	}
	m, err := s.store.LatestMeasurement(ctx, p.ID)
	if err != nil {
		return err
	}
	if p.VineID != v.ID || m == nil {
		return assess.Errorf(assess.EInvalid, "That photo isn't a measured one of this vine. Load the page anew and try again.")
	}
	if x, y := h.Px[0], h.Px[1]; !(x >= 0 && y >= 0 && x <= float64(m.Seen.WidthPx) && y <= float64(m.Seen.HeightPx)) {
		return assess.Errorf(assess.EInvalid, "The head must lie on the photo. Tap it there.")
	}
	return nil
}

// headOn is where a person pointed out the head on a photo; false when nobody
// did.
func headOn(said []store.Saying, photo int64) (headSaid, bool) {
	for _, x := range said {
		var h headSaid
		if x.Kind == store.SaidHead && json.Unmarshal(x.Payload, &h) == nil && h.Photo == photo {
			return h, true
		}
	}
	return headSaid{}, false
}

// checkSaying gives the payload as it is kept, or EInvalid.
func checkSaying(kind string, cane int, payload json.RawMessage) (json.RawMessage, error) {
	if (cane != 0) != (kind == store.SaidDescent) || cane < 0 {
		return nil, assess.Errorf(assess.EInvalid, "What a cane grew from is said of one cane, all else of the vine. Load the page anew and try again.")
	}
	if len(payload) == 0 || string(payload) == "null" {
		return json.RawMessage("null"), nil
	}
	unreadable := assess.Errorf(assess.EInvalid, "What was said can't be read. Load the page anew and try again.")
	var keep any
	switch kind {
	case store.SaidPrunings, store.SaidHarvest:
		var v struct {
			KG float64 `json:"kg"`
		}
		if json.Unmarshal(payload, &v) != nil {
			return nil, unreadable
		}
		if kind == store.SaidPrunings {
			if _, err := assess.WeighedPrunings(v.KG); err != nil {
				return nil, err
			}
		} else if !(v.KG > 0 && v.KG <= mostHarvestKG) {
			return nil, assess.Errorf(assess.EInvalid, "A harvest of %v kg can't be one vine's. Give that of this vine alone, in kilograms, or the block's divided by its vines.", v.KG)
		}
		keep = v
	case store.SaidDescent:
		var d assess.Descent
		if json.Unmarshal(payload, &d) != nil {
			return nil, unreadable
		}
		switch d.From {
		case assess.FromHeadWood, assess.FromOldWood, assess.FromSpur, assess.FromUnknown:
		default:
			return nil, unreadable
		}
		if d.ParentWinter != "" {
			if err := store.CheckWinter(d.ParentWinter); err != nil {
				return nil, err
			}
		}
		keep = assess.Descent{Cane: cane, From: d.From, Parent: max(0, d.Parent), ParentWinter: d.ParentWinter, Sure: true}
	case store.SaidPruned:
		keep = struct{}{}
	case store.SaidHead:
		var h headSaid
		if json.Unmarshal(payload, &h) != nil {
			return nil, unreadable
		}
		keep = h
	default:
		return nil, assess.Errorf(assess.EInvalid, "%q can't be said of a vine.", kind)
	}
	return json.Marshal(keep)
}
