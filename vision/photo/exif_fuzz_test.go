package photo

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// FuzzEXIF reads the notes of any file of each kind: within a second and some
// megabytes whatever they claim, and with values that can be.
func FuzzEXIF(f *testing.F) {
	for _, name := range []string{"white-overcast.jpg", "grass-dusk.jpg"} {
		data, err := os.ReadFile(filepath.Join("../../testdata/photos", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:min(len(data), 4096)], byte(0))
	}
	tiff := "MM\x00*\x00\x00\x00\x08\x00\x02\x01\x12\x00\x03\x00\x00\x00\x01\x00\x06\x00\x00\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x26\x00\x00\x00\x00" +
		"\x00\x01\xa4\x05\x00\x03\x00\x00\x00\x01\x00\x1b\x00\x00\x00\x00\x00\x00"
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x42Exif\x00\x00"+tiff+"\xff\xd9"), byte(0))
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x3aeXIf"+tiff+"\x00\x00\x00\x00"), byte(1))
	f.Add([]byte("RIFF\x4e\x00\x00\x00WEBPEXIF\x3a\x00\x00\x00"+tiff), byte(2))
	if m := readEXIF([]byte("\xff\xd8\xff\xe1\x00\x42Exif\x00\x00"+tiff+"\xff\xd9"), "jpeg"); m.orientation != 6 || m.focal35 != 27 {
		f.Fatalf("the seed is read as %+v", m)
	}
	f.Fuzz(func(t *testing.T, data []byte, kind byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		begun := time.Now()
		m := readEXIF(data, []string{"jpeg", "png", "webp"}[kind%3])
		took := time.Since(begun)
		runtime.ReadMemStats(&after)
		if got := after.TotalAlloc - before.TotalAlloc; got > 32<<20+16*uint64(len(data)) || took > 5*time.Second {
			t.Errorf("%d bytes took %d bytes of memory and %s", len(data), got, took)
		}
		if m.orientation < 1 || m.orientation > 8 || m.focal35 != 0 && (m.focal35 < 10 || m.focal35 > 300) {
			t.Errorf("%+v", m)
		}
	})
}
