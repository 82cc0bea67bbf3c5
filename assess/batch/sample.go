package batch

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"nodespan/assess"
	"nodespan/assess/agreement"
	"nodespan/assess/store"
)

// Check says how a sample of canes for checking by hand is drawn. The zero
// Check draws none.
type Check struct {
	// Within is the wanted precision: how far the 95 % interval of the error
	// rate may reach to either side, as a share. Smaller draws more canes.
	Within float64
	// Expected is the error rate that is expected; 0 takes the one that needs
	// most canes, one half.
	Expected float64
	// Seed draws another sample.
	Seed uint64
}

// Drawn is one cane of the sample, with what a person said of it.
type Drawn struct {
	Photo  string `json:"photo"`
	SHA256 string `json:"sha256"`
	// With is the content of the second photo that it was measured together with.
	With string `json:"with_sha256,omitempty"`
	Cane int    `json:"cane"`
	Said string `json:"said"` // "" as long as nobody ruled
	Note string `json:"note,omitempty"`
	Who  string `json:"who,omitempty"`
}

// ErrorRate is what the checked sample says of all canes.
type ErrorRate struct {
	Canes   int `json:"canes"` // of the job
	Sample  int `json:"sample"`
	Checked int `json:"checked"`
	Wrong   int `json:"wrong"` // corrected or rejected
	// Rate has its interval by Wilson 1927; nil as long as none was checked.
	Rate *agreement.Bounded `json:"rate,omitempty"`
}

// draw takes a simple random sample: the canes with the smallest hashes of seed,
// photo and number. Which canes these are depends on nothing else, so more
// photos change the sample as little as can be, and what was checked stays.
func draw(facts []fact, c Check) ([]fact, error) {
	if c.Within == 0 {
		return nil, nil
	}
	// The same bytes under two names are one thing to look at.
	seen := map[string]bool{}
	type ranked struct {
		f    fact
		rank [32]byte
	}
	var all []ranked
	for _, f := range facts {
		key := fmt.Sprintf("%d %s %d", c.Seed, f.sha, f.cane)
		if !seen[key] {
			seen[key] = true
			all = append(all, ranked{f, sha256.Sum256([]byte(key))})
		}
	}
	n, err := agreement.SampleSize(len(all), c.Expected, c.Within)
	if err != nil {
		return nil, err
	}
	slices.SortFunc(all, func(a, b ranked) int { return bytes.Compare(a.rank[:], b.rank[:]) })
	var out []fact
	for _, r := range all[:n] {
		out = append(out, r.f)
	}
	slices.SortFunc(out, func(a, b fact) int { return cmp.Or(strings.Compare(a.photo, b.photo), cmp.Compare(a.cane, b.cane)) })
	return out, nil
}

// checked puts what persons said beside the drawn canes, and counts.
func (j *Job) checked(ctx context.Context, program string, drawn []fact, all int) ([]Drawn, ErrorRate, error) {
	rate := ErrorRate{Canes: all, Sample: len(drawn)}
	var out []Drawn
	for _, f := range drawn {
		d := Drawn{Photo: f.photo, SHA256: f.sha, With: f.with, Cane: f.cane}
		err := j.db.QueryRowContext(ctx, `SELECT said, note, who FROM checks WHERE sha256 = ? AND with_sha256 = ? AND program = ? AND cane = ? ORDER BY id DESC LIMIT 1`, f.sha, f.with, program, f.cane).Scan(&d.Said, &d.Note, &d.Who)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return nil, rate, err
		}
		if d.Said != "" {
			rate.Checked++
			if d.Said != string(assess.Agree) {
				rate.Wrong++
			}
		}
		out = append(out, d)
	}
	if rate.Checked > 0 {
		b, err := agreement.Wilson(rate.Wrong, rate.Checked)
		if err != nil {
			return nil, rate, err
		}
		rate.Rate = &b
	}
	return out, rate, nil
}

