package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sync/errgroup"

	"nodespan/api"
	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/vision/truth"
)

// demoMark is the file that says that a folder holds a demonstration.
const demoMark = "demonstration.json"

// demoState is what a folder says of a demonstration in it.
type demoState struct {
	About  string `json:"about"`
	Filled bool   `json:"filled"` // to the end; false when a filling was stopped
	there  bool   // the mark was found
	other  bool   // the folder holds something that isn't a demonstration
}

func (d demoState) is() bool { return d.there }

// demoIn looks what a folder holds; a folder that isn't there holds nothing.
func demoIn(folder string) (demoState, error) {
	var d demoState
	text, err := os.ReadFile(filepath.Join(folder, demoMark))
	if err == nil {
		d.there = true
		return d, json.Unmarshal(text, &d)
	}
	if !errors.Is(err, os.ErrNotExist) {
		return d, err
	}
	entries, err := os.ReadDir(folder)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return d, err
	}
	d.other = len(entries) > 0
	return d, nil
}

// mayFill refuses a folder that holds anything else than a demonstration, and
// marks a new one before anything is put into it.
func (d demoState) mayFill(folder string) error {
	if d.other {
		return assess.Errorf(assess.EInvalid, "The folder %s holds something already, and a demonstration is never mixed with it. Name a new folder with --data.", folder)
	}
	if d.there {
		return nil
	}
	return d.write(folder)
}

func (d demoState) write(folder string) error {
	d.About = "This folder holds an invented estate for looking around. Delete the folder when you don't need it any more."
	text, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o750); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(folder, demoMark), append(text, '\n'), 0o640)
}

// fillDemo puts the invented estate into the record: photos are rendered and
// go the way of every upload, through the same queue and the same measurer,
// and people who don't exist rule on some of them. What is there already is
// left, so that a filling that was stopped can go on. It returns when all is
// measured.
func fillDemo(ctx context.Context, server *api.Server, record *store.Store, folder string) error {
	began := time.Now()
	blocks := map[string]store.Block{}
	have, err := record.Blocks(ctx, store.FirstEstate)
	if err != nil {
		return err
	}
	for _, b := range have {
		blocks[b.Name] = b
	}
	for _, d := range demoBlocks {
		if _, ok := blocks[d.name]; ok {
			continue
		}
		b, err := api.NewBlock(d.name, d.rows, d.vines, false, d.form, assess.DefaultRuleSet(), demoPeople[0])
		if err != nil {
			return err
		}
		if blocks[d.name], err = record.AddBlock(ctx, b); err != nil {
			return err
		}
	}
	this := store.WinterOf(began, false)
	last := store.WinterOf(began.AddDate(-1, 0, 0), false)
	var ruling errgroup.Group
	photos := map[uint64]int64{} // by seed
	for i, d := range demoPhotos {
		if err := ctx.Err(); err != nil {
			return err
		}
		data, drawn, err := d.draw(1)
		if err != nil {
			return err
		}
		n := store.NewPhoto{
			Data: data, BlockID: blocks[d.block].ID, Row: d.row, Number: d.vine, Winter: this,
			Name: fmt.Sprintf("drawn-%d.jpg", d.seed), ContentType: "image/jpeg", By: d.by,
		}
		if d.lastWinter {
			// A day in the middle of last winter, as a camera would have noted it.
			n.Winter, n.TakenAt = last, lastJanuary(began)
		}
		kept, _, err := server.Keep(ctx, n)
		if err != nil {
			return err
		}
		photos[d.seed] = kept.ID
		fmt.Printf("  demonstration: photo %d of %d drawn, %s row %d vine %d\n", i+1, len(demoPhotos), d.block, d.row, d.vine)
		// Ruled on as soon as it is measured, while the next one is drawn.
		ruling.Go(func() error {
			m, err := waitMeasured(ctx, record, kept.ID)
			if err == nil && m != nil && d.aside {
				m, err = secondOfDemo(ctx, server, record, kept.ID, d)
			}
			if err != nil || m == nil || d.ruled == none || m.Seen.Outcome != assess.Measured {
				return err
			}
			return ruleDemo(ctx, server, record, m, d, drawn)
		})
	}
	if err := ruling.Wait(); err != nil {
		return err
	}
	if err := exercisesOfDemo(ctx, server, record, photos); err != nil {
		return err
	}
	fmt.Printf("  demonstration: ready after %.0f s\n", time.Since(began).Seconds())
	return demoState{Filled: true}.write(folder)
}

// secondOfDemo adds a photo of the same vine from a step aside, and gives the
// measurement of both.
func secondOfDemo(ctx context.Context, server *api.Server, record *store.Store, first int64, d demoPhoto) (*store.Measurement, error) {
	data, _, err := d.draw(2)
	if err != nil {
		return nil, err
	}
	if _, _, err := server.KeepSecond(ctx, first, store.NewPhoto{
		Data: data, Name: fmt.Sprintf("drawn-%d-aside.jpg", d.seed), ContentType: "image/jpeg", By: d.by,
	}); err != nil {
		return nil, err
	}
	return waitMeasured(ctx, record, first)
}

