package api

import (
	"context"

	"nodespan/assess/store"
)

// winterRecord is what is kept of one vine in one winter.
type winterRecord struct {
	name      string
	sightings []*sighting
	choice    *store.Choice // nil while nobody chose
}

// winters gathers a vine's record, the latest winter first.
func (s *Server) winters(ctx context.Context, v store.Vine) ([]winterRecord, error) {
	if v.ID == 0 {
		return nil, nil
	}
	photos, err := s.store.Photos(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	choices, err := s.store.Choices(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	var out []winterRecord
	for _, p := range photos {
		if len(out) == 0 || out[len(out)-1].name != p.Winter {
			out = append(out, winterRecord{name: p.Winter})
		}
		w := &out[len(out)-1]
		g, err := s.sightingOf(ctx, p)
		if err != nil {
			return nil, err
		}
		w.sightings = append(w.sightings, g)
	}
	for i := range out {
		for j := range choices {
			if choices[j].Winter == out[i].name {
				out[i].choice = &choices[j]
			}
		}
	}
	return out, nil
}
