package api

import (
	"fmt"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"nodespan/assess/store"
)

// translated is a catalogue with few texts, of its own so that the test needs
// no other: what it lacks comes in English.
const translated = `{
	"app.language": "Sprache", "app.language.use": "Nehmen", "app.card": "Maßstabskarte",
	"home.title": "Anfang", "where": "{block}, Zeile {row}, Stock {vine}",
	"signin.title": "Anmelden", "about.title": "Was die Zahlen bedeuten"
}`

// ask gets a page as somebody's browser would, with more cookies and headers.
func (r *rig) ask(path, accept string, cookies ...*http.Cookie) *http.Response {
	r.t.Helper()
	q, err := http.NewRequest(http.MethodGet, r.http.URL+path, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	q.Header.Set("Accept-Language", accept)
	q.AddCookie(&http.Cookie{Name: r.server.cookieName(), Value: r.session("Ada")})
	for _, k := range cookies {
		q.AddCookie(k)
	}
	a, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(q)
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { a.Body.Close() })
	return a
}

// A page comes in the language that was chosen, else in the one that the
// browser asks for, else in English; caches are told so.
func TestPageInAnotherLanguage(t *testing.T) {
	r := newRig(t)
	if err := r.server.pages.Add("de", []byte(translated)); err != nil {
		t.Fatal(err)
	}
	r.view()
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, nil)
	r.post("/api/blocks/1/rows/4/vines/7/sayings", fmt.Sprintf(`{"winter":%q,"kind":"harvest","cane":0,"payload":{"kg":2.5}}`, store.WinterOf(time.Now(), false)), http.StatusCreated, nil)
	measured := regexp.MustCompile(`\d+([.,])\d \(\d+[.,]\d to \d+[.,]\d\)`)
	for accept, sign := range map[string]string{"en": ".", "de": ","} {
		if m := measured.FindStringSubmatch(bodyOf(t, r.ask("/blocks/1/4/7", accept))); m == nil || m[1] != sign {
			t.Errorf("a diameter for %q: %q, want the decimal sign %q", accept, m, sign)
		}
	}
	chosen := func(l string) *http.Cookie { return &http.Cookie{Name: r.server.languageCookie(), Value: l} }
	for name, c := range map[string]struct {
		path, accept string
		cookies      []*http.Cookie
		want, not    []string
	}{
		"as the browser asks":       {"/blocks/1/4/7", "de-CH, en;q=0.5", nil, []string{`<html lang="de">`, "Zeile 4, Stock 7", "Maßstabskarte"}, []string{"row 4, vine 7"}},
		"as chosen":                 {"/blocks/1/4/7", "en", []*http.Cookie{chosen("de")}, []string{`<html lang="de">`, "Zeile 4, Stock 7", `<option value="de" lang="de" selected>Deutsch</option>`}, nil},
		"English chosen":            {"/blocks/1/4/7", "de", []*http.Cookie{chosen("en")}, []string{`<html lang="en">`, "row 4, vine 7", `name="to" value="/blocks/1/4/7"`}, []string{"Zeile"}},
		"a choice that isn't there": {"/blocks/1/4/7", "de", []*http.Cookie{chosen("../en")}, []string{`<html lang="de">`}, nil},
		"neither is there":          {"/blocks/1/4/7", "xx", nil, []string{`<html lang="en">`}, nil},
		"what isn't translated":     {"/about", "de", nil, []string{"Was die Zahlen bedeuten", "Cautions"}, nil},
		"the value of a form":       {"/blocks/1/4/7", "de", nil, []string{`value="2.5"`}, []string{`value="2,5"`}},
		"an error":                  {"/blocks/1/99/1", "de", nil, []string{`<html lang="de">`, "Maßstabskarte"}, nil},
	} {
		a := r.ask(c.path, c.accept, c.cookies...)
		text := bodyOf(t, a)
		for _, want := range c.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q in the page: %.3000s", name, want, text)
			}
		}
		for _, not := range c.not {
			if strings.Contains(text, not) {
				t.Errorf("%s: %q in the page", name, not)
			}
		}
		if v := a.Header.Get("Vary"); v != "Accept-Language, Cookie" {
			t.Errorf("%s: Vary %q", name, v)
		}
	}
	// JSON has its numbers, times and sentences as ever; what those are in the
	// reader's language stands beside them.
	words := regexp.MustCompile(`,"words":\{.*?\}`)
	english, german := bodyOf(t, r.ask("/api/measurements/1", "en")), bodyOf(t, r.ask("/api/measurements/1", "de", chosen("de")))
	if words.MatchString(english) || !words.MatchString(german) {
		t.Error("words beside the English sentences: in an English answer, or not in a German one")
	}
	if german = words.ReplaceAllString(german, ""); english != german || !strings.Contains(english, `"low":`) {
		t.Errorf("JSON for a page in English and in German differ: %d and %d bytes", len(english), len(german))
	}
}

