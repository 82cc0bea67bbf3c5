package study

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"nodespan/assess"
	"nodespan/assess/batch"
	"nodespan/assess/store"
)

// A Take is a folder of photos that a study reads.
type Take struct {
	Dir      string
	Match    *batch.Matcher
	Measurer assess.Measurer
	// Record, if there is one, is asked first for what people confirmed of a photo.
	Record *store.Store
	// Alone measures every photo by itself, so that each is an occasion of its own.
	Alone   bool
	Workers int // photos measured at the same time; default as many as processors
}

// Photos reads and measures the photos of the folder, by their paths. A photo
// that can't be measured is among them with its reason; EInvalid where there is
// no photo at all, and what ended the context.
func (t Take) Photos(ctx context.Context) ([]Photo, error) {
	paths, err := t.paths()
	if err != nil {
		return nil, err
	}
	if t.Workers <= 0 {
		t.Workers = runtime.NumCPU()
	}
	photos := make([]Photo, len(paths))
	shots := make([]*batch.Shot, len(paths))
	each := func(n int, do func(ctx context.Context, i int) error) error {
		g, gctx := errgroup.WithContext(ctx)
		g.SetLimit(t.Workers)
		for i := range n {
			g.Go(func() error {
				if gctx.Err() != nil {
					return gctx.Err()
				}
				return do(gctx, i)
			})
		}
		return g.Wait()
	}
	// Which photos go together is told by all of them, so they are read twice.
	err = each(len(paths), func(_ context.Context, i int) error {
		p := Photo{Name: paths[i]}
		if data, err := t.read(p.Name); err != nil {
			p.Why = unreadable
		} else {
			s := batch.ShotOf(p.Name, data)
			at := t.Match.PlaceOf(s)
			p.Block, p.Row, p.Vine, shots[i] = at.Block, at.Row, at.Vine, &s
		}
		photos[i] = p
		return nil
	})
	if err != nil {
		return nil, err
	}
	second := t.stand(photos, shots)
	// Noted beforehand: while a first photo is worked on, its second one changes.
	var first []int
	for i := range photos {
		if shots[i] != nil && photos[i].StandsWith == "" {
			first = append(first, i)
		}
	}
	err = each(len(first), func(ctx context.Context, k int) error {
		return t.occasion(ctx, &photos[first[k]], second[first[k]])
	})
	return photos, err
}

const unreadable = "the file can't be read"

// paths lists the photos below the folder.
func (t Take) paths() ([]string, error) {
	var out []string
	err := filepath.WalkDir(t.Dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		switch strings.ToLower(filepath.Ext(path)) {
		case ".jpg", ".jpeg", ".png", ".webp":
			rel, err := filepath.Rel(t.Dir, path)
			if err != nil {
				return err
			}
			out = append(out, filepath.ToSlash(rel))
		}
		return nil
	})
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "%s can't be read. Name the folder with the photos: %w", t.Dir, err)
	}
	if len(out) == 0 {
		return nil, assess.Errorf(assess.EInvalid, "There is no photo in %s.", t.Dir)
	}
	return out, nil
}

func (t Take) read(path string) ([]byte, error) {
	return os.ReadFile(filepath.Join(t.Dir, filepath.FromSlash(path)))
}

// stand notes of copies and of second stances with which photo they stand, and
// gives of each first photo its second one.
func (t Take) stand(photos []Photo, shots []*batch.Shot) map[int]*Photo {
	var all []batch.Shot
	index := map[string]int{}
	for i, s := range shots {
		if s != nil {
			all, index[s.Path()] = append(all, *s), i
		}
	}
	pairing := t.Match.PairUp(all)
	for path, of := range pairing.CopyOf {
		p := &photos[index[path]]
		p.StandsWith, p.Why = of, "it is a copy of "+of
	}
	second := map[int]*Photo{}
	if t.Alone {
		return second
	}
	for path, aside := range pairing.Second {
		p := &photos[index[aside]]
		p.StandsWith, second[index[path]] = path, p
	}
	return second
}

