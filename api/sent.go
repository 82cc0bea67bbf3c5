package api

import (
	"encoding/json"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

// afterBody is how long a handler may work once it has read what it needs.
const afterBody = 15 * time.Minute

// largestJSON bounds a JSON request: a ruling on a cane of a hundred nodes has
// about 10 kB.
const largestJSON = 4 << 20

// sent reads a request's body as In. A misspelt field doesn't pass unnoticed: a
// correction that silently did nothing would be believed. EInvalid for what
// can't be read.
func sent[In any](c echo.Context) (in In, err error) {
	d := json.NewDecoder(http.MaxBytesReader(c.Response(), c.Request().Body, largestJSON))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return in, assess.Errorf(assess.EInvalid, "The request can't be read. Load the page anew and try again: %w", err)
	}
	// What the handler then computes may take longer; what still comes behind the
	// JSON isn't waited for forever either.
	readUntil(c, time.Now().Add(afterBody))
	return in, nil
}

// handedIn opens a handler by which a person hands something in: who it is, the
// object that the address names, as at finds it, and what was sent.
func handedIn[In, Object any](c echo.Context, at func(echo.Context) (Object, error)) (name string, on Object, in In, err error) {
	if name, err = needWho(c); err != nil {
		return
	}
	if on, err = at(c); err != nil {
		return
	}
	in, err = sent[In](c)
	return
}
