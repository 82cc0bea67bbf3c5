// Package web is what a browser gets: page templates, styles, scripts and the
// texts in each language, all embedded. It computes nothing: a page shows what
// package api put into its model.
//
// Scripts are ES modules served as they are, without a build step. Every text
// that a person reads stands in text/LANGUAGE.json, for templates and scripts
// alike; a new language is a new file there.
package web

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"path"
	"strings"
)

//go:embed templates static text
var files embed.FS

// Default is the language that every key has a text in.
const Default = "en"

// Pages renders pages. Make it with Load.
type Pages struct {
	texts map[string]map[string]string // language -> key -> text
	raw   map[string][]byte
	pages map[string]*template.Template
}

// Load reads templates and texts. An error means that the program was built
// from broken files.
func Load() (*Pages, error) {
	p := &Pages{texts: map[string]map[string]string{}, raw: map[string][]byte{}, pages: map[string]*template.Template{}}
	names, err := fs.Glob(files, "text/*.json")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		data, err := files.ReadFile(n)
		if err != nil {
			return nil, err
		}
		var texts map[string]string
		if err := json.Unmarshal(data, &texts); err != nil {
			return nil, fmt.Errorf("%s: %w", n, err)
		}
		language := strings.TrimSuffix(path.Base(n), ".json")
		p.texts[language], p.raw[language] = texts, data
	}
	if p.texts[Default] == nil {
		return nil, fmt.Errorf("no texts in %q", Default)
	}
	names, err = fs.Glob(files, "templates/page/*.html")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		t := template.New("frame.html").Funcs(template.FuncMap{
			// Replaced for each rendering by the page's language.
			"t":   func(string, ...any) (string, error) { return "", nil },
			"add": func(a, b int) int { return a + b },
		})
		if t, err = t.ParseFS(files, "templates/frame.html", "templates/part/*.html", n); err != nil {
			return nil, err
		}
		p.pages[strings.TrimSuffix(path.Base(n), ".html")] = t
	}
	return p, nil
}

// Static holds styles, scripts and pictures.
func (p *Pages) Static() fs.FS {
	sub, err := fs.Sub(files, "static")
	if err != nil {
		panic(err) // the folder is embedded, so it is there
	}
	return sub
}

// Catalogue gives a language's texts as JSON, false when there is none.
func (p *Pages) Catalogue(language string) ([]byte, bool) {
	data, ok := p.raw[language]
	return data, ok
}

// Language picks the language that fits best from an Accept-Language header.
func (p *Pages) Language(accept string) string {
	for _, want := range strings.Split(accept, ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(want), ";")
		tag, _, _ = strings.Cut(strings.ToLower(tag), "-")
		if p.texts[tag] != nil {
			return tag
		}
	}
	return Default
}

// Text gives the text of a key. args come in pairs: a name, and what stands
// for {name} in the text. A key without a text is given back itself.
func (p *Pages) Text(language, key string, args ...any) string {
	text, ok := p.texts[language][key]
	if !ok {
		if text, ok = p.texts[Default][key]; !ok {
			return key
		}
	}
	for i := 0; i+1 < len(args); i += 2 {
		text = strings.ReplaceAll(text, fmt.Sprintf("{%v}", args[i]), fmt.Sprint(args[i+1]))
	}
	return text
}

// Render writes the page called name in a language. model is the page's model
// from models.go.
func (p *Pages) Render(w io.Writer, language, name string, model any) error {
	t, ok := p.pages[name]
	if !ok {
		return fmt.Errorf("there is no page %q", name)
	}
	t, err := t.Clone()
	if err != nil {
		return err
	}
	t.Funcs(template.FuncMap{"t": func(key string, args ...any) string { return p.Text(language, key, args...) }})
	return t.Execute(w, model)
}
