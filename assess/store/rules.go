package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"nodespan/assess"
)

// RuleSetLine is one kept version of a rule set.
type RuleSetLine struct {
	ID     string // name@version
	Rules  assess.RuleSet
	MadeBy string
	MadeAt time.Time
}

// BlockRules says by what a block is judged and to what it is pruned, from a
// winter on.
type BlockRules struct {
	Seq          int
	Winter       string // "" from the beginning
	TrainingForm string // name@version
	FormText     string // JSON of assess.Form; "" where it wasn't kept
	RuleSet      string // name@version
	Who          string
	At           time.Time
}

// keepRuleSet keeps a rule set's text under its name. One that is there
// already must have the same text: EConflict else.
func (s *Store) keepRuleSet(ctx context.Context, tx *sql.Tx, estate int64, id, text, who string) error {
	var was string
	err := tx.QueryRowContext(ctx, `SELECT text FROM rule_sets WHERE estate_id = ? AND rule_set = ?`, estate, id).Scan(&was)
	switch {
	case err == nil && was == text:
		return nil
	case err == nil:
		return assess.Errorf(assess.EConflict, "There is a rule set %s with other limits. Give the new one another name or the next version.", id)
	case !errors.Is(err, sql.ErrNoRows):
		return err
	}
	name, version := id, 1
	var rs assess.RuleSet
	if json.Unmarshal([]byte(text), &rs) == nil && rs.ID() == id {
		name, version = rs.Name, rs.Version
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO rule_sets (estate_id, rule_set, name, version, text, made_by, made_at) VALUES (?,?,?,?,?,?,?)`, estate, id, name, version, text, who, s.stamp())
	return err
}

func (s *Store) noteRules(ctx context.Context, tx *sql.Tx, b Block, seq int, winter, who string) error {
	if who == "" {
		who = "?"
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO block_rules (block_id, seq, winter, training_form, training_form_text, rule_set, who, changed_at) VALUES (?,?,?,?,?,?,?,?)`,
		b.ID, seq, winter, b.TrainingForm, b.FormText, b.RuleSet, who, s.stamp())
	return err
}

func scanRuleSet(row scanner) (RuleSetLine, error) {
	var l RuleSetLine
	var text string
	var at sql.NullString
	if err := row.Scan(&l.ID, &text, &l.MadeBy, &at); err != nil {
		return l, err
	}
	l.MadeAt = parseTime(at)
	if err := json.Unmarshal([]byte(text), &l.Rules); err != nil {
		return l, fmt.Errorf("rule set %s: %w", l.ID, err)
	}
	return l, nil
}

// RuleSets lists every version of every rule set of an estate, by name, the
// newest first.
func (s *Store) RuleSets(ctx context.Context, estate int64) ([]RuleSetLine, error) {
	return list(ctx, s.db, scanRuleSet, `SELECT rule_set, text, made_by, made_at FROM rule_sets WHERE estate_id = ? ORDER BY name, version DESC`, estate)
}

// RuleSet finds a version of an estate's rule set; ENotFound when there is none.
func (s *Store) RuleSet(ctx context.Context, estate int64, id string) (RuleSetLine, error) {
	return findRuleSet(ctx, s.db, estate, id)
}

type rowQuerier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func findRuleSet(ctx context.Context, db rowQuerier, estate int64, id string) (RuleSetLine, error) {
	l, err := scanRuleSet(db.QueryRowContext(ctx, `SELECT rule_set, text, made_by, made_at FROM rule_sets WHERE estate_id = ? AND rule_set = ?`, estate, id))
	if errors.Is(err, sql.ErrNoRows) {
		return l, assess.Errorf(assess.ENotFound, "There is no rule set %q. Go to the block's page of rules and pick one.", id)
	}
	return l, err
}

func scanBlockRules(row scanner) (BlockRules, error) {
	var r BlockRules
	var at sql.NullString
	err := row.Scan(&r.Seq, &r.Winter, &r.TrainingForm, &r.FormText, &r.RuleSet, &r.Who, &at)
	r.At = parseTime(at)
	return r, err
}

const selectBlockRules = `SELECT seq, winter, training_form, training_form_text, rule_set, who, changed_at FROM block_rules WHERE block_id = ?`

