package api

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// listed is how many waiting photos the start page lists.
const listed = 12

// DemonstrationNotice is what stands on every page of a demonstration.
var DemonstrationNotice = phrase("A demonstration: an invented estate, drawn vines, invented people.")

func photoPath(id int64) string { return "/photos/" + strconv.FormatInt(id, 10) }

func vinePath(v store.Vine) string {
	return fmt.Sprintf("/blocks/%d/%d/%d", v.BlockID, v.Row, v.Number)
}

func (s *Server) frame(c echo.Context, title string, args ...any) web.Frame {
	f := web.Frame{Language: s.language(c), Title: s.say(c, title, args...), Who: who(c), Notice: s.toldText(c, s.notice), May: map[string]bool{}, Here: c.Request().URL.RequestURI()}
	f.Languages = s.pages.Languages(f.Language)
	f.Inches = s.reader(c).Inches
	k := callerOf(c)
	for a := range mayDo {
		f.May[string(a)] = k.may(a)
	}
	if k != nil {
		f.Estate = k.estate.Name
	}
	return f
}

// render writes a page, whole or not at all.
func (s *Server) render(c echo.Context, status int, page string, model any) error {
	var out bytes.Buffer
	if err := s.pages.Render(&out, s.reader(c), page, model); err != nil {
		return err
	}
	return c.HTMLBlob(status, out.Bytes())
}

func (s *Server) where(c echo.Context, b store.Block, v store.Vine) string {
	return s.say(c, "where", "block", b.Name, "row", v.Row, "vine", v.Number)
}

// titleOf is the title of the form that a block is pruned to now.
func titleOf(b store.Block) string {
	if f, err := formOf(b.TrainingForm, b.FormText); err == nil {
		return f.Title
	}
	return b.TrainingForm
}

func formTitle(id string) string {
	f, err := assess.FormByName(id)
	if err != nil {
		return id
	}
	return f.Title
}

func (s *Server) homePage(c echo.Context) error {
	ctx := c.Request().Context()
	blocks, err := s.store.Blocks(ctx, estateOf(c))
	if err != nil {
		return err
	}
	p := web.HomePage{Frame: s.frame(c, "home.title")}
	p.Script = "home"
	names := map[int64]store.Block{}
	for _, b := range blocks {
		names[b.ID] = b
		rows, err := s.store.RowCounts(ctx, b.ID)
		if err != nil {
			return err
		}
		l := web.BlockLine{ID: b.ID, Name: b.Name, Form: s.toldText(c, titleOf(b)), Rows: b.Rows, VinesPerRow: b.VinesPerRow}
		l.Recorded, l.Waits, l.Decided = count(rows)
		p.Blocks = append(p.Blocks, l)
	}
	waiting, n, err := s.store.Waiting(ctx, estateOf(c), listed)
	if err != nil {
		return err
	}
	p.More = n - len(waiting)
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return err
	}
	for _, w := range waiting {
		if hidden.vine(w.VineID) {
			continue // its page would be refused: see blind.go
		}
		v, err := s.store.Vine(ctx, w.VineID)
		if err != nil {
			return err
		}
		m, err := s.store.LatestGist(ctx, w.ID)
		if err != nil {
			return err
		}
		p.Waiting = append(p.Waiting, web.WaitingLine{
			Photo: w.ID, Where: s.where(c, names[v.BlockID], v), When: s.day(c, w.ReceivedAt), From: w.ReceivedBy, Canes: m.Canes,
		})
	}
	return s.render(c, http.StatusOK, "home", p)
}

func count(rows []store.RowCount) (recorded, waits, decided int) {
	for _, r := range rows {
		recorded, waits, decided = recorded+r.Vines, waits+r.Waits, decided+r.Decided
	}
	return
}

// goToVine takes block, row and vine as typed into a form to the vine's page.
func (s *Server) goToVine(c echo.Context) error {
	to := "/blocks/" + url.PathEscape(c.QueryParam("block")) + "/" + url.PathEscape(c.QueryParam("row")) + "/" + url.PathEscape(c.QueryParam("vine"))
	if c.QueryParam("then") == "photo" {
		to += "/photo"
	}
	return c.Redirect(http.StatusSeeOther, to)
}

