package api

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"log/slog"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rwcarlsen/goexif/exif"
)

// tellingTIFF is EXIF as a phone might write it: orientation 6, a serial number,
// a maker's note, the time, the focal length, and a place.
func tellingTIFF() []byte {
	b := binary.BigEndian
	type tag struct {
		id, kind uint16
		count    uint32
		value    []byte
	}
	ascii := func(id uint16, s string) tag { return tag{id, 2, uint32(len(s) + 1), append([]byte(s), 0)} }
	out := []byte("MM\x00\x2a\x00\x00\x00\x08")
	list := func(at int, tags []tag) []byte {
		head := b.AppendUint16(nil, uint16(len(tags)))
		var behind []byte
		for _, t := range tags {
			head = b.AppendUint32(b.AppendUint16(b.AppendUint16(head, t.id), t.kind), t.count)
			if len(t.value) <= 4 {
				head = append(head, append(t.value, 0, 0, 0, 0)[:4]...)
				continue
			}
			head = b.AppendUint32(head, uint32(at+2+12*len(tags)+4+len(behind)))
			behind = append(behind, t.value...)
		}
		return append(b.AppendUint32(head, 0), behind...)
	}
	u32 := func(n int) []byte { return b.AppendUint32(nil, uint32(n)) }
	exifTags := []tag{
		ascii(0x9003, "2026:01:20 10:30:00"),
		{0x920a, 5, 1, b.AppendUint32(b.AppendUint32(nil, 43), 10)},
		{0x927c, 7, 20, []byte("MAKERNOTE-SECRET-123")},
		{0xa405, 3, 1, b.AppendUint16(nil, 28)},
		ascii(0xa431, "SERIAL-SECRET-987654"),
	}
	gps := []tag{ascii(0x0001, "N"), {0x0002, 5, 3, bytes.Repeat(b.AppendUint32(b.AppendUint32(nil, 48), 1), 3)}, ascii(0x001d, "2026:01:20")}
	outer := func(exifAt, gpsAt int) []tag {
		return []tag{ascii(0x010f, "CAMERA-OF-ADA"), {0x0112, 3, 1, b.AppendUint16(nil, 6)}, {0x8769, 4, 1, u32(exifAt)}, {0x8825, 4, 1, u32(gpsAt)}}
	}
	exifAt := 8 + len(list(8, outer(0, 0)))
	gpsAt := exifAt + len(list(exifAt, exifTags))
	out = append(out, list(8, outer(exifAt, gpsAt))...)
	out = append(out, list(exifAt, exifTags)...)
	return append(out, list(gpsAt, gps)...)
}

func pngChunkOf(kind string, data []byte) []byte {
	body := append([]byte(kind), data...)
	return binary.BigEndian.AppendUint32(append(binary.BigEndian.AppendUint32(nil, uint32(len(data))), body...), crc32.ChecksumIEEE(body))
}

func tellingPhotos(t testing.TB) map[string][]byte {
	t.Helper()
	var j bytes.Buffer
	if err := jpeg.Encode(&j, image.NewGray(image.Rect(0, 0, 64, 48)), nil); err != nil {
		t.Fatal(err)
	}
	segment := func(m byte, data string) []byte {
		return append(binary.BigEndian.AppendUint16([]byte{0xff, m}, uint16(len(data)+2)), data...)
	}
	plain := j.Bytes()
	full := bytes.Join([][]byte{plain[:2], segment(0xe1, "Exif\x00\x00"+string(tellingTIFF())), segment(0xe1, "http://ns.adobe.com/xap/1.0/\x00XMP-SECRET"),
		segment(0xed, "Photoshop 3.0\x00IPTC-SECRET"), segment(0xe2, "ICC_PROFILE\x00\x01\x01profile"), segment(0xe2, "MPF\x00MPF-SECRET"), segment(0xfe, "COMMENT-SECRET"), plain[2:], []byte("TRAILER-SECRET")}, nil)
	p := pngOf(t, 64, 48)
	png := bytes.Join([][]byte{p[:33], pngChunkOf("eXIf", tellingTIFF()), pngChunkOf("tEXt", []byte("Author\x00TEXT-SECRET")), p[33:], []byte("TRAILER-SECRET")}, nil)
	return map[string][]byte{"image/jpeg": full, "image/png": png}
}

