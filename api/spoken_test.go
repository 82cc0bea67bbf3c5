package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"nodespan/assess"
	"nodespan/assess/store"
	"nodespan/web"
)

// English words that no page in another language has, names of people, files
// and published sources apart; those are marked as English.
var englishWords = regexp.MustCompile(`(?i)\b(the|and|of|from|with|which|this|that|than|there|where|below|above|canes?|buds?|spurs?|nodes?|internodes|wires?|vines?|kept|left|right|lower|upper|degrees|reaches|arises|grows|cut|measured|weighed|isn't|aren't|can't|don't|couldn't)\b`)

// alike are words of englishWords that another language has too.
var alike = map[string][]string{"de": {}, "es": {}, "fr": {"vine"}, "it": {}}

// visible is the text of a page that is in the page's own language: without
// what is marked as English, and what people or programs type.
func visible(t *testing.T, page string) string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.ElementNode {
			if slices.Contains([]string{"script", "style", "textarea", "pre", "code"}, n.Data) {
				return
			}
			for _, a := range n.Attr {
				switch {
				case a.Key == "lang" && a.Val == "en" && n.Data != "html":
					return
				case slices.Contains([]string{"aria-label", "alt", "title", "placeholder"}, a.Key):
					out.WriteString(a.Val + "\n")
				}
			}
		}
		if n.Type == html.TextNode && strings.TrimSpace(n.Data) != "" {
			out.WriteString(strings.TrimSpace(n.Data) + "\n")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	return out.String()
}

// holdNoEnglish fails for each line of text that has an English word in it.
func holdNoEnglish(t *testing.T, where, language, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		for _, name := range published {
			line = strings.ReplaceAll(line, name, "")
		}
		line = regexp.MustCompile(`\{\w+\}|https?://\S+|\S+@\d+|\S+\.(csv|yaml|toml)|nodespan \w+`).ReplaceAllString(line, "")
		for _, word := range englishWords.FindAllString(line, -1) {
			if !slices.Contains(alike[language], strings.ToLower(word)) {
				t.Errorf("%s in %s: the English word %q in %q", where, language, word, strings.TrimSpace(line))
				break
			}
		}
	}
}

// published are the titles of sources, which no language translates.
var published = func() []string {
	out := []string{"Selecting fruiting canes", "Winter pruning", "Pruning for flowers and fruit", "Cane Pruning", "What are bull canes", "gemessen von kept", "mesuré par kept", "misurato da kept", "medido por kept"}
	for _, c := range assess.Cautions() {
		for _, a := range c.Source.Args {
			out = append(out, regexp.MustCompile(`,? https?://\S+`).ReplaceAllString(a.English, ""))
		}
	}
	return out
}()

// full is a record in which much is said: two winters with choices, a formula,
// prunings, a harvest, and a photo without a reference.
func (r *rig) full() measurementView {
	r.t.Helper()
	v := r.twoWinters()
	winter := store.WinterOf(time.Now(), false)
	for kind, kg := range map[string]float64{"prunings": 1.1, "harvest": 2.5} {
		r.post("/api/blocks/1/rows/4/vines/7/sayings", fmt.Sprintf(`{"winter":%q,"kind":%q,"cane":0,"payload":{"kg":%v}}`, winter, kind, kg), http.StatusCreated, nil)
	}
	var rules rulesView
	r.get("/api/blocks/1/rules", http.StatusOK, &rules)
	r.post("/api/blocks/1/rules", changeOf(r.t, rules, rules.Rules, rules.Present), http.StatusOK, nil)
	return v
}

// No sentence that package assess makes in English reaches a page in another
// language: neither by a template nor by the words that scripts look up.
func TestNoEnglishElsewhere(t *testing.T) {
	r := newRig(t)
	v := r.full()
	pages := []string{
		"/", "/blocks/new", "/blocks/1", "/blocks/1/rules", "/blocks/1/4/7", "/blocks/1/4/7/photo", "/blocks/1/4/7/plan?winter=" + lastWinter(),
		fmt.Sprintf("/photos/%d", v.Photo), fmt.Sprintf("/photos/%d/choice", v.Photo), "/card", "/about", "/jobs", "/people", "/account", "/deleted",
		"/waiting", "/blocks/1/4/99", "/blocks/99", "/nowhere", v.Second.Page,
	}
	job := r.newJob()
	r.sendJob(job, "North-1-1.jpg", vineJPEG)
	r.written(job, 1)
	// The job's own page has names of files and of their columns, which stay.
	for _, of := range []string{"/canes", "/photo?path=North-1-1.jpg"} {
		pages = append(pages, fmt.Sprintf("/jobs/%d%s", job, of))
	}
	for language := range alike {
		for _, p := range pages {
			a := r.ask(p, language)
			text := bodyOf(t, a)
			if !strings.Contains(text, `<html lang="`+language+`">`) {
				t.Errorf("%s: no page in %s: %.200s", p, language, text)
			}
			holdNoEnglish(t, p, language, visible(t, text))
		}
		var choice choiceView
		if err := json.Unmarshal([]byte(bodyOf(t, r.ask(fmt.Sprintf("/api/measurements/%d/choice", v.ID), language))), &choice); err != nil {
			t.Fatal(err)
		}
		var m measurementView
		if err := json.Unmarshal([]byte(bodyOf(t, r.ask(fmt.Sprintf("/api/measurements/%d", v.ID), language))), &m); err != nil {
			t.Fatal(err)
		}
		told := 0
		hold := func(words map[string]string) func(*assess.Sentence) {
			return func(s *assess.Sentence) {
				if s.Empty() {
					return
				}
				told++
				if in, ok := words[s.String()]; !ok {
					t.Errorf("%s: no words for %q", language, s)
				} else {
					holdNoEnglish(t, "a sentence of an answer", language, in)
				}
			}
		}
		assess.EachSentence([]any{choice.Choice, choice.Suggested, choice.Canes}, hold(choice.Words))
		assess.EachSentence([]any{m.Seen.Canes, m.Confirmed}, hold(m.Words))
		if told < 100 {
			t.Errorf("only %d sentences in the answers", told)
		}
		holdNoEnglish(t, "advice", language, choice.Advice+"\n"+choice.Title)
	}
}

func lastWinter() string { return store.WinterOf(time.Now().AddDate(-1, 0, 0), false) }

// What was kept before sentences had keys still shows, as it was kept.
func TestOldSentencesStillShow(t *testing.T) {
	var ch assess.Choice
	if err := json.Unmarshal([]byte(`{"remove":[{"cane":3,"why":"sound, but of no use"}],"notes":["the head wasn't seen"]}`), &ch); err != nil {
		t.Fatal(err)
	}
	r := newRig(t)
	in := teller{r.server.pages, web.Reader{Language: "fr"}}
	if got := ch.Remove[0].Why.In(in); got != "sound, but of no use" {
		t.Errorf("an old sentence reads %q", got)
	}
}
