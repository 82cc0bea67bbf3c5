package photo

import (
	"encoding/binary"
	"errors"
	"testing"

	"nodespan/assess"
)

// FuzzDecode: whatever the bytes are, there is a photo within the limits or an
// error that a person can act on, never a panic.
func FuzzDecode(f *testing.F) {
	jpg, flat := asJPEG(f, quartered(24, 16)), asPNG(f, quartered(24, 16))
	for _, b := range [][]byte{
		nil, []byte("text"), jpg, flat, jpg[:len(jpg)/2], flat[:len(flat)/2], pngHeader(50_000, 50_000), pngHeader(20, 20),
		withEXIF(jpg, tiff(binary.LittleEndian, 6, 26)), withPNGEXIF(flat, tiff(binary.BigEndian, 8, 0)),
		asWebP(f, quartered(24, 16)), withWebPEXIF(asWebP(f, quartered(24, 16)), tiff(binary.LittleEndian, 3, 0), 24, 16),
	} {
		f.Add(b)
	}
	lim := Limits{MaxBytes: 1 << 20, MaxPixels: 1 << 20, MinSide: 1}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode(data, lim)
		if err != nil {
			var e *assess.Error
			if !errors.As(err, &e) || e.Code != assess.EInvalid && e.Code != assess.ETooLarge {
				t.Fatalf("not an error that a person can act on: %v", err)
			}
			return
		}
		defer p.Close()
		if p.Width < 1 || p.Height < 1 || p.Width*p.Height > lim.MaxPixels || len(p.Pix()) != 3*p.Width*p.Height {
			t.Fatalf("%d x %d with %d bytes", p.Width, p.Height, len(p.Pix()))
		}
	})
}
