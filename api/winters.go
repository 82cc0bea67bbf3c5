package api

import (
	"context"
	"slices"

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
	return s.gatherWinters(ctx, v, photos)
}

// winterBefore gathers of a vine's record the latest winter before one of them,
// nil where there is none, and reads no measurement of any other.
func (s *Server) winterBefore(ctx context.Context, v store.Vine, winter string) (*winterRecord, error) {
	photos, err := s.store.Photos(ctx, v.ID)
	if err != nil {
		return nil, err
	}
	latest := ""
	for _, p := range photos {
		if p.Winter < winter { // names of winters sort by time
			latest = max(latest, p.Winter)
		}
	}
	if latest == "" {
		return nil, nil
	}
	all, err := s.gatherWinters(ctx, v, slices.DeleteFunc(photos, func(p store.Photo) bool { return p.Winter != latest }))
	if err != nil {
		return nil, err
	}
	return &all[0], nil
}

// gatherWinters gathers what is kept of a vine's photos, which are in the order
// of their winters.
func (s *Server) gatherWinters(ctx context.Context, v store.Vine, photos []store.Photo) ([]winterRecord, error) {
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