// peopleOfDemo gives the guest and the invented people their accounts; none of
// them can sign in by a password.
func peopleOfDemo(ctx context.Context, record *store.Store) error {
	if err := record.RenameEstate(ctx, store.FirstEstate, "Invented estate"); err != nil {
		return err
	}
	people := map[string]api.Role{demoGuest: api.Manager}
	for _, name := range demoPeople {
		people[name] = api.Pruner
	}
	people[demoTrainer], people[firstPupil], people[secondPupil] = api.Trainer, api.Trainee, api.Trainee
	for name, role := range people {
		if _, err := record.AddMember(ctx, store.FirstEstate, name, "", string(role)); err != nil {
			return err
		}
	}
	return nil
}

// lastJanuary is the 20th of January in the winter before the one of now.
func lastJanuary(now time.Time) time.Time {
	y := now.Year()
	if now.Month() < time.July {
		y--
	}
	return time.Date(y, time.January, 20, 10, 30, 0, 0, time.Local)
}

// waitMeasured waits until a photo was measured; nil when that failed.
func waitMeasured(ctx context.Context, record *store.Store, photo int64) (*store.Measurement, error) {
	for {
		_, failed, open, err := record.LatestAsk(ctx, photo)
		if err != nil {
			return nil, err
		}
		switch {
		case failed != nil:
			return nil, nil
		case !open:
			return record.LatestMeasurement(ctx, photo)
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// ruleDemo lets an invented person rule on a photo: agree with most, take the
// least sure node off one cane, say of what is too close to call what caliper
// and eye say at the vine, which was drawn, and choose when the photo is a
// finished one.
func ruleDemo(ctx context.Context, server *api.Server, record *store.Store, m *store.Measurement, d demoPhoto, drawn *truth.Photo) error {
	if there, err := record.Rulings(ctx, m.ID); err != nil || len(there) > 0 {
		return err
	}
	canes := m.Seen.Canes
	if d.ruled == some {
		canes = canes[:len(canes)/2]
	}
	if len(canes) == 0 {
		return nil
	}
	byHand := map[int]truth.Pair{} // by index of the cane
	for _, p := range truth.Compare(drawn, m.Seen, truth.DefaultRules()).Pairs {
		byHand[p.Reported] = p
	}
	now := time.Now()
	var rulings []assess.Ruling
	var add []store.NewRuling
	for i, c := range canes {
		r, err := assess.NewRuling(m.Seen, nil, c.ID, assess.Agree)
		if err != nil {
			return err
		}
		if i == 1 && len(c.Nodes) > 3 {
			r.Said, r.Nodes = assess.Correct, withoutLeastSure(c.Nodes)
			r.Note = "looked at it on the vine: no bud there"
		}
		if p, ok := byHand[i]; ok && c.Finding == assess.TooCloseToCall && p.Diameter.Known {
			r.Said, r.DiameterMM = assess.Correct, math.Round(10*p.Diameter.Truth)/10
			r.Finding = findingAtTheVine(p)
			r.Note = "measured at the vine with the caliper"
		}
		checked := r
		checked.Who, checked.When = d.by, now
		if err := checked.Validate(m.Seen, rulings); err != nil {
			return err
		}
		rulings = append(rulings, checked)
		n, err := store.KeepRuling(r)
		if err != nil {
			return err
		}
		add = append(add, n)
	}
	if _, err := record.AddRulings(ctx, m.ID, 0, d.by, "", add); err != nil {
		return err
	}
	if d.ruled != chosen {
		return nil
	}
	return server.Choose(ctx, m.ID, d.by)
}

// findingAtTheVine is what somebody who stands before the drawn cane says of it
// by the limits of a start; they can see what a photo leaves open.
func findingAtTheVine(p truth.Pair) assess.Finding {
	limits := assess.DefaultRuleSet()
	short := p.Internode.Known && p.Internode.Truth < limits.ShortNoded.Limit
	switch {
	case p.Diameter.Truth > limits.OverVigorous.Limit:
		return assess.OverVigorous
	case p.Diameter.Truth < limits.Weak.Limit && short:
		return assess.WeakAndShortNoded
	case p.Diameter.Truth < limits.Weak.Limit:
		return assess.Weak
	case short:
		return assess.ShortNoded
	}
	return assess.Sound
}

func withoutLeastSure(nodes []assess.Node) []assess.Node {
	least := 0
	for i, n := range nodes {
		if n.Confidence < nodes[least].Confidence {
			least = i
		}
	}
	out := append([]assess.Node{}, nodes[:least]...)
	return append(out, nodes[least+1:]...)
}
