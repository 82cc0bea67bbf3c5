package api

import (
	"bytes"
	"context"
	"errors"
	"image"
	_ "image/jpeg" // the formats that photos come in
	_ "image/png"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"
	"unicode"

	"github.com/labstack/echo/v4"
	_ "golang.org/x/image/webp"

	"nodespan/api/apart"
	"nodespan/api/bare"
	"nodespan/assess"
	"nodespan/assess/store"
)

// slack is what a multipart form has beside the photo, in bytes.
const slack = 64 << 10

// upload takes one photo of a vine: a multipart form with "photo" and, if it
// isn't the present one, "winter". The header Idempotency-Key makes a second
// sending harmless. The answer comes when the photo is safe on the disk;
// measuring follows.
func (s *Server) upload(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	return s.receive(c, func(n store.NewPhoto) (store.Photo, bool, error) {
		n.BlockID, n.Row, n.Number = b.ID, v.Row, v.Number
		if n.Winter == "" {
			day := n.TakenAt
			if day.IsZero() {
				day = time.Now()
			}
			n.Winter = store.WinterOf(day, b.Southern)
		}
		return s.Keep(c.Request().Context(), n)
	})
}

// receive reads one photo, within the bounds on how many come at once, and has
// keep keep it. It answers with the photo's state.
func (s *Server) receive(c echo.Context, keep func(store.NewPhoto) (store.Photo, bool, error)) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	if s.queue.full() {
		return assess.Errorf(assess.EBusy, "More photos wait to be measured than this machine can take. Your photo was not kept: send it again in a moment.")
	}
	select {
	case s.incoming <- struct{}{}:
		defer func() { <-s.incoming }()
	default:
		return assess.Errorf(assess.EBusy, "Too many photos are on their way at the moment. Yours was not kept: send it again in a moment.")
	}
	form, err := s.readUpload(c)
	if err != nil {
		return err
	}
	defer form.remove()
	ctx := c.Request().Context()
	// From here on its bytes are in memory, so only few at a time come here.
	select {
	case s.held <- struct{}{}:
		defer func() { <-s.held }()
	case <-ctx.Done():
		return ctx.Err()
	}
	if form.photo, err = form.bytes(); err != nil {
		return err
	}
	kind, err := s.checkPhoto(ctx, form.photo)
	if err != nil {
		return err
	}
	taken := bare.TakenAt(form.photo)
	if s.dropNotes {
		if form.photo, err = bare.Photo(form.photo, kind); err != nil {
			return assess.Errorf(assess.EInvalid, "What the camera wrote beside this photo can't be taken out, so the photo was not kept. Send it as another kind of file, or take it again: %w", err)
		}
	}
	photo, fresh, err := keep(store.NewPhoto{
		Data: form.photo, Winter: form.winter, Name: form.name,
		ContentType: kind, TakenAt: taken, By: name, IdempotencyKey: c.Request().Header.Get("Idempotency-Key"),
	})
	if err != nil {
		return err
	}
	state, err := s.photoState(ctx, photo)
	if err != nil {
		return err
	}
	status := http.StatusCreated
	if !fresh {
		status = http.StatusOK
	}
	return c.JSON(status, state)
}

// Keep keeps a photo and has it measured, as store.AddPhoto tells; what it
// returns is safe on the disk, and measuring follows.
func (s *Server) Keep(ctx context.Context, n store.NewPhoto) (store.Photo, bool, error) {
	photo, fresh, err := s.store.AddPhoto(ctx, n)
	if err != nil || !fresh {
		return photo, fresh, err
	}
	ask, _, open, err := s.store.LatestAsk(ctx, photo.ID)
	if err == nil && open {
		s.queue.add(ask)
	}
	return photo, fresh, err
}

type uploadForm struct {
	file         *os.File // the photo, whole, under a temporary name
	size         int64
	photo        []byte
	name, winter string
}

func (f *uploadForm) bytes() ([]byte, error) {
	if _, err := f.file.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	data := make([]byte, f.size)
	_, err := io.ReadFull(f.file, data)
	return data, err
}

// remove removes the temporary file.
func (f *uploadForm) remove() {
	if f.file != nil {
		f.file.Close()
		os.Remove(f.file.Name())
		f.file = nil
	}
}

