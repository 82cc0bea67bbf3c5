package web

import (
	"encoding/json"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
)

// Every catalogue has the keys of the English one and no others, the same
// places for values in each text, and no text that is empty where the English
// one isn't.
func TestCatalogues(t *testing.T) {
	p, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	if len(p.texts[Default]) < 500 {
		t.Errorf("only %d English texts", len(p.texts[Default]))
	}
	for tag, texts := range p.texts {
		for _, fault := range faults(p.texts[Default], texts) {
			t.Errorf("text/%s.json: %s", tag, fault)
		}
	}
}

var place = regexp.MustCompile(`\{[^{}]*\}`)

// faults lists what is wrong with texts as a translation of those in original.
func faults(original, texts map[string]string) []string {
	var out []string
	places := func(text string) string {
		return strings.Join(slices.Compact(slices.Sorted(slices.Values(place.FindAllString(text, -1)))), " ")
	}
	for _, key := range slices.Sorted(maps.Keys(original)) {
		text, ok := texts[key]
		switch want := places(original[key]); {
		case !ok:
			out = append(out, key+" is missing")
		case strings.TrimSpace(text) == "" && original[key] != "":
			out = append(out, key+" is empty")
		case places(text) != want:
			out = append(out, key+" has places for "+places(text)+", want "+want)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(texts)) {
		if _, ok := original[key]; !ok {
			out = append(out, key+" isn't an English key")
		}
	}
	return out
}

// What holds the catalogues against each other finds each kind of fault.
func TestFaultsOfCatalogues(t *testing.T) {
	original := map[string]string{"a": "row {row}, vine {vine}", "b": "two", "c": "three", "d": "four {n}"}
	texts := map[string]string{"a": "vigne {vine}, rang {row}", "b": " ", "d": "quatre {m}", "e": "cinq"}
	want := []string{"b is empty", "c is missing", "d has places for {m}, want {n}", "e isn't an English key"}
	if got := faults(original, texts); !slices.Equal(got, want) {
		t.Errorf("found %q, want %q", got, want)
	}
}

// pagesWith has the English texts and made-up catalogues alone, whatever other
// catalogues there are.
func pagesWith(t *testing.T, catalogues map[string]string) *Pages {
	t.Helper()
	p, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	maps.DeleteFunc(p.texts, func(tag string, _ map[string]string) bool { return tag != Default })
	maps.DeleteFunc(p.raw, func(tag string, _ []byte) bool { return tag != Default })
	for tag, text := range catalogues {
		if err := p.Add(tag, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// The language is picked by the weights of RFC 9110 section 12.5.4, a region's
// by its language, and English when nothing fits or the header makes no sense.
func TestLanguage(t *testing.T) {
	p := pagesWith(t, map[string]string{"fr": `{"app.card": "Carte"}`, "de": `{"app.card": "Karte"}`})
	for accept, want := range map[string]string{
		"": "en", "en-GB,en;q=0.9": "en", "xx,yy;q=0.5": "en", "xx, en;q=0.3": "en", "*": "en",
		"fr": "fr", "fr-CH, fr;q=0.9, en;q=0.8, de;q=0.7, *;q=0.5": "fr", // the RFC's kind of example
		"de;q=0.3, fr;q=0.7": "fr", "ja, de-AT;q=0.4": "de", "en;q=0.2, de": "de", "pt-BR": "en",
		"fr;q=x": "en", strings.Repeat("fr-", 5000): "en",
	} {
		if got := p.Language(accept); got != want {
			t.Errorf("Language(%.60q) = %q, want %q", accept, got, want)
		}
	}
}

// What a language has no text for is told in English, to templates and scripts
// alike.
func TestMissingTexts(t *testing.T) {
	p := pagesWith(t, map[string]string{"fr": `{"app.card": "Carte", "where": "{block}, rang {row}, cep {vine}"}`})
	if got := p.Text(Reader{Language: "en"}, "where", "block", "B", "row", 4, "vine", 7); got != "B, row 4, vine 7" {
		t.Errorf("text with values: %q", got)
	}
	if got := p.Text(Reader{Language: "fr"}, "where", "block", "B", "row", 4, "vine", 7); got != "B, rang 4, cep 7" {
		t.Errorf("French text with values: %q", got)
	}
	if got, want := p.Text(Reader{Language: "fr"}, "signin.do"), p.Text(Reader{Language: "en"}, "signin.do"); got != want {
		t.Errorf("missing text: %q, want %q", got, want)
	}
	data, ok := p.Catalogue("fr")
	var got map[string]string
	if err := json.Unmarshal(data, &got); !ok || err != nil {
		t.Fatal(ok, err)
	}
	if got["app.card"] != "Carte" || got["signin.do"] != p.Text(Reader{Language: "en"}, "signin.do") || len(got) != len(p.texts[Default]) {
		t.Errorf("catalogue for scripts: %d texts, %q, %q", len(got), got["app.card"], got["signin.do"])
	}
	names := p.Languages("fr")
	if len(names) != 2 || names[0].Name != "English" || names[1] != (LanguageOption{"fr", "français", true}) {
		t.Errorf("languages to choose from: %+v", names)
	}
	if err := p.Add("xx", []byte(`{}`)); err == nil {
		t.Error("a language whose dates nobody can write was taken")
	}
}

// Decimal signs and the order of a date, after Unicode CLDR's formats "decimal"
// and "medium date" of each language (from memory).
func TestNumbersAndDays(t *testing.T) {
	p := pagesWith(t, nil)
	local := time.Local
	time.Local = time.UTC
	t.Cleanup(func() { time.Local = local })
	at := time.Date(2027, 1, 9, 8, 5, 0, 0, time.UTC)
	for tag, want := range map[string]string{
		"en": "8.6 1234.0 0.5 9 Jan 2027, 08:05",
		"fr": "8,6 1234,0 0,5 9 janv. 2027, 08:05",
		"it": "8,6 1234,0 0,5 9 gen 2027, 08:05",
		"es": "8,6 1234,0 0,5 9 ene. 2027, 8:05",
		"de": "8,6 1234,0 0,5 09.01.2027, 08:05",
	} {
		got := strings.Join([]string{p.Number(tag, 8.6, 1), p.Number(tag, 1234, 1), p.Number(tag, 0.5, -1), p.Day(tag, at)}, " ")
		if got != want {
			t.Errorf("%s: %q, want %q", tag, got, want)
		}
	}
	if got := p.Number("de", 6, -1) + p.Number("de", 62.5, 0) + p.Day("de", time.Time{}); got != "662" {
		t.Errorf("whole numbers and no time: %q", got)
	}
}
