package api

import (
	"fmt"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/agreement"
	"nodespan/web"
)

// fewestForShare is how many rulings it takes before a share is told in per
// cent. Of fewer the 95 % interval is wider than 40 points, and a percentage
// would look like knowledge: the count is told instead. Common practice, no
// source.
const fewestForShare = 20

// shareOf tells n of all: as a percentage with its interval (Wilson's) where
// there are enough, else as the count alone.
func (s *Server) shareOf(c echo.Context, n, all int) string {
	if all < fewestForShare {
		return s.say(c, "pairs.count", "n", n, "all", all)
	}
	b, err := agreement.Wilson(n, all)
	if err != nil {
		return s.say(c, "pairs.count", "n", n, "all", all)
	}
	percent := func(v float64) string { return s.number(c, 100*v, 0) }
	return s.say(c, "pairs.share", "n", n, "all", all, "percent", percent(b.Value), "low", percent(b.Low), "high", percent(b.High))
}

// pairsPage tells how often the program was right in a block, by what people
// said of it, and what was typically wrong.
func (s *Server) pairsPage(c echo.Context) error {
	b, err := s.blockAt(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	winters, err := s.store.BlockWinters(ctx, b.ID)
	if err != nil {
		return err
	}
	winter := c.QueryParam("winter")
	pairs, err := s.store.Pairs(ctx, b.ID, winter)
	if err != nil {
		return err
	}
	t := assess.TallyPairs(pairs)
	here := fmt.Sprintf("/blocks/%d/pairs", b.ID)
	p := web.PairsPage{
		Frame: s.frame(c, "pairs.title"), Block: b.Name, Winter: winter, Ruled: t.Reported, Missed: t.Missed,
		Few: t.Reported > 0 && t.Reported < fewestForShare, Fewest: fewestForShare,
	}
	p.Back = &web.Link{Text: b.Name, To: fmt.Sprintf("/blocks/%d", b.ID)}
	p.Winters = append(p.Winters, web.WinterLink{Link: web.Link{Text: s.say(c, "pairs.all"), To: here}, Here: winter == ""})
	for _, w := range winters {
		p.Winters = append(p.Winters, web.WinterLink{
			Link: web.Link{Text: s.say(c, "vine.winter", "winter", w.Winter), To: here + "?winter=" + url.QueryEscape(w.Winter)}, Here: winter == w.Winter,
		})
	}
	if t.Reported+t.Missed == 0 {
		return s.render(c, http.StatusOK, "pairs", p)
	}
	if t.Reported > 0 {
		p.Cane = s.shareOf(c, t.Canes, t.Reported)
	}
	if t.Called > 0 {
		p.Stood = s.shareOf(c, t.Stood, t.Called)
	}
	p.Open, p.Settled = t.Reported-t.Called, t.Settled
	for _, as := range t.SettledAs {
		p.SettledAs = append(p.SettledAs, s.say(c, "pairs.wrong.finding", "from", s.say(c, "finding."+string(as.From)), "to", s.say(c, "finding."+string(as.To)), "n", as.N))
	}
	for _, f := range t.Findings {
		line := web.PairLine{Finding: s.say(c, "finding."+string(f.Finding)), Ruled: f.Ruled, Stood: s.shareOf(c, f.Stood, f.Ruled)}
		if assess.LeavesOpen(f.Finding) {
			line.Stood = s.say(c, "pairs.open.settled", "n", f.Settled)
		}
		p.Findings = append(p.Findings, line)
	}
	p.Wrong = s.typicallyWrong(c, t)
	if t.ByHand > 0 {
		p.ByHand = s.say(c, "pairs.hand", "n", t.ByHand, "held", s.shareOf(c, t.Held, t.ByHand))
		if out := t.ByHand - t.Held; out > 0 {
			p.ByHand += " " + s.say(c, "pairs.hand.out", "n", out, "thicker", t.ByHandThicker, "thinner", out-t.ByHandThicker)
		}
	}
	return s.render(c, http.StatusOK, "pairs", p)
}

// typicallyWrong lists what people corrected, the most frequent first by kind.
func (s *Server) typicallyWrong(c echo.Context, t assess.PairTally) []string {
	var out []string
	say := func(n int, key string, args ...any) {
		if n > 0 {
			out = append(out, s.say(c, key, append([]any{"n", n}, args...)...))
		}
	}
	for _, ch := range t.Changes {
		say(ch.N, "pairs.wrong.finding", "from", s.say(c, "finding."+string(ch.From)), "to", s.say(c, "finding."+string(ch.To)))
	}
	say(t.Missed, "pairs.wrong.missed")
	say(t.NotACane, "pairs.wrong.notacane")
	say(t.OldWood, "pairs.wrong.oldwood")
	say(t.NodesMore, "pairs.wrong.nodesmore", "nodes", t.NodesAdded)
	say(t.NodesFewer, "pairs.wrong.nodesfewer", "nodes", t.NodesTaken)
	say(t.NodesMoved, "pairs.wrong.nodesmoved")
	return out
}