// readUpload reads the form part by part into a temporary file, so that a slow
// phone holds no memory, and nothing larger than the limit is ever kept. The
// caller removes the form when there is no error.
func (s *Server) readUpload(c echo.Context) (f uploadForm, err error) {
	defer func() {
		if err != nil {
			f.remove()
		}
	}()
	tooLarge := assess.Errorf(assess.ETooLarge, "The photo is larger than %d MB. Send a smaller one, or a JPEG instead of another kind.", s.limits.UploadBytes>>20)
	r := c.Request()
	if r.ContentLength > s.limits.UploadBytes+slack {
		return f, tooLarge
	}
	readUntil(c, time.Now().Add(s.limits.UploadTime))
	r.Body = http.MaxBytesReader(c.Response(), r.Body, s.limits.UploadBytes+slack)
	broken := func(err error) error {
		var over *http.MaxBytesError
		if errors.As(err, &over) {
			return tooLarge
		}
		return assess.Errorf(assess.EInvalid, "The upload broke off or can't be read. Send the photo again: %w", err)
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return f, broken(err)
	}
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return f, broken(err)
		}
		switch p.FormName() {
		case "photo":
			if f.file != nil {
				return f, assess.Errorf(assess.EInvalid, "One photo at a time can be sent. Send them one after the other.")
			}
			if f.file, err = s.store.Spool(); err != nil {
				return f, err
			}
			if f.size, err = io.Copy(f.file, io.LimitReader(p, s.limits.UploadBytes+1)); err != nil {
				if errors.Is(err, syscall.ENOSPC) {
					return f, assess.Errorf(assess.EInternal, "The disk with the data folder is full, so the photo was not kept. Make room and send it again: %w", err)
				}
				return f, broken(err)
			}
			if f.size > s.limits.UploadBytes {
				return f, tooLarge
			}
			f.name = plainName(p.FileName())
		case "winter":
			text, err := io.ReadAll(io.LimitReader(p, 32))
			if err != nil {
				return f, broken(err)
			}
			f.winter = strings.TrimSpace(string(text))
			if err := store.CheckWinter(f.winter); f.winter != "" && err != nil {
				return f, err
			}
		}
	}
	readUntil(c, time.Now().Add(afterBody))
	if f.size == 0 {
		return f, assess.Errorf(assess.EInvalid, "The photo is empty. Take or choose it again.")
	}
	return f, nil
}

// plainName keeps of a file's name what can be shown and stored anywhere.
func plainName(name string) string {
	name = filepath.Base(strings.ReplaceAll(name, `\`, "/"))
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, name)
	if r := []rune(name); len(r) > 120 {
		name = string(r[len(r)-120:])
	}
	if name == "" || name == "." || name == "/" {
		return "photo"
	}
	return name
}

var kinds = map[string]string{"jpeg": "image/jpeg", "png": "image/png", "webp": "image/webp"}

// checkPhoto tells by content what a photo is, and decodes it once, so that
// whoever sent a broken one hears it while still standing at the vine. It
// returns the content type; EInvalid or ETooLarge otherwise.
func (s *Server) checkPhoto(ctx context.Context, data []byte) (string, error) {
	conf, format, err := image.DecodeConfig(bytes.NewReader(data))
	kind, known := kinds[format]
	if err != nil || !known {
		return "", assess.Errorf(assess.EInvalid, "This file is no photo that can be read. Send a JPEG, PNG or WebP picture.")
	}
	if conf.Width < 1 || conf.Height < 1 || conf.Width > s.limits.Pixels/conf.Height {
		return "", assess.Errorf(assess.ETooLarge, "The photo has %d x %d pixels, more than the %d million that can be measured. Send it at a smaller size.", conf.Width, conf.Height, s.limits.Pixels/1_000_000)
	}
	if err := s.takeDecoder(ctx); err != nil {
		return "", err
	}
	defer s.giveDecoder()
	if err := s.decoder.Check(ctx, data); err != nil {
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		s.log.Info("a photo was refused", "error", err, beneath(err))
		var told *assess.Error
		if errors.As(err, &told) {
			return "", assess.Errorf(assess.EInvalid, "%w", told)
		}
		return "", assess.Errorf(assess.EInvalid, "The photo is damaged or not whole. Take it again, or send it again if it looks right on your device.")
	}
	return kind, nil
}

func (s *Server) takeDecoder(ctx context.Context) error {
	select {
	case s.decoders <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Server) giveDecoder() { <-s.decoders }

// Decoder decodes photos; Check returns an error for one that is damaged, Copy
// makes an upright JPEG no longer than side px (0 for its own size).
type Decoder interface {
	Check(ctx context.Context, photo []byte) error
	Copy(ctx context.Context, photo []byte, side, quality int) ([]byte, error)
}

// within decodes in the service's own process.
type within struct{}

func (within) Check(_ context.Context, photo []byte) error {
	_, _, err := image.Decode(bytes.NewReader(photo))
	return err
}

func (within) Copy(_ context.Context, photo []byte, side, quality int) ([]byte, error) {
	return apart.Copy(photo, side, quality)
}
