package store

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"time"
	"unicode/utf8"

	"nodespan/assess"
)

// longestName bounds every name that a person types, in characters.
const longestName = 80

// Block is a piece of vineyard whose vines are trained alike. Rows and vines
// are numbered from 1.
type Block struct {
	ID           int64
	EstateID     int64 // whose it is; 0 stands for FirstEstate in AddBlock
	Name         string
	Rows         int
	VinesPerRow  int
	Southern     bool    // south of the equator: winters are named by one year
	TrainingForm string  // name@version
	FormText     string  // the whole form as JSON; "" for blocks of before it was kept
	RuleSet      string  // name@version
	RuleSetText  string  // the whole rule set as JSON
	Variety      string  // "" while nobody said
	SpacingM     float64 // of vines along the row, metres; 0 while nobody said
	Divided      bool    // a divided canopy
	Formula      string  // of balanced pruning, by its name; "" for none
	// WoodLow and WoodHigh bound the density of fresh dormant cane, g/cm3, as
	// WoodSource gives it; 0 while nobody said.
	WoodLow, WoodHigh float64
	WoodSource        string
	CreatedBy         string
	CreatedAt         time.Time
}

// Vine is one place in a row. ID is 0 as long as nothing was recorded of it.
type Vine struct {
	ID      int64
	BlockID int64
	Row     int
	Number  int
}

// CheckName trims a name and returns EInvalid when it is empty, too long, or
// has control characters; what says in the sentence what the name is of.
func CheckName(name, what string) (string, error) {
	name = strings.TrimSpace(name)
	switch {
	case name == "":
		return "", assess.Errorf(assess.EInvalid, "%s needs a name. Type one.", assess.Sentence{Text: what})
	case utf8.RuneCountInString(name) > longestName:
		return "", assess.Errorf(assess.EInvalid, "The name is longer than %d characters. Shorten it.", longestName)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return "", assess.Errorf(assess.EInvalid, "The name has signs in it that can't be shown. Type it anew.")
	}
	return name, nil
}

