package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"nodespan/assess"
)

// Account is a person who may sign in. Its name signs what the person saves,
// and is never given to a second one.
type Account struct {
	ID       int64
	Name     string
	Password string // argon2id in PHC form; "" when the account can't sign in by password
	Disabled bool
}

// Member is an account in an estate.
type Member struct {
	Account
	Estate Estate
	Role   string
	Since  time.Time
}

const accountColumns = `a.id, a.name, a.password, a.disabled_at IS NOT NULL`

func scanAccount(row scanner) (Account, error) {
	var a Account
	return a, row.Scan(&a.ID, &a.Name, &a.Password, &a.Disabled)
}

func scanMember(row scanner) (Member, error) {
	var m Member
	var since sql.NullString
	err := row.Scan(&m.ID, &m.Name, &m.Password, &m.Disabled, &m.Estate.ID, &m.Estate.Name, &m.Role, &since)
	m.Since = parseTime(since)
	return m, err
}

const selectMembers = `SELECT ` + accountColumns + `, e.id, e.name, m.role, m.since
FROM members m JOIN accounts a ON a.id = m.account_id JOIN estates e ON e.id = m.estate_id `

// HasAccounts tells whether anybody has an account yet.
func (s *Store) HasAccounts(ctx context.Context) (bool, error) {
	var has bool
	err := s.db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM accounts)`).Scan(&has)
	return has, err
}

// AccountByName finds an account by its name, whatever the case; nil when
// there is none.
func (s *Store) AccountByName(ctx context.Context, name string) (*Account, error) {
	a, err := scanAccount(s.db.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM accounts a WHERE a.name = ?`, name))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &a, nil
}

// Members lists who belongs to an estate, by name.
func (s *Store) Members(ctx context.Context, estate int64) ([]Member, error) {
	return list(ctx, s.db, scanMember, selectMembers+`WHERE m.estate_id = ? ORDER BY a.name`, estate)
}

// Memberships lists the estates that an account belongs to, by name.
func (s *Store) Memberships(ctx context.Context, account int64) ([]Member, error) {
	return list(ctx, s.db, scanMember, selectMembers+`WHERE m.account_id = ? ORDER BY e.name`, account)
}

// Member finds an account in an estate; nil when it isn't a member.
func (s *Store) Member(ctx context.Context, estate, account int64) (*Member, error) {
	m, err := scanMember(s.db.QueryRowContext(ctx, selectMembers+`WHERE m.estate_id = ? AND m.account_id = ?`, estate, account))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &m, nil
}

// AddMember makes an account of this name when there is none and puts it into
// an estate; password is its hash, "" for none. EConflict when the name is
// taken by an account that has a password.
func (s *Store) AddMember(ctx context.Context, estate int64, name, password, role string) (Account, error) {
	name, err := CheckName(name, "The person")
	if err != nil {
		return Account{}, err
	}
	var a Account
	err = s.write(ctx, func(tx *sql.Tx) error {
		if a, err = s.makeAccount(ctx, tx, name, password); err != nil {
			return err
		}
		return s.join(ctx, tx, estate, a.ID, role)
	})
	return a, err
}

func (s *Store) makeAccount(ctx context.Context, tx *sql.Tx, name, password string) (Account, error) {
	a, err := scanAccount(tx.QueryRowContext(ctx, `SELECT `+accountColumns+` FROM accounts a WHERE a.name = ?`, name))
	switch {
	case err == nil && (a.Password != "" || password != "" || a.Disabled):
		return a, assess.Errorf(assess.EConflict, "Somebody has this name already. Choose another one, for example with your family name.")
	case err == nil:
		return a, nil
	case !errors.Is(err, sql.ErrNoRows):
		return a, err
	}
	r, err := tx.ExecContext(ctx, `INSERT INTO accounts (name, password, created_at) VALUES (?, ?, ?)`, name, password, s.stamp())
	if err != nil {
		return a, err
	}
	a = Account{Name: name, Password: password}
	a.ID, err = r.LastInsertId()
	return a, err
}

