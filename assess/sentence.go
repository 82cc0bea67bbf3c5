package assess

import (
	"encoding/json"
	"fmt"
	"reflect"
	"regexp"
	"strconv"
)

// Sentence is something told to a person: an English text with places for
// values, as package fmt writes them, and the values. The English text with its
// places is the key by which catalogues have it in other languages, so that it
// must be written out where it's told (Tell, TellCount, Errorf, phrase), not
// put together from pieces: a test reads the keys from the code.
//
// As JSON it's the English sentence alone. A Phrase keeps the rest.
type Sentence struct {
	Text string // with its places; all there is of one from an old record
	// One is the text where Count is 1, "" for one that counts nothing.
	One   string
	Count int
	Args  []Arg
}

// Arg is a value in a place of a sentence: one of Said, List and Number, or
// else English, which is told as it is.
type Arg struct {
	English string     `json:"english,omitempty"` // as the English sentence has it
	Said    *Phrase    `json:"said,omitempty"`
	List    []Phrase   `json:"list,omitempty"`
	Between string     `json:"between,omitempty"` // what stands between those of List
	Number  *float64   `json:"number,omitempty"`
	Places  int        `json:"places,omitempty"` // decimals of Number; below 0 as many as it has
	Length  LengthSign `json:"length,omitempty"` // Number is a Length
}

// LengthSign says how a length is told.
type LengthSign string

// A length with its unit, and one whose unit stands elsewhere.
const (
	WithUnit    LengthSign = "unit"
	WithoutUnit LengthSign = "bare"
)

// Teller tells sentences in one language, with one unit for short lengths.
type Teller interface {
	// Text gives the language's text for an English one, in the form for count,
	// or for many when one is ""; the English one where the language has none.
	Text(english, one string, count int) string
	Number(v float64, decimals int) string
	// Length writes mm with its unit, or without.
	Length(mm float64, decimals int, unit bool) string
}

// Length is a short length, told in the unit of the reader.
type Length struct {
	MM       float64
	Decimals int  // of a millimetre; below 0 as many as it has
	Bare     bool // without the unit, which stands elsewhere
}

// worded is what has words of its own: a place, a finding.
type worded interface{ InWords() Sentence }

type sentences struct {
	all     []Sentence
	between string
}

// mm is a length to be told with its unit, with so many decimals of a
// millimetre; below 0 with as many as it has.
func mm(v float64, decimals int) Length { return Length{MM: v, Decimals: decimals} }

// joined are sentences to stand in one place.
func joined(all []Sentence, between string) sentences { return sentences{all, between} }

// String is the length in millimetres.
func (l Length) String() string {
	s := strconv.FormatFloat(l.MM, 'f', l.Decimals, 64)
	if l.Decimals < 0 {
		s = trimNumber(l.MM)
	}
	if l.Bare {
		return s
	}
	return s + " mm"
}

func (l sentences) String() string {
	s := ""
	for i, one := range l.all {
		if i > 0 {
			s += l.between
		}
		s += one.String()
	}
	return s
}

// Tell makes a sentence of an English text and what stands in its places.
func Tell(text string, args ...any) Sentence {
	s := Sentence{Text: text}
	for i, verb := range verbs.FindAllString(text, -1) {
		if i < len(args) {
			s.Args = append(s.Args, argOf(verb, args[i]))
		}
	}
	return s
}

// TellCount makes a sentence that counts something; one is its text where
// there's one of it. Both have the same places.
func TellCount(count int, one, text string, args ...any) Sentence {
	s := Tell(text, args...)
	s.One, s.Count = one, count
	return s
}

// cited is a title, a name or an address, which is the same in every language.
func cited(text string) Sentence { return Sentence{Text: "%s", Args: []Arg{{English: text}}} }

// phrase marks a text as one that's told to people, so that catalogues have it;
// it stands in data that isn't made of Sentences.
func phrase(text string) string { return text }

// verbs are fmt's, as far as sentences have them: no flags, no %%.
var verbs = regexp.MustCompile(`%(?:\[(\d)\])?(?:\.(\d))?[a-z]`)

func argOf(verb string, v any) Arg {
	a := Arg{English: fmt.Sprintf(verb, v)}
	number := func(n float64, places int) { a.Number, a.Places = &n, places }
	switch x := v.(type) {
	case Sentence:
		p := x.Phrase()
		a.Said, a.English = &p, ""
	case *Error:
		p := x.Sentence().Phrase()
		a.Said, a.English = &p, ""
	case error:
		a.English = x.Error()
	case worded:
		if verb != "%q" { // which quotes what somebody wrote
			p := x.InWords().Phrase()
			a.Said, a.English = &p, ""
		}
	case sentences:
		a.Between, a.English = x.between, ""
		for _, s := range x.all {
			a.List = append(a.List, s.Phrase())
		}
	case Length:
		number(x.MM, x.Decimals)
		a.Length = WithUnit
		if x.Bare {
			a.Length = WithoutUnit
		}
	case int:
		number(float64(x), 0)
	case int64:
		number(float64(x), 0)
	case float64:
		places := -1
		if m := verbs.FindStringSubmatch(verb); m[2] != "" {
			places, _ = strconv.Atoi(m[2])
		}
		if finite(x) {
			number(x, places)
		}
	}
	return a
}

// In tells the length as t does.
func (l Length) In(t Teller) string { return t.Length(l.MM, l.Decimals, !l.Bare) }

