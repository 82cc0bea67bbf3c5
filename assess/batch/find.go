package batch

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nodespan/assess"
)

// photoEndings are those of files that are taken for photos. Kinds that can't
// be measured are among them, so that they come out as rows with the reason
// and don't go missing.
var photoEndings = map[string]bool{
	".jpg": true, ".jpeg": true, ".png": true, ".webp": true,
	".heic": true, ".heif": true, ".avif": true, ".tif": true, ".tiff": true, ".bmp": true, ".gif": true, ".dng": true,
}

// IsPhoto tells by a file's ending whether it is taken for a photo.
func IsPhoto(name string) bool { return photoEndings[strings.ToLower(filepath.Ext(name))] }

// settled is how long a file must not have changed before it is taken: what is
// still being copied would be read half.
const settled = 2 * time.Second

// Found is what a look into a folder brought.
type Found struct {
	Photos  int `json:"photos"`  // that are there
	New     int `json:"new"`     // since the last look, changed ones among them
	Gone    int `json:"gone"`    // since the last look
	Others  int `json:"others"`  // files that aren't photos by their ending
	Growing int `json:"growing"` // photos that were still being written; left for the next look
}

// Find looks for photos in a folder and those below it, and notes what is new,
// changed or gone. Hidden files and folders and the job's own folder are left
// out. With wait, files that changed within the last two seconds are left for
// the next look. EInvalid when the folder can't be read.
func (j *Job) Find(ctx context.Context, folder string, wait bool) (f Found, err error) {
	defer onDisk(&err)
	info, err := os.Stat(folder)
	if err != nil || !info.IsDir() {
		return f, assess.Errorf(assess.EInvalid, "%s is no folder that can be read. Name the folder with the photos.", folder)
	}
	own, err := filepath.Abs(j.dir)
	if err != nil {
		return f, err
	}
	err = j.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `CREATE TEMP TABLE IF NOT EXISTS here (path TEXT PRIMARY KEY) WITHOUT ROWID; DELETE FROM here`); err != nil {
			return err
		}
		keep, err := tx.PrepareContext(ctx, `INSERT INTO photos (path, bytes, modified) VALUES (?,?,?)
ON CONFLICT (path) DO UPDATE SET bytes = excluded.bytes, modified = excluded.modified, sha256 = '', unread = '', taken_at = '', gone = 0
WHERE bytes <> excluded.bytes OR modified <> excluded.modified OR gone = 1`)
		if err != nil {
			return err
		}
		defer keep.Close()
		mark, err := tx.PrepareContext(ctx, `INSERT INTO here VALUES (?)`)
		if err != nil {
			return err
		}
		defer mark.Close()
		err = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
			if err != nil {
				// One folder without rights doesn't end the others.
				if path != folder && errors.Is(err, fs.ErrPermission) {
					return nil
				}
				return err
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if path != folder && strings.HasPrefix(d.Name(), ".") {
				if d.IsDir() {
					return filepath.SkipDir
				}
				return nil
			}
			if d.IsDir() {
				if abs, err := filepath.Abs(path); err == nil && abs == own {
					if path == folder {
						return assess.Errorf(assess.EInvalid, "The results can't lie in the same folder as the photos. Choose a folder of its own with --out.")
					}
					return filepath.SkipDir
				}
				return nil
			}
			if !IsPhoto(path) {
				f.Others++
				return nil
			}
			info, err := os.Stat(path) // follows a link to a file
			if err != nil || !info.Mode().IsRegular() {
				return nil // went away meanwhile
			}
			// A time to come is that of another clock, or of this one before it was set
			// back: waiting for it would leave the photo out for as long.
			if age := time.Since(info.ModTime()); wait && age < settled && age > -settled {
				f.Growing++
				return nil
			}
			rel, err := filepath.Rel(folder, path)
			if err != nil {
				return err
			}
			rel = filepath.ToSlash(rel)
			r, err := keep.ExecContext(ctx, rel, info.Size(), info.ModTime().UnixNano())
			if err != nil {
				return err
			}
			if n, err := r.RowsAffected(); err != nil {
				return err
			} else if n > 0 {
				f.New++
			}
			f.Photos++
			_, err = mark.ExecContext(ctx, rel)
			return err
		})
		if err != nil {
			return err
		}
		r, err := tx.ExecContext(ctx, `UPDATE photos SET gone = 1 WHERE gone = 0 AND path NOT IN (SELECT path FROM here)`)
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		f.Gone = int(n)
		return err
	})
	return f, err
}
