package main

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"

	"nodespan/api"
	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
)

// Who learns on the invented estate.
const (
	demoTrainer = "Mara (invented)"
	firstPupil  = "Nela (invented)"
	secondPupil = "Piet (invented)"
)

// A demoExercise is an exercise on the invented estate. Each vine is that of a
// photo of demoPhotos, by seed.
type demoExercise struct {
	group, name, trainer string
	mode                 exercise.Mode
	judging              exercise.Judging
	seeds                []uint64
	takePart             []string
	sealed               map[string]demoHand // who chose, and in which manner
	opened               bool
}

// A demoHand is in which manner an invented person chooses.
type demoHand int

const (
	steady   demoHand = iota // as the trainer
	thinWood                 // makes the thinnest cane the spur
	careful                  // cuts shorter
)

var demoExercises = []demoExercise{
	// Looked at by the visitor as its trainer.
	{"Winter beginners (invented)", "Three vines to start with", demoGuest, exercise.PhotoOnly, exercise.Blind, []uint64{12, 13, 17}, []string{firstPupil, secondPupil},
		map[string]demoHand{firstPupil: thinWood, secondPupil: careful, demoGuest: steady}, true},
	{"Winter beginners (invented)", "Two more, with measurements", demoGuest, exercise.WithMeasurements, exercise.Reviewed, []uint64{14, 15}, []string{firstPupil, secondPupil},
		map[string]demoHand{firstPupil: thinWood}, false},
	// Done by the visitor as one who learns.
	{"Saturday class (invented)", "Choose for yourself", demoTrainer, exercise.PhotoOnly, exercise.Blind, []uint64{18}, []string{demoGuest}, nil, false},
}

// exercisesOfDemo gives the invented groups their exercises. What is there is
// left, so that a filling that was stopped can go on.
func exercisesOfDemo(ctx context.Context, server *api.Server, record *store.Store, photos map[uint64]int64) error {
	ids := map[string]int64{}
	for _, name := range []string{demoGuest, demoTrainer, firstPupil, secondPupil} {
		a, err := record.AccountByName(ctx, name)
		if err != nil || a == nil {
			return err
		}
		ids[name] = a.ID
	}
	for _, d := range demoExercises {
		group, err := groupOfDemo(ctx, record, d, ids)
		if err != nil {
			return err
		}
		have, err := record.ExercisesOfGroup(ctx, group.ID)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(have, func(e store.Exercise) bool { return e.Name == d.name })
		var e store.Exercise
		if i >= 0 {
			e = have[i]
		} else {
			a := api.Assignment{Group: group.ID, Name: d.name, Mode: d.mode, Judging: d.judging, By: d.trainer}
			for _, seed := range d.seeds {
				a.Photos = append(a.Photos, photos[seed])
			}
			for _, name := range d.takePart {
				a.Participants = append(a.Participants, ids[name])
			}
			if e, err = server.MakeExercise(ctx, a); assess.ErrorCode(err) == assess.EInvalid {
				continue // a photo without a cane: nothing to choose from
			} else if err != nil {
				return err
			}
		}
		if err := choicesOfDemo(ctx, server, record, e, d, ids); err != nil {
			return err
		}
		if d.opened {
			if err := record.OpenExercise(ctx, e.ID, d.trainer); err != nil {
				return err
			}
		}
	}
	return nil
}

func groupOfDemo(ctx context.Context, record *store.Store, d demoExercise, ids map[string]int64) (store.Group, error) {
	groups, err := record.GroupsOf(ctx, store.FirstEstate, ids[d.trainer])
	if err != nil {
		return store.Group{}, err
	}
	var g store.Group
	if i := slices.IndexFunc(groups, func(g store.Group) bool { return g.Name == d.group }); i >= 0 {
		g = groups[i]
	} else if g, err = record.AddGroup(ctx, store.FirstEstate, ids[d.trainer], d.group); err != nil {
		return g, err
	}
	for _, name := range d.takePart {
		if err := record.SetGroupMember(ctx, g.ID, ids[name], true); err != nil {
			return g, err
		}
	}
	return g, nil
}

