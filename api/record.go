package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
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
	rules       assess.RuleSet     // of the photo's winter, as the form is
	form        assess.Form
	rulings     []assess.Ruling
	confirmed   []assess.ConfirmedCane
	headSaid    bool // a person pointed out the head
	// Filled in by knowing, for a choice alone.
	past     *assess.Past
	descents []assess.Descent
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
	if g.rules, g.form, err = s.rulesIn(ctx, g.block, p.Winter); err != nil {
		return nil, err
	}
	if m == nil {
		return g, nil
	}
	// A head that a person pointed out stands above the program's.
	said, err := s.store.Sayings(ctx, p.VineID)
	if err != nil {
		return nil, err
	}
	if h, ok := headOn(said, p.ID); ok {
		now, seen := *m, *m.Seen
		seen.Head = &h.Px
		now.Seen, g.headSaid = &seen, true
		g.measurement, m = &now, &now
	}
	kept, err := s.store.Rulings(ctx, m.ID)
	if err != nil {
		return nil, err
	}
	if g.rulings, err = store.ReadRulings(kept); err != nil {
		return nil, err
	}
	// By the rules that hold for the photo's winter, which may have been changed
	// since it was measured; what people said under older ones stays.
	if m.Seen.RuleSet != g.rules.ID() && m.Seen.Outcome == assess.Measured {
		now := *m
		now.Seen = assess.JudgedBy(m.Seen, g.rules)
		g.measurement, m = &now, &now
	}
	if m.Seen.Outcome == assess.Measured {
		now, seen := *m, *m.Seen
		seen.Canes = slices.Clone(seen.Canes)
		for i := range seen.Canes {
			assess.RetellBecause(&seen.Canes[i], g.rules)
		}
		now.Seen = &seen
		g.measurement, m = &now, &now
	}
	g.confirmed = assess.ConfirmBy(m.Seen, g.rulings, g.rules, s.bookOf(ctx, g.block.EstateID))
	return g, nil
}

// rulesIn gives the rule set and the training form that hold for a block in a
// winter.
func (s *Server) rulesIn(ctx context.Context, b store.Block, winter string) (assess.RuleSet, assess.Form, error) {
	in, err := s.store.RulesIn(ctx, b.ID, winter)
	if err != nil {
		return assess.RuleSet{}, assess.Form{}, err
	}
	form, err := formOf(in.TrainingForm, in.FormText)
	if err != nil {
		return assess.RuleSet{}, form, err
	}
	if in.RuleSet == b.RuleSet {
		rules, err := rulesOf(b)
		return rules, form, err
	}
	l, err := s.store.RuleSet(ctx, b.EstateID, in.RuleSet)
	return l.Rules, form, err
}

// formOf reads a training form that was kept, and finds one by name that was
// named before forms were kept whole.
func formOf(id, text string) (assess.Form, error) {
	if text == "" {
		return assess.FormByName(id)
	}
	var f assess.Form
	if err := json.Unmarshal([]byte(text), &f); err != nil {
		return f, fmt.Errorf("training form %s: %w", id, err)
	}
	return f, nil
}

// bookOf finds an estate's older rule sets in the record.
func (s *Server) bookOf(ctx context.Context, estate int64) assess.Book {
	return func(id string) (assess.RuleSet, bool) {
		l, err := s.store.RuleSet(ctx, estate, id)
		return l.Rules, err == nil
	}
}
