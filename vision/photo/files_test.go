package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// quarters is an upright picture of four flat fields of different colours, so
// that no turn or mirroring of it looks like another.
var quarters = [2][2]color.NRGBA{
	{{200, 40, 40, 255}, {40, 160, 60, 255}},
	{{50, 60, 180, 255}, {230, 230, 230, 255}},
}

func quarterAt(x, y, w, h int) color.NRGBA { return quarters[2*y/h][2*x/w] }

func quartered(w, h int) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			m.SetNRGBA(x, y, quarterAt(x, y, w, h))
		}
	}
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// tiff is the smallest EXIF block: a TIFF header (TIFF 6.0, section 2), a
// first directory with Orientation (tag 274) and a pointer to the EXIF
// directory with FocalLengthIn35mmFilm (EXIF 2.32, tag 41989), focal 0 for none.
func tiff(order binary.ByteOrder, orientation, focal int) []byte {
	var b bytes.Buffer
	put := func(v any) { _ = binary.Write(&b, order, v) }
	entry := func(tag, kind uint16, value uint32) {
		put(tag)
		put(kind)
		put(uint32(1))
		if kind == 3 { // SHORT stands at the start of the four bytes
			put(uint16(value))
			put(uint16(0))
		} else {
			put(value)
		}
	}
	if order == binary.ByteOrder(binary.LittleEndian) {
		b.WriteString("II")
	} else {
		b.WriteString("MM")
	}
	put(uint16(42))
	put(uint32(8))
	if focal == 0 {
		put(uint16(1))
		entry(274, 3, uint32(orientation))
		put(uint32(0))
		return b.Bytes()
	}
	put(uint16(2))
	entry(274, 3, uint32(orientation))
	entry(34665, 4, 8+2+2*12+4)
	put(uint32(0))
	put(uint16(1))
	entry(41989, 3, uint32(focal))
	put(uint32(0))
	return b.Bytes()
}

// withEXIF puts an EXIF block behind a JPEG's start marker (EXIF 2.32, 4.5.4).
func withEXIF(jpg, block []byte) []byte {
	seg := append([]byte("Exif\x00\x00"), block...)
	out := append([]byte{0xFF, 0xD8, 0xFF, 0xE1}, byte((len(seg)+2)>>8), byte(len(seg)+2))
	return append(append(out, seg...), jpg[2:]...)
}

func chunk(kind string, data []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	out = append(append(out, kind...), data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

// withPNGEXIF puts an eXIf chunk behind the header (PNG 3rd edition, 11.3.4.5).
func withPNGEXIF(p, block []byte) []byte {
	const header = 8 + 12 + 13 // signature and IHDR
	return append(append(append([]byte{}, p[:header]...), chunk("eXIf", block)...), p[header:]...)
}

// pngHeader is a PNG that claims a size and has no pixels.
func pngHeader(w, h uint32) []byte {
	d := binary.BigEndian.AppendUint32(nil, w)
	d = binary.BigEndian.AppendUint32(d, h)
	out := append([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(d, 8, 2, 0, 0, 0))...)
	return append(out, chunk("IEND", nil)...)
}
