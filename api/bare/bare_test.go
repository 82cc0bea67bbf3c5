package bare

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"testing"
	"time"

	"github.com/rwcarlsen/goexif/exif"
	_ "golang.org/x/image/webp"
)

func pngOf(t testing.TB, w, h int) *bytes.Buffer {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, w, h))
	for i := range img.Pix {
		img.Pix[i] = uint8(i * 7)
	}
	var out bytes.Buffer
	if err := png.Encode(&out, img); err != nil {
		t.Fatal(err)
	}
	return &out
}

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
	p := pngOf(t, 64, 48).Bytes()
	withChunks := bytes.Join([][]byte{p[:33], pngChunkOf("eXIf", tellingTIFF()), pngChunkOf("tEXt", []byte("Author\x00TEXT-SECRET")), p[33:], []byte("TRAILER-SECRET")}, nil)
	return map[string][]byte{"image/jpeg": full, "image/png": withChunks}
}

// With the setting, what is kept has no place, no numbers, no names; the way
// up, the time and the focal length stay, and every pixel.
func TestBare(t *testing.T) {
	for kind, photo := range tellingPhotos(t) {
		got, err := Photo(photo, kind)
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
		x, err := exif.Decode(bytes.NewReader(exifOf(got))) // another's reader
		if err != nil {
			t.Fatal(kind, err)
		}
		if taken, err := x.DateTime(); err != nil || !taken.Equal(TakenAt(photo)) {
			t.Errorf("%s: taken %v, %v; before %v", kind, taken, err, TakenAt(photo))
		}
		if _, _, err := x.LatLong(); err == nil {
			t.Errorf("%s: a place is still there", kind)
		}
		if k, want := notesOf(got), (notes{6, "2026:01:20 10:30:00", "", [2]uint32{43, 10}, 28}); k != want || notesOf(photo) != want {
			t.Errorf("%s: kept %+v, want %+v", kind, k, want)
		}
		a, _, err1 := image.Decode(bytes.NewReader(photo))
		b, _, err2 := image.Decode(bytes.NewReader(got))
		if err1 != nil || err2 != nil || !samePixels(a, b) {
			t.Errorf("%s: pixels changed: %v %v", kind, err1, err2)
		}
		if again, err := Photo(got, kind); err != nil || !bytes.Equal(again, got) {
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

// The time of a photo, in both byte orders, with and without a zone, and from
// the time of the last change when there is no other.
func TestTakenAt(t *testing.T) {
	for _, c := range []struct {
		name string
		n    notes
		want time.Time
	}{
		{"local time", notes{taken: "2026:01:20 10:30:00"}, time.Date(2026, 1, 20, 10, 30, 0, 0, time.Local)},
		{"with a zone", notes{taken: "2026:01:20 10:30:00", offset: "+02:00"}, time.Date(2026, 1, 20, 8, 30, 0, 0, time.UTC)},
		{"a clock that was never set", notes{taken: "1970:01:01 00:00:00"}, time.Time{}},
		{"far ahead", notes{taken: "2999:01:01 00:00:00"}, time.Time{}},
		{"no day", notes{taken: "2026:13:45 10:30:00"}, time.Time{}},
		{"nothing", notes{}, time.Time{}},
	} {
		photo := append([]byte(pngHead), pngChunkOf("IHDR", make([]byte, 13))...)
		photo = append(append(photo, pngChunkOf("eXIf", c.n.tiff())...), pngChunkOf("IEND", nil)...)
		if got := TakenAt(photo); !got.Equal(c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	little := []byte("II\x2a\x00\x08\x00\x00\x00\x01\x00\x32\x01\x02\x00\x14\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x00\x002026:01:20 10:30:00\x00")
	photo := append([]byte(pngHead), pngChunkOf("eXIf", little)...)
	photo = append(photo, pngChunkOf("IEND", nil)...)
	if got := TakenAt(photo); !got.Equal(time.Date(2026, 1, 20, 10, 30, 0, 0, time.Local)) {
		t.Errorf("little-endian, time of the last change: %v", got)
	}
}

// FuzzPhoto: whatever bytes are sent, reading their time and cleaning them ends
// without a panic, and what was a photo stays one, with every pixel.
func FuzzPhoto(f *testing.F) {
	for _, photo := range tellingPhotos(f) {
		f.Add(photo)
	}
	f.Add([]byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\xfe\x07\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		_ = TakenAt(data)
		conf, format, err := image.DecodeConfig(bytes.NewReader(data))
		if err != nil || conf.Width*conf.Height > 1<<18 {
			return
		}
		was, _, err := image.Decode(bytes.NewReader(data))
		if err != nil {
			return
		}
		clean, err := Photo(data, "image/"+format)
		if err != nil {
			return // refused in words
		}
		is, _, err := image.Decode(bytes.NewReader(clean))
		if err != nil || !samePixels(was, is) {
			t.Errorf("a photo of %d bytes is another after cleaning: %v", len(data), err)
		}
	})
}