// BlockHistory lists by what a block was judged, the latest first.
func (s *Store) BlockHistory(ctx context.Context, blockID int64) ([]BlockRules, error) {
	return list(ctx, s.db, scanBlockRules, selectBlockRules+` ORDER BY seq DESC`, blockID)
}

// RulesIn gives what holds for a block in a winter: the latest entry that
// isn't from a later one.
func (s *Store) RulesIn(ctx context.Context, blockID int64, winter string) (BlockRules, error) {
	return scanBlockRules(s.db.QueryRowContext(ctx, selectBlockRules+` AND winter <= ? ORDER BY seq DESC LIMIT 1`, blockID, winter))
}

// BlockChange is what may be changed of a block.
type BlockChange struct {
	TrainingForm, FormText string
	RuleSet                assess.RuleSet // Version 0 makes the next one of its name
	Winter                 string         // from which form and rules hold
	Variety                string
	SpacingM               float64
	Divided                bool
	Formula                string
	WoodLow, WoodHigh      float64
	WoodSource             string
	WholeVariety           bool // change form and rules of every block of the variety in the estate
}

// ChangeBlock keeps by what a block is judged from now on, as a new entry; the
// entries before stay. after is the Seq that the person had seen: EConflict,
// with nothing written, when there is a newer one. A rule set that differs from
// every kept version of its name becomes the next version. It returns the
// blocks that were changed, the one asked for first.
func (s *Store) ChangeBlock(ctx context.Context, blockID int64, after int, ch BlockChange, who string) ([]Block, error) {
	who, err := CheckName(who, "Whoever changes a block")
	if err != nil {
		return nil, err
	}
	if err := CheckWinter(ch.Winter); err != nil {
		return nil, err
	}
	if ch.Variety != "" {
		if ch.Variety, err = CheckName(ch.Variety, "A variety"); err != nil {
			return nil, err
		}
	}
	if !(ch.SpacingM >= 0 && ch.SpacingM <= 20) {
		return nil, assess.Errorf(assess.EInvalid, "Vines %v m apart can't be meant. Give the spacing along the row in metres, up to 20, or 0 for unknown.", ch.SpacingM)
	}
	var out []Block
	err = s.write(ctx, func(tx *sql.Tx) error {
		b, err := scanBlock(tx.QueryRowContext(ctx, `SELECT `+blockColumns+` FROM blocks WHERE id = ?`, blockID))
		if errors.Is(err, sql.ErrNoRows) {
			return assess.Errorf(assess.ENotFound, "There is no such block. Go to the start page and pick one.")
		}
		if err != nil {
			return err
		}
		var seq int
		if err := tx.QueryRowContext(ctx, `SELECT max(seq) FROM block_rules WHERE block_id = ?`, blockID).Scan(&seq); err != nil {
			return err
		}
		if seq != after {
			return assess.Errorf(assess.EConflict, "Somebody else changed this block meanwhile. Nothing of yours was saved yet: load the page anew and look at what is there now.")
		}
		rs, text, err := nextVersion(ctx, tx, b.EstateID, ch.RuleSet)
		if err != nil {
			return err
		}
		if err := s.keepRuleSet(ctx, tx, b.EstateID, rs.ID(), text, who); err != nil {
			return err
		}
		blocks := []Block{b}
		if ch.WholeVariety && ch.Variety != "" {
			others, err := list(ctx, tx, scanBlock, `SELECT `+blockColumns+` FROM blocks WHERE variety = ? AND id <> ? AND estate_id = ? ORDER BY id`, ch.Variety, blockID, b.EstateID)
			if err != nil {
				return err
			}
			blocks = append(blocks, others...)
		}
		for i, b := range blocks {
			b.TrainingForm, b.FormText, b.RuleSet, b.RuleSetText = ch.TrainingForm, ch.FormText, rs.ID(), text
			if i == 0 {
				b.Variety, b.SpacingM, b.Divided, b.Formula = ch.Variety, ch.SpacingM, ch.Divided, ch.Formula
				b.WoodLow, b.WoodHigh, b.WoodSource = ch.WoodLow, ch.WoodHigh, ch.WoodSource
			}
			if err := tx.QueryRowContext(ctx, `SELECT max(seq) FROM block_rules WHERE block_id = ?`, b.ID).Scan(&seq); err != nil {
				return err
			}
			if err := s.noteRules(ctx, tx, b, seq+1, ch.Winter, who); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, `UPDATE blocks SET training_form = ?, training_form_text = ?, rule_set = ?, rule_set_text = ?, variety = ?, spacing_m = ?, divided = ?, formula = ?, wood_low = ?, wood_high = ?, wood_source = ? WHERE id = ?`,
				b.TrainingForm, b.FormText, b.RuleSet, b.RuleSetText, b.Variety, b.SpacingM, b.Divided, b.Formula, b.WoodLow, b.WoodHigh, b.WoodSource, b.ID); err != nil {
				return err
			}
			out = append(out, b)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// nextVersion gives the rule set the version that it is kept under: that of a
// kept one with the same limits, else the next of its name.
func nextVersion(ctx context.Context, tx *sql.Tx, estate int64, rs assess.RuleSet) (assess.RuleSet, string, error) {
	kept, err := list(ctx, tx, scanRuleSet, `SELECT rule_set, text, made_by, made_at FROM rule_sets WHERE estate_id = ? AND name = ? ORDER BY version DESC`, estate, rs.Name)
	if err != nil {
		return rs, "", err
	}
	next := 1
	for _, k := range kept {
		same := rs
		same.Version = k.Rules.Version
		if same == k.Rules {
			rs = same
			text, err := json.Marshal(rs)
			return rs, string(text), err
		}
		next = max(next, k.Rules.Version+1)
	}
	rs.Version = max(next, rs.Version)
	if err := rs.Validate(); err != nil {
		return rs, "", err
	}
	text, err := json.Marshal(rs)
	return rs, string(text), err
}

// Forms lists the training forms that blocks of an estate were ever pruned to,
// by name, the latest version first.
func (s *Store) Forms(ctx context.Context, estate int64) ([]assess.Form, error) {
	scan := func(row scanner) (assess.Form, error) {
		var text string
		var f assess.Form
		if err := row.Scan(&text); err != nil {
			return f, err
		}
		return f, json.Unmarshal([]byte(text), &f)
	}
	return list(ctx, s.db, scan, `SELECT training_form_text FROM (SELECT DISTINCT r.training_form_text FROM block_rules r JOIN blocks b ON b.id = r.block_id WHERE b.estate_id = ? AND r.training_form_text <> '')
ORDER BY training_form_text ->> '$.name', CAST(training_form_text ->> '$.version' AS INTEGER) DESC`, estate)
}

// AddDescriptorTable keeps a descriptor table; EConflict when there is another
// one of that name and version.
func (s *Store) AddDescriptorTable(ctx context.Context, estate int64, t assess.DescriptorTable, who string) error {
	who, err := CheckName(who, "Whoever enters a table")
	if err != nil {
		return err
	}
	if err := t.Validate(); err != nil {
		return err
	}
	text, err := json.Marshal(t)
	if err != nil {
		return err
	}
	return s.write(ctx, func(tx *sql.Tx) error {
		var was string
		err := tx.QueryRowContext(ctx, `SELECT text FROM descriptor_tables WHERE estate_id = ? AND id = ?`, estate, t.ID()).Scan(&was)
		switch {
		case err == nil && was == string(text):
			return nil
		case err == nil:
			return assess.Errorf(assess.EConflict, "There is a table %s with other classes. Give the new one the next version.", t.ID())
		case !errors.Is(err, sql.ErrNoRows):
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO descriptor_tables (estate_id, id, name, version, text, made_by, made_at) VALUES (?,?,?,?,?,?,?)`, estate, t.ID(), t.Name, t.Version, string(text), who, s.stamp())
		return err
	})
}

// DescriptorTables lists the latest version of each table that was entered in
// an estate, by name.
func (s *Store) DescriptorTables(ctx context.Context, estate int64) ([]assess.DescriptorTable, error) {
	scan := func(row scanner) (assess.DescriptorTable, error) {
		var text string
		var t assess.DescriptorTable
		if err := row.Scan(&text); err != nil {
			return t, err
		}
		return t, json.Unmarshal([]byte(text), &t)
	}
	return list(ctx, s.db, scan, `SELECT text FROM descriptor_tables d WHERE estate_id = ? AND version = (SELECT max(version) FROM descriptor_tables WHERE estate_id = d.estate_id AND name = d.name) ORDER BY name`, estate)
}
