package api

import (
	"errors"

	"github.com/labstack/echo/v4"

	"nodespan/assess"
	"nodespan/web"
)

// A teller tells what package assess says in the language and the unit of a
// reader.
type teller struct {
	pages  *web.Pages
	reader web.Reader
}

func (t teller) Text(english, one string, count int) string {
	return t.pages.Sentence(t.reader.Language, english, one, count)
}

func (t teller) Number(v float64, decimals int) string {
	return t.pages.Number(t.reader.Language, v, decimals)
}

func (t teller) Length(mm float64, decimals int, unit bool) string {
	return t.pages.Length(t.reader, mm, decimals, unit)
}

func (s *Server) teller(c echo.Context) teller { return teller{s.pages, s.reader(c)} }

// told gives a sentence in the language of the request.
func (s *Server) told(c echo.Context, what assess.Sentence) string { return what.In(s.teller(c)) }

// toldAll gives sentences so.
func (s *Server) toldAll(c echo.Context, what []assess.Sentence) []string {
	var out []string
	for _, w := range what {
		out = append(out, s.told(c, w))
	}
	return out
}

// toldText gives a text that is told to people, but kept as a string: a
// default's meaning or source is in the catalogues, a grower's own is told as
// it was written.
func (s *Server) toldText(c echo.Context, text string) string {
	return s.told(c, assess.Sentence{Text: text})
}

// toldError gives an error's sentence so.
func (s *Server) toldError(c echo.Context, err error) string {
	var e *assess.Error
	if errors.As(err, &e) && e.Message == err.Error() {
		return s.told(c, e.Sentence())
	}
	return err.Error()
}

// say gives a text in the language of the request. Of what stands in its
// places, sentences, lengths, places and findings are told in it as well.
func (s *Server) say(c echo.Context, key string, args ...any) string {
	t := s.teller(c)
	in := make([]any, len(args))
	for i, a := range args {
		switch x := a.(type) {
		case interface{ In(assess.Teller) string }:
			in[i] = x.In(t)
		case interface{ InWords() assess.Sentence }:
			in[i] = x.InWords().In(t)
		default:
			in[i] = a
		}
	}
	return s.pages.Text(t.reader, key, in...)
}

// words gives each sentence in v in the language of the request, by its
// English text: an answer has sentences in English for programs, and pages
// look up here what they show. nil where the reader reads English and mm.
func (s *Server) words(c echo.Context, v any) map[string]string {
	t := s.teller(c)
	if t.reader == (web.Reader{Language: web.Default}) {
		return nil
	}
	out := map[string]string{}
	assess.EachSentence(v, func(x *assess.Sentence) {
		english := x.String()
		if in := x.In(t); in != english {
			out[english] = in
		}
	})
	return out
}
