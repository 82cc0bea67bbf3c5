package batch

import (
	"bufio"
	"encoding/json"
	"io"

	"nodespan/assess"
)

// lines writes one JSON object a photo, by the contract of
// `nodespan measure --json`, timings left empty: they aren't the photo's.
type lines struct{ w *bufio.Writer }

func newLines(out io.Writer) *lines { return &lines{bufio.NewWriter(out)} }

func (l *lines) add(m *assess.Measurement) error {
	text, err := json.Marshal(m)
	if err != nil {
		return err
	}
	if _, err := l.w.Write(text); err != nil {
		return err
	}
	return l.w.WriteByte('\n')
}

func (l *lines) close() error { return l.w.Flush() }
