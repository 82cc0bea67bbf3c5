package api

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/api/bare"
	"nodespan/assess"
	"nodespan/assess/batch"
)

// Bounds of what a job takes.
const (
	deepest     = 8       // folders in each other
	longestPath = 400     // bytes
	mostEntries = 20_000  // of a zip file
	largestZip  = 8 << 30 // bytes
	// A photo is compressed already, so a zip file of photos unpacks to about its
	// own size. One that grows more than this is made to fill the disk.
	mostGain   = 4
	allowedFor = 64 << 20 // bytes, of small ones
	zipTime    = 12 * time.Hour
)

// cleanPath makes a path below a job's folder of what somebody sent, or EInvalid.
func cleanPath(sent string) (string, error) {
	var parts []string
	for _, p := range strings.Split(strings.ReplaceAll(sent, `\`, "/"), "/") {
		if p == "" || p == "." {
			continue
		}
		p = plainName(p)
		if strings.Trim(p, ".") == "" || strings.HasPrefix(p, ".") {
			return "", assess.Errorf(assess.EInvalid, "%q can't be the path of a photo: no part of it may begin with a dot.", sent)
		}
		parts = append(parts, p)
	}
	path := strings.Join(parts, "/")
	switch {
	case len(parts) == 0 || len(parts) > deepest || len(path) > longestPath:
		return "", assess.Errorf(assess.EInvalid, "%q can't be the path of a photo: it's empty, too long or too deep.", sent)
	case !batch.IsPhoto(path):
		return "", assess.Errorf(assess.EInvalid, "%s is no photo by its name. Send JPEG, PNG or WebP files.", path)
	}
	return path, nil
}

// place writes a photo into a job's folder, whole or not at all, and returns when
// it is on the disk; fresh is false when it was there with the same bytes. Where
// the service drops what a camera writes beside the pixels, it does so here too.
func (s *Server) place(ctx context.Context, job int64, path string, r io.Reader) (fresh bool, err error) {
	defer func() {
		if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
			err = assess.Errorf(assess.EInternal, "The disk with the data folder is full, so %s was not kept. Make room and send it again: %w", path, err)
		}
	}()
	target := filepath.Join(s.store.JobFolder(job), jobPhotos, filepath.FromSlash(path))
	folder := filepath.Dir(target)
	another := assess.Errorf(assess.EConflict, "There is another photo named %s in this job. Give one of them another name.", path)
	if err := os.MkdirAll(folder, 0o750); errors.Is(err, syscall.ENOTDIR) {
		return false, another // a photo has the name of one of the folders
	} else if err != nil {
		return false, err
	}
	if info, err := os.Stat(target); err == nil && info.IsDir() {
		return false, another
	}
	part, err := os.CreateTemp(folder, ".*.part")
	if err != nil {
		return false, err
	}
	defer os.Remove(part.Name())
	defer part.Close()
	n, err := io.Copy(part, io.LimitReader(r, s.limits.UploadBytes+1))
	if err != nil {
		return false, err
	}
	if n > s.limits.UploadBytes {
		return false, assess.Errorf(assess.ETooLarge, "%s is larger than %d MB. Send a smaller one, or a JPEG instead of another kind.", path, s.limits.UploadBytes>>20)
	}
	// From here on its bytes are in memory, so only few at a time come here.
	select {
	case s.held <- struct{}{}:
		defer func() { <-s.held }()
	case <-ctx.Done():
		return false, ctx.Err()
	}
	data, err := os.ReadFile(part.Name())
	if err != nil {
		return false, err
	}
	if s.dropNotes {
		if data, err = bare.Photo(data, http.DetectContentType(data)); err != nil {
			return false, assess.Errorf(assess.EInvalid, "What the camera wrote beside %s can't be taken out, so the photo was not kept. Send it as JPEG, PNG or WebP.", path)
		}
		if err := part.Truncate(0); err != nil {
			return false, err
		}
		if _, err := part.WriteAt(data, 0); err != nil {
			return false, err
		}
	}
	if err := part.Sync(); err != nil {
		return false, err
	}
	// A second name, and not another one, so that of two that come at once under
	// one path none takes the other's place.
	switch err := os.Link(part.Name(), target); {
	case errors.Is(err, fs.ErrExist):
		have, err := os.ReadFile(target)
		if err != nil {
			return false, err
		}
		if bytes.Equal(have, data) {
			return false, nil
		}
		return false, another
	case err != nil: // a disk without second names
		if err := os.Rename(part.Name(), target); err != nil {
			return false, err
		}
	}
	return true, syncFolder(folder)
}

// syncFolder has the names in a folder written to the disk.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// jobUploaded tells which photos a job has, with their size in bytes, so that a
// folder that was sent halfway needn't be sent from the start.
func (s *Server) jobUploaded(c echo.Context) error {
	j, _, err := s.jobAt(c)
	if err != nil {
		return err
	}
	out := map[string]int64{}
	top := filepath.Join(s.store.JobFolder(j.ID), jobPhotos)
	err = filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(d.Name(), ".") {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return nil // went away meanwhile
		}
		rel, err := filepath.Rel(top, path)
		out[filepath.ToSlash(rel)] = info.Size()
		return err
	})
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, out)
}

// addJobPhoto takes one photo into a job: a multipart form with "path" and
// "photo", in this order.
func (s *Server) addJobPhoto(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	select {
	case s.incoming <- struct{}{}:
		defer func() { <-s.incoming }()
	default:
		return assess.Errorf(assess.EBusy, "Too many photos are on their way at the moment. Yours was not kept: send it again in a moment.")
	}
	r := c.Request()
	readUntil(c, time.Now().Add(s.limits.UploadTime))
	r.Body = http.MaxBytesReader(c.Response(), r.Body, s.limits.UploadBytes+slack)
	parts, err := r.MultipartReader()
	if err != nil {
		return brokenUpload(err)
	}
	path := ""
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return assess.Errorf(assess.EInvalid, "The upload holds no photo. Send the fields path and photo, in this order.")
		}
		if err != nil {
			return brokenUpload(err)
		}
		switch p.FormName() {
		case "path":
			text, err := io.ReadAll(io.LimitReader(p, 4*longestPath))
			if err != nil {
				return brokenUpload(err)
			}
			if path, err = cleanPath(string(text)); err != nil {
				return err
			}
		case "photo":
			if path == "" {
				if path, err = cleanPath(p.FileName()); err != nil {
					return err
				}
			}
			fresh, err := s.place(r.Context(), j.ID, path, p)
			if err != nil {
				return brokenUpload(err)
			}
			s.jobs.touch(o, true)
			status := http.StatusCreated
			if !fresh {
				status = http.StatusOK
			}
			return c.JSON(status, placedAnswer{Path: path})
		}
	}
}

type placedAnswer struct {
	Path string `json:"path"`
}

func brokenUpload(err error) error {
	var ae *assess.Error
	if errors.As(err, &ae) {
		return err
	}
	var over *http.MaxBytesError
	if errors.As(err, &over) {
		return assess.Errorf(assess.ETooLarge, "The photo is larger than what is taken. Send a smaller one.")
	}
	return assess.Errorf(assess.EInvalid, "The upload broke off or can't be read. Send it again: %w", err)
}

// zipAnswer tells what was in a zip file.
type zipAnswer struct {
	Photos int      `json:"photos"` // taken
	Same   int      `json:"same"`   // that were here already
	Others int      `json:"others"` // files that are no photos by their name
	Left   []string `json:"left"`   // photos that couldn't be taken, with why
}

// addJobZip takes all photos of a zip file into a job: a multipart form with
// "file". Each entry is bounded as a single photo is, whatever the zip file
// says of its size.
func (s *Server) addJobZip(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	r := c.Request()
	readUntil(c, time.Now().Add(zipTime))
	r.Body = http.MaxBytesReader(c.Response(), r.Body, largestZip)
	parts, err := r.MultipartReader()
	if err != nil {
		return brokenUpload(err)
	}
	for {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return assess.Errorf(assess.EInvalid, "The upload holds no zip file. Send it in the field file.")
		}
		if err != nil {
			return brokenUpload(err)
		}
		if p.FormName() != "file" {
			continue
		}
		spool, err := os.CreateTemp(s.store.JobFolder(j.ID), ".*.zip")
		if err != nil {
			return err
		}
		defer os.Remove(spool.Name())
		defer spool.Close()
		n, err := io.Copy(spool, p)
		if err != nil {
			return brokenUpload(err)
		}
		out, err := s.unpack(r.Context(), j.ID, spool, n)
		if out.Photos > 0 {
			s.jobs.touch(o, true) // also what came before a fault
		}
		if err != nil {
			return err
		}
		s.jobs.touch(o, true)
		return c.JSON(http.StatusCreated, out)
	}
}

func (s *Server) unpack(ctx context.Context, job int64, f *os.File, size int64) (zipAnswer, error) {
	out := zipAnswer{Left: []string{}}
	z, err := zip.NewReader(f, size)
	if err != nil {
		return out, assess.Errorf(assess.EInvalid, "This is no zip file that can be read. Make it anew, or send the folder itself.")
	}
	if len(z.File) > mostEntries {
		return out, assess.Errorf(assess.ETooLarge, "The zip file holds %d files, more than %d. Send several smaller ones.", len(z.File), mostEntries)
	}
	unpacked, most := int64(0), mostGain*size+allowedFor
	for _, e := range z.File {
		if e.FileInfo().IsDir() {
			continue
		}
		path, err := cleanPath(e.Name)
		if err != nil {
			out.Others++
			continue
		}
		var fresh bool
		counted := &counter{n: &unpacked}
		counted.r, err = e.Open()
		opened := err == nil
		if opened {
			fresh, err = s.place(ctx, job, path, counted)
			counted.r.Close()
		}
		if unpacked > most {
			if fresh {
				out.Photos++
			}
			return out, assess.Errorf(assess.ETooLarge, "The zip file unpacks to far more than photos do, so no more of it was taken. Send the folder of the photos itself.")
		}
		var ae *assess.Error
		switch {
		case errors.As(err, &ae):
			out.Left = append(out.Left, ae.Message)
		case err != nil && (!opened || counted.broke):
			out.Left = append(out.Left, path+" is damaged in the zip file.")
		case err != nil:
			return out, err
		case fresh:
			out.Photos++
		default:
			out.Same++
		}
	}
	return out, nil
}

// counter counts what is read, and tells whether reading failed.
type counter struct {
	r     io.ReadCloser
	n     *int64
	broke bool
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	*c.n += int64(n)
	if err != nil && !errors.Is(err, io.EOF) {
		c.broke = true
	}
	return n, err
}
