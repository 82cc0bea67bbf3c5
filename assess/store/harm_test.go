//go:build linux

package store

import (
	"bytes"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"nodespan/assess"
)

// smallDisk mounts a disk of a few megabytes, in memory. Only root may.
func smallDisk(t *testing.T, bytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Skipf("NOT TESTED, a small disk can't be mounted here (it needs root): %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

func noise(n int, seed uint64) []byte {
	r := rand.New(rand.NewPCG(seed, 0))
	out := make([]byte, n)
	for i := range out {
		out[i] = byte(r.UintN(256))
	}
	return out
}

// tells wants an error with a sentence that names what is wrong.
func tells(t *testing.T, err error, code, words string) {
	t.Helper()
	if err == nil || assess.ErrorCode(err) != code || !strings.Contains(err.Error(), words) {
		t.Errorf("%v (code %q), want code %q and %q", err, assess.ErrorCode(err), code, words)
	}
}

// A disk that fills up: the one who sends hears it, what was kept before is
// all there, and with room again it goes on.
func TestDiskFull(t *testing.T) {
	disk := smallDisk(t, 3<<20)
	s, err := Open(t.Context(), filepath.Join(disk, "data"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	b := addBlock(t, s)
	kept := map[int64][]byte{}
	add := func(data []byte) (Photo, error) {
		p, _, err := s.AddPhoto(t.Context(), NewPhoto{Data: data, BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", Name: "a", ContentType: "image/jpeg", By: "Ada"})
		return p, err
	}
	// Room that can be made later, however much of it the last photo leaves.
	reserve := filepath.Join(disk, "reserve")
	if err := os.WriteFile(reserve, make([]byte, 256<<10), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range uint64(100) {
		data := noise(200<<10, i)
		p, err := add(data)
		if err != nil {
			tells(t, err, assess.EInternal, "disk")
			break
		}
		kept[p.ID] = data
	}
	if len(kept) < 2 || len(kept) > 14 {
		t.Fatalf("%d photos on a disk of 3 MB", len(kept))
	}
	// To the last byte, so that the database can't write either.
	filler := filepath.Join(disk, "filler")
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{64 << 10, 4 << 10, 1 << 10} {
		for {
			if _, err := f.Write(make([]byte, n)); err != nil {
				break
			}
		}
	}
	f.Close()
	var first int64
	for id := range kept {
		first = id
	}
	m := int64(0)
	var full error
	for range 200 { // what the write-ahead log has room for goes first
		if _, full = s.AddAsk(t.Context(), first, assess.Ask{Name: strings.Repeat("x", 2000)}, "Ada"); full != nil {
			break
		}
		m++
	}
	tells(t, full, assess.EInternal, "full")
	for id, data := range kept {
		got, err := s.PhotoBytes(mustPhoto(t, s, id).SHA256)
		if err != nil || !bytes.Equal(got, data) {
			t.Errorf("photo %d: %d bytes, %v", id, len(got), err)
		}
	}
	sound(t, s)
	for _, f := range []string{filler, reserve} {
		if err := os.Remove(f); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := add(noise(20<<10, 999)); err != nil {
		t.Errorf("with room again: %v", err)
	}
	sound(t, s)
	// The same after a fresh start.
	s.Close()
	if s, err = Open(t.Context(), filepath.Join(disk, "data")); err != nil {
		t.Fatal(err)
	}
	if r := sound(t, s); r.Photos != len(kept)+1 {
		t.Errorf("%d photos after a fresh start, want %d", r.Photos, len(kept)+1)
	}
	s.Close()
}

// A folder that can't be written to: told at the start, and told when it
// becomes so while the service runs; reading goes on.
func TestReadOnlyFolder(t *testing.T) {
	disk := smallDisk(t, 8<<20)
	dir := filepath.Join(disk, "data")
	s, err := Open(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	b := addBlock(t, s)
	p := addPhoto(t, s, b, "a photo")
	m := addMeasurement(t, s, p)
	// A disk can't be made read-only while files on it are open for writing, so
	// the folder is shown a second time, without the right to write.
	view := t.TempDir()
	if err := syscall.Mount(dir, view, "", syscall.MS_BIND, ""); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = syscall.Unmount(view, syscall.MNT_DETACH) }()
	if err := syscall.Mount("", view, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if r, err := Open(t.Context(), view); err == nil {
		defer r.Close()
		_, _, err := r.AddPhoto(t.Context(), NewPhoto{Data: []byte("another"), BlockID: b.ID, Row: 1, Number: 1, Winter: "2026/27", By: "Ada"})
		tells(t, err, assess.EInternal, "can't be written to")
		_, err = r.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)})
		tells(t, err, assess.EInternal, "can't be written to")
		if err := r.Ready(t.Context()); err == nil {
			t.Error("ready on a folder that can't be written to")
		}
		if _, err := r.PhotoBytes(p.SHA256); err != nil {
			t.Errorf("reading: %v", err)
		}
	} else {
		tells(t, err, assess.EInvalid, "read-only")
	}
	if _, err := Open(t.Context(), filepath.Join(view, "new")); err == nil {
		t.Error("a record was made in a folder that can't be written to")
	} else {
		tells(t, err, assess.EInvalid, "can't be made or written to")
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "", []NewRuling{ruling(1)}); err != nil {
		t.Error(err)
	}
	sound(t, s)
}

// Another program that holds the database: writers are told to come back, and
// readers aren't kept; when it lets go, the same goes through.
func TestLockedDatabase(t *testing.T) {
	was := busyWait
	busyWait = 200 * time.Millisecond
	defer func() { busyWait = was }()
	s := openStore(t)
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	other, err := sql.Open("sqlite", DatabasePath(s.Dir()))
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	c, err := other.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.ExecContext(t.Context(), `BEGIN IMMEDIATE`); err != nil {
		t.Fatal(err)
	}
	_, err = s.AddRulings(t.Context(), m.ID, 0, "Ada", "key", []NewRuling{ruling(1)})
	tells(t, err, assess.EBusy, "Try again")
	if err := s.Ready(t.Context()); err == nil {
		t.Error("ready while another program holds the database")
	}
	if all, err := s.Rulings(t.Context(), m.ID); err != nil || len(all) != 0 {
		t.Errorf("reading meanwhile: %d rulings, %v", len(all), err)
	}
	if _, err := c.ExecContext(t.Context(), `ROLLBACK`); err != nil {
		t.Fatal(err)
	}
	if _, err := s.AddRulings(t.Context(), m.ID, 0, "Ada", "key", []NewRuling{ruling(1)}); err != nil {
		t.Error(err)
	}
	sound(t, s)
}

// A clock that is set back: nothing that was kept looks younger than what
// follows it, sessions and links hold on, and failed sign-ins don't wait longer.
func TestClockBack(t *testing.T) {
	s := openStore(t)
	clock := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	s.now = func() time.Time { return clock }
	a, err := s.AddMember(t.Context(), FirstEstate, "Ada", "", "manager")
	if err != nil {
		t.Fatal(err)
	}
	if err := s.AddSession(t.Context(), HashSecret("s"), a.ID, FirstEstate, time.Hour); err != nil {
		t.Fatal(err)
	}
	if err := s.AddInvitation(t.Context(), HashSecret("i"), FirstEstate, "pruner", 0, "Ada", time.Hour); err != nil {
		t.Fatal(err)
	}
	wait := func(_, _ int) time.Duration { return 10 * time.Second }
	ada := []Subject{{Key: "ada", Free: 1}}
	if left, err := s.Tries(t.Context(), ada, wait); left != 0 || err != nil {
		t.Fatal(left, err)
	}
	m := addMeasurement(t, s, addPhoto(t, s, addBlock(t, s), "a photo"))
	if _, err := s.AddChoice(t.Context(), m.ID, 0, "Ada", "", []byte(`{}`), []byte(`{}`)); err != nil {
		t.Fatal(err)
	}
	clock = clock.Add(-48 * time.Hour)
	if k, err := s.Session(t.Context(), HashSecret("s"), time.Hour); k == nil || err != nil {
		t.Errorf("session %+v, %v", k, err)
	}
	if _, err := s.Invitation(t.Context(), HashSecret("i")); err != nil {
		t.Errorf("link: %v", err)
	}
	if left, err := s.Tries(t.Context(), ada, wait); left > 10*time.Second || err != nil {
		t.Errorf("wait %v, %v", left, err)
	}
	c, err := s.AddChoice(t.Context(), m.ID, 1, "Ada", "", []byte(`{}`), []byte(`{}`))
	if err != nil || c.Seq != 2 {
		t.Fatalf("%+v %v", c, err)
	}
	if now, err := s.LatestChoice(t.Context(), c.VineID, c.Winter); err != nil || now.Seq != 2 {
		t.Errorf("the choice that counts: %+v, %v", now, err)
	}
	p2 := addPhoto(t, s, Block{ID: 1}, "another photo")
	if open, err := s.OpenAsks(t.Context()); err != nil || len(open) != 1 || open[0].PhotoID != p2.ID {
		t.Errorf("what waits: %+v, %v", open, err)
	}
	sound(t, s)
}
