package batch

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// Ways in which a photo was found to belong to a vine.
const (
	byName = "name" // by the pattern of its name
	byList = "list" // by the list of photos
	byWalk = "walk" // by its time, against the walk list
	byHand = "hand" // a person said so
)

// Place is the vine that a photo shows, and from which stance. The zero Place
// is an unknown one.
type Place struct {
	Block     string `json:"block"`
	Row       int    `json:"row"`
	Vine      int    `json:"vine"`
	Stance    string `json:"stance,omitempty"` // "" for the only one
	Treatment string `json:"treatment,omitempty"`
	Cultivar  string `json:"cultivar,omitempty"`
	Winter    string `json:"winter,omitempty"`
	By        string `json:"by,omitempty"` // "name", "list", "walk" or "hand"; "" for an unknown place
}

// Known tells whether the vine is known.
func (p Place) Known() bool { return p.By != "" }

// Vines tells the vine's name among all, "" for an unknown place.
func (p Place) vineKey() string {
	if !p.Known() {
		return ""
	}
	return fmt.Sprintf("%s-%d-%d", p.Block, p.Row, p.Vine)
}

// winterKey tells the vine's name among all, with the winter; "" for an unknown
// place.
func (p Place) winterKey() string {
	key := p.vineKey()
	if key == "" {
		return ""
	}
	return key + " " + p.Winter
}

// Matcher finds the place of a photo. A person's word comes before the list,
// the list before the name, and the name before the walk. The zero Matcher and
// a nil one know only what persons said.
type Matcher struct {
	Name *NamePattern
	List *List
	Walk *Walk
	Plan *Plan
	// Southern says that winters are named as south of the equator.
	Southern bool
	// Winter is taken for photos without a time; "" leaves it open.
	Winter string
}

// Place finds the place of a photo of the job.
func (m *Matcher) Place(p photo) Place {
	var at Place
	switch {
	case p.byHand != nil:
		at = *p.byHand
		if m == nil {
			return at
		}
	case m == nil:
		return Place{}
	default:
		at = m.search(p)
	}
	if m.Plan != nil && at.Known() {
		m.Plan.fill(&at)
	}
	if at.Winter == "" {
		at.Winter = m.Winter
		if t, err := time.Parse(timeForm, p.taken); err == nil {
			at.Winter = store.WinterOf(t, m.Southern)
		}
	}
	return at
}

func (m *Matcher) search(p photo) Place {
	if m.List != nil {
		if at, ok := m.List.find(p); ok {
			return at
		}
	}
	if m.Name != nil {
		if at, ok := m.Name.Match(p.path); ok {
			return at
		}
	}
	if m.Walk != nil {
		if t, err := time.Parse(timeForm, p.taken); err == nil {
			if at, ok := m.Walk.find(t); ok {
				return at
			}
		}
	}
	return Place{}
}

// SetPlace keeps where a photo belongs, as a person said. ENotFound when the
// job has no such photo, EInvalid when the place isn't whole.
func (j *Job) SetPlace(ctx context.Context, photoPath string, at Place, who string) error {
	at.Block = strings.TrimSpace(at.Block)
	if err := checkPlace(at); err != nil {
		return err
	}
	who, err := store.CheckName(who, "Whoever says so")
	if err != nil {
		return err
	}
	return j.write(ctx, func(tx *sql.Tx) error {
		var n int
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM photos WHERE path = ?`, photoPath).Scan(&n); err != nil {
			return err
		}
		if n == 0 {
			return assess.Errorf(assess.ENotFound, "This job has no photo %s.", photoPath)
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO placed (path, block, row, vine, stance, who, at) VALUES (?,?,?,?,?,?,?)
ON CONFLICT (path) DO UPDATE SET block = excluded.block, row = excluded.row, vine = excluded.vine, stance = excluded.stance, who = excluded.who, at = excluded.at`,
			photoPath, at.Block, at.Row, at.Vine, at.Stance, who, j.stamp())
		return err
	})
}

func checkPlace(at Place) error {
	if at.Block == "" || len(at.Block) > 200 {
		return assess.Errorf(assess.EInvalid, "The block has no name, or one of more than 200 letters. Give it one.")
	}
	if at.Row < 1 || at.Vine < 1 || at.Row > 100000 || at.Vine > 100000 {
		return assess.Errorf(assess.EInvalid, "Row and vine are whole numbers from 1. Correct row %d, vine %d.", at.Row, at.Vine)
	}
	return nil
}
