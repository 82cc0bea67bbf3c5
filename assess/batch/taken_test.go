package batch

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"
	"time"
)

// notesOf makes the TIFF file of Exif 2.32 (4.6.2) with up to two times: that of
// the last change in the first list, that of taking in the second.
func notesOf(order binary.ByteOrder, changed, taken string) []byte {
	var b bytes.Buffer
	put := func(v any) {
		if err := binary.Write(&b, order, v); err != nil {
			panic(err)
		}
	}
	if order == binary.BigEndian {
		b.WriteString("MM")
	} else {
		b.WriteString("II")
	}
	put(uint16(42))
	put(uint32(8))
	// 8: two entries, next list; 38: one entry, next; 56: the texts.
	put(uint16(2))
	for _, e := range []struct {
		tag, kind uint16
		n, v      uint32
	}{{0x0132, 2, 20, 56}, {0x8769, 4, 1, 38}} {
		put(e)
	}
	put(uint32(0))
	put(uint16(1))
	put(struct {
		tag, kind uint16
		n, v      uint32
	}{0x9003, 2, 20, 76})
	put(uint32(0))
	for _, text := range []string{changed, taken} {
		b.WriteString(text + strings.Repeat("\x00", 20-len(text)))
	}
	return b.Bytes()
}

// jpegWith puts a segment before the rest of a small JPEG (Exif 2.32, 4.7.2).
func jpegWith(t testing.TB, tiff []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 16, 16)), nil); err != nil {
		t.Fatal(err)
	}
	segment := append([]byte("Exif\x00\x00"), tiff...)
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(segment)+2))
	return append(append(head, segment...), b.Bytes()[2:]...)
}

// The time is that of taking, else that of the last change; what is no time or
// lies before there were such cameras is none.
func TestTakenAt(t *testing.T) {
	for _, c := range []struct {
		order                binary.ByteOrder
		changed, taken, want string
	}{
		{binary.LittleEndian, "2027:02:01 10:00:00", "2026:12:03 09:41:30", "2026-12-03T09:41:30"},
		{binary.BigEndian, "2027:02:01 10:00:00", "2026:12:03 09:41:30", "2026-12-03T09:41:30"},
		{binary.LittleEndian, "2027:02:01 10:00:00", "", "2027-02-01T10:00:00"},
		{binary.BigEndian, "2027:02:01 10:00:00", "0000:00:00 00:00:00", "2027-02-01T10:00:00"},
		{binary.LittleEndian, "", "    :  :     :  :  ", ""},
		{binary.LittleEndian, "", "1970:01:01 00:00:00", ""},
	} {
		tiff := notesOf(c.order, c.changed, c.taken)
		if got := takenAt(jpegWith(t, tiff)); got != c.want {
			t.Errorf("%v %q %q: %q, want %q", c.order, c.changed, c.taken, got, c.want)
		}
	}
	var plain bytes.Buffer
	if err := png.Encode(&plain, image.NewGray(image.Rect(0, 0, 16, 16))); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"no notes": jpegWith(t, nil), "PNG without": plain.Bytes(), "text": []byte("photo"), "nothing": nil} {
		if got := takenAt(data); got != "" {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// Photos find their vine by the camera's time, with a clock that was behind;
// two stances on the walk list are measured together.
func TestPhotosFindTheirVineByTime(t *testing.T) {
	photos := t.TempDir()
	for name, at := range map[string]string{"a.jpg": "2026:12:03 09:00:10", "b.jpg": "2026:12:03 09:01:05", "c.jpg": "2026:12:03 09:30:00", "d.jpg": "2026:12:03 08:00:00"} {
		write(t, photos, name, string(jpegWith(t, notesOf(binary.LittleEndian, "", at))))
	}
	walk, err := ReadWalk(strings.NewReader("time,block,row,vine,stance\n2026-12-03 09:05:00,North,1,1,left\n2026-12-03 09:06:00,North,1,1,right\n2026-12-03 09:34,North,1,2,\n"), "walk.csv")
	if err != nil {
		t.Fatal(err)
	}
	walk.Clock = 5 * time.Minute
	j := open(t, t.TempDir())
	if _, err := j.Find(t.Context(), photos, false); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Run(t.Context(), Options{Photos: photos, Measurer: &keptMeasurer{}, Program: "p1", Match: &Matcher{Walk: walk}}); err != nil {
		t.Fatal(err)
	}
	o, err := j.Outcomes(t.Context(), "p1", &Matcher{Walk: walk}, "", 10)
	if err != nil || len(o) != 4 {
		t.Fatalf("%+v, %v", o, err)
	}
	if a := o[0]; a.Place.Vine != 1 || a.Place.Stance != "left" || a.Place.By != "walk" || a.Place.Winter != "2026/27" || a.With != "b.jpg" || !a.Depth {
		t.Errorf("a: %+v", a)
	}
	if o[1].Place.Stance != "right" || o[2].Place.Vine != 2 || o[3].Place.Known() {
		t.Errorf("the others: %+v", o[1:])
	}
}
