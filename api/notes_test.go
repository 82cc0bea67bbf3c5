package api

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// withNotes is a JPEG whose EXIF has the time it was taken and a serial number.
func withNotes(t testing.TB) []byte {
	t.Helper()
	var j bytes.Buffer
	if err := jpeg.Encode(&j, image.NewGray(image.Rect(0, 0, 64, 48)), nil); err != nil {
		t.Fatal(err)
	}
	b := binary.BigEndian
	const taken, serial = "2026:01:20 10:30:00\x00", "SERIAL-SECRET-987654\x00"
	// The first list points at the second, which has the two texts behind it.
	tiff := []byte("MM\x00\x2a\x00\x00\x00\x08\x00\x01\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x02")
	at := uint32(len(tiff) + 2*12 + 4)
	for _, x := range []struct {
		id   uint16
		text string
	}{{0x9003, taken}, {0xa431, serial}} {
		tiff = b.AppendUint32(append(b.AppendUint16(tiff, x.id), 0, 2), uint32(len(x.text)))
		tiff = b.AppendUint32(tiff, at)
		at += uint32(len(x.text))
	}
	tiff = append(append(append(tiff, 0, 0, 0, 0), taken...), serial...)
	body := append([]byte("Exif\x00\x00"), tiff...)
	segment := append(b.AppendUint16([]byte{0xff, 0xe1}, uint16(len(body)+2)), body...)
	return bytes.Join([][]byte{j.Bytes()[:2], segment, j.Bytes()[2:]}, nil)
}

// The setting decides what of the original is kept; what is served is bare
// either way.
func TestOriginalsByTheSetting(t *testing.T) {
	photo := withNotes(t)
	for _, drop := range []bool{false, true} {
		r := rigOn(t, filepath.Join(t.TempDir(), "data"), &keptMeasurer{}, Limits{})
		r.server.dropNotes = drop
		st := r.measured(r.send(r.block(), photo, http.StatusCreated).ID)
		p, err := r.store.Photo(t.Context(), st.ID)
		if err != nil {
			t.Fatal(err)
		}
		data, err := r.store.PhotoBytes(p.SHA256)
		if err != nil || bytes.Contains(data, []byte("SERIAL-SECRET")) == drop {
			t.Errorf("drop %v: %d bytes kept, serial number in there %v, %v", drop, len(data), bytes.Contains(data, []byte("SERIAL-SECRET")), err)
		}
		if want := time.Date(2026, 1, 20, 10, 30, 0, 0, time.Local); !p.TakenAt.Equal(want) {
			t.Errorf("drop %v: taken %v", drop, p.TakenAt)
		}
		if body := r.get(st.Page+"/picture/full.jpg", http.StatusOK, nil); strings.Contains(body, "SECRET") || strings.Contains(body, "Exif") {
			t.Error("a served copy isn't bare")
		}
	}
}