func (s *Server) newBlockPage(c echo.Context) error {
	p := web.NewBlockPage{Frame: s.frame(c, "newblock.title")}
	p.Script, p.Back = "newblock", &web.Link{Text: s.say(c, "home.title"), To: "/"}
	for _, f := range assess.Forms() {
		p.Forms = append(p.Forms, web.FormOption{ID: f.ID(), Title: s.toldText(c, f.Title), Source: s.toldText(c, f.Source), Default: f.ID() == assess.DefaultForm().ID()})
	}
	return s.render(c, http.StatusOK, "newblock", p)
}

func (s *Server) ruleLines(c echo.Context, rs assess.RuleSet) []web.RuleLine {
	var out []web.RuleLine
	for _, t := range []assess.Threshold{rs.Weak, rs.ShortNoded, rs.OverVigorous, rs.LongNoded, rs.CutBeyond, rs.NearHead} {
		out = append(out, web.RuleLine{Limit: s.told(c, assess.Tell("%s", assess.Length{MM: t.Limit, Decimals: -1})), Meaning: s.toldText(c, t.Meaning), Source: s.toldText(c, t.Source)})
	}
	return out
}

func (s *Server) blockPage(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	rows, err := s.store.RowCounts(ctx, b.ID)
	if err != nil {
		return err
	}
	rules, err := rulesOf(b)
	if err != nil {
		return err
	}
	p := web.BlockPage{
		Frame: s.frame(c, "block.title", "block", b.Name), ID: b.ID, Name: b.Name, Form: s.toldText(c, titleOf(b)),
		RuleSet: b.RuleSet, Rules: s.ruleLines(c, rules), Rows: b.Rows, VinesPerRow: b.VinesPerRow,
	}
	p.Back = &web.Link{Text: s.say(c, "home.title"), To: "/"}
	p.Recorded, p.Waits, p.Done = count(rows)
	for _, r := range rows {
		p.Others = append(p.Others, web.RowLine{Row: r.Row, Vines: r.Vines, Waits: r.Waits})
	}
	p.Row = 1
	if len(p.Others) > 0 {
		p.Row = p.Others[0].Row
	}
	if n, err := strconv.Atoi(c.QueryParam("row")); err == nil && n >= 1 && n <= b.Rows {
		p.Row = n
	}
	p.Previous = p.Row - 1
	if p.Row < b.Rows {
		p.Next = p.Row + 1
	}
	states, err := s.store.RowStates(ctx, b.ID, p.Row)
	if err != nil {
		return err
	}
	there := map[int]store.VineState{}
	for _, v := range states {
		there[v.Number] = v
	}
	for n := 1; n <= b.VinesPerRow; n++ {
		v := there[n]
		state := "none"
		switch {
		case v.Chosen:
			state = "chosen"
		case v.Waiting > 0:
			state = "waits"
		case v.Ruled > 0:
			state = "ruled"
		case v.Photos > 0:
			state = "photo"
		}
		p.Vines = append(p.Vines, web.VineCell{
			Number: n, State: state, Words: s.say(c, "vine.state."+state), To: vinePath(store.Vine{BlockID: b.ID, Row: p.Row, Number: n}),
		})
	}
	hidden, err := s.hiddenVines(c)
	if err != nil {
		return err
	}
	if !hidden.inBlock(b.ID) {
		if p.Years, err = s.blockYears(c, b); err != nil {
			return err
		}
	}
	p.RowPDF = fmt.Sprintf("/blocks/%d/%d/plan.pdf", b.ID, p.Row)
	for _, v := range states {
		p.RowChosen = p.RowChosen || v.Chosen
	}
	return s.render(c, http.StatusOK, "block", p)
}

func (s *Server) addPhotoPage(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	now := time.Now()
	p := web.AddPhotoPage{
		Frame: s.frame(c, "addphoto.title"), Where: s.where(c, b, v), LimitMB: s.limits.UploadBytes >> 20,
		Upload: fmt.Sprintf("/api/blocks/%d/rows/%d/vines/%d/photos", b.ID, v.Row, v.Number),
		Winter: store.WinterOf(now, b.Southern),
	}
	p.Script, p.Back = "addphoto", &web.Link{Text: s.where(c, b, v), To: vinePath(v)}
	first, step, err := s.asSecond(c, v)
	if err != nil {
		return err
	}
	if first != 0 {
		p.Upload, p.Step = fmt.Sprintf("/api/photos/%d/second", first), step
		p.Title, p.Back = s.say(c, "second.title"), &web.Link{Text: s.where(c, b, v), To: photoPath(first)}
		return s.render(c, http.StatusOK, "addphoto", p)
	}
	for i := range 4 {
		p.Winters = append(p.Winters, store.WinterOf(now.AddDate(-i, 0, 0), b.Southern))
	}
	return s.render(c, http.StatusOK, "addphoto", p)
}

