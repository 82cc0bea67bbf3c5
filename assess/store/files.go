package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"syscall"

	"nodespan/assess"
)

var sumForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// photoPath is where the photo with this SHA-256 lies: in a folder named by
// its first two digits, so that no folder grows beyond what listings bear.
func (s *Store) photoPath(sum string) string {
	return filepath.Join(s.dir, photoFolder, sum[:2], sum)
}

// keepPhoto writes a photo's bytes under its SHA-256 and returns that. When it
// returns without error, the file is whole on the disk. A crash on the way
// leaves at most a file named *.part, which Sweep removes.
func (s *Store) keepPhoto(photo []byte) (string, error) {
	raw := sha256.Sum256(photo)
	sum := hex.EncodeToString(raw[:])
	path := s.photoPath(sum)
	if have, err := os.ReadFile(path); err == nil && sha256.Sum256(have) == raw {
		return sum, nil
	}
	if err := s.writeWhole(path, photo); err != nil {
		if errors.Is(err, syscall.EROFS) || errors.Is(err, fs.ErrPermission) {
			return "", assess.Errorf(assess.EInternal, "The data folder can't be written to, so the photo was not kept. Give the service the right to write there, and send the photo again: %w", err)
		}
		if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
			return "", assess.Errorf(assess.EInternal, "The disk with the data folder is full, so the photo was not kept. Make room and send it again: %w", err)
		}
		return "", fmt.Errorf("keeping photo %s: %w", sum, err)
	}
	return sum, nil
}

// writeWhole writes a file so that it is either whole under its name or not
// there at all, whatever happens meanwhile: temporary name, sync, rename, sync
// of the folder.
func (s *Store) writeWhole(path string, data []byte) (err error) {
	folder := filepath.Dir(path)
	_, statErr := os.Stat(folder)
	if err := os.MkdirAll(folder, 0o750); err != nil {
		return err
	}
	if statErr != nil {
		if err := syncFolder(filepath.Dir(folder)); err != nil {
			return err
		}
	}
	f, err := os.CreateTemp(folder, "*.part")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err := f.Write(data); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(folder)
}

func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// PhotoBytes reads a photo and verifies it against its name. ENotFound when
// there is none; EInternal when the file was changed from outside.
func (s *Store) PhotoBytes(sum string) ([]byte, error) {
	if !sumForm.MatchString(sum) {
		return nil, assess.Errorf(assess.ENotFound, "There is no such photo.")
	}
	f, err := os.Open(s.photoPath(sum))
	if errors.Is(err, os.ErrNotExist) {
		return nil, assess.Errorf(assess.ENotFound, "There is no such photo.")
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, err
	}
	if raw := sha256.Sum256(data); hex.EncodeToString(raw[:]) != sum {
		return nil, assess.Errorf(assess.EInternal, "The file of photo %s was changed or is damaged. Bring it back from a backup.", sum)
	}
	return data, nil
}

// Spool gives a temporary file within the record's folder, for bytes on their
// way. Whoever asked removes it; what a crash leaves is removed by Sweep.
func (s *Store) Spool() (*os.File, error) {
	f, err := os.CreateTemp(filepath.Join(s.dir, photoFolder), "upload-*.part")
	if errors.Is(err, syscall.EROFS) || errors.Is(err, fs.ErrPermission) {
		return nil, assess.Errorf(assess.EInternal, "The data folder can't be written to, so the photo was not kept. Give the service the right to write there, and send the photo again: %w", err)
	}
	return f, err
}

// unclaim removes a photo's file when no row claims it, after its row could
// not be written. What can't be removed now is set aside by Sweep.
func (s *Store) unclaim(sum string) {
	ctx, cancel := context.WithTimeout(context.Background(), busyWait)
	defer cancel()
	_, _ = s.removeUnclaimed(ctx, sum)
}

// unclaimedFolder holds photo files that no row of the record claims.
const unclaimedFolder = "unclaimed"

// Sweep clears up what a crash in the middle of a write left behind: files
// under a temporary name are removed, and whole photos whose row never came,
// which nobody was told are kept, are set aside in the folder unclaimed. It
// returns how many there were. Call it at the start of a service.
func (s *Store) Sweep(ctx context.Context) (parts, unclaimed int, err error) {
	found, err := filepath.Glob(filepath.Join(s.dir, photoFolder, "*", "*.part"))
	if err != nil {
		return 0, 0, err
	}
	more, err := filepath.Glob(filepath.Join(s.dir, photoFolder, "*.part"))
	if err != nil {
		return 0, 0, err
	}
	for _, f := range append(found, more...) {
		if err := os.Remove(f); err != nil {
			return parts, 0, err
		}
		parts++
	}
	files, err := filepath.Glob(filepath.Join(s.dir, photoFolder, "*", "*"))
	if err != nil {
		return parts, 0, err
	}
	// Within a write transaction: no row comes meanwhile, see AddPhoto.
	err = s.write(ctx, func(tx *sql.Tx) error {
		rows, err := list(ctx, tx, scanText, `SELECT DISTINCT sha256 FROM photos`)
		if err != nil {
			return err
		}
		claimed := map[string]bool{}
		for _, sum := range rows {
			claimed[sum] = true
		}
		for _, f := range files {
			if claimed[filepath.Base(f)] {
				continue
			}
			aside := filepath.Join(s.dir, unclaimedFolder)
			if err := os.MkdirAll(aside, 0o750); err != nil {
				return err
			}
			if err := os.Rename(f, filepath.Join(aside, filepath.Base(f))); err != nil {
				return err
			}
			unclaimed++
		}
		return nil
	})
	return parts, unclaimed, err
}
