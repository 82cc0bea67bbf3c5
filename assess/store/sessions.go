package store

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Session is a browser that signed in, or, with Scope, a program with a token.
type Session struct {
	ID      int64
	Account Account
	Estate  int64
	Scope   string // of a token; "" for a browser
	Name    string // of a token
	Began   time.Time
	Seen    time.Time
	Expires time.Time
}

func scanSession(row scanner) (Session, error) {
	var s Session
	var began, seen, expires sql.NullString
	err := row.Scan(&s.ID, &s.Account.ID, &s.Account.Name, &s.Account.Password, &s.Account.Disabled, &s.Estate, &s.Scope, &s.Name, &began, &seen, &expires)
	s.Began, s.Seen, s.Expires = parseTime(began), parseTime(seen), parseTime(expires)
	return s, err
}

const (
	selectSessions = `SELECT s.id, ` + accountColumns + `, s.estate_id, '', '', s.began_at, s.seen_at, s.expires_at FROM sessions s JOIN accounts a ON a.id = s.account_id `
	selectTokens   = `SELECT t.id, ` + accountColumns + `, t.estate_id, t.scope, t.name, t.made_at, t.used_at, t.expires_at FROM api_tokens t JOIN accounts a ON a.id = t.account_id `
)

// AddSession keeps a session by the hash of its secret.
func (s *Store) AddSession(ctx context.Context, hash string, account, estate int64, lasts time.Duration) error {
	_, err := s.db.ExecContext(ctx, `INSERT INTO sessions (hash, account_id, estate_id, began_at, seen_at, expires_at) VALUES (?,?,?,?,?,?)`,
		hash, account, estate, s.stamp(), s.stamp(), s.now().Add(lasts).UTC().Format(time.RFC3339Nano))
	return err
}

// Session finds a session that still holds; nil otherwise. idle ends one that
// was not seen for so long; seen again, it is noted at most every minute.
func (s *Store) Session(ctx context.Context, hash string, idle time.Duration) (*Session, error) {
	out, err := scanSession(s.db.QueryRowContext(ctx, selectSessions+`WHERE s.hash = ?`, hash))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	now := s.now()
	if out.Account.Disabled || now.After(out.Expires) || now.Sub(out.Seen) > idle {
		return nil, nil
	}
	if now.Sub(out.Seen) > time.Minute {
		// A database that is busy or full must not keep people from reading.
		_, _ = s.db.ExecContext(ctx, `UPDATE sessions SET seen_at = ? WHERE id = ?`, s.stamp(), out.ID)
	}
	return &out, nil
}

// Sessions lists an account's sessions, the latest seen first.
func (s *Store) Sessions(ctx context.Context, account int64) ([]Session, error) {
	return list(ctx, s.db, scanSession, selectSessions+`WHERE s.account_id = ? AND s.expires_at > ? ORDER BY s.seen_at DESC`, account, s.stamp())
}

// LookAt has a session look at another estate.
func (s *Store) LookAt(ctx context.Context, session, estate int64) error {
	_, err := s.db.ExecContext(ctx, `UPDATE sessions SET estate_id = ? WHERE id = ?`, estate, session)
	return err
}

// EndSession ends one session of an account.
func (s *Store) EndSession(ctx context.Context, account, session int64) error {
	_, err := s.db.ExecContext(ctx, `DELETE FROM sessions WHERE id = ? AND account_id = ?`, session, account)
	return err
}

// SweepSessions removes sessions and failed sign-ins that are over.
func (s *Store) SweepSessions(ctx context.Context) error {
	_, err := s.db.ExecContext(ctx, `DELETE FROM sessions WHERE expires_at < ?`, s.stamp())
	if err == nil {
		_, err = s.db.ExecContext(ctx, `DELETE FROM sign_in_tries WHERE last_at < ?`, s.now().Add(-triesForgotten).UTC().Format(time.RFC3339Nano))
	}
	return err
}

