package batch

import (
	"context"
	"database/sql"
	"embed"
	"encoding/csv"
	"errors"
	"fmt"
	"html/template"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"nodespan/assess"
	"nodespan/assess/agreement"
)

//go:embed pages/*.html
var pageFiles embed.FS

var pages = template.Must(template.New("").Funcs(template.FuncMap{
	"mm":      func(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) },
	"percent": func(v float64) string { return strconv.FormatFloat(100*v, 'f', 1, 64) },
	"share": func(n, of int) string {
		if of == 0 {
			return "–"
		}
		return strconv.FormatFloat(100*float64(n)/float64(of), 'f', 1, 64)
	},
	"plain": func(reason any) string {
		text, _ := reason.(string)
		if p, ok := reason.(*string); ok {
			text = *p
		}
		return strings.ReplaceAll(text, "_", " ")
	},
	"words": func(f assess.Finding) string { return f.InWords().String() },
	"by":    func(m map[assess.Finding]int, f assess.Finding) int { return m[f] },
}).ParseFS(pageFiles, "pages/*.html"))

// summary is the model of the summary's page.
type summary struct {
	Version, RuleSet string
	Rules            []assess.Threshold
	T                *tally
	Canes            int // of the counted photos
	Deep             int // of them with depth
	D, L             Spread
	Findings         []assess.Finding
	Found            map[assess.Finding]int
	Blocks           []Compared
	Treatments       []Compared
	Reasons          []counted
	Figures          []template.HTML
	Outliers         []outlierCrop
	MoreRefusals     int
	MoreUnplaced     int
	Repeats          []repeatLine
	NoRepeat         string
	Rate             ErrorRate
	Check            Check
	Methods          string
}

type counted struct {
	Name, Words string
	N           int
}

type outlierCrop struct {
	Outlier
	Picture template.HTML
}

type repeatLine struct {
	What, Unit string
	R          agreement.Repeatability
}

// What the page lists at most; the rest stands in the tables.
const (
	listedOutliers = 12
	listedRefusals = 200
	// fewThings is how many canes or vines a standard deviation between readings
	// should have at least; with fewer its interval is very wide.
	fewThings = 10
)

// summarise makes the summary's model from the tally.
func (w *writer) summarise(ctx context.Context, sample []Drawn) (*summary, error) {
	t := w.tally
	rs := w.o.Rules
	s := &summary{
		Version: w.measuredBy(), RuleSet: rs.ID(), Rules: []assess.Threshold{rs.Weak, rs.ShortNoded, rs.OverVigorous},
		T: t, Canes: len(t.facts), D: spreadOf(known(t.facts, diameterOf)), L: spreadOf(known(t.facts, internodeOf)),
		Findings: assess.Findings(), Found: map[assess.Finding]int{}, Rate: w.out.ErrorRate, Check: w.o.Check,
	}
	for _, f := range t.facts {
		s.Found[f.finding]++
	}
	s.Deep = len(known(t.facts, depthOf))
	s.Blocks = t.compare(func(p Place) string { return p.Block })
	s.Treatments = t.compare(func(p Place) string { return p.Treatment })
	for _, r := range sortedKeys(t.reasons) {
		s.Reasons = append(s.Reasons, counted{string(r), assess.Explain(r).String(), t.reasons[r]})
	}
	slices.SortStableFunc(s.Reasons, func(a, b counted) int { return b.N - a.N })
	s.MoreRefusals, s.MoreUnplaced = max(0, len(t.refusals)-listedRefusals), max(0, len(t.unplaced)-listedRefusals)
	for _, q := range []struct {
		what, unit string
		groups     [][]float64
	}{
		{"diameter of the same cane", "mm", t.repeated(diameterOf)},
		{"internode length of the same cane", "mm", t.repeated(internodeOf)},
		{"median diameter of the same vine", "mm", t.vineMedians(diameterOf)},
		{"median internode length of the same vine", "mm", t.vineMedians(internodeOf)},
	} {
		r, err := agreement.Repeat(q.groups)
		if err != nil {
			s.NoRepeat = err.Error()
			continue
		}
		s.Repeats = append(s.Repeats, repeatLine{q.what, q.unit, r})
	}
	pictures := &crops{folder: w.o.Photos, upright: w.o.Upright}
	out := t.outliers(listedOutliers)
	for _, o := range out {
		crop := outlierCrop{Outlier: o}
		if m, err := w.job.seen(ctx, w.o.Program, o.Photo); err != nil {
			return nil, err
		} else if m != nil {
			if i := slices.IndexFunc(m.Canes, func(c assess.Cane) bool { return c.ID == o.Cane }); i >= 0 {
				crop.Picture = pictures.of(o.Photo, &m.Canes[i])
			}
		}
		s.Outliers = append(s.Outliers, crop)
	}
	var err error
	if s.Figures, err = figures(s, rs); err != nil {
		return nil, err
	}
	s.Methods = methods(s, w.o)
	return s, nil
}

func (w *writer) measuredBy() string {
	if w.version != "" {
		return w.version
	}
	return w.o.Version
}

