package store

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nodespan/assess"
)

// A backup is one tar file: first manifestName, then the database, then the
// photos and the files of jobs under the paths that they have in the data folder. Whoever has no
// nodespan any more can take it apart with tar, and verify each photo with
// sha256sum, whose result is its name.
const (
	manifestName  = "backup.json"
	backupForm    = 1
	manifestLimit = 64 << 20 // bytes
)

// manifest says what a backup holds.
type manifest struct {
	Form     int       `json:"form"`
	MadeAt   time.Time `json:"made_at"`
	Database struct {
		Bytes  int64  `json:"bytes"`
		SHA256 string `json:"sha256"`
	} `json:"database"`
	Photos     int   `json:"photos"`
	PhotoBytes int64 `json:"photo_bytes"`
	// Jobs are the files of jobs that measure many photos, by path: those photos
	// aren't named by their content.
	Jobs map[string]fileSum `json:"jobs"`
}

type fileSum struct {
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// jobPath tells whether a path in a backup may be one of a job's file.
func jobPath(name string) bool {
	return fs.ValidPath(name) && strings.HasPrefix(name, jobFolder+"/") && !strings.Contains(name, "/.") && !strings.ContainsAny(name, "\\:\x00")
}

// BackupReport says what a backup holds.
type BackupReport struct {
	Photos int
	Bytes  int64 // of the whole file
}

// Backup writes the record as it is now into one file, also while others
// write to the record, and then reads the file back and verifies it. The file
// is there under its name only when it is whole and on the disk.
func (s *Store) Backup(ctx context.Context, file string) (BackupReport, error) {
	var r BackupReport
	work, err := os.MkdirTemp(filepath.Dir(file), ".backup-*")
	if err != nil {
		return r, assess.Errorf(assess.EInvalid, "A backup can't be written to %s. Name a folder that there is and that may be written to: %w", filepath.Dir(file), err)
	}
	defer os.RemoveAll(work)
	copied := filepath.Join(work, databaseName)
	// VACUUM INTO copies one state of the database, whatever is written meanwhile.
	if _, err := s.db.ExecContext(ctx, `VACUUM INTO ?`, copied); err != nil {
		return r, fmt.Errorf("copying the database: %w", err)
	}
	photos, err := photosOf(ctx, copied)
	if err != nil {
		return r, err
	}
	m := manifest{Form: backupForm, MadeAt: s.now().UTC(), Photos: len(photos)}
	if m.Database.Bytes, m.Database.SHA256, err = sumOf(copied); err != nil {
		return r, err
	}
	for _, p := range photos {
		m.PhotoBytes += p.bytes
	}
	held, err := os.MkdirTemp(s.dir, ".backup-*")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(held)
	if m.Jobs, err = s.holdJobs(ctx, held); err != nil {
		return r, err
	}
	part := filepath.Join(work, "backup.tar")
	if err := s.writeBackup(ctx, part, copied, held, m, photos); err != nil {
		return r, err
	}
	info, err := os.Stat(part)
	if err != nil {
		return r, err
	}
	f, err := os.Open(part)
	if err != nil {
		return r, err
	}
	defer f.Close()
	if _, err := readBackup(ctx, f, ""); err != nil {
		return r, assess.Errorf(assess.EInternal, "The backup doesn't read back as it was written, so it was not kept. Look for errors of the disk: %w", err)
	}
	if err := os.Rename(part, file); err != nil {
		return r, err
	}
	return BackupReport{Photos: len(photos), Bytes: info.Size()}, syncFolder(filepath.Dir(file))
}

type photoFile struct {
	sum   string
	bytes int64
}

// openCopy opens a database file for reading, with nothing written beside it.
func openCopy(path string) (*sql.DB, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	return sql.Open("sqlite", (&url.URL{Scheme: "file", Path: path, RawQuery: "mode=ro&immutable=1"}).String())
}

// photosOf lists the photo files that a database claims, and verifies the
// database on the way.
func photosOf(ctx context.Context, path string) ([]photoFile, error) {
	db, err := openCopy(path)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	if faults, err := integrity(ctx, db); err != nil {
		return nil, err
	} else if len(faults) > 0 {
		return nil, assess.Errorf(assess.EInternal, "The database is damaged: %s", strings.Join(faults, "; "))
	}
	return list(ctx, db, func(row scanner) (p photoFile, err error) { return p, row.Scan(&p.sum, &p.bytes) },
		`SELECT sha256, max(bytes) FROM photos GROUP BY sha256 ORDER BY sha256`)
}

// integrity asks SQLite for faults of a database.
func integrity(ctx context.Context, db querier) ([]string, error) {
	said, err := list(ctx, db, scanText, `PRAGMA integrity_check`)
	if err != nil {
		return nil, err
	}
	if len(said) == 1 && said[0] == "ok" {
		said = nil
	}
	broken, err := list(ctx, db, scanText, `SELECT "table" || ' row ' || coalesce(rowid, '?') || ' points at no ' || parent FROM pragma_foreign_key_check`)
	return append(said, broken...), err
}

func sumOf(path string) (int64, string, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, "", err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return n, hex.EncodeToString(h.Sum(nil)), err
}

func (s *Store) writeBackup(ctx context.Context, part, copied, held string, m manifest, photos []photoFile) (err error) {
	f, err := os.OpenFile(part, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w := tar.NewWriter(f)
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	header := func(name string, size int64) error {
		return w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o640, ModTime: m.MadeAt.Truncate(time.Second)})
	}
	if err := header(manifestName, int64(len(text))); err != nil {
		return err
	}
	if _, err := w.Write(text); err != nil {
		return err
	}
	add := func(name, path string, size int64) error {
		in, err := os.Open(path)
		if err != nil {
			return err
		}
		defer in.Close()
		if err := header(name, size); err != nil {
			return err
		}
		_, err = io.CopyN(w, in, size)
		return err
	}
	if err := add(databaseName, copied, m.Database.Bytes); err != nil {
		return err
	}
	for _, p := range photos {
		if err := ctx.Err(); err != nil {
			return err
		}
		name := photoFolder + "/" + p.sum[:2] + "/" + p.sum
		if err := add(name, s.photoPath(p.sum), p.bytes); err != nil {
			return assess.Errorf(assess.EInternal, "Photo %s is missing or can't be read, so no backup was written. Run nodespan check: %w", p.sum, err)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(m.Jobs)) {
		if err := add(name, filepath.Join(held, filepath.FromSlash(name)), m.Jobs[name].Bytes); err != nil {
			return err
		}
	}
	if err := w.Close(); err != nil {
		return err
	}
	return f.Sync()
}

// holdJobs holds the files of all jobs as they are now in a folder of their
// own: by a second name where the disk can, since a job never writes into a
// file that is there but puts another in its place; its database as a copy.
func (s *Store) holdJobs(ctx context.Context, held string) (map[string]fileSum, error) {
	out := map[string]fileSum{}
	top := filepath.Join(s.dir, jobFolder)
	err := filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil // no jobs, or a file that was replaced meanwhile
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case d.IsDir() && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case !d.Type().IsRegular() || strings.HasPrefix(d.Name(), ".") || strings.HasSuffix(d.Name(), ".db-wal") || strings.HasSuffix(d.Name(), ".db-shm") || strings.HasSuffix(d.Name(), ".db-journal"):
			return nil
		}
		rel, err := filepath.Rel(s.dir, path)
		if err != nil {
			return err
		}
		name, to := filepath.ToSlash(rel), filepath.Join(held, rel)
		if !jobPath(name) {
			return nil
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o750); err != nil {
			return err
		}
		if strings.HasSuffix(name, ".db") {
			err = copyDatabase(ctx, path, to)
		} else if err = os.Link(path, to); err != nil && !errors.Is(err, fs.ErrNotExist) {
			err = copyFile(path, to)
		}
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("copying %s: %w", name, err)
		}
		var sum fileSum
		sum.Bytes, sum.SHA256, err = sumOf(to)
		out[name] = sum
		return err
	})
	return out, err
}

