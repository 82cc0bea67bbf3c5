package store

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"nodespan/assess"
)

// jobFolder holds one folder for each job.
const jobFolder = "jobs"

// Job is a request to measure many photos. What became of them is kept by
// package assess/batch in the job's own folder.
type Job struct {
	ID        int64
	EstateID  int64
	Name      string
	Pattern   string  // how its photos are named
	RuleSet   string  // by which its canes are judged, name@version; "" for the program's own
	Alone     bool    // measures every photo by itself, also where two stances show one vine
	Check     float64 // wanted precision of the error rate, as a share; 0 draws no sample
	Paused    bool
	CreatedBy string
	CreatedAt time.Time
}

const jobColumns = `id, estate_id, name, pattern, rule_set, alone, checked, paused, created_by, created_at`

func scanJob(row scanner) (Job, error) {
	var j Job
	var at sql.NullString
	err := row.Scan(&j.ID, &j.EstateID, &j.Name, &j.Pattern, &j.RuleSet, &j.Alone, &j.Check, &j.Paused, &j.CreatedBy, &at)
	j.CreatedAt = parseTime(at)
	return j, err
}

// AddJob keeps a new job and returns it with its id. EInvalid without a name.
func (s *Store) AddJob(ctx context.Context, j Job) (Job, error) {
	var err error
	if j.Name, err = CheckName(j.Name, "A job"); err != nil {
		return Job{}, err
	}
	j.CreatedAt = s.now().UTC()
	err = s.write(ctx, func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `INSERT INTO jobs (estate_id, name, pattern, rule_set, alone, checked, paused, created_by, created_at) VALUES (?,?,?,?,?,?,?,?,?)`,
			j.EstateID, j.Name, j.Pattern, j.RuleSet, j.Alone, j.Check, j.Paused, j.CreatedBy, j.CreatedAt.Format(time.RFC3339Nano))
		if err != nil {
			return err
		}
		j.ID, err = r.LastInsertId()
		return err
	})
	return j, err
}

// Job finds a job by id; ENotFound when there is none.
func (s *Store) Job(ctx context.Context, id int64) (Job, error) {
	j, err := scanJob(s.db.QueryRowContext(ctx, `SELECT `+jobColumns+` FROM jobs WHERE id = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return Job{}, assess.Errorf(assess.ENotFound, "There is no such job. Go to the list of jobs and pick one.")
	}
	return j, err
}

// Jobs lists an estate's jobs, the newest first; estate 0 means all estates.
func (s *Store) Jobs(ctx context.Context, estate int64) ([]Job, error) {
	return list(ctx, s.db, scanJob, `SELECT `+jobColumns+` FROM jobs WHERE ?1 = 0 OR estate_id = ?1 ORDER BY id DESC`, estate)
}

// SetJob keeps a job's pattern, rule set, check, and whether it is paused and
// measures every photo by itself.
func (s *Store) SetJob(ctx context.Context, j Job) error {
	return s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE jobs SET pattern = ?, rule_set = ?, alone = ?, checked = ?, paused = ? WHERE id = ?`, j.Pattern, j.RuleSet, j.Alone, j.Check, j.Paused, j.ID)
		return err
	})
}

// EstateOfJob tells whose a job is; ENotFound when there is none.
func (s *Store) EstateOfJob(ctx context.Context, id int64) (int64, error) {
	j, err := s.Job(ctx, id)
	return j.EstateID, err
}

// JobFolder is where a job keeps its photos, its state and its tables.
func (s *Store) JobFolder(id int64) string {
	return filepath.Join(s.dir, jobFolder, strconv.FormatInt(id, 10))
}

// RemoveJob takes a job and its folder away for good; its photos, results and
// tables are no part of the record of the vines.
func (s *Store) RemoveJob(ctx context.Context, id int64) error {
	err := s.write(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM jobs WHERE id = ?`, id)
		return err
	})
	if err != nil {
		return err
	}
	return os.RemoveAll(s.JobFolder(id))
}
