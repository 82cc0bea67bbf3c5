package api

import (
	"fmt"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"nodespan/assess/batch"
	"nodespan/web"
)

func (s *Server) jobsPage(c echo.Context) error {
	views, err := s.viewJobs(c)
	if err != nil {
		return err
	}
	p := web.JobsPage{Frame: s.frame(c, "jobs.title"), Pattern: batch.DefaultPattern}
	p.Script, p.Back = "jobs", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	for _, v := range views {
		p.Jobs = append(p.Jobs, web.JobLine{
			To: v.Page, Name: v.Name, By: v.By, When: s.day(c, v.At), State: s.say(c, "job.doing."+v.Doing),
			Photos: v.Counts.Photos, Done: v.Counts.Done(),
		})
	}
	return s.render(c, http.StatusOK, "jobs", p)
}

// shownFiles are the written files that a page offers, in this order.
var shownFiles = []string{
	"summary.html", "sample.html", "canes.csv", "photos.csv", "internodes.csv", "tables.xlsx", "canes.parquet", "photos.parquet", "internodes.parquet",
	"dictionary.csv", "measurements.jsonl", "brapi-observations.json", "methods.txt", "unmatched.csv", "sample.csv", batch.RunFile,
}

func (s *Server) jobPage(c echo.Context) error {
	j, o, err := s.jobAt(c)
	if err != nil {
		return err
	}
	v, _, err := s.viewJob(c, j, o)
	if err != nil {
		return err
	}
	p := web.JobPage{Frame: s.frame(c, "job.title", "name", j.Name), ID: j.ID, Name: j.Name, Pattern: j.Pattern, Check: j.Check, Alone: j.Alone, Canes: v.Page + "/canes", LimitMB: s.limits.UploadBytes >> 20}
	p.Script, p.Back = "job", &web.Link{Text: s.say(c, "jobs.title"), To: "/jobs"}
	sets, err := s.store.RuleSets(c.Request().Context(), j.EstateID)
	if err != nil {
		return err
	}
	p.RuleSet = j.RuleSet
	for _, l := range sets {
		p.RuleSets = append(p.RuleSets, l.Rules.ID())
	}
	for _, name := range shownFiles {
		p.Files = append(p.Files, web.FileLine{Name: name, To: fmt.Sprintf("/api/jobs/%d/files/%s", j.ID, name), What: s.say(c, "job.file."+name)})
	}
	return s.render(c, http.StatusOK, "job", p)
}

func (s *Server) jobCanesPage(c echo.Context) error {
	j, _, err := s.jobAt(c)
	if err != nil {
		return err
	}
	p := web.JobCanesPage{Frame: s.frame(c, "jobcanes.title", "name", j.Name), ID: j.ID, Name: j.Name, Photo: jobPath(j.ID) + "/photo"}
	p.Script, p.Back = "jobcanes", &web.Link{Text: j.Name, To: jobPath(j.ID)}
	return s.render(c, http.StatusOK, "jobcanes", p)
}

func (s *Server) jobPhotoPage(c echo.Context) error {
	j, _, err := s.jobAt(c)
	if err != nil {
		return err
	}
	path, err := photoOf(c)
	if err != nil {
		return err
	}
	q := "?path=" + url.QueryEscape(path)
	p := web.JobPhotoPage{
		Frame: s.frame(c, "jobphoto.title"), ID: j.ID, Path: path, Cane: c.QueryParam("cane"), Sample: c.QueryParam("sample") != "",
		Medium: jobPath(j.ID) + "/picture/medium.jpg" + q, Full: jobPath(j.ID) + "/picture/full.jpg" + q, Canes: jobPath(j.ID) + "/canes",
	}
	p.Script, p.Back = "jobphoto", &web.Link{Text: j.Name, To: jobPath(j.ID)}
	return s.render(c, http.StatusOK, "jobphoto", p)
}