func choicesOfDemo(ctx context.Context, server *api.Server, record *store.Store, e store.Exercise, d demoExercise, ids map[string]int64) error {
	vines, err := record.ExerciseVines(ctx, e.ID)
	if err != nil {
		return err
	}
	have, err := record.SealedChoices(ctx, e.ID)
	if err != nil {
		return err
	}
	for _, v := range vines {
		var seen exercise.Seen
		if err := json.Unmarshal(v.Seen, &seen); err != nil {
			return err
		}
		for name, hand := range d.sealed {
			if slices.ContainsFunc(have, func(c store.SealedChoice) bool { return c.VineID == v.ID && c.Account == ids[name] }) {
				continue
			}
			k, err := server.SealFor(ctx, e, v, api.Attempt{Account: ids[name], Name: name, Choice: inventChoice(&seen, hand)})
			if err != nil {
				return err
			}
			if hand == thinWood && d.opened {
				if err := server.RemarkOn(ctx, v, k.ID, inventRemark(&seen, k), d.trainer); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// inventChoice makes up what somebody would choose: the thickest canes are laid,
// the next one is the spur, and the rest goes. Only so that there is something
// to look at.
func inventChoice(seen *exercise.Seen, hand demoHand) exercise.Choice {
	rank := make([]int, len(seen.Canes)) // places in seen.Canes, the thickest first
	for i := range rank {
		rank[i] = i
	}
	slices.SortStableFunc(rank, func(a, b int) int {
		return cmp.Compare(seen.Canes[b].Diameter.Value, seen.Canes[a].Diameter.Value)
	})
	laid := min(len(seen.Form.Places), max(len(rank)-2, 0))
	keep, spur := slices.Clone(rank[:laid]), -1
	if laid < len(rank) && seen.Form.Spurs > 0 {
		spur = rank[laid]
	}
	thinnest := rank[len(rank)-1]
	if hand == thinWood && spur >= 0 && thinnest != spur {
		spur = thinnest
	}
	c := exercise.Choice{Head: exercise.HeadRight}
	if hand == careful {
		c.Head = exercise.HeadUnsure
	}
	for i, cane := range seen.Canes {
		d := exercise.Decision{Cane: cane.ID, Fate: exercise.Remove, Reason: "place_filled"}
		switch cane.Finding {
		case assess.Weak, assess.WeakAndShortNoded:
			d.Reason = "weak"
		case assess.ShortNoded:
			d.Reason = "short_noded"
		}
		if i == spur {
			d = exercise.Decision{Cane: cane.ID, Fate: exercise.Spur, Reason: "renewal", CutPx: budOf(cane, seen.Form.SpurBuds)}
			if hand == thinWood {
				d.Words = "It stands close to the head."
			}
		}
		c.Canes = append(c.Canes, d)
	}
	// Along the wire the canes mustn't cross: who stands on the left goes there.
	slices.SortFunc(keep, func(a, b int) int {
		return cmp.Compare(seen.Canes[a].CentreLine[0][0], seen.Canes[b].CentreLine[0][0])
	})
	for place, p := range seen.Form.Places[:laid] {
		i := keep[0]
		if keep = keep[1:]; p.Direction == assess.ToRight {
			keep = append([]int{i}, keep...)
			i = keep[len(keep)-1]
			keep = keep[:len(keep)-1]
		}
		buds := seen.Form.Buds
		if hand == careful {
			buds -= 2
		}
		c.Canes[i] = exercise.Decision{Cane: seen.Canes[i].ID, Fate: exercise.Lay, Place: place + 1, Reason: "well_grown", CutPx: budOf(seen.Canes[i], buds)}
	}
	return c
}

// budOf is where a cane's bud of that number sits, or its last one; some way
// along the cane when no node was seen.
func budOf(c exercise.SeenCane, n int) *assess.Point {
	if len(c.Nodes) == 0 {
		return &c.CentreLine[len(c.CentreLine)/2]
	}
	return &c.Nodes[min(max(n, 1), len(c.Nodes))-1].Px
}

// inventRemark makes up a trainer's word with an arrow to the spur.
func inventRemark(seen *exercise.Seen, k store.SealedChoice) exercise.Remark {
	r := exercise.Remark{Text: "Close to the head, yes, but too thin: look for a stronger one below it."}
	var c exercise.Choice
	if json.Unmarshal(k.Payload, &c) != nil {
		return r
	}
	for _, d := range c.Canes {
		if d.Fate == exercise.Spur && d.CutPx != nil {
			tip := *d.CutPx
			tail := assess.Point{tip[0] + 0.2*float64(seen.WidthPx), max(0, tip[1]-0.15*float64(seen.HeightPx))}
			if tail[0] > float64(seen.WidthPx) {
				tail[0] = tip[0] - 0.2*float64(seen.WidthPx)
			}
			r.Cane, r.From, r.To = d.Cane, &tail, &tip
		}
	}
	return r
}
