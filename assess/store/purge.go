package store

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// PurgeReport is what Purge removed, or would remove.
type PurgeReport struct {
	Photos int // records of photos, with all that was said of them
	Files  int // photo files that nothing needs any more
	Bytes  int64
}

// Purge removes for good what was marked as deleted at least age ago, with
// everything that was measured and said of it, and the files set aside that are
// that old. With dry, it only tells. Rows come first, files after: a crash in
// between leaves a file that no row claims.
func (s *Store) Purge(ctx context.Context, age time.Duration, dry bool) (PurgeReport, error) {
	var r PurgeReport
	before := s.now().Add(-age)
	var sums []string
	err := s.write(ctx, func(tx *sql.Tx) error {
		type line struct {
			id, vine int64
			sum      string
		}
		photos, err := list(ctx, tx, func(row scanner) (l line, err error) { return l, row.Scan(&l.id, &l.vine, &l.sum) },
			`SELECT p.id, p.vine_id, p.sha256 FROM deleted_photos x JOIN photos p ON p.id = x.photo_id WHERE x.at <= ?`, before.UTC().Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		r.Photos = len(photos)
		if dry {
			for _, p := range photos {
				sums = append(sums, p.sum)
			}
			return nil
		}
		// The record refuses to delete; for this one transaction it doesn't. That
		// ends with the transaction, whichever way it ends.
		guards, err := list(ctx, tx, func(row scanner) (g [2]string, err error) { return g, row.Scan(&g[0], &g[1]) },
			`SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND sql LIKE '%BEFORE DELETE%RAISE(ABORT%'`)
		if err != nil {
			return err
		}
		for _, g := range guards {
			if _, err := tx.ExecContext(ctx, `DROP TRIGGER "`+g[0]+`"`); err != nil {
				return err
			}
		}
		for _, p := range photos {
			if err := deleteWithAll(ctx, tx, "photos", "id", []int64{p.id}, 0); err != nil {
				return err
			}
			if err := countVine(ctx, tx, p.vine); err != nil {
				return err
			}
			var left int
			if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM photos WHERE sha256 = ?`, p.sum).Scan(&left); err != nil {
				return err
			}
			if left == 0 {
				sums = append(sums, p.sum)
			}
		}
		for _, g := range guards {
			if _, err := tx.ExecContext(ctx, g[1]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return r, err
	}
	var files []string
	for _, sum := range sums {
		if dry {
			files = append(files, s.photoPath(sum))
		} else if n, err := s.removeUnclaimed(ctx, sum); err != nil {
			return r, err
		} else if n > 0 {
			r.Files, r.Bytes = r.Files+1, r.Bytes+n
		}
		copies, err := filepath.Glob(filepath.Join(s.dir, "previews", sum+"-*"))
		if err != nil {
			return r, err
		}
		files = append(files, copies...)
	}
	aside, err := filepath.Glob(filepath.Join(s.dir, unclaimedFolder, "*"))
	if err != nil {
		return r, err
	}
	for _, f := range aside {
		if info, err := os.Stat(f); err == nil && info.ModTime().Before(before) {
			files = append(files, f)
		}
	}
	for _, f := range files {
		info, err := os.Stat(f)
		if os.IsNotExist(err) {
			continue
		}
		if err != nil {
			return r, err
		}
		r.Files++
		r.Bytes += info.Size()
		if !dry {
			if err := os.Remove(f); err != nil {
				return r, err
			}
		}
	}
	return r, nil
}

// removeUnclaimed removes a photo's file unless a row claims it, within a write
// transaction: whoever sends the same photo meanwhile waits, and then finds
// that its file has to be written again. It returns the bytes that it removed.
func (s *Store) removeUnclaimed(ctx context.Context, sum string) (bytes int64, err error) {
	err = s.write(ctx, func(tx *sql.Tx) error {
		var claimed bool
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM photos WHERE sha256 = ?)`, sum).Scan(&claimed); err != nil || claimed {
			return err
		}
		info, err := os.Stat(s.photoPath(sum))
		if os.IsNotExist(err) {
			return nil
		}
		if err != nil {
			return err
		}
		bytes = info.Size()
		return os.Remove(s.photoPath(sum))
	})
	return bytes, err
}

// deleteWithAll deletes rows of a table and, first, the rows of every table
// that point at them, by the database's own list of what points where.
func deleteWithAll(ctx context.Context, tx *sql.Tx, table, column string, keys []int64, depth int) error {
	if len(keys) == 0 {
		return nil
	}
	if depth > 8 {
		return fmt.Errorf("tables point at each other around %s", table)
	}
	marks := strings.TrimSuffix(strings.Repeat("?,", len(keys)), ",")
	args := make([]any, len(keys))
	for i, k := range keys {
		args[i] = k
	}
	pointing, err := list(ctx, tx, func(row scanner) (p [3]string, err error) { return p, row.Scan(&p[0], &p[1], &p[2]) },
		`SELECT m.name, f."from", coalesce(f."to", 'id') FROM sqlite_master m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table' AND f."table" = ?`, table)
	if err != nil {
		return err
	}
	for _, p := range pointing {
		if p[2] != "id" {
			return fmt.Errorf("%s.%s points at %s of %s, not at its id", p[0], p[1], p[2], table)
		}
		var own int
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM pragma_table_info(?) WHERE name = 'id'`, p[0]).Scan(&own); err != nil {
			return err
		}
		if own == 1 {
			ids, err := list(ctx, tx, func(row scanner) (id int64, err error) { return id, row.Scan(&id) }, `SELECT id FROM "`+p[0]+`" WHERE "`+p[1]+`" IN (`+marks+`)`, args...)
			if err != nil {
				return err
			}
			if err := deleteWithAll(ctx, tx, p[0], "id", ids, depth+1); err != nil {
				return err
			}
			continue
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM "`+p[0]+`" WHERE "`+p[1]+`" IN (`+marks+`)`, args...); err != nil {
			return err
		}
	}
	_, err = tx.ExecContext(ctx, `DELETE FROM "`+table+`" WHERE "`+column+`" IN (`+marks+`)`, args...)
	return err
}
