package batch

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"nodespan/assess"
)

// cutOffs is how often the program may end in the middle of one photo before
// the photo is taken to be the cause. One would blame a power cut on it.
const cutOffs = 3

// largestFile bounds what is read into memory at once, bytes.
const largestFile = 200 << 20

// A result is what became of a photo's bytes.
type result struct {
	outcome string
	why     assess.Sentence // of a failure
	seen    *assess.Measurement
}

// one brings one photo to an outcome: reads it, and measures it, together with
// a second one where it has one, unless these bytes were measured before by this
// program; fresh tells whether it was.
func (r *runner) one(ctx context.Context, p photo) (res result, fresh bool, err error) {
	data, err := readPhoto(filepath.Join(r.o.Photos, filepath.FromSlash(p.path)))
	if err != nil {
		if ctx.Err() != nil {
			return result{}, false, ctx.Err()
		}
		why := whyOf(err)
		phrase, err := json.Marshal(why.Phrase())
		if err == nil {
			_, err = r.job.db.ExecContext(ctx, `UPDATE photos SET unread = ?, unread_phrase = ? WHERE path = ?`, why.String(), string(phrase), p.path)
		}
		return result{outcome: failed, why: why}, false, err
	}
	sum := sumOf(data)
	if p.sha != sum {
		if err := r.job.content(ctx, p.path, sum, data); err != nil {
			return result{}, false, err
		}
	}
	of := contents{sum, p.with}
	// Two photos with the same bytes at the same time are measured once.
	v, err, _ := r.same.Do(of.key(), func() (any, error) {
		if old, ok, err := r.job.result(ctx, of, r.o.Program); err != nil || ok {
			return old, err
		}
		fresh = true
		return r.fresh(ctx, of, p, data)
	})
	if err != nil {
		return result{}, false, err
	}
	return v.(result), fresh, nil
}

// key names contents where one text must do.
func (c contents) key() string { return strings.TrimSpace(c.sha + " " + c.with) }

func sumOf(data []byte) string {
	raw := sha256.Sum256(data)
	return hex.EncodeToString(raw[:])
}

// content keeps what a photo's bytes tell.
func (j *Job) content(ctx context.Context, path, sum string, data []byte) error {
	_, err := j.db.ExecContext(ctx, `UPDATE photos SET sha256 = ?, taken_at = ? WHERE path = ?`, sum, takenAt(data), path)
	return err
}

// fresh measures bytes and keeps the result.
func (r *runner) fresh(ctx context.Context, of contents, p photo, data []byte) (result, error) {
	j := r.job
	var times int
	err := j.db.QueryRowContext(ctx, `INSERT INTO begun (sha256, times) VALUES (?, 1) ON CONFLICT (sha256) DO UPDATE SET times = times + 1 RETURNING times`, of.key()).Scan(&times)
	if err != nil {
		return result{}, err
	}
	var res result
	if times > cutOffs {
		res = result{outcome: failed, why: assess.Tell("The program ended %d times in the middle of measuring this photo, so it is left out. Open and save it anew with a picture program, or have the photos that failed tried again.", cutOffs)}
	} else {
		m, err := r.measure(ctx, of, p, data)
		if ctx.Err() != nil {
			// Cut off on purpose: that doesn't count against the photo.
			clean, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			defer cancel()
			_, err := j.db.ExecContext(clean, `UPDATE begun SET times = times - 1 WHERE sha256 = ?`, of.key())
			return result{}, errors.Join(ctx.Err(), err)
		}
		if err != nil {
			res = result{outcome: failed, why: whyOf(err)}
		} else {
			res = result{outcome: string(m.Outcome), seen: m}
		}
	}
	return res, j.keep(ctx, of, r.o.Program, res)
}

// measure calls the measurer; a panic in it is a failure of this one photo.
func (r *runner) measure(ctx context.Context, of contents, p photo, data []byte) (m *assess.Measurement, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the measuring panicked: %v", p)
		}
	}()
	ask := assess.Ask{Name: filepath.Base(p.path)}
	if of.with != "" {
		if ask.With, err = readPhoto(filepath.Join(r.o.Photos, filepath.FromSlash(p.second))); err != nil {
			return nil, err
		}
		if sumOf(ask.With) != of.with {
			return nil, assess.Errorf(assess.EConflict, "The file was changed meanwhile.")
		}
	}
	return r.o.Measurer.Measure(ctx, data, ask)
}

