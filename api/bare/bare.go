// Package bare takes out of a photo what its camera or phone wrote beside the
// pixels: place, serial numbers, names, maker's notes, embedded previews. Which
// way is up, when it was taken and the focal length stay, since measuring and
// filing need them. It also reads the time of which a photo tells.
package bare

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"time"
)

// notes are the little of a camera's notes that measuring and filing need.
type notes struct {
	orientation uint16    // 1-8; 0 when not told
	taken       string    // as EXIF writes it, 2026:12:01 09:30:00; "" when not told
	offset      string    // of that time from UTC, +01:00; "" when not told
	focalLength [2]uint32 // mm, as a fraction; 0/0 when not told
	focal35     uint16    // 35 mm equivalent, mm; 0 when not told
}

var errNotBare = errors.New("the file isn't built as its kind says")

// Photo gives a JPEG, PNG or WebP without its notes; its pixels aren't touched.
// The error is for a file that isn't built as its content type says.
func Photo(photo []byte, contentType string) ([]byte, error) {
	k := notesOf(photo)
	switch contentType {
	case "image/jpeg":
		return bareJPEG(photo, k)
	case "image/png":
		return barePNG(photo, k)
	case "image/webp":
		return bareWebP(photo, k)
	}
	return nil, errNotBare
}

// TakenAt is when the camera says that the photo was taken, in the machine's own
// time zone unless the camera names one; zero when it doesn't say, or says what
// can't be (a camera whose clock was never set).
func TakenAt(photo []byte) time.Time {
	n := notesOf(photo)
	t, err := time.ParseInLocation("2006:01:02 15:04:05-07:00", n.taken+n.offset, time.Local)
	if err != nil {
		t, err = time.ParseInLocation("2006:01:02 15:04:05", n.taken, time.Local)
	}
	if err != nil || t.Year() < 2000 || t.After(time.Now().AddDate(0, 0, 2)) {
		return time.Time{}
	}
	return t
}

// tiff writes what is kept as EXIF 2.32 has it: a TIFF file with two lists of
// tags, each sorted by number. nil when nothing is kept.
func (k notes) tiff() []byte {
	const (
		short, ascii, long, rational = 3, 2, 4, 5
		first                        = 8 // where the first list begins
	)
	type tag struct {
		id, kind uint16
		count    uint32
		value    []byte
	}
	b := binary.BigEndian
	var inner, outer []tag
	if k.orientation != 0 {
		outer = append(outer, tag{tagOrientation, short, 1, b.AppendUint16(nil, k.orientation)})
	}
	if k.taken != "" {
		inner = append(inner, tag{tagTaken, ascii, uint32(len(k.taken) + 1), append([]byte(k.taken), 0)})
	}
	if k.offset != "" {
		inner = append(inner, tag{tagOffset, ascii, uint32(len(k.offset) + 1), append([]byte(k.offset), 0)})
	}
	if k.focalLength[1] != 0 {
		inner = append(inner, tag{tagFocalLength, rational, 1, b.AppendUint32(b.AppendUint32(nil, k.focalLength[0]), k.focalLength[1])})
	}
	if k.focal35 != 0 {
		inner = append(inner, tag{tagFocalLength5, short, 1, b.AppendUint16(nil, k.focal35)})
	}
	if len(inner)+len(outer) == 0 {
		return nil
	}
	write := func(at int, tags []tag) []byte {
		list := b.AppendUint16(nil, uint16(len(tags)))
		var behind []byte
		dataAt := at + 2 + 12*len(tags) + 4
		for _, t := range tags {
			list = b.AppendUint16(b.AppendUint16(list, t.id), t.kind)
			list = b.AppendUint32(list, t.count)
			if len(t.value) <= 4 {
				list = append(list, append(t.value, 0, 0, 0, 0)[:4]...)
				continue
			}
			list = b.AppendUint32(list, uint32(dataAt+len(behind)))
			behind = append(behind, t.value...)
			if len(behind)%2 == 1 {
				behind = append(behind, 0)
			}
		}
		return append(b.AppendUint32(list, 0), behind...)
	}
	if len(inner) > 0 {
		at := first + 2 + 12*(len(outer)+1) + 4 // the outer list has nothing behind it
		outer = append(outer, tag{tagExif, long, 1, b.AppendUint32(nil, uint32(at))})
	}
	out := append([]byte("MM\x00\x2a\x00\x00\x00\x08"), write(first, outer)...)
	if len(inner) > 0 {
		out = append(out, write(len(out), inner)...)
	}
	return out
}