func (s *Server) photoPage(c echo.Context) error {
	ph, err := s.photoAt(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	if first, err := s.store.FirstOf(ctx, ph.ID); err != nil {
		return err
	} else if first != 0 {
		return c.Redirect(http.StatusSeeOther, photoPath(first))
	}
	g, err := s.sightingOf(ctx, ph)
	if err != nil {
		return err
	}
	st, err := s.photoState(ctx, ph)
	if err != nil {
		return err
	}
	p := web.PhotoPage{
		Frame: s.frame(c, "photo.title"), Where: s.where(c, g.block, g.vine), ID: ph.ID, State: st.State, Message: s.told(c, st.why),
		Measurement: st.Measurement, Picture: photoPath(ph.ID) + "/picture/medium.jpg", Full: photoPath(ph.ID) + "/picture/full.jpg",
		AddPhoto: vinePath(g.vine) + "/photo", Vine: vinePath(g.vine), Winter: ph.Winter, Received: s.day(c, ph.ReceivedAt), By: ph.ReceivedBy,
	}
	p.Back = &web.Link{Text: p.Where, To: p.Vine}
	page := "progress"
	switch st.State {
	case stateMeasured:
		page = "rule"
		if p.Last, err = s.lastWinter(c, g); err != nil {
			return err
		}
	case stateRefused:
		page = "refused"
		for _, r := range g.measurement.Seen.Reasons {
			p.Advice = append(p.Advice, s.told(c, assess.Explain(r)))
		}
		p.WidthPx, p.HeightPx = g.measurement.Seen.WidthPx, g.measurement.Seen.HeightPx
	}
	p.Script = page
	return s.render(c, http.StatusOK, page, p)
}

func (s *Server) choicePage(c echo.Context) error {
	ph, err := s.photoAt(c)
	if err != nil {
		return err
	}
	g, err := s.sightingOf(c.Request().Context(), ph)
	if err != nil {
		return err
	}
	if g.measurement == nil || len(g.confirmed) == 0 {
		return c.Redirect(http.StatusSeeOther, photoPath(ph.ID))
	}
	p := web.ChoicePage{
		Frame: s.frame(c, "choice.title"), Where: s.where(c, g.block, g.vine), Measurement: g.measurement.ID,
		Photo: photoPath(ph.ID), Vine: vinePath(g.vine), Cautions: s.cautions(c),
	}
	if p.Last, err = s.lastWinter(c, g); err != nil {
		return err
	}
	p.Script, p.Back = "choice", &web.Link{Text: p.Where, To: p.Vine}
	return s.render(c, http.StatusOK, "choice", p)
}

func (s *Server) cautions(c echo.Context) []web.Caution {
	var out []web.Caution
	for _, k := range assess.Cautions() {
		out = append(out, web.Caution{Text: s.told(c, k.Text), Source: s.told(c, k.Source)})
	}
	return out
}

func (s *Server) cardPage(c echo.Context) error {
	p := web.CardPage{Frame: s.frame(c, "card.title"), Here: s.card != nil, Kinds: []string{"checker", "bar"}}
	p.Back = &web.Link{Text: s.say(c, "home.title"), To: "/"}
	return s.render(c, http.StatusOK, "card", p)
}

func (s *Server) aboutPage(c echo.Context) error {
	rs := assess.DefaultRuleSet()
	p := web.AboutPage{Frame: s.frame(c, "about.title"), Program: s.program, Cautions: s.cautions(c), Rules: s.ruleLines(c, rs), RuleSet: rs.ID()}
	p.Back = &web.Link{Text: s.say(c, "home.title"), To: "/"}
	return s.render(c, http.StatusOK, "about", p)
}
