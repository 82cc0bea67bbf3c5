package store

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"time"

	"nodespan/assess"
)

// secretBytes is how many random bytes a link, session or token has: 256 bits
// can't be guessed, so a plain SHA-256 of them is enough to keep.
const secretBytes = 32

// NewSecret makes a secret to give away, and the hash to keep.
func NewSecret() (secret, hash string) {
	var b [secretBytes]byte
	rand.Read(b[:]) // it never fails: https://pkg.go.dev/crypto/rand#Read
	secret = base64.RawURLEncoding.EncodeToString(b[:])
	return secret, HashSecret(secret)
}

// HashSecret is what is kept of a secret: its SHA-256, hexadecimal.
func HashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// Invitation is a one-time link.
type Invitation struct {
	ID      int64
	Estate  Estate
	Role    string
	Account *Account // who may choose a new password by it; nil for whoever joins
	MadeBy  string
	Expires time.Time
}

// AddInvitation keeps a link by its hash. account is 0, or the account that
// may choose a new password by it, which closes earlier such links.
func (s *Store) AddInvitation(ctx context.Context, hash string, estate int64, role string, account int64, by string, lasts time.Duration) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		var whom any
		if account != 0 {
			whom = account
			if _, err := tx.ExecContext(ctx, `UPDATE invitations SET closed_at = ? WHERE account_id = ? AND closed_at IS NULL`, s.stamp(), account); err != nil {
				return err
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO invitations (hash, estate_id, role, account_id, made_by, made_at, expires_at) VALUES (?,?,?,?,?,?,?)`,
			hash, estate, role, whom, by, s.stamp(), s.now().Add(lasts).UTC().Format(time.RFC3339Nano))
		return err
	})
}

const selectInvitations = `SELECT i.id, e.id, e.name, i.role, i.made_by, i.expires_at, i.account_id, coalesce(a.name, '')
FROM invitations i JOIN estates e ON e.id = i.estate_id LEFT JOIN accounts a ON a.id = i.account_id WHERE i.closed_at IS NULL `

func scanInvitation(row scanner) (Invitation, error) {
	var i Invitation
	var expires sql.NullString
	var account sql.NullInt64
	var name string
	err := row.Scan(&i.ID, &i.Estate.ID, &i.Estate.Name, &i.Role, &i.MadeBy, &expires, &account, &name)
	i.Expires = parseTime(expires)
	if account.Valid {
		i.Account = &Account{ID: account.Int64, Name: name}
	}
	return i, err
}

// Invitation finds a link that still holds; ENotFound otherwise.
func (s *Store) Invitation(ctx context.Context, hash string) (Invitation, error) {
	return s.invitation(s.db.QueryRowContext(ctx, selectInvitations+`AND i.hash = ?`, hash))
}

func (s *Store) invitation(row scanner) (Invitation, error) {
	i, err := scanInvitation(row)
	if errors.Is(err, sql.ErrNoRows) || err == nil && s.now().After(i.Expires) {
		return Invitation{}, assess.Errorf(assess.ENotFound, "This link was used already, was withdrawn or is too old. Ask for a new one.")
	}
	return i, err
}

// Invitations lists an estate's links that still hold, the oldest first.
func (s *Store) Invitations(ctx context.Context, estate int64) ([]Invitation, error) {
	return list(ctx, s.db, scanInvitation, selectInvitations+`AND i.estate_id = ? AND i.expires_at > ? ORDER BY i.id`, estate, s.stamp())
}

// EstateOfInvitation tells whose a link is.
func (s *Store) EstateOfInvitation(ctx context.Context, id int64) (int64, error) {
	return s.estateOf(ctx, `SELECT estate_id FROM invitations WHERE id = ?`, id)
}

// CloseInvitation withdraws a link.
func (s *Store) CloseInvitation(ctx context.Context, id int64) error {
	_, err := s.db.ExecContext(ctx, `UPDATE invitations SET closed_at = ? WHERE id = ? AND closed_at IS NULL`, s.stamp(), id)
	return err
}

// UseInvitation uses a link, once: it makes the account of name with the
// password's hash, or lets the account that is given as joining join the
// estate, or sets the password of the account that the link is for.
func (s *Store) UseInvitation(ctx context.Context, hash, name, password string, joining int64) (Account, Invitation, error) {
	var a Account
	var i Invitation
	var err error
	if joining == 0 {
		if name, err = CheckName(name, "The person"); err != nil {
			return a, i, err
		}
	}
	err = s.write(ctx, func(tx *sql.Tx) error {
		if i, err = s.invitation(tx.QueryRowContext(ctx, selectInvitations+`AND i.hash = ?`, hash)); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, `UPDATE invitations SET closed_at = ? WHERE id = ?`, s.stamp(), i.ID); err != nil {
			return err
		}
		switch {
		case i.Account != nil:
			a = *i.Account
			return s.setPassword(ctx, tx, a.ID, password, "")
		case joining != 0:
			a.ID = joining
		default:
			if a, err = s.makeAccount(ctx, tx, name, password); err != nil {
				return err
			}
		}
		return s.join(ctx, tx, i.Estate.ID, a.ID, i.Role)
	})
	return a, i, err
}
