package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"os"
	"time"

	"nodespan/assess"
)

// Photo is one stored photo of one vine in one winter.
type Photo struct {
	ID          int64
	SHA256      string
	VineID      int64
	Winter      string
	Name        string // as it was sent, for people
	ContentType string // by content, not by name
	Bytes       int64
	TakenAt     time.Time // what the camera said; zero when it did not
	ReceivedAt  time.Time
	ReceivedBy  string
}

// NewPhoto is what AddPhoto needs: the bytes, and what is known of them.
type NewPhoto struct {
	Data           []byte
	BlockID        int64
	Row, Number    int
	Winter         string
	Name           string
	ContentType    string
	TakenAt        time.Time // zero when unknown
	By             string
	IdempotencyKey string // may be empty
	Ask            assess.Ask
}

// AddPhoto keeps a photo, the vine it shows if that is new, and the ask to
// measure it. The same bytes for the same vine and winter are kept once: the
// photo that is there is returned, with fresh false. A key that was used
// before for the same bytes returns the photo of then.
func (s *Store) AddPhoto(ctx context.Context, n NewPhoto) (photo Photo, fresh bool, err error) {
	if err := CheckWinter(n.Winter); err != nil {
		return Photo{}, false, err
	}
	if len(n.Data) == 0 {
		return Photo{}, false, assess.Errorf(assess.EInvalid, "The photo is empty. Take or choose it again.")
	}
	b, err := s.Block(ctx, n.BlockID)
	if err != nil {
		return Photo{}, false, err
	}
	if _, err := s.FindVine(ctx, b, n.Row, n.Number); err != nil {
		return Photo{}, false, err
	}
	ask, err := json.Marshal(n.Ask)
	if err != nil {
		return Photo{}, false, err
	}
	var id int64
	err = s.withPhoto(ctx, n, func(tx *sql.Tx, sum string) error {
		if id, err = replayed(ctx, tx, n.IdempotencyKey, sum); err != nil || id != 0 {
			return err
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO vines (block_id, row, number) VALUES (?,?,?) ON CONFLICT DO NOTHING`, n.BlockID, n.Row, n.Number); err != nil {
			return err
		}
		var vine int64
		if err := tx.QueryRowContext(ctx, `SELECT id FROM vines WHERE block_id = ? AND row = ? AND number = ?`, n.BlockID, n.Row, n.Number).Scan(&vine); err != nil {
			return err
		}
		if id, err = s.photoRow(ctx, tx, n, vine, sum); err != nil {
			return err
		}
		// The same photo is measured once; one that only ever was another's second
		// stance wasn't yet.
		if err := tx.QueryRowContext(ctx, `SELECT NOT EXISTS (SELECT 1 FROM asks WHERE photo_id = ?)`, id).Scan(&fresh); err != nil {
			return err
		}
		if fresh {
			if _, err := tx.ExecContext(ctx, `INSERT INTO asks (photo_id, ask, asked_by, asked_at) VALUES (?,?,?,?)`, id, ask, n.By, s.stamp()); err != nil {
				return err
			}
		}
		if err := countVine(ctx, tx, vine); err != nil {
			return err
		}
		return s.remember(ctx, tx, n.IdempotencyKey, sum, id)
	})
	if err != nil {
		return Photo{}, false, err
	}
	photo, err = s.Photo(ctx, id)
	return photo, fresh, err
}

// withPhoto keeps a photo's bytes and runs f in a write transaction that makes
// the row to claim them. The file comes first, the row after: a row never
// points at nothing.
func (s *Store) withPhoto(ctx context.Context, n NewPhoto, f func(tx *sql.Tx, sum string) error) error {
	sum, err := s.keepPhoto(n.Data)
	if err != nil {
		return err
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		// Sweep may have set the file aside meanwhile, as one without a row. It
		// can't any more: it waits for this transaction.
		if _, err := os.Stat(s.photoPath(sum)); err != nil {
			if _, err := s.keepPhoto(n.Data); err != nil {
				return err
			}
		}
		return f(tx, sum)
	})
	if err != nil {
		s.unclaim(sum)
	}
	return err
}

// photoRow gives the id of a vine's photo with these bytes in a winter, and
// makes its row if there is none.
func (s *Store) photoRow(ctx context.Context, tx *sql.Tx, n NewPhoto, vine int64, sum string) (id int64, err error) {
	err = tx.QueryRowContext(ctx, `SELECT id FROM photos WHERE vine_id = ? AND winter = ? AND sha256 = ?`, vine, n.Winter, sum).Scan(&id)
	if err == nil {
		// Sent again after it was deleted: it is wanted after all.
		return id, s.mark(ctx, tx, id, false, n.By)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return 0, err
	}
	if _, err := tx.ExecContext(ctx, `INSERT INTO winters (name) VALUES (?) ON CONFLICT DO NOTHING`, n.Winter); err != nil {
		return 0, err
	}
	var taken any
	if !n.TakenAt.IsZero() {
		taken = n.TakenAt.UTC().Format(time.RFC3339Nano)
	}
	r, err := tx.ExecContext(ctx, `INSERT INTO photos (sha256, vine_id, winter, name, content_type, bytes, taken_at, received_at, received_by) VALUES (?,?,?,?,?,?,?,?,?)`,
		sum, vine, n.Winter, n.Name, n.ContentType, len(n.Data), taken, s.stamp(), n.By)
	if err != nil {
		return 0, err
	}
	return r.LastInsertId()
}

const photoColumns = `id, sha256, vine_id, winter, name, content_type, bytes, taken_at, received_at, received_by`

func scanPhoto(row scanner) (Photo, error) {
	var p Photo
	var taken, received sql.NullString
	err := row.Scan(&p.ID, &p.SHA256, &p.VineID, &p.Winter, &p.Name, &p.ContentType, &p.Bytes, &taken, &received, &p.ReceivedBy)
	p.TakenAt, p.ReceivedAt = parseTime(taken), parseTime(received)
	return p, err
}

// Photo finds a photo by id; ENotFound when there is none.
func (s *Store) Photo(ctx context.Context, id int64) (Photo, error) {
	p, err := scanPhoto(s.db.QueryRowContext(ctx, `SELECT `+photoColumns+` FROM photos p WHERE id = ? AND `+notDeleted, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Photo{}, assess.Errorf(assess.ENotFound, "There is no such photo. Go to the vine's page and pick it there.")
	}
	return p, err
}

// Photos lists a vine's photos, the latest winter first, within it the latest
// received first. What is only another photo's second stance isn't among them.
func (s *Store) Photos(ctx context.Context, vineID int64) ([]Photo, error) {
	return list(ctx, s.db, scanPhoto, `SELECT `+photoColumns+` FROM photos p WHERE vine_id = ? AND `+notDeleted+` AND `+measuredItself+` ORDER BY winter DESC, received_at DESC, id DESC`, vineID)
}

// Waiting lists an estate's photos that have a cane on which nobody ruled yet,
// the oldest first, at most limit of them, and tells how many there are in all.
func (s *Store) Waiting(ctx context.Context, estate int64, limit int) ([]Photo, int, error) {
	const from = ` FROM photo_waits w JOIN photos q ON q.id = w.photo_id JOIN vines v ON v.id = q.vine_id JOIN blocks b ON b.id = v.block_id WHERE b.estate_id = ?`
	var n int
	if err := s.db.QueryRowContext(ctx, `SELECT count(*)`+from, estate).Scan(&n); err != nil {
		return nil, 0, err
	}
	ps, err := list(ctx, s.db, scanPhoto, `SELECT `+photoColumns+` FROM (SELECT w.photo_id, w.received_at AS waits_since`+from+` ORDER BY w.received_at, w.photo_id LIMIT ?) w
JOIN photos p ON p.id = w.photo_id ORDER BY w.waits_since, p.id`, estate, limit)
	return ps, n, err
}

// PhotosOf lists the photos with these bytes, the latest received first: the
// same file may have been sent for several vines or winters.
func (s *Store) PhotosOf(ctx context.Context, sum string) ([]Photo, error) {
	return list(ctx, s.db, scanPhoto, `SELECT `+photoColumns+` FROM photos WHERE sha256 = ? ORDER BY received_at DESC, id DESC`, sum)
}
