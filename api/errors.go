package api

import (
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

var statusOf = map[string]int{
	assess.EInvalid:  http.StatusUnprocessableEntity,
	assess.ETooLarge: http.StatusRequestEntityTooLarge,
	assess.ENotFound: http.StatusNotFound,
	assess.EConflict: http.StatusConflict,
	assess.ERefused:  http.StatusUnprocessableEntity,
	assess.EInternal: http.StatusInternalServerError,
	codeSignIn:       http.StatusUnauthorized,
	codeNotAllowed:   http.StatusForbidden,
	codeOtherPerson:  http.StatusForbidden,
	codeSlowDown:     http.StatusTooManyRequests,
	assess.EBusy:     http.StatusServiceUnavailable,
	codeSealFirst:    http.StatusForbidden,
}

// errorAnswer is the body of every answer that isn't a success.
type errorAnswer struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	// Now is what is there, after somebody else saved first.
	Now any `json:"now,omitempty"`
}

// phrase marks a text as one that's told to people, so that catalogues have it.
func phrase(text string) string { return text }

// refusal is an error with a status of its own.
func refusal(status int, message string) error {
	return &echo.HTTPError{Code: status, Message: message}
}

// writeError answers with JSON under /api and with a page elsewhere. What is
// ours and not the person's is told in one plain sentence and logged whole.
func (s *Server) writeError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	if wentAway(err, c) {
		s.log.Debug("whoever asked went away", "method", c.Request().Method, "path", c.Path(), "error", err)
		_ = c.NoContent(statusWentAway)
		return
	}
	status, answer := s.answerTo(err, c)
	var conflict *store.Conflict
	if errors.As(err, &conflict) {
		answer.Now = conflictView(conflict)
	}
	h := c.Response().Header()
	if status == http.StatusServiceUnavailable {
		h.Set("Retry-After", strconv.Itoa(int(math.Ceil(s.limits.ComeBack.Seconds()))))
	}
	var werr error
	switch {
	case c.Request().Method == http.MethodHead:
		werr = c.NoContent(status)
	case strings.HasPrefix(c.Request().URL.Path, "/api/"):
		werr = c.JSON(status, answer)
	default:
		p := web.ErrorPage{Frame: s.frame(c, "error.title"), Status: status, Message: answer.Message}
		if held := (&heldBackError{}); errors.As(err, &held) {
			p.Title, p.To = s.say(c, "exercise.heldback.title"), &web.Link{Text: s.say(c, "exercise.back"), To: held.exercise}
		}
		werr = s.render(c, status, "error", p)
	}
	if werr != nil {
		s.log.Error("an error could not be told", "error", werr, "about", err)
	}
}

// statusWentAway stands in the counts for requests that were given up before
// they were answered. Nobody reads it; HTTP has no status for it (RFC 9110).
const statusWentAway = 499

// wentAway tells that a request ended because whoever sent it closed the way:
// a page that was left while its pictures were still coming, say. What the
// person did wrong, or was too slow for, is told all the same.
func wentAway(err error, c echo.Context) bool {
	var told *assess.Error
	var he *echo.HTTPError
	return c.Request().Context().Err() != nil && !errors.As(err, &told) && !errors.As(err, &he)
}

func (s *Server) answerTo(err error, c echo.Context) (int, errorAnswer) {
	var he *echo.HTTPError
	if errors.As(err, &he) {
		code := assess.EInvalid
		message := fmt.Sprint(he.Message)
		switch {
		case he.Code == http.StatusNotFound:
			code, message = assess.ENotFound, phrase("There is nothing under this address. Go to the start page.")
		case he.Code >= 500:
			code = assess.EInternal
		}
		return he.Code, errorAnswer{Code: code, Message: s.toldText(c, message)}
	}
	code := assess.ErrorCode(err)
	status, known := statusOf[code]
	if !known {
		status = http.StatusInternalServerError
	}
	var ae *assess.Error
	if code == assess.EInternal && !errors.As(err, &ae) {
		s.log.Error("request failed", "method", c.Request().Method, "path", c.Path(), "error", err)
		return status, errorAnswer{Code: code, Message: s.told(c, assess.Tell("Something went wrong on our side. Nothing was changed. Try again; if it stays, look into the log."))}
	}
	if status >= 500 && code != assess.EBusy {
		s.log.Error("request failed", "method", c.Request().Method, "path", c.Path(), "error", err, beneath(err))
	}
	return status, errorAnswer{Code: code, Message: s.toldError(c, err)}
}

// beneath is what lies beneath the sentence that a person is told, for the log;
// nothing where nothing does.
func beneath(err error) slog.Attr {
	var told *assess.Error
	if errors.As(err, &told) && told.Err != nil {
		return slog.String("beneath", told.Err.Error())
	}
	return slog.Attr{}
}
