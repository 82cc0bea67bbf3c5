package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/pressly/goose/v3"
)

// blocksOfEstates is the migration that gives each block its estate, and lets
// two estates have blocks of the same name. SQLite can't change a table's
// constraints, so the table is made anew as https://sqlite.org/lang_altertable.html
// section 7 tells, from its present text: columns that other steps added stay.
var blocksOfEstates = goose.NewGoMigration(21, &goose.GoFunc{RunDB: func(ctx context.Context, db *sql.DB) (err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	// Neither can be set within a transaction.
	for _, p := range []string{"foreign_keys=OFF", "legacy_alter_table=ON"} {
		if _, err := conn.ExecContext(ctx, "PRAGMA "+p); err != nil {
			return err
		}
	}
	defer func() {
		for _, p := range []string{"legacy_alter_table=OFF", "foreign_keys=ON"} {
			_, e := conn.ExecContext(context.WithoutCancel(ctx), "PRAGMA "+p)
			err = errors.Join(err, e)
		}
	}()
	tx, err := conn.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := remakeBlocks(ctx, tx); err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}}, nil)

func remakeBlocks(ctx context.Context, tx *sql.Tx) error {
	var text string
	if err := tx.QueryRowContext(ctx, `SELECT sql FROM sqlite_master WHERE type = 'table' AND name = 'blocks'`).Scan(&text); err != nil {
		return err
	}
	columns, err := list(ctx, tx, scanText, `SELECT '"' || name || '"' FROM pragma_table_info('blocks')`)
	if err != nil {
		return err
	}
	beside, err := list(ctx, tx, scanText, `SELECT sql FROM sqlite_master WHERE tbl_name = 'blocks' AND type IN ('index', 'trigger') AND sql IS NOT NULL`)
	if err != nil {
		return err
	}
	if slices.Contains(columns, `"estate_id"`) {
		return nil // done before, and stopped before that was noted
	}
	const was = "NOT NULL UNIQUE COLLATE NOCASE"
	_, body, found := strings.Cut(text, "(")
	end := strings.LastIndex(body, ")")
	if !found || end < 0 || strings.Count(body, was) != 1 {
		return fmt.Errorf("the table of blocks isn't as expected: %s", text)
	}
	body = strings.Replace(body[:end], was, "NOT NULL COLLATE NOCASE", 1)
	steps := append([]string{
		`CREATE TABLE blocks_new (` + body + `, estate_id INTEGER NOT NULL DEFAULT 1 REFERENCES estates (id), UNIQUE (estate_id, name))`,
		`INSERT INTO blocks_new (` + strings.Join(columns, ", ") + `) SELECT ` + strings.Join(columns, ", ") + ` FROM blocks`,
		`DROP TABLE blocks`,
		`ALTER TABLE blocks_new RENAME TO blocks`,
		`CREATE TRIGGER blocks_estate_kept BEFORE UPDATE OF estate_id ON blocks BEGIN SELECT RAISE(ABORT, 'a block stays with its estate'); END`,
	}, beside...)
	for _, step := range steps {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return fmt.Errorf("%s: %w", step, err)
		}
	}
	broken, err := list(ctx, tx, scanText, `SELECT "table" FROM pragma_foreign_key_check`)
	if err != nil {
		return err
	}
	if len(broken) > 0 {
		return fmt.Errorf("rows of %v would point at nothing", broken)
	}
	return nil
}

func scanText(row scanner) (string, error) {
	var s string
	return s, row.Scan(&s)
}
