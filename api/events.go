package api

import (
	"encoding/json"
	"fmt"

	"github.com/labstack/echo/v4"
)

// An eventStream is an answer of server-sent events (HTML Living Standard,
// 9.2).
type eventStream struct{ w *echo.Response }

func beginEvents(c echo.Context) eventStream {
	w := c.Response()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no") // a proxy passes each on at once
	return eventStream{w}
}

// send sends v as one event; gone when nobody listens any more.
func (e eventStream) send(v any) (gone bool, err error) {
	data, err := json.Marshal(v)
	if err != nil {
		return false, err
	}
	if _, err := fmt.Fprintf(e.w, "data: %s\n\n", data); err != nil {
		return true, nil
	}
	e.w.Flush()
	return false, nil
}
