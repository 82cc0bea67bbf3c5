package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// routesOfRules serves what a block is judged by and pruned to.
func (s *Server) routesOfRules(e *echo.Echo, a *echo.Group) {
	e.GET("/blocks/:block/rules", s.rulesPage)
	e.GET("/blocks/:block/figures/:file", s.blockFigure)
	e.GET("/blocks/:block/pairs", s.pairsPage)
	e.GET("/rule-sets/:file", s.ruleSetFile)
	a.GET("/blocks/:block/rules", s.getRules)
	a.POST("/blocks/:block/rules", s.changeRules)
	a.POST("/blocks/:block/rules/preview", s.previewRules)
	a.POST("/rule-sets/read", s.readRuleSet)
	e.GET("/forms/:file", s.formFile)
	a.POST("/forms/read", s.readForm)
	a.POST("/descriptor-tables", s.addDescriptorTable)
}

// rulesView is what the page of a block's rules needs beside what stands in it.
type rulesView struct {
	Seq     int              `json:"seq"`
	Rules   assess.RuleSet   `json:"rule_set"`
	Form    string           `json:"training_form"`
	Variety string           `json:"variety"`
	Spacing float64          `json:"spacing_m"`
	Divided bool             `json:"divided"`
	Formula string           `json:"formula"`
	Wood    woodIn           `json:"wood"`
	Sets    []assess.RuleSet `json:"rule_sets"`
	Canes   int              `json:"canes"`  // whose findings a preview counts
	Winter  string           `json:"winter"` // in which they stand
	Present string           `json:"present"`
}

// woodIn is what a grower says of the density of fresh cane, g/cm3; all zero
// for what the program assumes.
type woodIn struct {
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Source string  `json:"source"`
}

// latestWinter is the block's latest winter with a photo, "" when there's none.
func (s *Server) latestWinter(c echo.Context, b store.Block) (string, error) {
	ws, err := s.store.BlockWinters(c.Request().Context(), b.ID)
	if err != nil || len(ws) == 0 {
		return "", err
	}
	return ws[len(ws)-1].Winter, nil
}

func (s *Server) viewRules(c echo.Context, b store.Block) (rulesView, error) {
	ctx := c.Request().Context()
	v := rulesView{
		Form: b.TrainingForm, Variety: b.Variety, Spacing: b.SpacingM, Divided: b.Divided, Formula: b.Formula,
		Wood: woodIn{b.WoodLow, b.WoodHigh, b.WoodSource},
		Sets: []assess.RuleSet{}, Present: store.WinterOf(time.Now(), b.Southern),
	}
	var err error
	if v.Rules, err = rulesOf(b); err != nil {
		return v, err
	}
	history, err := s.store.BlockHistory(ctx, b.ID)
	if err != nil {
		return v, err
	}
	v.Seq = history[0].Seq
	sets, err := s.store.RuleSets(ctx, b.EstateID)
	if err != nil {
		return v, err
	}
	for _, l := range sets {
		v.Sets = append(v.Sets, l.Rules)
	}
	if v.Winter, err = s.latestWinter(c, b); err != nil {
		return v, err
	}
	v.Canes, err = s.store.CountCanesIn(ctx, b.ID, v.Winter)
	return v, err
}

func (s *Server) getRules(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	v, err := s.viewRules(c, b)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, v)
}