// AddToken keeps a token by the hash of its secret.
func (s *Store) AddToken(ctx context.Context, hash string, account, estate int64, name, scope string, lasts time.Duration) error {
	name, err := CheckName(name, "A token")
	if err != nil {
		return err
	}
	_, err = s.db.ExecContext(ctx, `INSERT INTO api_tokens (hash, account_id, estate_id, name, scope, made_at, expires_at) VALUES (?,?,?,?,?,?,?)`,
		hash, account, estate, name, scope, s.stamp(), s.now().Add(lasts).UTC().Format(time.RFC3339Nano))
	return err
}

// Token finds a token that still holds; nil otherwise.
func (s *Store) Token(ctx context.Context, hash string) (*Session, error) {
	out, err := scanSession(s.db.QueryRowContext(ctx, selectTokens+`WHERE t.hash = ? AND t.revoked_at IS NULL`, hash))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	now := s.now()
	if out.Account.Disabled || now.After(out.Expires) {
		return nil, nil
	}
	if now.Sub(out.Seen) > time.Minute {
		_, _ = s.db.ExecContext(ctx, `UPDATE api_tokens SET used_at = ? WHERE id = ?`, s.stamp(), out.ID)
	}
	return &out, nil
}

// Tokens lists an account's tokens that still hold, the oldest first.
func (s *Store) Tokens(ctx context.Context, account int64) ([]Session, error) {
	return list(ctx, s.db, scanSession, selectTokens+`WHERE t.account_id = ? AND t.revoked_at IS NULL AND t.expires_at > ? ORDER BY t.id`, account, s.stamp())
}

// RevokeToken ends one token of an account.
func (s *Store) RevokeToken(ctx context.Context, account, token int64) error {
	_, err := s.db.ExecContext(ctx, `UPDATE api_tokens SET revoked_at = ? WHERE id = ? AND account_id = ? AND revoked_at IS NULL`, s.stamp(), token, account)
	return err
}

// triesForgotten is how long a failed sign-in counts.
const triesForgotten = 24 * time.Hour

// Subject is an account or an address whose failed sign-ins are counted.
type Subject struct {
	Key  string // a hash: no names and no addresses are kept
	Free int    // failures before the next try has to wait
}

// Tries notes one more try to sign in for each subject, unless one of them has
// to wait: it then returns for how long, and notes nothing. wait tells how
// long to wait after n failures. A try counts as failed until ForgetTries or
// ForgiveTry, so that many at once aren't worth more than one after the other.
func (s *Store) Tries(ctx context.Context, subjects []Subject, wait func(n, free int) time.Duration) (time.Duration, error) {
	var left time.Duration
	err := s.write(ctx, func(tx *sql.Tx) error {
		now := s.now().UTC()
		for _, subject := range subjects {
			var n int
			var at sql.NullString
			err := tx.QueryRowContext(ctx, `SELECT failures, last_at FROM sign_in_tries WHERE subject = ?`, subject.Key).Scan(&n, &at)
			if errors.Is(err, sql.ErrNoRows) {
				continue
			}
			if err != nil {
				return err
			}
			since := now.Sub(parseTime(at))
			// A clock that was set back doesn't lengthen the wait.
			if since >= 0 && since < triesForgotten {
				left = max(left, wait(n, subject.Free)-since)
			}
		}
		if left > 0 {
			return nil
		}
		for _, subject := range subjects {
			if _, err := tx.ExecContext(ctx, `INSERT INTO sign_in_tries (subject, failures, last_at) VALUES (?, 1, ?)
ON CONFLICT (subject) DO UPDATE SET failures = CASE WHEN last_at < ? THEN 1 ELSE failures + 1 END, last_at = excluded.last_at`,
				subject.Key, s.stamp(), now.Add(-triesForgotten).Format(time.RFC3339Nano)); err != nil {
				return err
			}
		}
		return nil
	})
	return left, err
}

// ForgiveTry takes back the latest try of a subject, which was good: of an
// address, from which others may still be guessing.
func (s *Store) ForgiveTry(ctx context.Context, key string) error {
	_, err := s.db.ExecContext(ctx, `UPDATE sign_in_tries SET failures = max(0, failures - 1) WHERE subject = ?`, key)
	return err
}

// ForgetTries forgets the failures of a subject after a sign-in.
func (s *Store) ForgetTries(ctx context.Context, subject string) error {
	_, err := s.db.ExecContext(ctx, `DELETE FROM sign_in_tries WHERE subject = ?`, subject)
	return err
}
