package api

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/figure"
	"nodespan/assess/store"
	"nodespan/web"
)

// mostSeasons is how many winters a distribution is drawn of: more can't be
// told apart.
const mostSeasons = 3

// blockYears is what the block's page says of its winters side by side; nil
// while nothing is recorded.
func (s *Server) blockYears(c echo.Context, b store.Block) (*web.BlockYears, error) {
	winters, err := s.store.BlockWinters(c.Request().Context(), b.ID)
	if err != nil || len(winters) == 0 {
		return nil, err
	}
	p := &web.BlockYears{}
	canes := 0
	for _, w := range winters {
		canes += w.Canes
		weak := w.Findings[assess.Weak] + w.Findings[assess.WeakAndShortNoded]
		short := w.Findings[assess.ShortNoded] + w.Findings[assess.WeakAndShortNoded]
		d, l := seasonOf(w.Winter, w.Diameters, 1), seasonOf(w.Winter, w.Internodes, 1)
		p.Winters = append(p.Winters, web.BlockYearLine{
			Winter: w.Winter, Vines: w.Vines, Decided: w.Decided, Undecided: w.Vines - w.Decided, Waits: w.Waits, Canes: w.Canes,
			Weak: s.share(c, weak, w.Canes), Short: s.share(c, short, w.Canes), Sound: s.share(c, w.Findings[assess.Sound], w.Canes),
			Vigorous: s.share(c, w.Findings[assess.OverVigorous], w.Canes), Close: s.share(c, w.Findings[assess.TooCloseToCall], w.Canes),
			Diameter: s.middleInWords(c, d, 1), Internode: s.middleInWords(c, l, 0),
		})
	}
	add := func(name string) {
		p.Figures = append(p.Figures, web.Figure{Path: fmt.Sprintf("/blocks/%d/figures/%s.svg", b.ID, name), Words: s.say(c, "blockyears.figure."+name)})
	}
	add("choices")
	if canes == 0 {
		return p, nil
	}
	add("findings")
	for _, f := range []string{"diameters", "internodes"} {
		add(f)
		if len(winters) > 1 {
			add(f + "-trend")
		}
	}
	return p, nil
}

func (s *Server) share(c echo.Context, n, of int) string {
	if of == 0 {
		return ""
	}
	return s.say(c, "blockyears.share", "n", n, "percent", s.number(c, 100*float64(n)/float64(of), 0))
}

func (s *Server) middleInWords(c echo.Context, q figure.Season, decimals int) string {
	if q.N == 0 {
		return ""
	}
	return s.told(c, assess.Tell("%s", assess.Length{MM: q.Middle, Decimals: decimals, Bare: true}))
}

// decimalSign is that of the reader's language, for what doesn't write its
// numbers by s.number.
func (s *Server) decimalSign(c echo.Context) string {
	return strings.Trim(s.number(c, 0.5, 1), "05")
}

// seasonOf reads quartiles, in units of per mm, off bins, evenly within each: half a bin is the most
// that they can be off.
func seasonOf(name string, bins []store.Bin, per float64) figure.Season {
	out := figure.Season{Name: name}
	for _, b := range bins {
		out.N += b.N
	}
	at := func(share float64) float64 {
		want := share * float64(out.N)
		below := 0.0
		for _, b := range bins {
			if n := float64(b.N); below+n >= want && n > 0 {
				return b.From + (b.To-b.From)*(want-below)/n
			} else {
				below += n
			}
		}
		return 0
	}
	if out.N > 0 {
		out.Quarter, out.Middle, out.Three = at(0.25)/per, at(0.5)/per, at(0.75)/per
	}
	return out
}

// blockFigure draws one figure of a block's winters.
func (s *Server) blockFigure(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	name, ok := strings.CutSuffix(c.Param("file"), ".svg")
	what, trend := strings.CutSuffix(name, "-trend")
	if !ok || !slices.Contains([]string{"diameters", "internodes", "diameters-trend", "internodes-trend", "findings", "choices"}, name) {
		return assess.Errorf(assess.ENotFound, "There is no such figure. Go to the block's page.")
	}
	winters, err := s.store.BlockWinters(c.Request().Context(), b.ID)
	if err != nil {
		return err
	}
	rules, err := rulesOf(b)
	if err != nil {
		return err
	}
	lines := []figure.Line{{At: rules.ShortNoded.Limit, Label: s.say(c, "finding.short_noded"), Dashed: true}}
	if what == "diameters" {
		lines = []figure.Line{{At: rules.Weak.Limit, Label: s.say(c, "finding.weak"), Dashed: true}, {At: rules.OverVigorous.Limit, Label: s.say(c, "finding.over_vigorous")}}
	}
	if name == "findings" || name == "choices" {
		return s.blockStacks(c, name, winters)
	}
	title, unit, decimal := s.say(c, "blockyears."+what), s.say(c, "blockyears.mm"), s.decimalSign(c)
	per := s.reader(c).MM() // to a unit of the axis
	for i := range lines {
		lines[i].At /= per
	}
	var svg template.HTML
	if trend {
		var seasons []figure.Season
		for _, w := range winters {
			seasons = append(seasons, seasonOf(w.Winter, binsOf(w, what), per))
		}
		svg, err = figure.Trend(decimal, title, unit, seasons, lines)
	} else {
		var seasons []figure.Distribution
		for _, w := range winters[max(0, len(winters)-mostSeasons):] {
			d := figure.Distribution{Name: w.Winter}
			for _, bin := range binsOf(w, what) {
				d.Steps = append(d.Steps, figure.Step{From: bin.From / per, To: bin.To / per, N: bin.N})
			}
			seasons = append(seasons, d)
		}
		svg, err = figure.Distributions(decimal, title, unit, s.say(c, "blockyears.percent"), seasons, lines)
	}
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "image/svg+xml", []byte(svg))
}

// blockStacks draws shares of findings, or choices made and waiting, winter by
// winter.
func (s *Server) blockStacks(c echo.Context, name string, winters []store.BlockWinter) error {
	var seasons []string
	made, waiting := figure.Part{Name: s.say(c, "blockyears.made")}, figure.Part{Name: s.say(c, "blockyears.undecided")}
	kinds := []assess.Finding{assess.Weak, assess.WeakAndShortNoded, assess.ShortNoded, assess.OverVigorous, assess.TooCloseToCall, assess.Sound}
	parts := make([]figure.Part, len(kinds))
	for i, k := range kinds {
		parts[i].Name = s.say(c, "finding."+string(k))
	}
	for _, w := range winters {
		seasons = append(seasons, w.Winter)
		made.Values, waiting.Values = append(made.Values, float64(w.Decided)), append(waiting.Values, float64(w.Vines-w.Decided))
		for i, k := range kinds {
			share := 0.0
			if w.Canes > 0 {
				share = 100 * float64(w.Findings[k]) / float64(w.Canes)
			}
			parts[i].Values = append(parts[i].Values, share)
		}
	}
	var svg template.HTML
	var err error
	if name == "choices" {
		svg, err = figure.Stacks(s.decimalSign(c), s.say(c, "blockyears.choices"), s.say(c, "blockyears.vines"), seasons, []figure.Part{made, waiting})
	} else {
		svg, err = figure.Stacks(s.decimalSign(c), s.say(c, "blockyears.findings"), s.say(c, "blockyears.percent"), seasons, parts)
	}
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "image/svg+xml", []byte(svg))
}

func binsOf(w store.BlockWinter, what string) []store.Bin {
	if what == "diameters" {
		return w.Diameters
	}
	return w.Internodes
}