func (s *Store) join(ctx context.Context, tx *sql.Tx, estate, account int64, role string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO members (estate_id, account_id, role, since) VALUES (?, ?, ?, ?) ON CONFLICT (estate_id, account_id) DO UPDATE SET role = excluded.role`,
		estate, account, role, s.stamp())
	return err
}

// SetRole gives a member another role, or takes it out of the estate with "".
// EConflict when nobody with lastRole would be left; ENotFound when it is no
// member.
func (s *Store) SetRole(ctx context.Context, estate, account int64, role, lastRole string) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		var was string
		err := tx.QueryRowContext(ctx, `SELECT role FROM members WHERE estate_id = ? AND account_id = ?`, estate, account).Scan(&was)
		if errors.Is(err, sql.ErrNoRows) {
			return assess.Errorf(assess.ENotFound, "There is no such member of this estate.")
		}
		if err != nil {
			return err
		}
		if was == lastRole && role != lastRole {
			var others int
			if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM members m JOIN accounts a ON a.id = m.account_id WHERE m.estate_id = ? AND m.role = ? AND m.account_id <> ? AND a.disabled_at IS NULL`, estate, lastRole, account).Scan(&others); err != nil {
				return err
			}
			if others == 0 {
				return assess.Errorf(assess.EConflict, "An estate needs a %s, and this is the last one. Give somebody else the role first.", lastRole)
			}
		}
		if role == "" {
			for _, q := range []string{
				`DELETE FROM members WHERE estate_id = ? AND account_id = ?`,
				`DELETE FROM sessions WHERE estate_id = ? AND account_id = ?`,
				`UPDATE api_tokens SET revoked_at = '` + s.stamp() + `' WHERE estate_id = ? AND account_id = ? AND revoked_at IS NULL`,
			} {
				if _, err := tx.ExecContext(ctx, q, estate, account); err != nil {
					return err
				}
			}
			return nil
		}
		_, err = tx.ExecContext(ctx, `UPDATE members SET role = ? WHERE estate_id = ? AND account_id = ?`, role, estate, account)
		return err
	})
}

// SetPassword keeps a new password's hash, ends the account's sessions but the
// one whose hash is given, and revokes its tokens.
func (s *Store) SetPassword(ctx context.Context, account int64, password, keepSession string) error {
	return s.write(ctx, func(tx *sql.Tx) error { return s.setPassword(ctx, tx, account, password, keepSession) })
}

func (s *Store) setPassword(ctx context.Context, tx *sql.Tx, account int64, password, keepSession string) error {
	if _, err := tx.ExecContext(ctx, `UPDATE accounts SET password = ? WHERE id = ?`, password, account); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `DELETE FROM sessions WHERE account_id = ? AND hash <> ?`, account, keepSession); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `UPDATE api_tokens SET revoked_at = ? WHERE account_id = ? AND revoked_at IS NULL`, s.stamp(), account)
	return err
}

// Join puts an account into an estate, or gives it another role there.
func (s *Store) Join(ctx context.Context, estate, account int64, role string) error {
	return s.write(ctx, func(tx *sql.Tx) error { return s.join(ctx, tx, estate, account, role) })
}

// CloseAccount ends an account: it can't sign in any more, its sessions end, its
// tokens are revoked, its links withdrawn. What it saved stays under its name,
// which nobody else gets. Opening it again is open true.
func (s *Store) CloseAccount(ctx context.Context, account int64, open bool) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		if open {
			_, err := tx.ExecContext(ctx, `UPDATE accounts SET disabled_at = NULL WHERE id = ?`, account)
			return err
		}
		for _, q := range []string{
			`UPDATE accounts SET disabled_at = ?1 WHERE id = ?2`,
			`DELETE FROM sessions WHERE account_id = ?2 AND ?1 <> ''`,
			`UPDATE api_tokens SET revoked_at = ?1 WHERE account_id = ?2 AND revoked_at IS NULL`,
			`UPDATE invitations SET closed_at = ?1 WHERE account_id = ?2 AND closed_at IS NULL`,
		} {
			if _, err := tx.ExecContext(ctx, q, s.stamp(), account); err != nil {
				return err
			}
		}
		return nil
	})
}
