// Package notes reads the little that is wanted of what a camera wrote beside a
// photo's pixels (Exif 2.32): which way is up, the focal length, when it was
// taken. It is the one place that does, with one set of bounds, since a file may
// claim anything; what package bare of api takes out is another matter.
package notes

import (
	"bytes"
	"encoding/binary"
	"net/http"
	"time"

	"github.com/bep/imagemeta"
)

// Notes are what was found; what is missing or makes no sense has its zero
// value.
type Notes struct {
	// Orientation is 2 to 8 as Exif counts them, 1 for upright or when not told.
	Orientation int
	// Focal35 is the focal length on 35 mm film that gives the same view, mm, 10
	// to 300.
	Focal35 float64
	// Taken is the camera's local time of taking, else that of the last change;
	// the camera tells no zone, so it stands as if it were UTC.
	Taken time.Time
}

// What is read, whatever a file claims to hold: bytes of one tag, and tags.
const mostTagBytes, mostTags = 64, 2000

// timeForm is how a camera writes a time (Exif 2.32, DateTimeOriginal).
const timeForm = "2006:01:02 15:04:05"

// firstYear is before there were cameras that write notes; an earlier time is a
// clock that nobody set.
const firstYear = 1990

// Read reads the notes of a JPEG, PNG or WebP file. Damaged notes are no reason
// to refuse a photo: what was read before the damage counts, and every other
// failure gives zero values.
func Read(data []byte) (n Notes) {
	n.Orientation = 1
	// Readers of such notes have panicked on hostile files before.
	defer func() {
		if recover() != nil {
			n = Notes{Orientation: 1}
		}
	}()
	format := imagemeta.TIFF
	switch http.DetectContentType(data) {
	case "image/jpeg":
		format = imagemeta.JPEG
	case "image/png":
		data = pngChunk(data, "eXIf")
	case "image/webp":
		// Some writers keep the JPEG segment's prefix, which isn't in RFC 9649.
		data = bytes.TrimPrefix(webpChunk(data, "EXIF"), []byte("Exif\x00\x00"))
	default:
		return n
	}
	if len(data) == 0 {
		return n
	}
	times := map[string]string{}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(data), ImageFormat: format, Sources: imagemeta.EXIF,
		LimitNumTags: mostTags, LimitTagSize: mostTagBytes,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			switch t.Tag {
			case "Orientation":
				return t.Namespace == "IFD0" // that of the thumbnail is another's
			case "FocalLengthIn35mmFormat", "DateTimeOriginal", "ModifyDate":
				return true
			}
			return false
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			switch v := t.Value.(type) {
			case uint16:
				if t.Tag == "Orientation" && v >= 1 && v <= 8 {
					n.Orientation = int(v)
				} else if t.Tag == "FocalLengthIn35mmFormat" && v >= 10 && v <= 300 {
					n.Focal35 = float64(v)
				}
			case string:
				if times[t.Tag] == "" {
					times[t.Tag] = v
				}
			}
			return nil
		},
	})
	for _, tag := range []string{"DateTimeOriginal", "ModifyDate"} {
		if at, err := time.Parse(timeForm, times[tag]); err == nil && at.Year() >= firstYear {
			n.Taken = at
			break
		}
	}
	return n
}

// pngChunk gives the data of the first chunk of the wanted type (PNG 3rd
// edition, 5.3), nil if there is none.
func pngChunk(data []byte, want string) []byte {
	for i := 8; i+12 <= len(data); {
		n := int(binary.BigEndian.Uint32(data[i:]))
		if n < 0 || n > len(data)-i-12 {
			return nil
		}
		if string(data[i+4:i+8]) == want {
			return data[i+8 : i+8+n]
		}
		i += 12 + n
	}
	return nil
}

// webpChunk gives the data of the first chunk of the wanted type in a WebP
// file (RFC 9649, 2.3 and 2.4), nil if there is none.
func webpChunk(data []byte, want string) []byte {
	for i := 12; i+8 <= len(data); {
		n := int(binary.LittleEndian.Uint32(data[i+4:]))
		if n < 0 || n > len(data)-i-8 {
			return nil
		}
		if string(data[i:i+4]) == want {
			return data[i+8 : i+8+n]
		}
		i += 8 + n + n%2
	}
	return nil
}
