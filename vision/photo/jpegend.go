package photo

import (
	"bytes"
	"math"
)

// jpegEnds tells whether a JPEG file holds its end-of-image marker after its
// last scan (ITU-T T.81, B.2.1: SOI ... EOI). It walks the marker segments to
// the first scan and from there looks for EOI; inside entropy-coded data every
// 0xFF is followed by 0x00 or a restart marker, so EOI can't occur by chance.
// Bytes behind EOI are allowed: cameras append previews there.
func jpegEnds(data []byte) bool {
	i := 2
	for i+4 <= len(data) {
		if data[i] != 0xFF {
			return false
		}
		marker := data[i+1]
		if marker == 0xFF { // fill byte
			i++
			continue
		}
		if marker == 0xDA { // start of scan
			return bytes.Contains(data[i:], []byte{0xFF, 0xD9})
		}
		i += 2 + int(data[i+2])<<8 + int(data[i+3])
	}
	return false
}

func hypot(w, h int) float64 { return math.Hypot(float64(w), float64(h)) }
