package api

import (
	"encoding/csv"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/batch"
	"nodespan/assess/store"
)

// routesOfJobs serves jobs of many photos.
func (s *Server) routesOfJobs(e *echo.Echo, a *echo.Group) {
	e.GET("/jobs", s.jobsPage)
	e.GET("/jobs/:job", s.jobPage)
	e.GET("/jobs/:job/canes", s.jobCanesPage)
	e.GET("/jobs/:job/photo", s.jobPhotoPage)
	e.GET("/jobs/:job/picture/:size", s.jobPicture)
	a.GET("/jobs", s.listJobs)
	a.POST("/jobs", s.addJob)
	a.GET("/jobs/:job", s.getJob)
	a.POST("/jobs/:job", s.changeJob)
	a.DELETE("/jobs/:job", s.removeJob)
	a.GET("/jobs/:job/events", s.jobEvents)
	a.GET("/jobs/:job/uploaded", s.jobUploaded)
	a.POST("/jobs/:job/photos", s.addJobPhoto)
	a.POST("/jobs/:job/zip", s.addJobZip)
	a.GET("/jobs/:job/photos", s.jobOutcomes)
	a.POST("/jobs/:job/places", s.placeJobPhoto)
	a.GET("/jobs/:job/canes", s.jobCanes)
	a.GET("/jobs/:job/measurement", s.jobMeasurement)
	a.GET("/jobs/:job/sample", s.jobSample)
	a.POST("/jobs/:job/checks", s.checkJobCane)
	a.GET("/jobs/:job/files/:name", s.jobFile)
}

func jobPath(id int64) string { return "/jobs/" + strconv.FormatInt(id, 10) }

// jobAt opens the job that the address names.
func (s *Server) jobAt(c echo.Context) (store.Job, *openJob, error) {
	n, err := id(c, "job")
	if err != nil {
		return store.Job{}, nil, err
	}
	j, err := s.store.Job(c.Request().Context(), n)
	if err != nil {
		return j, nil, err
	}
	o, err := s.jobs.get(c.Request().Context(), n)
	return j, o, err
}

// openJobAt is the job that a request is about, without its row.
func (s *Server) openJobAt(c echo.Context) (*openJob, error) {
	_, o, err := s.jobAt(c)
	return o, err
}

func (s *Server) listJobs(c echo.Context) error {
	views, err := s.viewJobs(c)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, views)
}

