package api

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// id reads a number from the address; what isn't one isn't there.
func id(c echo.Context, name string) (int64, error) {
	n, err := strconv.ParseInt(c.Param(name), 10, 64)
	if err != nil || n < 1 {
		return 0, assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	return n, nil
}

// rulesOf reads the rule set that is kept with the block.
func rulesOf(b store.Block) (assess.RuleSet, error) {
	var rs assess.RuleSet
	if err := json.Unmarshal([]byte(b.RuleSetText), &rs); err != nil {
		return rs, fmt.Errorf("rule set of block %d: %w", b.ID, err)
	}
	return rs, nil
}

func (s *Server) blockOf(ctx context.Context, p store.Photo) (store.Block, error) {
	v, err := s.store.Vine(ctx, p.VineID)
	if err != nil {
		return store.Block{}, err
	}
	return s.store.Block(ctx, v.BlockID)
}

// A sighting is one photo with all that belongs to it.
type sighting struct {
	block       store.Block
	vine        store.Vine
	photo       store.Photo
	measurement *store.Measurement // nil while there is none
	rules       assess.RuleSet
	rulings     []assess.Ruling
	confirmed   []assess.ConfirmedCane
}

// sightingOf gathers a photo's latest measurement, its rulings and what they
// confirm.
func (s *Server) sightingOf(ctx context.Context, p store.Photo) (*sighting, error) {
	m, err := s.store.LatestMeasurement(ctx, p.ID)
	if err != nil {
		return nil, err
	}
	return s.gather(ctx, p, m)
}

// sightingByMeasurement gathers the same for one measurement.
func (s *Server) sightingByMeasurement(ctx context.Context, measurement int64) (*sighting, error) {
	m, err := s.store.Measurement(ctx, measurement)
	if err != nil {
		return nil, err
	}
	p, err := s.store.Photo(ctx, m.PhotoID)
	if err != nil {
		return nil, err
	}
	return s.gather(ctx, p, &m)
}

func (s *Server) gather(ctx context.Context, p store.Photo, m *store.Measurement) (*sighting, error) {
	g := &sighting{photo: p, measurement: m}
	var err error
	if g.vine, err = s.store.Vine(ctx, p.VineID); err != nil {
		return nil, err
	}
	if g.block, err = s.store.Block(ctx, g.vine.BlockID); err != nil {
		return nil, err
	}
	if g.rules, err = rulesOf(g.block); err != nil {
		return nil, err
	}
	if m == nil {
		return g, nil
	}
	kept, err := s.store.Rulings(ctx, m.ID)
	if err != nil {
		return nil, err
	}
	if g.rulings, err = readRulings(kept); err != nil {
		return nil, err
	}
	g.confirmed = assess.Confirm(m.Seen, g.rulings, g.rules)
	return g, nil
}

// readRulings turns rows into rulings; who, when and id are the row's.
func readRulings(kept []store.Ruling) ([]assess.Ruling, error) {
	out := make([]assess.Ruling, len(kept))
	for i, k := range kept {
		if err := json.Unmarshal(k.Payload, &out[i]); err != nil {
			return nil, fmt.Errorf("ruling %d: %w", k.ID, err)
		}
		out[i].ID, out[i].Who, out[i].When = k.ID, k.Who, k.At
	}
	return out, nil
}