// previewRules tells what another rule set would change among the block's
// canes of its latest winter; nothing is kept.
func (s *Server) previewRules(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	type body struct {
		Rules assess.RuleSet `json:"rule_set"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	in.Rules.Version = max(1, in.Rules.Version)
	if err := in.Rules.Validate(); err != nil {
		return err
	}
	now, err := rulesOf(b)
	if err != nil {
		return err
	}
	winter, err := s.latestWinter(c, b)
	if err != nil {
		return err
	}
	canes, err := s.store.CanesIn(c.Request().Context(), b.ID, winter)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, map[string]any{
		"winter": winter, "effect": assess.Preview(canes, now, in.Rules), "each": assess.PreviewEach(canes, now, in.Rules),
	})
}

// changeRules keeps by what a block is judged and to what it is pruned.
func (s *Server) changeRules(c echo.Context) error {
	type body struct {
		After   int            `json:"after"` // Seq that the person had seen
		Rules   assess.RuleSet `json:"rule_set"`
		Form    string         `json:"training_form"`
		Own     *assess.Form   `json:"form"`   // instead of one that is known by name
		Winter  string         `json:"winter"` // from which it holds
		Variety string         `json:"variety"`
		Spacing float64        `json:"spacing_m"`
		Divided bool           `json:"divided"`
		Formula string         `json:"formula"`
		Wood    woodIn         `json:"wood"`
		All     bool           `json:"whole_variety"`
	}
	name, b, in, err := handedIn[body](c, s.blockAt)
	if err != nil {
		return err
	}
	form, text := b.TrainingForm, b.FormText
	if in.Own != nil || in.Form != b.TrainingForm {
		f, err := s.formFor(c.Request().Context(), b, in.Form, in.Own)
		if err != nil {
			return err
		}
		whole, err := json.Marshal(f)
		if err != nil {
			return err
		}
		form, text = f.ID(), string(whole)
	}
	if in.Formula != "" {
		if _, err := assess.FormulaByName(in.Formula); err != nil {
			return err
		}
	}
	in.Wood.Source = strings.TrimSpace(in.Wood.Source)
	if in.Wood != (woodIn{}) {
		w := assess.Wood{DensityLow: in.Wood.Low, DensityHigh: in.Wood.High, Source: in.Wood.Source}
		if err := w.Validate(); err != nil {
			return err
		}
	}
	in.Rules.Version = max(1, in.Rules.Version)
	if err := in.Rules.Validate(); err != nil {
		return err
	}
	changed, err := s.store.ChangeBlock(c.Request().Context(), b.ID, in.After, store.BlockChange{
		TrainingForm: form, FormText: text, RuleSet: in.Rules, Winter: in.Winter, Variety: strings.TrimSpace(in.Variety),
		SpacingM: in.Spacing, Divided: in.Divided, Formula: in.Formula, WoodLow: in.Wood.Low, WoodHigh: in.Wood.High, WoodSource: in.Wood.Source, WholeVariety: in.All,
	}, name)
	if err != nil {
		return err
	}
	v, err := s.viewRules(c, changed[0])
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, map[string]any{"rules": v, "blocks": len(changed)})
}

// knownForms are the forms that a block may be pruned to: those of the program
// and those that the estate's blocks were ever pruned to.
func (s *Server) knownForms(ctx context.Context, b store.Block) ([]assess.Form, error) {
	own, err := s.store.Forms(ctx, b.EstateID)
	if err != nil {
		return nil, err
	}
	out := assess.Forms()
	for _, f := range own {
		if !slices.ContainsFunc(out, func(k assess.Form) bool { return k.ID() == f.ID() }) {
			out = append(out, f)
		}
	}
	return out, nil
}

// formFor finds a form by its name, or takes one from a file: EConflict when
// another is known by the same name and version.
func (s *Server) formFor(ctx context.Context, b store.Block, id string, own *assess.Form) (assess.Form, error) {
	known, err := s.knownForms(ctx, b)
	if err != nil {
		return assess.Form{}, err
	}
	if own == nil {
		i := slices.IndexFunc(known, func(f assess.Form) bool { return f.ID() == id })
		if i < 0 {
			return assess.FormByName(id)
		}
		return known[i], nil
	}
	if own.Places == nil {
		own.Places = []assess.Place{}
	}
	if err := own.Validate(); err != nil {
		return *own, err
	}
	for _, f := range known {
		if f.ID() == own.ID() && !reflect.DeepEqual(f, *own) {
			return *own, assess.Errorf(assess.EConflict, "There is a training form %s that is another. Give yours the next version, or another name.", f.ID())
		}
	}
	return *own, nil
}

// readForm reads a training form's file, keeping nothing.
func (s *Server) readForm(c echo.Context) error {
	text, format, err := sentFile(c)
	if err != nil {
		return err
	}
	f, err := assess.ReadForm(text, format)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, map[string]any{"form": f})
}

// formFile gives a training form as a file, "name@version.yaml" or .toml.
func (s *Server) formFile(c echo.Context) error {
	file, err := url.PathUnescape(c.Param("file"))
	if err != nil {
		return assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	known, err := s.knownForms(c.Request().Context(), store.Block{EstateID: estateOf(c)})
	if err != nil {
		return err
	}
	format, err := assess.FormatOf(file)
	i := slices.IndexFunc(known, func(f assess.Form) bool { return strings.HasPrefix(file, f.ID()+".") })
	if err != nil || i < 0 {
		return assess.Errorf(assess.ENotFound, "There is no such training form. Pick one on a block's page of rules.")
	}
	data, err := assess.WriteForm(known[i], format)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Content-Disposition", "attachment; filename*=UTF-8''"+url.PathEscape(file))
	return c.Blob(http.StatusOK, "application/"+string(format)+"; charset=utf-8", data)
}

// fileIn is a rule set's or a table's file as a page sends it.
type fileIn struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// sentFile takes the file that a page sends: its text and the format that its
// name tells.
func sentFile(c echo.Context) ([]byte, assess.FileFormat, error) {
	in, err := sent[fileIn](c)
	if err != nil {
		return nil, "", err
	}
	format, err := assess.FormatOf(in.Name)
	return []byte(in.Text), format, err
}

// readRuleSet reads an imported file, keeping nothing: the page shows what it
// would change, and a person saves it.
func (s *Server) readRuleSet(c echo.Context) error {
	text, format, err := sentFile(c)
	if err != nil {
		return err
	}
	rs, err := assess.ReadRuleSet(text, format)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, map[string]any{"rule_set": rs})
}

func (s *Server) addDescriptorTable(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	text, format, err := sentFile(c)
	if err != nil {
		return err
	}
	t, err := assess.ReadDescriptorTable(text, format)
	if err != nil {
		return err
	}
	if err := s.store.AddDescriptorTable(c.Request().Context(), estateOf(c), t, name); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, map[string]any{"table": t})
}

// ruleSetFile gives a kept rule set as a file, "name@version.yaml" or .toml.
func (s *Server) ruleSetFile(c echo.Context) error {
	file, err := url.PathUnescape(c.Param("file"))
	if err != nil {
		return assess.Errorf(assess.ENotFound, "There is nothing under this address. Go to the start page.")
	}
	format, err := assess.FormatOf(file)
	if err != nil {
		return assess.Errorf(assess.ENotFound, "There is no such rule set. Let its name end in .yaml or .toml.")
	}
	id := file[:strings.LastIndex(file, ".")]
	l, err := s.store.RuleSet(c.Request().Context(), estateOf(c), id)
	if err != nil {
		return err
	}
	data, err := assess.WriteRuleSet(l.Rules, format)
	if err != nil {
		return err
	}
	saveAs(c, "attachment", file)
	return c.Blob(http.StatusOK, "application/"+string(format)+"; charset=utf-8", data)
}

func ruleSetPath(id, format string) string { return "/rule-sets/" + url.PathEscape(id+"."+format) }

func (s *Server) rulesPage(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	v, err := s.viewRules(c, b)
	if err != nil {
		return err
	}
	p := web.RulesPage{
		Frame: s.frame(c, "rules.title", "block", b.Name), ID: b.ID, RuleSet: b.RuleSet, Name: v.Rules.Name,
		Variety: b.Variety, Divided: b.Divided, Canes: v.Canes, CanesWinter: v.Winter, Winter: v.Present,
		YAML: ruleSetPath(b.RuleSet, "yaml"), TOML: ruleSetPath(b.RuleSet, "toml"),
	}
	if b.SpacingM > 0 {
		p.Spacing = fmt.Sprint(b.SpacingM)
	}
	assumed := assess.DefaultWood()
	p.WoodAssumed = s.toldText(c, assumed.Source)
	if b.WoodHigh > 0 {
		p.WoodLow, p.WoodHigh, p.WoodSource = fmt.Sprint(b.WoodLow), fmt.Sprint(b.WoodHigh), b.WoodSource
	}
	p.Script, p.Back = "rules", &web.Link{Text: b.Name, To: fmt.Sprintf("/blocks/%d", b.ID)}
	forms, err := s.knownForms(ctx, b)
	if err != nil {
		return err
	}
	for _, f := range forms {
		p.Forms = append(p.Forms, web.FormOption{ID: f.ID(), Title: s.toldText(c, f.Title), Source: s.toldText(c, f.Source), Default: f.ID() == b.TrainingForm})
	}
	p.FormYAML = "/forms/" + url.PathEscape(b.TrainingForm+".yaml")
	for _, f := range assess.BalancedFormulas() {
		p.Formulas = append(p.Formulas, web.FormulaOption{Name: f.Name, For: s.toldText(c, f.For), Source: f.Source, Chosen: f.Name == b.Formula})
	}
	for _, l := range v.Rules.Limits() {
		p.Limits = append(p.Limits, web.LimitField{
			Key: l.Name, Title: s.say(c, "rules.limit."+l.Name), Limit: fmt.Sprint(l.Threshold.Limit), Unit: l.Threshold.Unit,
			Meaning: l.Threshold.Meaning, Words: s.toldText(c, l.Threshold.Meaning), Source: l.Threshold.Source, Low: fmt.Sprint(l.Low), High: fmt.Sprint(l.High),
		})
	}
	history, err := s.store.BlockHistory(ctx, b.ID)
	if err != nil {
		return err
	}
	for _, h := range history {
		f, err := formOf(h.TrainingForm, h.FormText)
		if err != nil {
			return err
		}
		line := web.RulesLine{RuleSet: h.RuleSet, Form: s.toldText(c, f.Title), Winter: h.Winter, Who: h.Who, When: s.day(c, h.At), YAML: ruleSetPath(h.RuleSet, "yaml"), TOML: ruleSetPath(h.RuleSet, "toml")}
		p.History = append(p.History, line)
	}
	tables, err := s.store.DescriptorTables(ctx, b.EstateID)
	if err != nil {
		return err
	}
	for _, t := range append([]assess.DescriptorTable{assess.InternodeTable()}, tables...) {
		line := web.TableLine{ID: t.ID(), Quantity: s.say(c, "rules.quantity."+string(t.Quantity)), Source: t.Source}
		for _, k := range t.Classes {
			line.Classes = append(line.Classes, classInWords(s, c, k))
		}
		p.Tables = append(p.Tables, line)
	}
	sample, err := assess.WriteDescriptorTable(assess.InternodeTable(), assess.YAML)
	if err != nil {
		return err
	}
	p.TableSample = string(sample)
	return s.render(c, http.StatusOK, "rules", p)
}

func classInWords(s *Server, c echo.Context, k assess.DescriptorClass) string {
	name := s.told(c, k.InWords())
	if k.Note != "" {
		name = k.Note + " " + name
	}
	if k.Through == 0 {
		return s.say(c, "rules.class.open", "name", name, "from", s.number(c, k.From, -1))
	}
	return s.say(c, "rules.class", "name", name, "from", s.number(c, k.From, -1), "through", s.number(c, k.Through, -1))
}
