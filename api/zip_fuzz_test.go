package api

import (
	"archive/zip"
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"nodespan/assess"
	"nodespan/assess/batch"
)

// zipped makes a zip file; each entry is a name and what it holds.
func zipped(t testing.TB, method uint16, entries ...[2]string) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, e := range entries {
		f, err := w.CreateHeader(&zip.FileHeader{Name: e[0], Method: method})
		if err == nil {
			_, err = f.Write([]byte(e[1]))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// FuzzZip unpacks any file that is sent as a zip of photos: what comes out lies
// in the job's own folder, is a photo by its name, keeps to the bound of one
// photo, and is as many as told; a bad file is refused in words.
func FuzzZip(f *testing.F) {
	r := newRig(f)
	const most = 64 << 10
	r.server.limits.UploadBytes = most
	job := r.newJob()
	folder := r.server.store.JobFolder(job)
	photos := filepath.Join(folder, jobPhotos)
	good := zipped(f, zip.Deflate, [2]string{"North/North-1-1.jpg", "photo"}, [2]string{"North/", ""}, [2]string{"notes.txt", "x"})
	for _, seed := range [][]byte{
		good, good[:len(good)-10], bytes.Replace(good, []byte("photo"), []byte("phoot"), 1), {},
		zipped(f, zip.Store, [2]string{"../../x.jpg", "x"}, [2]string{"/etc/x.jpg", "x"}, [2]string{`a\..\b.jpg`, "x"}, [2]string{".x.jpg", "x"}, [2]string{"a\x00.jpg", "x"}, [2]string{"a/b/c/d/e/f/g/h/i/j.jpg", "x"}),
		zipped(f, zip.Deflate, [2]string{"big.jpg", string(make([]byte, 3*most))}, [2]string{"a.jpg", "one"}, [2]string{"a.jpg", "two"}, [2]string{"A.JPG", "one"}, [2]string{"a.jpg/b.jpg", "x"}, [2]string{"c.jpg/d.jpg", "x"}, [2]string{"c.jpg", "x"}),
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		spool, err := os.CreateTemp(folder, ".*.zip")
		if err != nil {
			t.Fatal(err)
		}
		defer os.Remove(spool.Name())
		defer spool.Close()
		if _, err := spool.Write(data); err != nil {
			t.Fatal(err)
		}
		got, err := r.server.unpack(t.Context(), job, spool, int64(len(data)))
		if code := assess.ErrorCode(err); err != nil && code != assess.EInvalid && code != assess.ETooLarge {
			t.Errorf("an error nobody can act on: %v", err)
		}
		found := 0
		walk := filepath.WalkDir(photos, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			found++
			info, err := d.Info()
			if err == nil && (!info.Mode().IsRegular() || info.Size() > most || !batch.IsPhoto(path)) {
				t.Errorf("unpacked %q, %s, %d bytes", path, info.Mode(), info.Size())
			}
			return err
		})
		if walk != nil || found != got.Photos {
			t.Errorf("%d photos are there, %d told (%v)", found, got.Photos, walk)
		}
		top, err := os.ReadDir(folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range top {
			if name := e.Name(); name != jobPhotos && name != jobResults && name != filepath.Base(spool.Name()) {
				t.Errorf("%q lies beside the photos", name)
			}
		}
		if err := os.RemoveAll(photos); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(photos, 0o750); err != nil {
			t.Fatal(err)
		}
	})
}
