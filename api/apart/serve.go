package apart

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"image"
	_ "image/jpeg" // the formats that photos come in
	_ "image/png"
	"io"

	"github.com/disintegration/imaging"
	_ "golang.org/x/image/webp"

	"nodespan/assess"
)

// What a process is asked to do.
const (
	doMeasure = "measure"
	doGuide   = "guide"
	doCheck   = "check" // decode the photo, and say only whether that goes
	doCopy    = "copy"  // an upright copy without anything beside the pixels
	doLook    = "look"  // quickly, at a small copy
)

// head comes before the photo's bytes.
type head struct {
	Do      string              `json:"do"`
	Limits  Limits              `json:"limits"`
	Ask     assess.Ask          `json:"ask"`
	On      *assess.Measurement `json:"on,omitempty"`
	Base    assess.Point        `json:"base"`
	Tip     assess.Point        `json:"tip"`
	Side    int                 `json:"side"` // longer side of a copy, px; 0 for the photo's own
	Quality int                 `json:"quality"`
	Full    int                 `json:"full"` // longer side of the photo that a copy was made of, px
	// First is how many of the bytes that follow are the photo's; the rest is a
	// second photo, of another stance. 0: all are the photo's.
	First int `json:"first,omitempty"`
}

// answer is what comes back, but for a copy.
type answer struct {
	Measurement *assess.Measurement `json:"measurement,omitempty"`
	Cane        *assess.Cane        `json:"cane,omitempty"`
	Look        *assess.Look        `json:"look,omitempty"`
	Code        string              `json:"code,omitempty"`
	Message     string              `json:"message,omitempty"`
	Phrase      *assess.Phrase      `json:"phrase,omitempty"` // Message, to be told in other languages
}

// largestHead bounds the head in bytes: a measurement of a hundred canes with
// their profiles has some 5 MB.
const largestHead = 64 << 20

// Serve reads one photo and what to do with it, does it within the bounds that
// come with it, and writes the answer. The error is for what can't be answered.
func Serve(ctx context.Context, in io.Reader, out io.Writer, m assess.Measurer) error {
	var n uint32
	if err := binary.Read(in, binary.BigEndian, &n); err != nil {
		return err
	}
	if n > largestHead {
		return errors.New("the head is too long")
	}
	text := make([]byte, n)
	if _, err := io.ReadFull(in, text); err != nil {
		return err
	}
	var h head
	if err := json.Unmarshal(text, &h); err != nil {
		return err
	}
	// Before the first byte of the photo is looked at.
	if err := bound(h.Limits, h.Do); err != nil {
		return err
	}
	photo, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	if h.First > 0 && h.First < len(photo) {
		photo, h.Ask.With = photo[:h.First], photo[h.First:]
	}
	var a answer
	switch h.Do {
	case doMeasure:
		a.Measurement, err = m.Measure(ctx, photo, h.Ask)
	case doGuide:
		a.Cane, err = m.Guide(ctx, photo, h.On, h.Base, h.Tip)
	case doLook:
		l, ok := m.(assess.Looker)
		if !ok {
			return errors.New("nothing here looks at photos")
		}
		a.Look, err = l.Look(ctx, photo, h.Full)
	case doCheck:
		_, _, err = image.Decode(bytes.NewReader(photo))
	case doCopy:
		var copied []byte
		if copied, err = Copy(photo, h.Side, h.Quality); err == nil {
			_, err := out.Write(append([]byte{'J'}, copied...))
			return err
		}
	default:
		err = errors.New("nothing known to do")
	}
	if err != nil {
		a = answer{Code: assess.ErrorCode(err), Message: err.Error()}
		var told *assess.Error
		if errors.As(err, &told) {
			p := told.Sentence().Phrase()
			a.Phrase = &p
		}
	}
	data, err := json.Marshal(a)
	if err != nil {
		return err
	}
	_, err = out.Write(data)
	return err
}

// Copy makes a JPEG of a photo: upright, no longer than side px (0 for its own
// size), with nothing of what the camera wrote beside the pixels.
func Copy(photo []byte, side, quality int) ([]byte, error) {
	img, err := imaging.Decode(bytes.NewReader(photo), imaging.AutoOrientation(true))
	if err != nil {
		return nil, err
	}
	if b := img.Bounds(); side > 0 && max(b.Dx(), b.Dy()) > side {
		img = imaging.Fit(img, side, side, imaging.Box)
	}
	var out bytes.Buffer
	err = imaging.Encode(&out, img, imaging.JPEG, imaging.JPEGQuality(quality))
	return out.Bytes(), err
}
