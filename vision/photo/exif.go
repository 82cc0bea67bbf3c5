package photo

import (
	"bytes"
	"encoding/binary"

	"github.com/rwcarlsen/goexif/exif"
)

type metadata struct {
	orientation int     // 1-8, 1 when not told
	focal35     float64 // 35 mm equivalent focal length in mm, 0 when not told
}

// readEXIF reads what little is needed of the metadata. Damaged metadata is
// no reason to refuse a photo, so every failure gives the defaults.
func readEXIF(data []byte, kind string) (m metadata) {
	m.orientation = 1
	defer func() {
		// The reader library isn't hardened against hostile tags.
		if recover() != nil {
			m = metadata{orientation: 1}
		}
	}()
	switch kind {
	case "png":
		data = pngChunk(data, "eXIf")
	case "webp":
		// Some writers keep the JPEG segment's prefix, which isn't in RFC 9649.
		data = bytes.TrimPrefix(webpChunk(data, "EXIF"), []byte("Exif\x00\x00"))
	}
	if len(data) == 0 {
		return m
	}
	x, err := exif.Decode(bytes.NewReader(data))
	if err != nil {
		return m
	}
	if t, err := x.Get(exif.Orientation); err == nil {
		if v, err := t.Int(0); err == nil && v >= 1 && v <= 8 {
			m.orientation = v
		}
	}
	if t, err := x.Get(exif.FocalLengthIn35mmFilm); err == nil {
		if v, err := t.Int(0); err == nil && v >= 10 && v <= 300 {
			m.focal35 = float64(v)
		}
	}
	return m
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
