package api

import (
	"encoding/json"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
)

// blockView is a block as JSON.
type blockView struct {
	ID           int64  `json:"id"`
	Name         string `json:"name"`
	Rows         int    `json:"rows"`
	VinesPerRow  int    `json:"vines_per_row"`
	Southern     bool   `json:"southern"`
	TrainingForm string `json:"training_form"`
	RuleSet      string `json:"rule_set"`
	Winter       string `json:"winter"` // the present one
}

func viewBlock(b store.Block) blockView {
	return blockView{
		ID: b.ID, Name: b.Name, Rows: b.Rows, VinesPerRow: b.VinesPerRow, Southern: b.Southern,
		TrainingForm: b.TrainingForm, RuleSet: b.RuleSet, Winter: store.WinterOf(time.Now(), b.Southern),
	}
}

func (s *Server) listBlocks(c echo.Context) error {
	blocks, err := s.store.Blocks(c.Request().Context(), estateOf(c))
	if err != nil {
		return err
	}
	out := make([]blockView, len(blocks))
	for i, b := range blocks {
		out[i] = viewBlock(b)
	}
	return c.JSON(http.StatusOK, out)
}

func (s *Server) getBlock(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, viewBlock(b))
}

func (s *Server) blockAt(c echo.Context) (store.Block, error) {
	n, err := id(c, "block")
	if err != nil {
		return store.Block{}, err
	}
	return s.store.Block(c.Request().Context(), n)
}

// addBlock makes a block with the default rule set, whose whole text is kept
// with it: a changed default doesn't change what was judged by the old one.
func (s *Server) addBlock(c echo.Context) error {
	name, err := needWho(c)
	if err != nil {
		return err
	}
	type body struct {
		Name         string `json:"name"`
		Rows         int    `json:"rows"`
		VinesPerRow  int    `json:"vines_per_row"`
		Southern     bool   `json:"southern"`
		TrainingForm string `json:"training_form"`
	}
	in, err := sent[body](c)
	if err != nil {
		return err
	}
	b, err := NewBlock(in.Name, in.Rows, in.VinesPerRow, in.Southern, in.TrainingForm, assess.DefaultRuleSet(), name)
	if err != nil {
		return err
	}
	b.EstateID = estateOf(c)
	if b, err = s.store.AddBlock(c.Request().Context(), b); err != nil {
		return err
	}
	return c.JSON(http.StatusCreated, viewBlock(b))
}

// NewBlock makes a block that isn't kept yet, for store.AddBlock; EInvalid or
// ENotFound when form or rules can't be used.
func NewBlock(name string, rows, vinesPerRow int, southern bool, form string, rules assess.RuleSet, by string) (store.Block, error) {
	f, err := assess.FormByName(form)
	if err != nil {
		return store.Block{}, err
	}
	if err := rules.Validate(); err != nil {
		return store.Block{}, err
	}
	text, err := json.Marshal(rules)
	if err != nil {
		return store.Block{}, err
	}
	formText, err := json.Marshal(f)
	if err != nil {
		return store.Block{}, err
	}
	return store.Block{
		Name: name, Rows: rows, VinesPerRow: vinesPerRow, Southern: southern,
		TrainingForm: f.ID(), FormText: string(formText), RuleSet: rules.ID(), RuleSetText: string(text), CreatedBy: by,
	}, nil
}

// vineAt finds the vine that the address names; its ID is 0 when nothing was
// recorded of it.
func (s *Server) vineAt(c echo.Context) (store.Block, store.Vine, error) {
	b, err := s.blockAt(c)
	if err != nil {
		return b, store.Vine{}, err
	}
	row, err1 := strconv.Atoi(c.Param("row"))
	number, err2 := strconv.Atoi(c.Param("vine"))
	if err1 != nil || err2 != nil {
		return b, store.Vine{}, assess.Errorf(assess.ENotFound, "Rows and vines are named by numbers. Go to the block and pick one.")
	}
	v, err := s.store.FindVine(c.Request().Context(), b, row, number)
	return b, v, err
}

// getVine gives a vine's winters: photos, confirmed canes and the choice.
func (s *Server) getVine(c echo.Context) error {
	b, v, err := s.vineAt(c)
	if err != nil {
		return err
	}
	winters, err := s.winters(c.Request().Context(), v)
	if err != nil {
		return err
	}
	type photo struct {
		ID        int64                  `json:"id"`
		SHA256    string                 `json:"sha256"`
		Received  time.Time              `json:"received"`
		By        string                 `json:"by"`
		Outcome   assess.Outcome         `json:"outcome,omitempty"`
		Confirmed []assess.ConfirmedCane `json:"confirmed"`
	}
	type winter struct {
		Name   string          `json:"name"`
		Photos []photo         `json:"photos"`
		Choice json.RawMessage `json:"choice,omitempty"`
	}
	out := struct {
		Block   blockView `json:"block"`
		Row     int       `json:"row"`
		Vine    int       `json:"vine"`
		Winters []winter  `json:"winters"`
	}{Block: viewBlock(b), Row: v.Row, Vine: v.Number, Winters: []winter{}}
	for _, w := range winters {
		o := winter{Name: w.name, Photos: []photo{}}
		for _, g := range w.sightings {
			p := photo{ID: g.photo.ID, SHA256: g.photo.SHA256, Received: g.photo.ReceivedAt, By: g.photo.ReceivedBy, Confirmed: confirmedForPage(g.confirmed)}
			if g.measurement != nil {
				p.Outcome = g.measurement.Seen.Outcome
			}
			o.Photos = append(o.Photos, p)
		}
		if w.choice != nil {
			o.Choice = w.choice.Payload
		}
		out.Winters = append(out.Winters, o)
	}
	return c.JSON(http.StatusOK, out)
}

func confirmedForPage(canes []assess.ConfirmedCane) []assess.ConfirmedCane {
	out := make([]assess.ConfirmedCane, len(canes))
	copy(out, canes)
	for i := range out {
		out[i].Cane = forPage(out[i].Cane)
	}
	return out
}
