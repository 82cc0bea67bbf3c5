package photo

import (
	"bytes"
	"encoding/binary"

	"github.com/bep/imagemeta"
)

type metadata struct {
	orientation int     // 1-8, 1 when not told
	focal35     float64 // 35 mm equivalent focal length in mm, 0 when not told
}

// most bounds what is read of one tag, bytes, and how many tags: a file may
// claim any size, and what is wanted are two numbers.
const mostTagBytes, mostTags = 64, 2000

// readEXIF reads what little is needed of the metadata. Damaged metadata is
// no reason to refuse a photo, so every failure gives the defaults.
func readEXIF(data []byte, kind string) (m metadata) {
	m.orientation = 1
	defer func() {
		// Readers of such notes have panicked on hostile files before.
		if recover() != nil {
			m = metadata{orientation: 1}
		}
	}()
	format := imagemeta.TIFF
	switch kind {
	case "png":
		data = pngChunk(data, "eXIf")
	case "webp":
		// Some writers keep the JPEG segment's prefix, which isn't in RFC 9649.
		data = bytes.TrimPrefix(webpChunk(data, "EXIF"), []byte("Exif\x00\x00"))
	default:
		format = imagemeta.JPEG
	}
	if len(data) == 0 {
		return m
	}
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(data), ImageFormat: format, Sources: imagemeta.EXIF,
		LimitNumTags: mostTags, LimitTagSize: mostTagBytes,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool {
			return t.Tag == "Orientation" && t.Namespace == "IFD0" || t.Tag == "FocalLengthIn35mmFormat"
		},
		HandleTag: func(t imagemeta.TagInfo) error {
			v, ok := t.Value.(uint16)
			switch {
			case !ok:
			case t.Tag == "Orientation" && v >= 1 && v <= 8:
				m.orientation = int(v)
			case t.Tag != "Orientation" && v >= 10 && v <= 300:
				m.focal35 = float64(v)
			}
			return nil
		},
	})
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