func (s *summary) Refusals() []PhotoRow { return s.T.refusals[:min(len(s.T.refusals), listedRefusals)] }
func (s *summary) Unplaced() []PhotoRow { return s.T.unplaced[:min(len(s.T.unplaced), listedRefusals)] }

// Facts for the template, which can't see into the tally.
func (s *summary) Photos() int     { return s.T.photos }
func (s *summary) Measured() int   { return s.T.measured }
func (s *summary) Refused() int    { return s.T.refused }
func (s *summary) Failed() int     { return s.T.failed }
func (s *summary) Waiting() int    { return s.T.waiting }
func (s *summary) Same() int       { return s.T.same }
func (s *summary) Vines() int      { return len(s.T.vines) }
func (s *summary) Internodes() int { return s.T.internodes }
func (s *summary) Bare() int       { return s.T.bare }
func (s *summary) Further() int    { return s.T.further }
func (s *summary) Pairs() int      { return s.T.pairs }
func (s *summary) Deepened() int   { return s.T.deepened }
func (s *summary) Unknown() int    { return s.T.placedBy[""] }
func (s *summary) Few() bool {
	return slices.ContainsFunc(s.Repeats, func(r repeatLine) bool { return r.R.Things < fewThings })
}

// Placed lists in which ways photos found their vines.
func (s *summary) Placed() []counted {
	var out []counted
	for _, w := range []struct{ by, words string }{{byName, "by the file's name"}, {byList, "by the list"}, {byWalk, "by the time, on the walk list"}, {byHand, "by hand"}} {
		if n := s.T.placedBy[w.by]; n > 0 {
			out = append(out, counted{Words: w.words, N: n})
		}
	}
	return out
}
func (s *summary) Groups() map[string][]Compared {
	return map[string][]Compared{"Blocks": s.Blocks, "Treatments": s.Treatments}
}

func writeSummary(out io.Writer, s *summary) error {
	return pages.ExecuteTemplate(out, "summary.html", s)
}

// seen reads the measurement of one photo, nil when it has none.
func (j *Job) seen(ctx context.Context, program, photoPath string) (*assess.Measurement, error) {
	r := record{photo: photo{path: photoPath}}
	err := j.db.QueryRowContext(ctx, `SELECT r.measurement FROM photos p JOIN results r ON r.sha256 = p.sha256 AND r.with_sha256 = p.with_sha256 AND r.program = ? WHERE p.path = ?`, program, photoPath).Scan(&r.zipped)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return r.measurement()
}

// Seen reads the measurement of one photo, judged by rs; ENotFound when there
// is none.
func (j *Job) Seen(ctx context.Context, program, photoPath string, rs assess.RuleSet) (*assess.Measurement, error) {
	m, err := j.seen(ctx, program, photoPath)
	if err != nil {
		return nil, err
	}
	if m == nil {
		return nil, assess.Errorf(assess.ENotFound, "This job has no measurement of %s.", photoPath)
	}
	assess.Judge(m, rs)
	return m, nil
}

// samplePage writes the page on which the drawn canes are looked at.
func (w *writer) samplePage(ctx context.Context, out io.Writer, drawn []Drawn) error {
	type line struct {
		Drawn
		Picture             template.HTML
		Diameter, Internode string
		Nodes               int
		Finding             string
	}
	var lines []line
	pictures := &crops{folder: w.o.Photos, upright: w.o.Upright}
	for _, d := range drawn {
		m, err := w.job.seen(ctx, w.o.Program, d.Photo)
		if err != nil {
			return err
		}
		if m == nil {
			continue
		}
		i := slices.IndexFunc(m.Canes, func(c assess.Cane) bool { return c.ID == d.Cane })
		if i < 0 {
			continue
		}
		c := &m.Canes[i]
		assess.JudgeCane(c, w.o.Rules)
		lines = append(lines, line{d, pictures.of(d.Photo, c), spanned(c.Diameter), spanned(c.Internode), len(c.Nodes), c.Finding.InWords().String()})
	}
	return pages.ExecuteTemplate(out, "sample.html", struct {
		Lines []line
		Rate  ErrorRate
		Check Check
	}{lines, w.out.ErrorRate, w.o.Check})
}

func spanned(q assess.Interval) string {
	if !q.Known() {
		return "not measurable"
	}
	return strings.Replace(q.String(), " (", " mm (", 1)
}

// writeUnmatched lists the photos whose vine isn't known, in the form that
// ReadList reads: filled in, it says where they belong.
func writeUnmatched(out io.Writer, rows []PhotoRow) error {
	w := csv.NewWriter(out)
	if err := w.Write([]string{"photo", "block", "row", "vine", "stance", "taken_at", "outcome"}); err != nil {
		return err
	}
	for _, r := range rows {
		taken := ""
		if r.TakenAt != nil {
			taken = *r.TakenAt
		}
		if err := w.Write([]string{harmless(r.Photo), "", "", "", "", taken, r.Outcome}); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

// Title is a compared group's name beside the quantity, for the figures.
func (c Compared) Title() string { return fmt.Sprintf("%s (%d canes)", path.Base(c.Name), c.Canes) }
