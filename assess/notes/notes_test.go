package notes

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// tiff is a file of notes as Exif 2.32 (4.6.2) has it, most significant byte
// first: orientation 6 in the first list, a focal length of 27 mm in the second.
const tiff = "MM\x00*\x00\x00\x00\x08\x00\x02\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x26\x00\x00\x00\x00" +
	"\x00\x01\xa4\x05\x00\x03\x00\x00\x00\x01\x00\x1b\x00\x00\x00\x00\x00\x00"

// timed has instead, least significant byte first, a time of change and one of
// taking.
const timed = "II*\x00\x08\x00\x00\x00\x02\x00\x32\x01\x02\x00\x14\x00\x00\x00\x38\x00\x00\x00\x69\x87\x04\x00\x01\x00\x00\x00\x26\x00\x00\x00\x00\x00\x00\x00" +
	"\x01\x00\x03\x90\x02\x00\x14\x00\x00\x00\x4c\x00\x00\x00\x00\x00\x00\x00" + "2027:02:01 10:00:00\x00" + "2026:12:03 09:41:30\x00"

// inJPEG, inPNG and inWebP put notes into a file, as Exif 2.32 (4.7.2), PNG 3rd
// edition (11.3.3.4) and RFC 9649 (2.7.1) say.
func inJPEG(notes string) []byte {
	segment := "Exif\x00\x00" + notes
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(segment)+2))
	return append(append(head, segment...), 0xff, 0xd9)
}

func inPNG(notes string) []byte {
	chunk := binary.BigEndian.AppendUint32([]byte("\x89PNG\r\n\x1a\n"), uint32(len(notes)))
	return append(append(chunk, "eXIf"+notes...), 0, 0, 0, 0)
}

func inWebP(notes string) []byte {
	body := append([]byte("WEBPVP8X\x0a\x00\x00\x00\x08\x00\x00\x00\x0f\x00\x00\x0f\x00\x00EXIF"), binary.LittleEndian.AppendUint32(nil, uint32(len(notes)))...)
	body = append(body, notes...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

// The same notes are read from each kind of file, in both orders of bytes.
func TestRead(t *testing.T) {
	taken := time.Date(2026, 12, 3, 9, 41, 30, 0, time.UTC)
	for name, put := range map[string]func(string) []byte{
		"JPEG": inJPEG, "PNG": inPNG, "WebP": inWebP,
		"WebP with the prefix of JPEG": func(s string) []byte { return inWebP("Exif\x00\x00" + s) },
	} {
		if n := Read(put(tiff)); n.Orientation != 6 || n.Focal35 != 27 || !n.Taken.IsZero() {
			t.Errorf("%s: %+v", name, n)
		}
		if n := Read(put(timed)); n.Orientation != 1 || n.Focal35 != 0 || !n.Taken.Equal(taken) {
			t.Errorf("%s: %+v", name, n)
		}
		if n := Read(put("")); n != (Notes{Orientation: 1}) {
			t.Errorf("%s without notes: %+v", name, n)
		}
	}
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, image.NewGray(image.Rect(0, 0, 8, 8)), nil); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"a photo without": plain.Bytes(), "no photo": []byte("photo"), "nothing": nil, "notes alone": []byte(tiff)} {
		if n := Read(data); n != (Notes{Orientation: 1}) {
			t.Errorf("%s: %+v", name, n)
		}
	}
}

// FuzzNotes reads the notes of any file: within a second and some megabytes
// whatever they claim, and with values that can be.
func FuzzNotes(f *testing.F) {
	for _, name := range []string{"white-overcast.jpg", "grass-dusk.jpg"} {
		data, err := os.ReadFile(filepath.Join("../../testdata/photos", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:min(len(data), 4096)])
	}
	for _, notes := range []string{tiff, timed, "", "MM", "MM\x00*\x00\x00\x00\x00"} {
		f.Add(inJPEG(notes))
		f.Add(inPNG(notes))
		f.Add(inWebP(notes))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		begun := time.Now()
		n := Read(data)
		took := time.Since(begun)
		runtime.ReadMemStats(&after)
		if got := after.TotalAlloc - before.TotalAlloc; got > 32<<20+16*uint64(len(data)) || took > 5*time.Second {
			t.Errorf("%d bytes took %d bytes of memory and %s", len(data), got, took)
		}
		if n.Orientation < 1 || n.Orientation > 8 || n.Focal35 != 0 && (n.Focal35 < 10 || n.Focal35 > 300) || !n.Taken.IsZero() && n.Taken.Year() < firstYear {
			t.Errorf("%+v", n)
		}
	})
}
