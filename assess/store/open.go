package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite" // the database driver, in Go alone
	sqlitelib "modernc.org/sqlite/lib"

	"nodespan/assess"
)

//go:embed migrations/*.sql
var migrations embed.FS

const (
	databaseName = "nodespan.db"
	photoFolder  = "photos"
	// connections that may be open at once: one writes, the others read.
	connections = 8
)

// busyWait is how long a writer waits for another one before it gives up.
var busyWait = 10 * time.Second

// Store is the record in one folder. Its methods may be called from many
// goroutines at once.
type Store struct {
	db  *sql.DB
	dir string
	now func() time.Time
}

// Open opens the record in dir, making folder and tables when they aren't
// there, and brings an older database up to this program's form, one
// transaction for each step. It fails with assess.EInvalid when dir can't be
// used as a data folder.
func Open(ctx context.Context, dir string) (*Store, error) {
	if err := os.MkdirAll(filepath.Join(dir, photoFolder), 0o750); err != nil {
		return nil, assess.Errorf(assess.EInvalid, "The data folder %s can't be made or written to. Choose another with --data, or change its rights: %w", dir, err)
	}
	path, err := filepath.Abs(filepath.Join(dir, databaseName))
	if err != nil {
		return nil, err
	}
	q := url.Values{}
	for _, p := range []string{
		"journal_mode(WAL)",
		"foreign_keys(1)",
		// FULL: what was acknowledged survives a power cut too, not only a crash.
		"synchronous(FULL)",
		fmt.Sprintf("busy_timeout(%d)", busyWait.Milliseconds()),
	} {
		q.Add("_pragma", p)
	}
	// A transaction takes the write lock at its start: one that read first and
	// wants to write later could not wait for another writer.
	q.Set("_txlock", "immediate")
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Path: path, RawQuery: q.Encode()}).String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(connections)
	s := &Store{db: db, dir: dir, now: time.Now}
	if err := s.migrate(ctx); err != nil {
		db.Close()
		return nil, assess.Errorf(assess.EInvalid, "The database in %s can't be opened. It may belong to a newer nodespan, be damaged, or the folder may be read-only: %w", dir, err)
	}
	if err := s.countAnew(ctx, false); err != nil {
		db.Close()
		return nil, err
	}
	return s, nil
}

// DatabasePath is where the database of the record in dir lies.
func DatabasePath(dir string) string { return filepath.Join(dir, databaseName) }

// migrate applies the steps that the database does not have yet.
func (s *Store) migrate(ctx context.Context) error {
	steps, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(goose.DialectSQLite3, s.db, steps, goose.WithVerbose(false),
		goose.WithAllowOutofOrder(true), goose.WithGoMigrations(blocksOfEstates), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	pending, err := p.HasPending(ctx)
	if err != nil || !pending {
		return err
	}
	if err := s.copyBefore(ctx, p); err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return err
}

// copyBefore copies the database into the folder backups before its form is
// changed. Photos aren't copied: no step touches them.
func (s *Store) copyBefore(ctx context.Context, p *goose.Provider) error {
	version, err := p.GetDBVersion(ctx)
	if err != nil || version == 0 {
		return err // nothing in there yet
	}
	folder := filepath.Join(s.dir, "backups")
	if err := os.MkdirAll(folder, 0o750); err != nil {
		return err
	}
	name := fmt.Sprintf("before-step-after-%d-%s.db", version, s.now().UTC().Format("20060102T150405.000000000"))
	if _, err := s.db.ExecContext(ctx, `VACUUM INTO ?`, filepath.Join(folder, name)); err != nil {
		return fmt.Errorf("copying the database before changing its form: %w", err)
	}
	return syncFolder(folder)
}

// Close ends all work with the record. It may be opened again.
func (s *Store) Close() error { return s.db.Close() }

// Dir is the data folder.
func (s *Store) Dir() string { return s.dir }

// Ping tells whether the database answers.
func (s *Store) Ping(ctx context.Context) error { return s.db.PingContext(ctx) }

// Ready tells whether the record can be written: the error says why not.
func (s *Store) Ready(ctx context.Context) error {
	if err := s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM sign_in_tries WHERE subject = ''`)
		return err
	}); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Join(s.dir, photoFolder), "ready-*.part")
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}

// stamp is the present time as it is kept.
func (s *Store) stamp() string { return s.now().UTC().Format(time.RFC3339Nano) }

// parseTime reads a kept time; the zero time for none.
func parseTime(text sql.NullString) time.Time {
	t, err := time.Parse(time.RFC3339Nano, text.String)
	if err != nil {
		return time.Time{}
	}
	return t
}

// write runs f in a transaction that holds the write lock from its start.
func (s *Store) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return inWords(err)
	}
	if err := f(tx); err != nil {
		return inWords(errors.Join(err, ignoreDone(tx.Rollback())))
	}
	return inWords(tx.Commit())
}

// inWords puts what SQLite says of the machine into a sentence for a person.
// Nothing was written then: a transaction is whole or not there.
func inWords(err error) error {
	var told *assess.Error
	var said *sqlite.Error
	if err == nil || errors.As(err, &told) || !errors.As(err, &said) {
		return err
	}
	switch said.Code() & 0xff { // without the extension, https://sqlite.org/rescode.html
	case sqlitelib.SQLITE_FULL:
		return assess.Errorf(assess.EInternal, "The disk with the data folder is full, so nothing was saved. Make room, then try again: %w", err)
	case sqlitelib.SQLITE_BUSY, sqlitelib.SQLITE_LOCKED:
		return assess.Errorf(assess.EBusy, "Another program holds the record's database, so nothing was saved. Try again in a moment: %w", err)
	case sqlitelib.SQLITE_READONLY, sqlitelib.SQLITE_CANTOPEN, sqlitelib.SQLITE_PERM:
		return assess.Errorf(assess.EInternal, "The data folder can't be written to, so nothing was saved. Give the service the right to write there: %w", err)
	case sqlitelib.SQLITE_IOERR:
		return assess.Errorf(assess.EInternal, "The disk with the data folder failed or is full, so nothing was saved. Look at the disk: %w", err)
	case sqlitelib.SQLITE_CORRUPT, sqlitelib.SQLITE_NOTADB:
		return assess.Errorf(assess.EInternal, "The record's database is damaged, so nothing was saved. Stop the service, run nodespan check, and bring the record back from a backup: %w", err)
	}
	return err
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// replayed looks a request's key up. It gives the id that the first sending
// made, or 0 when the key is new or empty; the same key with another content
// is an EConflict.
func replayed(ctx context.Context, tx *sql.Tx, key, digest string) (int64, error) {
	if key == "" {
		return 0, nil
	}
	var was string
	var id int64
	err := tx.QueryRowContext(ctx, `SELECT digest, result FROM idempotency_keys WHERE key = ?`, key).Scan(&was, &id)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return 0, nil
	case err != nil:
		return 0, err
	case was != digest:
		return 0, assess.Errorf(assess.EConflict, "This was sent before under the same key with another content. Send it again under a new key.")
	}
	return id, nil
}

// remember keeps a request's key, so that a second sending finds the result.
func (s *Store) remember(ctx context.Context, tx *sql.Tx, key, digest string, id int64) error {
	if key == "" {
		return nil
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO idempotency_keys (key, digest, result, used_at) VALUES (?, ?, ?, ?)`, key, digest, id, s.stamp())
	return err
}