// In tells the sentence as t does.
func (s Sentence) In(t Teller) string {
	text := t.Text(s.Text, s.One, s.Count)
	next := 0
	return verbs.ReplaceAllStringFunc(text, func(verb string) string {
		i := next
		next++
		if m := verbs.FindStringSubmatch(verb); m[1] != "" {
			i, _ = strconv.Atoi(m[1])
			i--
		}
		if i < 0 || i >= len(s.Args) {
			return verb // a percent sign that's no place
		}
		return s.Args[i].in(t)
	})
}

func (a Arg) in(t Teller) string {
	switch {
	case a.Said != nil:
		return Sentence(*a.Said).In(t)
	case a.List != nil:
		out := ""
		for i, p := range a.List {
			if i > 0 {
				out += a.Between
			}
			out += Sentence(p).In(t)
		}
		return out
	case a.Number != nil && a.Length != "":
		return t.Length(*a.Number, a.Places, a.Length == WithUnit)
	case a.Number != nil && t != english:
		return t.Number(*a.Number, a.Places)
	}
	return a.English
}

// String is the sentence in English.
func (s Sentence) String() string { return s.In(english) }

// Empty tells whether nothing is said.
func (s Sentence) Empty() bool { return s.Text == "" }

// inEnglish tells sentences for the command line and for records.
type inEnglish struct{}

var english Teller = inEnglish{}

func (inEnglish) Text(text, one string, count int) string {
	if one != "" && count == 1 {
		return one
	}
	return text
}

func (inEnglish) Number(v float64, decimals int) string {
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

func (inEnglish) Length(v float64, decimals int, unit bool) string {
	return Length{v, decimals, !unit}.String()
}

// MarshalJSON writes the English sentence.
func (s Sentence) MarshalJSON() ([]byte, error) { return json.Marshal(s.String()) }

// UnmarshalJSON reads a sentence that was written so; in other languages it's
// told as it is, unless a catalogue has the whole of it.
func (s *Sentence) UnmarshalJSON(data []byte) error {
	*s = Sentence{}
	return json.Unmarshal(data, &s.Text)
}

// Texts gives sentences in English.
func Texts(all []Sentence) []string {
	var out []string
	for _, s := range all {
		out = append(out, s.String())
	}
	return out
}

// Phrase is a Sentence as records keep it beside its English text, so that it
// can still be told in any language.
type Phrase Sentence

// Phrase is the sentence as records keep it.
func (s Sentence) Phrase() Phrase { return Phrase(s) }

// KeptSentence is a sentence as a record has it: its English text, and beside it the
// JSON of its Phrase, "" in an old record. It fails for JSON that is none.
func KeptSentence(english, phrase string) (Sentence, error) {
	if phrase == "" {
		return Sentence{Text: english}, nil
	}
	var p Phrase
	if err := json.Unmarshal([]byte(phrase), &p); err != nil {
		return Sentence{Text: english}, fmt.Errorf("the phrase kept beside %q: %w", english, err)
	}
	return Sentence(p), nil
}

type phraseJSON struct {
	Text  string `json:"text"`
	One   string `json:"one,omitempty"`
	Count int    `json:"count,omitempty"`
	Args  []Arg  `json:"args,omitempty"`
}

// MarshalJSON writes text and values.
func (p Phrase) MarshalJSON() ([]byte, error) { return json.Marshal(phraseJSON(p)) }

// UnmarshalJSON reads what MarshalJSON writes.
func (p *Phrase) UnmarshalJSON(data []byte) error {
	var j phraseJSON
	if err := json.Unmarshal(data, &j); err != nil {
		return err
	}
	*p = Phrase(j)
	return nil
}

// EachSentence calls f with every sentence that v holds, however deep; v is a
// pointer where f changes them.
func EachSentence(v any, f func(*Sentence)) { eachSentence(reflect.ValueOf(v), f) }

var sentenceType = reflect.TypeFor[Sentence]()

func eachSentence(v reflect.Value, f func(*Sentence)) {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			eachSentence(v.Elem(), f)
		}
	case reflect.Slice, reflect.Array:
		if !holdsSentences(v.Type().Elem(), 0) {
			return
		}
		for i := range v.Len() {
			eachSentence(v.Index(i), f)
		}
	case reflect.Struct:
		if v.Type() == sentenceType {
			s := v.Interface().(Sentence)
			f(&s)
			if v.CanSet() {
				v.Set(reflect.ValueOf(s))
			}
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				eachSentence(v.Field(i), f)
			}
		}
	}
}

// holdsSentences spares walking the thousands of points of a trace.
func holdsSentences(t reflect.Type, depth int) bool {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice, reflect.Array:
		return holdsSentences(t.Elem(), depth)
	case reflect.Interface:
		return true
	case reflect.Struct:
		if t == sentenceType || depth > 8 {
			return true
		}
		for i := range t.NumField() {
			if holdsSentences(t.Field(i).Type, depth+1) {
				return true
			}
		}
	}
	return false
}

// PhrasesOf gives the sentences that v holds by their English text, for a
// record to keep. One that says nothing but its text isn't in it.
func PhrasesOf(v any) map[string]Phrase {
	out := map[string]Phrase{}
	EachSentence(v, func(s *Sentence) {
		if len(s.Args) > 0 {
			out[s.String()] = s.Phrase()
		}
	})
	return out
}

// Restore gives the sentences of *v, which were read from a record, what the
// record kept of them in phrases.
func Restore(v any, phrases map[string]Phrase) {
	EachSentence(v, func(s *Sentence) {
		if p, ok := phrases[s.Text]; ok && len(s.Args) == 0 {
			*s = Sentence(p)
		}
	})
}
