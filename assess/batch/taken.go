package batch

import (
	"bytes"
	"net/http"
	"time"

	"github.com/bep/imagemeta"
)

// timeForm is how the camera's local time is kept: it has no zone.
const timeForm = "2006-01-02T15:04:05"

// exifTime is how a camera writes it (Exif 2.32, DateTimeOriginal).
const exifTime = "2006:01:02 15:04:05"

// What is read of a photo's notes, whatever a file claims to hold: bytes of one
// tag, and tags.
const mostTagBytes, mostTags = 64, 2000

// takenAt is the time of taking that the camera wrote into the photo, else that
// of its last change, "" when there is neither.
func takenAt(data []byte) (text string) {
	// Readers of such notes have panicked on hostile files before.
	defer func() {
		if recover() != nil {
			text = ""
		}
	}()
	formats := map[string]imagemeta.ImageFormat{"image/jpeg": imagemeta.JPEG, "image/png": imagemeta.PNG, "image/webp": imagemeta.WebP}
	format, known := formats[http.DetectContentType(data)]
	if !known {
		return ""
	}
	told := map[string]string{}
	// Damaged notes leave what was read before the damage.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(data), ImageFormat: format, Sources: imagemeta.EXIF,
		LimitNumTags: mostTags, LimitTagSize: mostTagBytes,
		ShouldHandleTag: func(t imagemeta.TagInfo) bool { return t.Tag == "DateTimeOriginal" || t.Tag == "ModifyDate" },
		HandleTag: func(t imagemeta.TagInfo) error {
			if v, ok := t.Value.(string); ok && told[t.Tag] == "" {
				told[t.Tag] = v
			}
			return nil
		},
	})
	for _, tag := range []string{"DateTimeOriginal", "ModifyDate"} {
		if t, err := time.Parse(exifTime, told[tag]); err == nil && t.Year() >= 1990 {
			return t.Format(timeForm)
		}
	}
	return ""
}