func bodyOf(t *testing.T, a *http.Response) string {
	t.Helper()
	data, err := io.ReadAll(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// The language is kept by a plain form, without scripts, and only when one's
// own page sends it.
func TestChooseLanguage(t *testing.T) {
	r := newRig(t)
	if err := r.server.pages.Add("de", []byte(translated)); err != nil {
		t.Fatal(err)
	}
	a := r.ask("/language?language=de&to=%2Fabout", "en")
	if a.StatusCode != http.StatusSeeOther || a.Header.Get("Location") != "/about" {
		t.Errorf("%d to %q", a.StatusCode, a.Header.Get("Location"))
	}
	kept := a.Cookies()
	if len(kept) != 1 || kept[0].Value != "de" || !kept[0].HttpOnly || kept[0].SameSite != http.SameSiteLaxMode || kept[0].MaxAge < 3600 {
		t.Fatalf("cookies %v", kept)
	}
	if text := bodyOf(t, r.ask("/about", "en", kept...)); !strings.Contains(text, `<html lang="de">`) {
		t.Error("what was chosen isn't kept")
	}
	if a := r.ask("/language?language=de&to=https%3A%2F%2Felsewhere.example%2F", "en"); a.Header.Get("Location") != "/" {
		t.Errorf("led to %q", a.Header.Get("Location"))
	}
	if a := r.ask("/language?language=xx&to=%2F", "en"); a.StatusCode != http.StatusNotFound || len(a.Cookies()) != 0 {
		t.Errorf("a language that isn't there: %d, %v", a.StatusCode, a.Cookies())
	}
	q, _ := http.NewRequest(http.MethodGet, r.http.URL+"/language?language=de&to=%2Fabout", nil)
	q.Header.Set("Sec-Fetch-Site", "cross-site")
	a, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(q)
	if err != nil {
		t.Fatal(err)
	}
	a.Body.Close()
	if len(a.Cookies()) != 0 {
		t.Errorf("another site chose a language: %v", a.Cookies())
	}
}

// In a real browser: choosing in the frame brings page and script texts in
// that language, and back.
func TestBrowserLanguage(t *testing.T) {
	z := sizes[0]
	r := newRig(t)
	if err := r.server.pages.Add("de", []byte(translated)); err != nil {
		t.Fatal(err)
	}
	r.view()
	b := openTab(t, r, z)
	b.signIn("Ada")
	b.visit("/blocks/1/4/7")
	b.until(`document.documentElement.lang === 'en'`)
	b.do("choose", chromedp.SetValue(chromedp.CSS("#frame-language"), "de"))
	b.click(".language button")
	b.until(`document.documentElement.lang === 'de' && location.pathname === '/blocks/1/4/7'`)
	if got := b.text("main"); !strings.Contains(got, "Zeile 4, Stock 7") {
		t.Errorf("the page after choosing: %.300q", got)
	}
	b.whole("language")
	valueOf[bool](b, `import('/static/text.js').then((m) => { document.body.dataset.said = [m.t('home.title'), m.number(8.6, 1), m.t('signin.do')].join(', '); }) instanceof Promise`)
	b.until(`document.body.dataset.said === 'Anfang, 8,6, Sign in'`)
	if small := valueOf[float64](b, `Math.min(...[...document.querySelectorAll('.language select, .language button')].map((e) => e.getBoundingClientRect().height))`); small < 48 {
		t.Errorf("choosing a language has a target of %.0f px", small)
	}
	b.do("choose", chromedp.SetValue(chromedp.CSS("#frame-language"), "en"))
	b.click(".language button")
	b.until(`document.documentElement.lang === 'en'`)
}