func (s *Server) viewJobs(c echo.Context) ([]jobView, error) {
	ctx := c.Request().Context()
	all, err := s.store.Jobs(ctx, estateOf(c))
	if err != nil {
		return nil, err
	}
	out := []jobView{}
	for _, j := range all {
		o, err := s.jobs.get(ctx, j.ID)
		if err != nil {
			return nil, err
		}
		v, _, err := s.viewJob(c, j, o)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

// jobIn is what a person says of a job.
type jobIn struct {
	Name    string  `json:"name"`
	Pattern string  `json:"pattern,omitempty"` // the default one without
	Check   float64 `json:"check,omitempty"`
	Alone   bool    `json:"alone,omitempty"` // measure each photo by itself, also where two stances show one vine
}

func (s *Server) addJob(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	in, err := sent[jobIn](c)
	if err != nil {
		return err
	}
	if in.Pattern == "" {
		in.Pattern = batch.DefaultPattern
	}
	if err := checkJob(in.Pattern, in.Check); err != nil {
		return err
	}
	ctx := c.Request().Context()
	j, err := s.store.AddJob(ctx, store.Job{EstateID: estateOf(c), Name: in.Name, Pattern: in.Pattern, Check: in.Check, Alone: in.Alone, CreatedBy: name})
	if err != nil {
		return err
	}
	o, err := s.jobs.get(ctx, j.ID)
	if err != nil {
		return err
	}
	v, _, err := s.viewJob(c, j, o)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, v)
}

func checkJob(pattern string, check float64) error {
	if _, err := batch.ParsePattern(pattern); err != nil {
		return err
	}
	if !(check == 0 || check >= 0.005 && check < 0.5) {
		return assess.Errorf(assess.EInvalid, "The precision of the error rate is %g. Give a share from 0.005 to 0.5, such as 0.05, or 0 for no sample.", check)
	}
	return nil
}

// jobChange is what a person changes of a job; a field that isn't there stays.
type jobChange struct {
	Do      string            `json:"do,omitempty"` // "pause", "resume" or "retry"
	Pattern *string           `json:"pattern,omitempty"`
	RuleSet *string           `json:"rule_set,omitempty"` // name@version of the estate's; "" for the program's own
	Check   *float64          `json:"check,omitempty"`
	Alone   *bool             `json:"alone,omitempty"`
	Lists   map[string]string `json:"lists,omitempty"` // vines.csv, walk.csv, plan.csv: their text; "" takes one away
}

func (s *Server) changeJob(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	in, err := sent[jobChange](c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	if in.Pattern != nil {
		j.Pattern = *in.Pattern
	}
	if in.Check != nil {
		j.Check = *in.Check
	}
	if in.Alone != nil {
		j.Alone = *in.Alone
	}
	if in.RuleSet != nil {
		j.RuleSet = *in.RuleSet
		if _, err := s.jobs.rulesFor(ctx, j); err != nil {
			return err
		}
	}
	if err := checkJob(j.Pattern, j.Check); err != nil {
		return err
	}
	switch in.Do {
	case "":
	case "pause":
		j.Paused = true
	case "resume", "retry":
		j.Paused = false
	default:
		return assess.Errorf(assess.EInvalid, "%q is nothing that a job can do: it's pause, resume or retry.", in.Do)
	}
	if err := s.keepLists(j.ID, in.Lists); err != nil {
		return err
	}
	if err := s.store.SetJob(ctx, j); err != nil {
		return err
	}
	if in.Do == "retry" {
		if _, err := o.Retry(ctx, o.by()); err != nil {
			return err
		}
		if err := s.jobs.count(ctx, o); err != nil {
			return err
		}
	}
	if in.Do == "pause" {
		o.pause()
	} else {
		s.jobs.touch(o, in.Do != "")
	}
	v, _, err := s.viewJob(c, j, o)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, v)
}

// removeJob takes a job away for good.
func (s *Server) removeJob(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	if err := s.jobs.remove(c.Request().Context(), j, o); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// keepLists reads the lists that were given, and keeps them only when each can
// be read.
func (s *Server) keepLists(job int64, lists map[string]string) error {
	folder := s.store.JobFolder(job)
	for name, text := range lists {
		read, known := jobLists[name]
		if !known {
			return assess.Errorf(assess.EInvalid, "%q is no list of a job: there are vines.csv, walk.csv and plan.csv.", name)
		}
		if text == "" {
			continue
		}
		part, err := os.CreateTemp(folder, ".*.part")
		if err != nil {
			return err
		}
		_, err = part.WriteString(text)
		if err == nil {
			_, err = part.Seek(0, io.SeekStart)
		}
		if err == nil {
			err = read(part, &batch.Matcher{})
		}
		err = errors.Join(err, part.Close())
		if err == nil {
			err = os.Rename(part.Name(), filepath.Join(folder, name))
		}
		if err != nil {
			os.Remove(part.Name())
			return err
		}
	}
	for name, text := range lists {
		if text == "" {
			if err := os.Remove(filepath.Join(folder, name)); err != nil && !errors.Is(err, os.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}

func (s *Server) getJob(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	v, _, err := s.viewJob(c, j, o)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, v)
}

// calm is the least time between two events of a job: with small photos it
// changes many times a second.
const calm = 300 * time.Millisecond

// jobEvents tells how a job goes on, until the watcher leaves.
func (s *Server) jobEvents(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	events := beginEvents(c)
	ctx := c.Request().Context()
	once := c.QueryParam("once") != ""
	for {
		if j, err = s.store.Job(ctx, j.ID); err != nil {
			return err
		}
		v, changed, err := s.viewJob(c, j, o)
		if err != nil {
			return err
		}
		if gone, err := events.send(v); gone || err != nil {
			return err
		}
		if once {
			return nil
		}
		select {
		case <-ctx.Done():
			return nil
		case <-s.jobs.ctx.Done():
			return nil
		case <-changed:
		case <-time.After(heartbeat):
		}
		time.Sleep(calm)
	}
}

// jobOutcomes lists what became of each photo, by path.
func (s *Server) jobOutcomes(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	limit := 200
	if text := c.QueryParam("limit"); text != "" {
		if limit, err = strconv.Atoi(text); err != nil || limit < 1 || limit > 1000 {
			return assess.Errorf(assess.EInvalid, "limit is a number from 1 to 1000.")
		}
	}
	m, err := s.jobs.matcher(j, o)
	if err != nil {
		return err
	}
	out, err := o.Outcomes(c.Request().Context(), o.by(), m, c.QueryParam("after"), limit)
	if err != nil {
		return err
	}
	lines := []outcomeLine{}
	for _, x := range out {
		lines = append(lines, outcomeLine{x, strings.Join(s.toldAll(c, x.Why), " ")})
	}
	return c.JSON(http.StatusOK, lines)
}

// outcomeLine is an outcome with its reason in the language of the page that
// asked.
type outcomeLine struct {
	batch.Outcome
	Told string `json:"reason_told,omitempty"`
}

// placeIn says to which vine a photo belongs.
type placeIn struct {
	Path   string `json:"path"`
	Block  string `json:"block"`
	Row    int    `json:"row"`
	Vine   int    `json:"vine"`
	Stance string `json:"stance,omitempty"`
}

func (s *Server) placeJobPhoto(c echo.Context) error {
	name, o, in, err := handedIn[placeIn](c, s.openJobAt)
	if err != nil {
		return err
	}
	if err := o.SetPlace(c.Request().Context(), in.Path, batch.Place{Block: in.Block, Row: in.Row, Vine: in.Vine, Stance: in.Stance}, name); err != nil {
		return err
	}
	s.jobs.touch(o, false)
	return c.NoContent(http.StatusNoContent)
}

// caneColumns is the table of all canes as a page takes it: one list a column,
// texts as numbers into a list of texts, so that a hundred thousand canes are a
// few megabytes.
type caneColumns struct {
	Columns map[string]numbers  `json:"columns"`
	Texts   map[string][]string `json:"texts"`
}

// numbers are the values of a column; nil, null in JSON, where one isn't known.
type numbers []*float64

// Columns of the canes' table that the page shows, as batch.CaneRow names them.
// One that an older table lacks is empty.
var (
	caneNumbers = []string{"row", "vine", "cane", "diameter_mm", "diameter_low_mm", "diameter_high_mm", "internode_mm", "internode_low_mm", "internode_high_mm", "length_mm", "nodes", "depth_mm", "depth_low_mm", "depth_high_mm"}
	caneTexts   = []string{"photo", "block", "stance", "treatment", "finding", "counted"}
)

// jobCanes gives the canes of the written tables.
func (s *Server) jobCanes(c echo.Context) error {
	_, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	out := caneColumns{Columns: map[string]numbers{}, Texts: map[string][]string{}}
	for _, n := range append(slices.Clone(caneNumbers), caneTexts...) {
		out.Columns[n] = numbers{}
	}
	for _, n := range caneTexts {
		out.Texts[n] = []string{}
	}
	f, err := os.Open(filepath.Join(o.Dir(), "canes.csv"))
	if errors.Is(err, os.ErrNotExist) {
		return c.JSON(http.StatusOK, out)
	}
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return err
	}
	head = slices.Clone(head)
	at := map[string]int{}
	for _, n := range append(slices.Clone(caneNumbers), caneTexts...) {
		at[n] = slices.Index(head, n)
	}
	cell := func(row []string, n string) string {
		if at[n] < 0 {
			return ""
		}
		return row[at[n]]
	}
	known := map[string]map[string]float64{}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		for _, n := range caneNumbers {
			var v *float64
			if x, err := strconv.ParseFloat(cell(row, n), 64); err == nil {
				v = &x
			}
			out.Columns[n] = append(out.Columns[n], v)
		}
		for _, n := range caneTexts {
			if known[n] == nil {
				known[n] = map[string]float64{}
			}
			text := batch.Plain(cell(row, n))
			k, ok := known[n][text]
			if !ok {
				k = float64(len(out.Texts[n]))
				text = strings.Clone(text)
				known[n][text] = k
				out.Texts[n] = append(out.Texts[n], text)
			}
			out.Columns[n] = append(out.Columns[n], &k)
		}
	}
	return c.JSON(http.StatusOK, out)
}

// photoOf reads the path of a job's photo from the query.
func photoOf(c echo.Context) (string, error) {
	p := c.QueryParam("path")
	if p == "" {
		return "", assess.Errorf(assess.EInvalid, "The address names no photo: give its path.")
	}
	return p, nil
}

// jobMeasurementView is what was seen on a photo of a job.
type jobMeasurementView struct {
	assess.Measurement
	// Words has the sentences of the answer, by their English text, in the
	// language of the page that asked.
	Words map[string]string `json:"words,omitempty"`
}

func (s *Server) jobMeasurement(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	p, err := photoOf(c)
	if err != nil {
		return err
	}
	rules, err := s.jobs.rulesFor(c.Request().Context(), j)
	if err != nil {
		return err
	}
	m, err := o.Seen(c.Request().Context(), o.by(), p, rules)
	if err != nil {
		return err
	}
	var why []assess.Sentence
	for _, r := range m.Reasons {
		why = append(why, assess.Explain(r))
	}
	for i := range m.Canes {
		m.Canes[i] = forPage(m.Canes[i])
	}
	return c.JSON(http.StatusOK, jobMeasurementView{*m, s.words(c, []any{m.Canes, why})})
}

// sampleView is the drawn canes, with what was said of them.
type sampleView struct {
	Canes []batch.Drawn   `json:"canes"`
	Rate  batch.ErrorRate `json:"rate"`
}

func (s *Server) jobSample(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	m, err := s.jobs.matcher(j, o)
	if err != nil {
		return err
	}
	drawn, rate, err := o.Sample(c.Request().Context(), o.by(), m, batch.Check{Within: j.Check, Seed: 1})
	if err != nil {
		return err
	}
	if drawn == nil {
		drawn = []batch.Drawn{}
	}
	return c.JSON(http.StatusOK, sampleView{drawn, rate})
}

// checkIn is what a person says of a drawn cane.
type checkIn struct {
	SHA256 string      `json:"sha256"`
	With   string      `json:"with_sha256,omitempty"` // as the drawn cane has it
	Cane   int         `json:"cane"`
	Said   assess.Said `json:"said"`
	Note   string      `json:"note,omitempty"`
}

func (s *Server) checkJobCane(c echo.Context) error {
	name, o, in, err := handedIn[checkIn](c, s.openJobAt)
	if err != nil {
		return err
	}
	if err := o.Say(c.Request().Context(), o.by(), in.SHA256, in.With, in.Cane, in.Said, in.Note, name); err != nil {
		return err
	}
	s.jobs.touch(o, false)
	return c.NoContent(http.StatusNoContent)
}