// copyDatabase copies one state of a database that others may be writing to.
func copyDatabase(ctx context.Context, from, to string) error {
	from, err := filepath.Abs(from)
	if err != nil {
		return err
	}
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: from, RawQuery: url.Values{"_pragma": {fmt.Sprintf("busy_timeout(%d)", busyWait.Milliseconds())}}.Encode()}).String())
	if err != nil {
		return err
	}
	defer db.Close()
	_, err = db.ExecContext(ctx, `VACUUM INTO ?`, to)
	return err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// readBackup reads a backup to its end and verifies every byte of it. With a
// folder, what it holds is written there. EInvalid for a file that is no
// backup, or no whole one.
func readBackup(ctx context.Context, in io.Reader, folder string) (manifest, error) {
	var m manifest
	bad := func(format string, args ...any) (manifest, error) {
		err := assess.Errorf(assess.EInvalid, format, args...)
		return m, assess.Errorf(assess.EInvalid, "This is no whole backup: %w. Use another one.", err)
	}
	r := tar.NewReader(in)
	h, err := r.Next()
	if err != nil || h.Name != manifestName || h.Size > manifestLimit {
		return bad("it doesn't begin with %s", manifestName)
	}
	text, err := io.ReadAll(io.LimitReader(r, manifestLimit))
	if err != nil || json.Unmarshal(text, &m) != nil || !sumForm.MatchString(m.Database.SHA256) {
		return bad("its %s can't be read", manifestName)
	}
	if m.Form != backupForm {
		return bad("it has form %d, and this program knows %d: use the nodespan that made it", m.Form, backupForm)
	}
	seen := map[string]bool{}
	var photoBytes int64
	photos, jobs := 0, 0
	for {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return bad("it breaks off after %d files", len(seen))
		}
		want, name := "", h.Name
		sum := filepath.Base(name)
		switch {
		case h.Typeflag != tar.TypeReg || seen[name] || sparse(h):
			return bad("it holds %q, which isn't one file", name)
		case name == databaseName && h.Size == m.Database.Bytes:
			want = m.Database.SHA256
		case sumForm.MatchString(sum) && name == photoFolder+"/"+sum[:2]+"/"+sum:
			want = sum
			photoBytes += h.Size
			photos++
		case jobPath(name) && m.Jobs[name].SHA256 != "" && m.Jobs[name].Bytes == h.Size:
			want = m.Jobs[name].SHA256
			jobs++
		default:
			return bad("it holds %q, which doesn't belong there", name)
		}
		seen[name] = true
		if err := readOut(r, folder, name, want); err != nil {
			return bad("%s: %v", name, err)
		}
	}
	switch {
	case !seen[databaseName]:
		return bad("the database is missing")
	case photos != m.Photos || photoBytes != m.PhotoBytes || jobs != len(m.Jobs):
		return bad("it has %d photos of %d bytes and %d files of jobs, and should have %d of %d and %d", photos, photoBytes, jobs, m.Photos, m.PhotoBytes, len(m.Jobs))
	}
	return m, nil
}

