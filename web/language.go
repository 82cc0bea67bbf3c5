package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/go-playground/locales"
	"github.com/go-playground/locales/de"
	"github.com/go-playground/locales/en_GB"
	"github.com/go-playground/locales/es"
	"github.com/go-playground/locales/fr"
	"github.com/go-playground/locales/it"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/language/display"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

// Default is the language that every key has a text in.
const Default = "en"

// locals write dates, by language, after the Unicode CLDR. English is the
// British, since the trade's texts are.
var locals = map[string]locales.Translator{"de": de.New(), "en": en_GB.New(), "es": es.New(), "fr": fr.New(), "it": it.New()}

// LanguageOption is a language to choose, under the name that it has for
// itself.
type LanguageOption struct {
	Tag, Name string
	Chosen    bool
}

// Add takes a catalogue, a JSON object of keys and texts, as that of a
// language. It replaces one that is there; the one of Default comes first. An
// error names what is wrong with the catalogue. Not for while pages are
// rendered.
func (p *Pages) Add(tag string, catalogue []byte) error {
	var texts map[string]string
	if err := json.Unmarshal(catalogue, &texts); err != nil {
		return fmt.Errorf("texts in %q: %w", tag, err)
	}
	if locals[tag] == nil {
		return fmt.Errorf("texts in %q: how dates are written in it isn't known", tag)
	}
	// Scripts get every text from one file, so what a language lacks is filled
	// in here.
	whole := maps.Clone(texts)
	for key, text := range p.texts[Default] {
		if _, ok := whole[key]; !ok {
			whole[key] = text
		}
	}
	raw, err := json.Marshal(whole)
	if err != nil {
		return err
	}
	p.texts[tag], p.raw[tag] = texts, raw
	// The first is what the matcher answers when nothing fits.
	p.tags = []string{Default}
	for _, t := range slices.Sorted(maps.Keys(p.texts)) {
		if t != Default {
			p.tags = append(p.tags, t)
		}
	}
	var supported []language.Tag
	for _, t := range p.tags {
		supported = append(supported, language.MustParse(t))
	}
	p.matcher = language.NewMatcher(supported)
	return nil
}

// Speaks tells whether there are texts in a language.
func (p *Pages) Speaks(tag string) bool { return p.texts[tag] != nil }

// Languages lists the languages to choose from, now being the chosen one.
func (p *Pages) Languages(now string) []LanguageOption {
	var out []LanguageOption
	for _, t := range p.tags {
		out = append(out, LanguageOption{Tag: t, Name: display.Self.Name(language.MustParse(t)), Chosen: t == now})
	}
	return out
}

// Language picks the language that fits best what a browser asks for by its
// Accept-Language header (RFC 9110 section 12.5.4), Default when none does.
func (p *Pages) Language(accept string) string {
	wanted, _, err := language.ParseAcceptLanguage(accept)
	if err != nil {
		return Default
	}
	_, i, _ := p.matcher.Match(wanted...)
	return p.tags[i]
}

// Catalogue gives a language's texts as JSON, false when there is none. What
// the language has no text for stands there in Default.
func (p *Pages) Catalogue(tag string) ([]byte, bool) {
	data, ok := p.raw[tag]
	return data, ok
}

// A Reader is for whom something is written.
type Reader struct {
	Language string
	Inches   bool // for short lengths, instead of millimetres
}

const mmPerInch = 25.4 // exact by definition (international inch)

// MM is how many millimetres the reader's unit has.
func (r Reader) MM() float64 {
	if r.Inches {
		return mmPerInch
	}
	return 1
}

// Unit is the sign of the reader's unit of short lengths.
func (p *Pages) Unit(r Reader) string {
	if r.Inches {
		return p.Text(Reader{Language: r.Language}, "unit.in")
	}
	return p.Text(Reader{Language: r.Language}, "unit.mm")
}

// Length writes a length given in mm in the reader's unit, with so many
// decimals of a millimetre; below 0 with as many as it has. An inch gets two
// more, so that nothing is lost by it.
func (p *Pages) Length(r Reader, mm float64, decimals int, unit bool) string {
	v := mm
	if r.Inches {
		v = mm / mmPerInch
		if decimals < 0 {
			decimals = 0
		}
		decimals += 2
	}
	n := p.Number(r.Language, v, decimals)
	if !unit {
		return n
	}
	return p.Text(r, "unit.length", "length", n)
}

// Sentence gives a language's text for an English one; one is the English text
// where count is 1, "" where nothing is counted. Places stay as they are. What
// the language has no text for comes in English.
func (p *Pages) Sentence(tag, english, one string, count int) string {
	in, ok := p.sentences[tag][english]
	switch {
	case !ok && one != "" && count == 1:
		return one
	case !ok:
		return english
	case one != "" && in.One != "" && plural.Cardinal.MatchPlural(language.Make(tag), count, 0, 0, 0, 0) == plural.One:
		return in.One
	}
	return in.Other
}

// A sentence is the text in one language for an English one. One is its form
// for what the language's plural rules after the Unicode CLDR call one.
type sentence struct {
	One   string `json:"one"`
	Other string `json:"other"`
}

// UnmarshalJSON reads a text, or an object with its forms.
func (s *sentence) UnmarshalJSON(data []byte) error {
	if data[0] == '"' {
		return json.Unmarshal(data, &s.Other)
	}
	type forms sentence
	return json.Unmarshal(data, (*forms)(s))
}

// AddSentences takes a language's texts for sentences, a JSON object whose keys
// are the English ones. Not for while pages are rendered.
func (p *Pages) AddSentences(tag string, catalogue []byte) error {
	var texts map[string]sentence
	if err := json.Unmarshal(catalogue, &texts); err != nil {
		return fmt.Errorf("sentences in %q: %w", tag, err)
	}
	p.sentences[tag] = texts
	return nil
}

// Number writes a number for people to read, with the decimal sign of a
// language and without marks between thousands. decimals below 0 writes as
// many as the number has, up to six. Never for JSON or the value of a form.
func (p *Pages) Number(tag string, v float64, decimals int) string {
	digits := number.Scale(decimals)
	if decimals < 0 {
		digits = number.MaxFractionDigits(6)
	}
	return message.NewPrinter(language.Make(tag)).Sprint(number.Decimal(v, digits, number.NoSeparator()))
}

// Day writes a time for people to read, as a language has it, in the time zone
// of the machine; "" for the zero time.
func (p *Pages) Day(tag string, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	l := locals[tag]
	if l == nil {
		l = locals[Default]
	}
	t = t.Local()
	return l.FmtDateMedium(t) + ", " + l.FmtTimeShort(t)
}
