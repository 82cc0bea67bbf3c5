package photo

import (
	"bytes"
	"errors"
	"image"
	_ "image/jpeg" // registers the JPEG header reader
	_ "image/png"  // registers the PNG header reader

	"gocv.io/x/gocv"
	_ "golang.org/x/image/webp" // registers the WebP header reader

	"nodespan/assess"
	"nodespan/assess/notes"
)

// Limits bound what is decoded. They are checked against the file's header,
// before memory is taken for pixels.
type Limits struct {
	// MaxBytes is the largest file. Larger costs memory for nothing: a
	// 50-megapixel JPEG has about 25 MB. Default 64 MiB.
	MaxBytes int
	// MaxPixels is width times height. Larger lets a small file claim
	// gigabytes of memory. Default 64 million, so that 48 megapixels fit.
	MaxPixels int
	// MinSide is the shorter side, in pixels. On anything smaller a cane is
	// under 3 px wide and nothing can be measured. Default 480.
	MinSide int
}

// DefaultLimits are the limits in use unless others are set.
func DefaultLimits() Limits {
	return Limits{MaxBytes: 64 << 20, MaxPixels: 64_000_000, MinSide: 480}
}

// Photo is an upright picture. Close frees it.
type Photo struct {
	// BGR is continuous, 8 bits a channel, gamma-coded as in the file.
	BGR           gocv.Mat
	Width, Height int
	// FocalPx is the focal length in pixels of this picture, 0 if the file
	// doesn't tell (EXIF 2.32, tag FocalLengthIn35mmFilm).
	FocalPx float64
	pix     []uint8
}

// Close frees the picture's memory. The Photo can't be used after.
func (p *Photo) Close() error {
	p.pix = nil
	return p.BGR.Close()
}

// Pix gives the picture's bytes, three a pixel in the order blue, green, red,
// row by row without padding. They are valid until Close.
func (p *Photo) Pix() []uint8 { return p.pix }

// Decode reads a photo. The error is an assess.Error: EInvalid when the bytes
// are no complete picture of a known kind, ETooLarge beyond the limits.
func Decode(data []byte, lim Limits) (*Photo, error) {
	if len(data) == 0 {
		return nil, assess.Errorf(assess.EInvalid, "the file is empty: copy the photo again from the camera")
	}
	if len(data) > lim.MaxBytes {
		return nil, assess.Errorf(assess.ETooLarge, "the file has %d MB, the limit is %d MB: save the photo as JPEG", len(data)>>20, lim.MaxBytes>>20)
	}
	cfg, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		if errors.Is(err, image.ErrFormat) {
			return nil, assess.Errorf(assess.EInvalid, "this is no JPEG, PNG or WebP picture: set the camera to JPEG (“most compatible”) and take the photo again")
		}
		return nil, assess.Errorf(assess.EInvalid, "the picture's header can't be read (%w): copy the photo again from the camera", err)
	}
	if cfg.Width*cfg.Height > lim.MaxPixels {
		return nil, assess.Errorf(assess.ETooLarge, "the picture has %d x %d pixels, more than the limit of %d million: make it smaller first", cfg.Width, cfg.Height, lim.MaxPixels/1_000_000)
	}
	if min(cfg.Width, cfg.Height) < lim.MinSide {
		return nil, assess.Errorf(assess.EInvalid, "the picture has only %d x %d pixels, at least %d are needed on the short side: send the original photo, not a preview", cfg.Width, cfg.Height, lim.MinSide)
	}
	if kind == "jpeg" && !jpegEnds(data) {
		return nil, assess.Errorf(assess.EInvalid, "the photo is cut off before its end: copy or upload it again")
	}
	mat, err := gocv.IMDecode(data, gocv.IMReadColor|gocv.IMReadIgnoreOrientation)
	if err != nil || mat.Empty() {
		if err == nil {
			mat.Close()
		}
		return nil, assess.Errorf(assess.EInvalid, "the picture is damaged and can't be decoded: copy the photo again from the camera")
	}
	// A file whose header two readers understand differently is made to
	// deceive, or broken; the limits were checked on the first reading.
	if mat.Cols() != cfg.Width || mat.Rows() != cfg.Height {
		mat.Close()
		return nil, assess.Errorf(assess.EInvalid, "the picture's header contradicts itself: copy the photo again from the camera")
	}
	meta := notes.Read(data)
	turn(&mat, meta.Orientation)
	p := &Photo{BGR: mat, Width: mat.Cols(), Height: mat.Rows()}
	if meta.Focal35 > 0 {
		// The 35 mm equivalent relates the diagonals: 43.27 mm is the
		// diagonal of a 36 x 24 mm frame (CIPA DCG-001).
		p.FocalPx = meta.Focal35 / 43.27 * hypot(p.Width, p.Height)
	}
	if p.pix, err = mat.DataPtrUint8(); err != nil {
		mat.Close()
		return nil, assess.Errorf(assess.EInternal, "picture memory isn't continuous: %w", err)
	}
	return p, nil
}

// turn makes the picture upright for an EXIF orientation 1-8 (TIFF 6.0, tag
// Orientation).
func turn(m *gocv.Mat, orientation int) {
	rotate := func(code gocv.RotateFlag) {
		out := gocv.NewMat()
		gocv.Rotate(*m, &out, code)
		m.Close()
		*m = out
	}
	flip := func(code int) {
		out := gocv.NewMat()
		gocv.Flip(*m, &out, code)
		m.Close()
		*m = out
	}
	const aboutVertical, aboutHorizontal = 1, 0
	switch orientation {
	case 2:
		flip(aboutVertical)
	case 3:
		rotate(gocv.Rotate180Clockwise)
	case 4:
		flip(aboutHorizontal)
	case 5:
		rotate(gocv.Rotate90Clockwise)
		flip(aboutVertical)
	case 6:
		rotate(gocv.Rotate90Clockwise)
	case 7:
		rotate(gocv.Rotate90CounterClockwise)
		flip(aboutVertical)
	case 8:
		rotate(gocv.Rotate90CounterClockwise)
	}
}

// Reduced gives a smaller copy, one pixel for f by f of the photo's, f at least
// 1; each is the mean of what it covers. The caller closes it.
func (p *Photo) Reduced(f float64) (*Photo, error) {
	small := gocv.NewMat()
	gocv.Resize(p.BGR, &small, image.Pt(0, 0), 1/f, 1/f, gocv.InterpolationArea)
	out := &Photo{BGR: small, Width: small.Cols(), Height: small.Rows(), FocalPx: p.FocalPx / f}
	var err error
	if out.pix, err = small.DataPtrUint8(); err != nil {
		small.Close()
		return nil, assess.Errorf(assess.EInternal, "no memory for a smaller copy of the picture: %w", err)
	}
	return out, nil
}

// Whole takes a coordinate of a copy, of which one pixel is f by f of the photo's,
// to the photo: centres of pixels are at whole numbers in both.
func Whole(v, f float64) float64 { return v*f + (f-1)/2 }

// Blank gives a black picture, whose pixels are set through Pix: another view of
// a photo in the same geometry. The caller closes it.
func Blank(w, h int) (*Photo, error) {
	p := &Photo{BGR: gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC3), Width: w, Height: h}
	var err error
	if p.pix, err = p.BGR.DataPtrUint8(); err != nil {
		p.BGR.Close()
		return nil, assess.Errorf(assess.EInternal, "no memory for a view of the picture: %w", err)
	}
	return p, nil
}