// whyOf is an error as the row of its photo tells it.
func whyOf(err error) assess.Sentence {
	var ae *assess.Error
	if errors.As(err, &ae) {
		return ae.Sentence()
	}
	return assess.Tell("Fault in the program: %s", err.Error())
}

// keep stores a result. Timings and the file's name are no property of the
// bytes: the first lie apart, the second isn't kept.
func (j *Job) keep(ctx context.Context, of contents, program string, res result) error {
	phrase := ""
	if !res.why.Empty() {
		text, err := json.Marshal(res.why.Phrase())
		if err != nil {
			return err
		}
		phrase = string(text)
	}
	var zipped []byte
	var canes sql.NullInt64
	depth := false
	timing := []byte("{}")
	if res.seen != nil {
		m := *res.seen
		var err error
		if m.TimingMS != nil {
			if timing, err = json.Marshal(m.TimingMS); err != nil {
				return err
			}
		}
		m.TimingMS, m.Photo, m.SHA256 = map[string]float64{}, "", of.sha
		canes, depth = sql.NullInt64{Int64: int64(len(m.Canes)), Valid: true}, m.With != ""
		text, err := json.Marshal(m)
		if err != nil {
			return err
		}
		var out bytes.Buffer
		w := gzip.NewWriter(&out)
		if _, err := w.Write(text); err != nil {
			return err
		}
		if err := w.Close(); err != nil {
			return err
		}
		zipped = out.Bytes()
	}
	return j.write(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `INSERT INTO results (sha256, with_sha256, program, outcome, reason, phrase, measurement, timing, ended_at, canes, depth) VALUES (?,?,?,?,?,?,?,?,?,?,?) ON CONFLICT DO NOTHING`,
			of.sha, of.with, program, res.outcome, res.why.String(), phrase, zipped, string(timing), j.stamp(), canes, depth); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `DELETE FROM begun WHERE sha256 = ?`, of.key())
		return err
	})
}

// result finds what a program made of these bytes before.
func (j *Job) result(ctx context.Context, of contents, program string) (result, bool, error) {
	var r record
	var reason, phrase string
	err := j.db.QueryRowContext(ctx, `SELECT outcome, reason, phrase, measurement FROM results WHERE sha256 = ? AND with_sha256 = ? AND program = ?`, of.sha, of.with, program).Scan(&r.outcome, &reason, &phrase, &r.zipped)
	if errors.Is(err, sql.ErrNoRows) {
		return result{}, false, nil
	}
	if err != nil {
		return result{}, false, err
	}
	if r.why, err = assess.KeptSentence(reason, phrase); err != nil {
		return result{}, false, err
	}
	m, err := r.measurement()
	return result{outcome: r.outcome, why: r.why, seen: m}, err == nil, err
}

// measurement unpacks what was kept, nil for none, with the photo's name in
// the job and its timings left empty.
func (r record) measurement() (*assess.Measurement, error) {
	if len(r.zipped) == 0 {
		return nil, nil
	}
	z, err := gzip.NewReader(bytes.NewReader(r.zipped))
	if err != nil {
		return nil, err
	}
	m := new(assess.Measurement)
	if err := json.NewDecoder(z).Decode(m); err != nil {
		return nil, err
	}
	m.Photo = r.path
	if m.TimingMS == nil {
		m.TimingMS = map[string]float64{}
	}
	return m, nil
}

// words tells why a photo was refused.
func words(m *assess.Measurement) string {
	if m == nil {
		return ""
	}
	return strings.Join(assess.Advise(m.Reasons), " ")
}

func readPhoto(path string) ([]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, assess.Errorf(assess.ENotFound, "The file is no longer there.")
	}
	if err != nil {
		return nil, assess.Errorf(assess.EInvalid, "The file can't be read. Change its rights, or copy it anew.")
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	switch {
	case err != nil:
		return nil, assess.Errorf(assess.EInvalid, "The file can't be read to its end. Copy it anew from the camera.")
	case len(data) > largestFile:
		return nil, assess.Errorf(assess.ETooLarge, "The file has more than %d MB. Save the photo as JPEG.", largestFile>>20)
	case len(data) == 0:
		return nil, assess.Errorf(assess.EInvalid, "The file is empty. Copy it anew from the camera.")
	}
	return data, nil
}
