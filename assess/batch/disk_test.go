package batch

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"nodespan/assess"
)

// small mounts a disk of some bytes; the test is left out where nobody may.
func small(t *testing.T, size string) string {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("mounts a small disk, which is done on Linux only")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skip("NO SMALL DISK COULD BE MOUNTED: WHAT A FULL ONE DOES WAS NOT TESTED: " + err.Error())
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// A full disk ends a batch in words, wherever it happens; with room again the
// same goes on, and comes to what it would have come to at once.
func TestFullDisk(t *testing.T) {
	photos := fillSeason(t)
	whole := t.TempDir()
	_, ww := measureAll(t, photos, whole, &keptMeasurer{}, 2)
	disk := small(t, "8m")
	out, ballast := filepath.Join(disk, "out"), filepath.Join(disk, "ballast")
	k := &keptMeasurer{}
	for i, left := range []int64{20 << 10, 90 << 10, 200 << 10, 500 << 10} {
		var have syscall.Statfs_t
		if err := syscall.Statfs(disk, &have); err != nil {
			t.Fatal(err)
		}
		if fill := int64(have.Bavail)*have.Bsize - left; fill > 0 {
			if err := os.WriteFile(ballast, make([]byte, fill), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		err := func() error {
			j, err := Open(t.Context(), out)
			if err != nil {
				return err
			}
			defer j.Close()
			if _, err := j.Find(t.Context(), photos, false); err != nil {
				return err
			}
			if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: k, Program: "p1", Workers: 2, Match: matcher(t)}); err != nil {
				return err
			}
			_, err = j.Write(t.Context(), Output{Folder: out, Photos: photos, Program: "p1", Version: "test", Rules: assess.DefaultRuleSet(), Match: matcher(t), Check: Check{Within: 0.1}})
			return err
		}()
		var told *assess.Error
		if err == nil || !errors.As(err, &told) || !strings.Contains(told.Message, "disk") && !strings.Contains(told.Message, "can't be made") {
			t.Errorf("with %d kB: %v", left>>10, err)
		}
		t.Logf("%d: with %d kB: %v; measured %d", i, left>>10, err, len(k.calls))
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
	}
	_, w := measureAll(t, photos, out, k, 2)
	sameBytes(t, bytesOf(t, out, w), bytesOf(t, whole, ww))
}

// A database that another program holds is told, and nothing is lost by it.
func TestHeldDatabase(t *testing.T) {
	photos, out := t.TempDir(), t.TempDir()
	write(t, photos, "North-1-1.jpg", "photo one")
	measureAll(t, photos, out, &keptMeasurer{}, 1)
	write(t, photos, "North-1-2.jpg", "photo two")
	j := open(t, out)
	j.db.SetMaxOpenConns(1)
	if _, err := j.db.Exec(`PRAGMA busy_timeout = 50`); err != nil {
		t.Fatal(err)
	}
	other, err := sql.Open("sqlite", filepath.Join(out, stateName))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	held, err := other.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	if _, err := held.ExecContext(t.Context(), `BEGIN IMMEDIATE`); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if _, err := j.Find(ctx, photos, false); assess.ErrorCode(err) != assess.EBusy {
		t.Errorf("held: %v", err)
	}
	if _, err := held.ExecContext(t.Context(), `ROLLBACK`); err != nil {
		t.Fatal(err)
	}
	j.Close()
	if ran, w := measureAll(t, photos, out, &keptMeasurer{}, 1); ran.Fresh != 1 || w.Counts.Measured != 2 {
		t.Errorf("afterwards: %+v, %+v", ran, w.Counts)
	}
}