// bareJPEG keeps of a JPEG (ITU-T T.81, B.1) the segments that its pixels need,
// with the colour profile, and nothing behind its end.
func bareJPEG(photo []byte, k notes) ([]byte, error) {
	if len(photo) < 4 || photo[0] != 0xff || photo[1] != 0xd8 {
		return nil, errNotBare
	}
	out := append(make([]byte, 0, len(photo)), photo[:2]...)
	if tiff := k.tiff(); tiff != nil {
		body := append([]byte(exifHead), tiff...)
		out = append(binary.BigEndian.AppendUint16(append(out, 0xff, 0xe1), uint16(len(body)+2)), body...)
	}
	for i := 2; ; {
		for i < len(photo) && photo[i] != 0xff { // entropy-coded bytes
			out = append(out, photo[i])
			i++
		}
		for i+1 < len(photo) && photo[i+1] == 0xff { // fill bytes
			i++
		}
		if i+1 >= len(photo) {
			return nil, errNotBare
		}
		m := photo[i+1]
		switch {
		case m == 0xd9:
			return append(out, 0xff, 0xd9), nil
		case m == 0 || m == 1 || m >= 0xd0 && m <= 0xd7:
			out = append(out, 0xff, m)
			i += 2
			continue
		}
		if i+4 > len(photo) {
			return nil, errNotBare
		}
		n := int(binary.BigEndian.Uint16(photo[i+2:]))
		if n < 2 || i+2+n > len(photo) {
			return nil, errNotBare
		}
		segment := photo[i : i+2+n]
		i += 2 + n
		application, comment := m >= 0xe0 && m <= 0xef, m == 0xfe
		profile := m == 0xe2 && bytes.HasPrefix(segment[4:], []byte("ICC_PROFILE\x00"))
		if comment || application && m != 0xe0 && m != 0xee && !profile {
			continue
		}
		out = append(out, segment...)
	}
}

const pngHead = "\x89PNG\r\n\x1a\n"

// eachPNG goes through the chunks of a PNG (third edition, 5.3) up to its end.
func eachPNG(photo []byte, f func(kind string, data []byte)) error {
	for i := len(pngHead); i+12 <= len(photo); {
		n := int(binary.BigEndian.Uint32(photo[i:]))
		if n > len(photo)-i-12 {
			return errNotBare
		}
		kind := string(photo[i+4 : i+8])
		f(kind, photo[i+8:i+8+n])
		if kind == "IEND" {
			return nil
		}
		i += 12 + n
	}
	return errNotBare
}

func barePNG(photo []byte, k notes) ([]byte, error) {
	if !bytes.HasPrefix(photo, []byte(pngHead)) {
		return nil, errNotBare
	}
	out := append(make([]byte, 0, len(photo)), pngHead...)
	add := func(kind string, data []byte) {
		out = binary.BigEndian.AppendUint32(out, uint32(len(data)))
		body := append([]byte(kind), data...)
		out = append(out, body...)
		out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(body))
	}
	err := eachPNG(photo, func(kind string, data []byte) {
		switch kind {
		case "IHDR", "PLTE", "IDAT", "IEND", "tRNS", "gAMA", "cHRM", "sRGB", "iCCP", "sBIT", "cICP":
			add(kind, data)
			if tiff := k.tiff(); kind == "IHDR" && tiff != nil {
				add("eXIf", tiff)
			}
		}
	})
	return out, err
}

func isWebP(photo []byte) bool {
	return len(photo) >= 12 && string(photo[:4]) == "RIFF" && string(photo[8:12]) == "WEBP"
}

// eachWebP goes through the chunks of a WebP (RFC 9649, 2.3).
func eachWebP(photo []byte, f func(kind string, data []byte)) error {
	size := int64(binary.LittleEndian.Uint32(photo[4:])) + 8
	if size > int64(len(photo)) || size < 12 {
		return errNotBare
	}
	photo = photo[:size]
	for i := 12; i+8 <= len(photo); {
		n := int64(binary.LittleEndian.Uint32(photo[i+4:]))
		if n > int64(len(photo)-i-8) {
			return errNotBare
		}
		f(string(photo[i:i+4]), photo[i+8:i+8+int(n)])
		i += 8 + int(n+n%2)
	}
	return nil
}

func bareWebP(photo []byte, k notes) ([]byte, error) {
	if !isWebP(photo) {
		return nil, errNotBare
	}
	const hasXMP, hasEXIF = 0x04, 0x08 // flags of VP8X, RFC 9649, 2.7
	tiff := k.tiff()
	extended := false
	out := []byte("RIFF\x00\x00\x00\x00WEBP")
	add := func(kind string, data []byte) {
		out = binary.LittleEndian.AppendUint32(append(out, kind...), uint32(len(data)))
		out = append(out, data...)
		if len(data)%2 == 1 {
			out = append(out, 0)
		}
	}
	err := eachWebP(photo, func(kind string, data []byte) {
		switch kind {
		case "VP8X":
			data = bytes.Clone(data)
			if len(data) > 0 {
				extended = true
				data[0] &^= hasXMP | hasEXIF
				if tiff != nil {
					data[0] |= hasEXIF
				}
			}
			add(kind, data)
		case "VP8 ", "VP8L", "ALPH", "ICCP":
			add(kind, data)
		}
	})
	if extended && tiff != nil {
		add("EXIF", tiff)
	}
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return out, err
}