// AddBlock keeps a new block and returns it with its id. EInvalid when a
// number is out of range, EConflict when the name is taken.
func (s *Store) AddBlock(ctx context.Context, b Block) (Block, error) {
	var err error
	if b.Name, err = CheckName(b.Name, "A block"); err != nil {
		return Block{}, err
	}
	if b.Rows < 1 || b.Rows > 2000 || b.VinesPerRow < 1 || b.VinesPerRow > 5000 {
		return Block{}, assess.Errorf(assess.EInvalid, "A block has 1 to 2000 rows and 1 to 5000 vines in a row. Change the numbers.")
	}
	if b.EstateID == 0 {
		b.EstateID = FirstEstate
	}
	b.CreatedAt = s.now().UTC()
	err = s.write(ctx, func(tx *sql.Tx) error {
		var there int64
		err := tx.QueryRowContext(ctx, `SELECT id FROM blocks WHERE estate_id = ? AND name = ?`, b.EstateID, b.Name).Scan(&there)
		if err == nil {
			return assess.Errorf(assess.EConflict, "There is a block named %q already. Choose another name.", b.Name)
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		if err := s.keepRuleSet(ctx, tx, b.EstateID, b.RuleSet, b.RuleSetText, b.CreatedBy); err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `INSERT INTO blocks (name, rows, vines_per_row, southern, training_form, training_form_text, rule_set, rule_set_text, variety, spacing_m, divided, formula, created_by, created_at, estate_id) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
			b.Name, b.Rows, b.VinesPerRow, b.Southern, b.TrainingForm, b.FormText, b.RuleSet, b.RuleSetText, b.Variety, b.SpacingM, b.Divided, b.Formula, b.CreatedBy, b.CreatedAt.Format(time.RFC3339Nano), b.EstateID)
		if err != nil {
			return err
		}
		if b.ID, err = r.LastInsertId(); err != nil {
			return err
		}
		return s.noteRules(ctx, tx, b, 1, "", b.CreatedBy)
	})
	if err != nil {
		return Block{}, err
	}
	return b, nil
}

const blockColumns = `id, name, rows, vines_per_row, southern, training_form, training_form_text, rule_set, rule_set_text, variety, spacing_m, divided, formula, wood_low, wood_high, wood_source, created_by, created_at, estate_id`

type scanner interface{ Scan(...any) error }

func scanBlock(row scanner) (Block, error) {
	var b Block
	var at sql.NullString
	err := row.Scan(&b.ID, &b.Name, &b.Rows, &b.VinesPerRow, &b.Southern, &b.TrainingForm, &b.FormText, &b.RuleSet, &b.RuleSetText, &b.Variety, &b.SpacingM, &b.Divided, &b.Formula, &b.WoodLow, &b.WoodHigh, &b.WoodSource, &b.CreatedBy, &at, &b.EstateID)
	b.CreatedAt = parseTime(at)
	return b, err
}

// Blocks lists an estate's blocks by name.
func (s *Store) Blocks(ctx context.Context, estate int64) ([]Block, error) {
	return list(ctx, s.db, scanBlock, `SELECT `+blockColumns+` FROM blocks WHERE estate_id = ? ORDER BY name`, estate)
}

// Block finds a block by id; ENotFound when there is none.
func (s *Store) Block(ctx context.Context, id int64) (Block, error) {
	b, err := scanBlock(s.db.QueryRowContext(ctx, `SELECT `+blockColumns+` FROM blocks WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Block{}, assess.Errorf(assess.ENotFound, "There is no such block. Go to the start page and pick one.")
	}
	return b, err
}

// FindVine gives the vine at row and number of a block, with ID 0 when nothing
// was recorded of it yet. ENotFound when the block has no such place.
func (s *Store) FindVine(ctx context.Context, b Block, row, number int) (Vine, error) {
	if row < 1 || row > b.Rows || number < 1 || number > b.VinesPerRow {
		return Vine{}, assess.Errorf(assess.ENotFound, "Block %s has rows 1 to %d with vines 1 to %d. There is no vine %d in row %d.", b.Name, b.Rows, b.VinesPerRow, number, row)
	}
	v := Vine{BlockID: b.ID, Row: row, Number: number}
	err := s.db.QueryRowContext(ctx, `SELECT id FROM vines WHERE block_id = ? AND row = ? AND number = ?`, b.ID, row, number).Scan(&v.ID)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return Vine{}, err
	}
	return v, nil
}

// Vine finds a recorded vine by id.
func (s *Store) Vine(ctx context.Context, id int64) (Vine, error) {
	v := Vine{ID: id}
	err := s.db.QueryRowContext(ctx, `SELECT block_id, row, number FROM vines WHERE id = ?`, id).Scan(&v.BlockID, &v.Row, &v.Number)
	if errors.Is(err, sql.ErrNoRows) {
		return Vine{}, assess.Errorf(assess.ENotFound, "There is no such vine. Go to its block and pick it there.")
	}
	return v, err
}

// VineState is a vine of a block with the counts that a list shows of it.
type VineState struct {
	Vine
	Photos  int
	Waiting int    // photos with a cane that nobody ruled on
	Ruled   int    // photos on which a person ruled
	Chosen  bool   // a choice was confirmed in Winter
	Winter  string // the latest winter with a photo
}

// ruledCanes counts, for a measurement m, those of its canes that somebody
// ruled on; a cane that a person pointed out isn't one of them, be it of this
// measurement or carried over from an earlier one.
const ruledCanes = `(SELECT count(DISTINCT r.cane) FROM rulings r WHERE r.measurement_id = m.id
    AND r.cane NOT IN (SELECT t.json ->> '$.id' FROM traces t WHERE t.measurement_id = m.id)
    AND r.cane NOT IN (SELECT x.cane FROM rulings x WHERE x.measurement_id = m.id AND x.payload ->> '$.missed' IS NOT NULL))`

const vineStateColumns = `vine_id, block_id, row, number, winter, photos, waiting, ruled, chosen`

func scanVineState(row scanner) (VineState, error) {
	var v VineState
	err := row.Scan(&v.ID, &v.BlockID, &v.Row, &v.Number, &v.Winter, &v.Photos, &v.Waiting, &v.Ruled, &v.Chosen)
	return v, err
}

// VineStates lists the recorded vines of a block by row and number. The
// counts are those of each vine's latest winter.
func (s *Store) VineStates(ctx context.Context, blockID int64) ([]VineState, error) {
	return list(ctx, s.db, scanVineState, `SELECT `+vineStateColumns+` FROM vine_winters WHERE block_id = ? AND latest = 1 ORDER BY row, number`, blockID)
}

// RowStates lists the recorded vines of one row of a block, as VineStates does.
func (s *Store) RowStates(ctx context.Context, blockID int64, row int) ([]VineState, error) {
	return list(ctx, s.db, scanVineState, `SELECT `+vineStateColumns+` FROM vine_winters WHERE block_id = ? AND row = ? AND latest = 1 ORDER BY number`, blockID, row)
}

// RowChosen lists the vines of a row that have a choice in a winter, "" for the
// row's latest winter with one, as they stood in it; none where there's no choice.
func (s *Store) RowChosen(ctx context.Context, blockID int64, row int, winter string) ([]VineState, error) {
	return list(ctx, s.db, scanVineState, `SELECT `+vineStateColumns+` FROM vine_winters WHERE block_id = ?1 AND row = ?2 AND chosen
AND winter = CASE ?3 WHEN '' THEN (SELECT max(winter) FROM vine_winters WHERE block_id = ?1 AND row = ?2 AND chosen) ELSE ?3 END ORDER BY number`, blockID, row, winter)
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// list runs a query and scans each of its rows.
func list[T any](ctx context.Context, db querier, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		t, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, rows.Err()
}