// Say keeps what a person said of a cane: agree when the finding stands,
// correct when something of it is wrong, reject when it is no cane. program is
// the one whose numbering of the canes is meant; with is the content of the
// second photo, "" for none.
func (j *Job) Say(ctx context.Context, program, sha, with string, cane int, said assess.Said, note, who string) error {
	switch said {
	case assess.Agree, assess.Correct, assess.Reject:
	default:
		return assess.Errorf(assess.EInvalid, "%q is no ruling: it's agree, correct or reject.", said)
	}
	who, err := store.CheckName(who, "Whoever checks")
	if err != nil {
		return err
	}
	if len(note) > 2000 {
		return assess.Errorf(assess.EInvalid, "The note is longer than 2000 letters. Shorten it.")
	}
	var n int
	if err := j.db.QueryRowContext(ctx, `SELECT count(*) FROM results WHERE sha256 = ? AND with_sha256 = ? AND program = ?`, sha, with, program).Scan(&n); err != nil {
		return err
	}
	if n == 0 {
		return assess.Errorf(assess.ENotFound, "This job has no such photo. Load the sample anew.")
	}
	_, err = j.db.ExecContext(ctx, `INSERT INTO checks (sha256, with_sha256, program, cane, said, note, who, at) VALUES (?,?,?,?,?,?,?,?)`, sha, with, program, cane, string(said), note, who, j.stamp())
	return err
}

// ReadChecks takes what persons said from a CSV file with the columns sha256,
// cane, said and who and, if wanted, note and with_sha256: the written sample,
// filled in. Rows without a said
// are passed over. It returns how many were new.
func (j *Job) ReadChecks(ctx context.Context, program string, r io.Reader, name string) (int, error) {
	n := 0
	err := readTable(r, name, []string{"sha256", "cane", "said", "who"}, func(line int, get func(string) string) error {
		said := strings.ToLower(get("said"))
		if said == "" {
			return nil
		}
		cane, err := strconv.Atoi(get("cane"))
		if err != nil {
			return fmt.Errorf("cane is %q, which is no number", get("cane"))
		}
		var was, note, who string
		err = j.db.QueryRowContext(ctx, `SELECT said, note, who FROM checks WHERE sha256 = ? AND with_sha256 = ? AND program = ? AND cane = ? ORDER BY id DESC LIMIT 1`, get("sha256"), get("with_sha256"), program, cane).Scan(&was, &note, &who)
		if err == nil && was == said && note == get("note") && who == get("who") {
			return nil
		}
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		n++
		return j.Say(ctx, program, get("sha256"), get("with_sha256"), cane, assess.Said(said), get("note"), get("who"))
	})
	return n, err
}

func writeSample(out io.Writer, drawn []Drawn) error {
	w := csv.NewWriter(out)
	if err := w.Write([]string{"photo", "cane", "said", "who", "note", "sha256", "with_sha256"}); err != nil {
		return err
	}
	for _, d := range drawn {
		if err := w.Write([]string{harmless(d.Photo), strconv.Itoa(d.Cane), d.Said, harmless(d.Who), harmless(d.Note), d.SHA256, d.With}); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// Sample draws canes as Write does, from all that was measured so far, with what
// was said of them.
func (j *Job) Sample(ctx context.Context, program string, m *Matcher, c Check) ([]Drawn, ErrorRate, error) {
	if c.Within == 0 {
		return nil, ErrorRate{}, nil
	}
	s, err := j.standOf(ctx, program, m)
	if err != nil {
		return nil, ErrorRate{}, err
	}
	var facts []fact
	err = j.each(ctx, program, "", 0, func(r record) error {
		if r.outcome != string(assess.Measured) || !s.counted[r.path] {
			return nil
		}
		m, err := r.measurement()
		if err != nil {
			return err
		}
		for i := range m.Canes {
			facts = append(facts, fact{photo: r.path, sha: r.sha, with: r.with, cane: m.Canes[i].ID})
		}
		return nil
	})
	if err != nil {
		return nil, ErrorRate{}, err
	}
	drawn, err := draw(facts, c)
	if err != nil {
		return nil, ErrorRate{}, err
	}
	return j.checked(ctx, program, drawn, len(facts))
}

// Has tells whether the job's folder has a photo of this path.
func (j *Job) Has(ctx context.Context, photoPath string) (bool, error) {
	var n int
	err := j.db.QueryRowContext(ctx, `SELECT count(*) FROM photos WHERE path = ? AND gone = 0`, photoPath).Scan(&n)
	return n > 0, err
}