// sparse tells whether an entry says of itself that it has holes: a file of a few
// bytes could then claim to be of any size. No backup has such.
func sparse(h *tar.Header) bool {
	for key := range h.PAXRecords {
		if strings.HasPrefix(key, "GNU.sparse.") {
			return true
		}
	}
	return false
}

// readOut verifies one file of a backup, and writes it when folder is named.
func readOut(r io.Reader, folder, name, want string) (err error) {
	h := sha256.New()
	var to io.Writer = h
	if folder != "" {
		path := filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
			return err
		}
		f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, f.Sync(), f.Close()) }()
		to = io.MultiWriter(h, f)
	}
	if _, err := io.Copy(to, r); err != nil {
		return err
	}
	if hex.EncodeToString(h.Sum(nil)) != want {
		return errors.New("its bytes aren't those that were written")
	}
	return nil
}

// Restore makes the data folder dir from a backup. dir must not exist or be
// empty: EInvalid otherwise, and for a file that is no whole backup. Nothing
// is there under dir until all of it is verified.
func Restore(ctx context.Context, file, dir string) (BackupReport, error) {
	var r BackupReport
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return r, assess.Errorf(assess.EInvalid, "The folder %s holds something already, and a restore overwrites nothing. Name a new folder with --data, or move this one away.", dir)
	}
	f, err := os.Open(file)
	if err != nil {
		return r, assess.Errorf(assess.EInvalid, "The backup %s can't be read: %w", file, err)
	}
	defer f.Close()
	dir = filepath.Clean(dir)
	if err := os.MkdirAll(filepath.Dir(dir), 0o750); err != nil {
		return r, err
	}
	work, err := os.MkdirTemp(filepath.Dir(dir), ".restore-*")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(work)
	whole := filepath.Join(work, "data")
	if err := os.MkdirAll(filepath.Join(whole, photoFolder), 0o750); err != nil {
		return r, err
	}
	m, err := readBackup(ctx, f, whole)
	if err != nil {
		return r, err
	}
	photos, err := photosOf(ctx, filepath.Join(whole, databaseName))
	if err != nil {
		return r, assess.Errorf(assess.EInvalid, "The database in the backup can't be used. Use another backup: %w", err)
	}
	for _, p := range photos {
		if _, err := os.Stat(filepath.Join(whole, photoFolder, p.sum[:2], p.sum)); err != nil {
			return r, assess.Errorf(assess.EInvalid, "Photo %s isn't in the backup, though its record is. Use another backup.", p.sum)
		}
	}
	_ = os.Remove(dir) // an empty one
	if err := os.Rename(whole, dir); err != nil {
		return r, err
	}
	r.Photos, r.Bytes = m.Photos, m.PhotoBytes+m.Database.Bytes
	return r, syncFolder(filepath.Dir(dir))
}