// occasion measures one photo, with the second one from a step aside where there
// is one. Where the first can't be measured, the second stands for the occasion;
// they are never two readings, since one hand held one card for both.
func (t Take) occasion(ctx context.Context, p, aside *Photo) error {
	if err := t.measure(ctx, p, aside); err != nil || aside == nil {
		return err
	}
	if len(p.Canes) > 0 {
		aside.Why = fmt.Sprintf("it stands with %s as one occasion; name canes as that one numbers them, or measure every photo by itself (--alone)", p.Name)
		return nil
	}
	aside.StandsWith, p.StandsWith = "", aside.Name
	return t.measure(ctx, aside, nil)
}

// measure fills in what is seen on a photo, by the record if it has it.
func (t Take) measure(ctx context.Context, p, aside *Photo) error {
	data, err := t.read(p.Name)
	if err != nil {
		p.Why = unreadable
		return nil
	}
	if t.Record != nil {
		if found, err := t.fromRecord(ctx, data, p); err != nil || found {
			return err
		}
	}
	ask := assess.Ask{Name: p.Name}
	if aside != nil {
		if ask.With, err = t.read(aside.Name); err != nil {
			aside.Why = unreadable
			ask.With = nil
		}
	}
	m, err := t.Measurer.Measure(ctx, data, ask)
	if ask.With != nil && ctx.Err() == nil && assess.ErrorCode(err) == assess.EInvalid {
		// Whichever of the two it was: by itself the first may do.
		m, err = t.Measurer.Measure(ctx, data, assess.Ask{Name: p.Name})
	}
	var ae *assess.Error
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(err, &ae):
		p.Why = ae.Message
	case err != nil:
		return fmt.Errorf("%s: %w", p.Name, err)
	case m.Outcome == assess.Refused:
		p.Why = "refused: " + strings.Join(assess.Advise(m.Reasons), " ")
	default:
		p.Canes, p.Reference, p.Deep = m.Canes, m.Reference, m.With != ""
	}
	return nil
}

// fromRecord takes what a person confirmed of a photo, when the record has it.
func (t Take) fromRecord(ctx context.Context, data []byte, p *Photo) (bool, error) {
	st := t.Record
	sum := sha256.Sum256(data)
	there, err := st.PhotosOf(ctx, hex.EncodeToString(sum[:]))
	if err != nil || len(there) == 0 {
		return false, err
	}
	ph := there[0]
	m, err := st.LatestMeasurement(ctx, ph.ID)
	if err == nil && m == nil && !t.Alone {
		return asSecond(ctx, st, ph, p)
	}
	if err != nil || m == nil || m.Seen.Outcome != assess.Measured {
		return false, err
	}
	kept, err := st.Rulings(ctx, m.ID)
	if err != nil {
		return false, err
	}
	rulings, err := store.ReadRulings(kept)
	if err != nil {
		return false, err
	}
	vine, err := st.Vine(ctx, ph.VineID)
	if err != nil {
		return false, err
	}
	block, err := st.Block(ctx, vine.BlockID)
	if err != nil {
		return false, err
	}
	p.Block, p.Row, p.Vine, p.Ruled, p.Reference, p.Deep = block.Name, vine.Row, vine.Number, true, m.Seen.Reference, m.Seen.With != ""
	for _, c := range assess.Confirm(m.Seen, rulings, assess.DefaultRuleSet()) {
		// A diameter that was ruled by caliper is the hand's, not the program's.
		if c.Kind == assess.OneYearCane && !c.ByHand {
			p.Canes = append(p.Canes, c.Cane)
		}
	}
	if len(p.Canes) == 0 {
		p.Why = "nobody has confirmed a cane on it yet"
	}
	return true, nil
}

// asSecond notes of a photo that in the record shows another one's depth that
// it is no occasion of its own.
func asSecond(ctx context.Context, st *store.Store, ph store.Photo, p *Photo) (bool, error) {
	first, err := st.FirstOf(ctx, ph.ID)
	if err != nil || first == 0 {
		return false, err
	}
	of, err := st.Photo(ctx, first)
	if err != nil {
		return false, err
	}
	p.StandsWith, p.Why = of.Name, "in the record it shows the depth of "+of.Name
	return true, nil
}