// With the setting, what is kept has no place, no numbers, no names; the way
// up, the time and the focal length stay, and every pixel.
func TestBare(t *testing.T) {
	for kind, photo := range tellingPhotos(t) {
		got, err := bare(photo, kind)
		if err != nil {
			t.Fatal(kind, err)
		}
		for _, s := range []string{"SECRET", "CAMERA-OF-ADA", "GPS"} {
			if bytes.Contains(got, []byte(s)) {
				t.Errorf("%s: %s is still there", kind, s)
			}
		}
		if kind == "image/jpeg" && !bytes.Contains(got, []byte("ICC_PROFILE")) {
			t.Error("the colour profile is gone")
		}
		x, err := exif.Decode(bytes.NewReader(exifOf(got)))
		if err != nil {
			t.Fatal(kind, err)
		}
		if _, _, err := x.LatLong(); err == nil {
			t.Errorf("%s: a place is still there", kind)
		}
		if k, want := keptOf(got), (notes{6, "2026:01:20 10:30:00", [2]uint32{43, 10}, 28}); k != want || keptOf(photo) != want {
			t.Errorf("%s: kept %+v, want %+v", kind, k, want)
		}
		a, _, err1 := image.Decode(bytes.NewReader(photo))
		b, _, err2 := image.Decode(bytes.NewReader(got))
		if err1 != nil || err2 != nil || !samePixels(a, b) {
			t.Errorf("%s: pixels changed: %v %v", kind, err1, err2)
		}
		if again, err := bare(got, kind); err != nil || !bytes.Equal(again, got) {
			t.Errorf("%s: doing it twice changes it: %v", kind, err)
		}
	}
}

func samePixels(a, b image.Image) bool {
	if a.Bounds() != b.Bounds() {
		return false
	}
	for y := a.Bounds().Min.Y; y < a.Bounds().Max.Y; y++ {
		for x := a.Bounds().Min.X; x < a.Bounds().Max.X; x++ {
			if a.At(x, y) != b.At(x, y) {
				return false
			}
		}
	}
	return true
}

// The setting decides what of the original is kept; what is served is bare
// either way.
func TestOriginalsByTheSetting(t *testing.T) {
	photo := tellingPhotos(t)["image/jpeg"]
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

// FuzzUpload: whatever bytes are sent, checking and cleaning them ends, without
// a panic, and what was a photo stays that photo.
func FuzzUpload(f *testing.F) {
	for _, photo := range tellingPhotos(f) {
		f.Add(photo)
	}
	f.Add(pngHeader(50_000, 50_000))
	f.Add([]byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"))
	s := &Server{limits: Limits{Pixels: 1 << 20, Decoders: 1}.withDefaults(), decoder: within{}, decoders: make(chan struct{}, 1), log: slog.New(slog.DiscardHandler)}
	f.Fuzz(func(t *testing.T, data []byte) {
		_ = takenAt(data)
		_ = plainName(string(data))
		kind, err := s.checkPhoto(t.Context(), data)
		if err != nil {
			return
		}
		clean, err := bare(data, kind)
		if err != nil {
			return
		}
		if _, err := s.checkPhoto(t.Context(), clean); err != nil {
			t.Errorf("a photo of %d bytes that passed is none after cleaning: %v", len(data), err)
		}
	})
}

// FuzzNumbers: whatever stands in an address where a number should, it is
// answered and never with a fault of ours.
func FuzzNumbers(f *testing.F) {
	r := newRig(f)
	r.view()
	cookie := &http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")}
	for _, s := range []string{"1", "0", "-1", "9223372036854775808", "1e3", "%31", "1/2", "٣", "../1", " 1", "0x1", "1\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, n string) {
		for _, path := range []string{"/blocks/%", "/blocks/%/%/%", "/photos/%", "/photos/%/picture/%.jpg", "/api/measurements/%", "/api/blocks/%/rows/%/vines/%", "/join/%", "/card/%", "/text/%.json"} {
			q, err := http.NewRequest("GET", "http://127.0.0.1/", nil)
			if err != nil {
				t.Fatal(err)
			}
			q.RemoteAddr = "127.0.0.1:1"
			q.URL.Path = strings.ReplaceAll(path, "%", n)
			q.AddCookie(cookie)
			w := &recorder{header: http.Header{}}
			r.server.Handler().ServeHTTP(w, q)
			if w.status >= 500 {
				t.Errorf("%q: %d", q.URL.Path, w.status)
			}
		}
	})
}

// recorder keeps the status alone.
type recorder struct {
	header http.Header
	status int
}

func (w *recorder) Header() http.Header { return w.header }
func (w *recorder) WriteHeader(s int)   { w.status = s }
func (w *recorder) Write(p []byte) (int, error) {
	if w.status == 0 {
		w.status = http.StatusOK
	}
	return len(p), nil
}
