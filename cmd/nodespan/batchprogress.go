package main

import (
	"fmt"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"nodespan/assess/batch"
)

// lineEvery is how often progress is told where there is no terminal.
const lineEvery = 15 * time.Second

// progress tells how far a batch is: a bar on a terminal, plain lines in a log.
type progress struct {
	out   *os.File
	quiet bool
	live  bool
	bar   *progressbar.ProgressBar
	// For the lines:
	start, told time.Time
	from        int // photos that had an outcome when the first was told: its own time isn't known
	last        batch.Step
}

func newProgress(out *os.File, quiet bool) *progress {
	return &progress{out: out, quiet: quiet, live: term.IsTerminal(int(out.Fd()))}
}

// step hears of one photo; calls don't overlap.
func (p *progress) step(s batch.Step) {
	if s.Outcome == "failed" {
		if p.bar != nil {
			_ = p.bar.Clear()
		}
		fmt.Fprintf(p.out, "%s: %s\n", s.Path, s.Reason)
	}
	if p.quiet {
		return
	}
	if p.live {
		p.drawBar(s)
		return
	}
	if p.start.IsZero() {
		p.start, p.told, p.from = time.Now(), time.Now(), s.Done
		fmt.Fprintf(p.out, "%d of %d photos to measure\n", s.Total-s.Done+1, s.Total)
	}
	p.last = s
	if time.Since(p.told) >= lineEvery {
		p.line()
	}
}

func (p *progress) line() {
	p.told = time.Now()
	s := p.last
	rate := float64(s.Done-p.from) / time.Since(p.start).Seconds()
	text := fmt.Sprintf("%d of %d photos, %d refused, %d unreadable", s.Done, s.Total, s.Refused, s.Failed)
	if rate > 0 {
		text += fmt.Sprintf(", %.2f a second", rate)
	}
	if left := s.Total - s.Done; left > 0 && rate > 0 {
		text += fmt.Sprintf(", about %s left", (time.Duration(float64(left)/rate) * time.Second).Round(time.Second))
	}
	fmt.Fprintln(p.out, text)
}

func (p *progress) drawBar(s batch.Step) {
	if p.bar == nil || p.bar.GetMax() != s.Total {
		p.bar = progressbar.NewOptions(s.Total,
			progressbar.OptionSetWriter(p.out), progressbar.OptionShowCount(), progressbar.OptionShowIts(), progressbar.OptionSetItsString("photos"),
			progressbar.OptionSetPredictTime(true), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionFullWidth())
		// What an earlier run did isn't this one's speed.
		_ = p.bar.Set(s.Done - 1)
		p.bar.StartWithoutRender()
	}
	p.bar.Describe(fmt.Sprintf("%d refused, %d unreadable", s.Refused, s.Failed))
	_ = p.bar.Set(s.Done)
}

// end closes the bar, or tells the last line.
func (p *progress) end() {
	if p.bar != nil {
		_ = p.bar.Exit()
		fmt.Fprintln(p.out)
		p.bar = nil
	}
	if !p.start.IsZero() && !p.quiet {
		p.line()
	}
	p.start = time.Time{}
}
