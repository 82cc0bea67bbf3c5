// Package web is what a browser gets: page templates, styles, scripts and the
// texts in each language, all embedded. It computes nothing: a page shows what
// package api put into its model.
//
// Scripts are ES modules served as they are, without a build step. Every text
// that a person reads stands in text/LANGUAGE.json, for templates and scripts
// alike; a new language is a new file there, and a line for its dates in
// language.go.
package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"path"
	"strings"

	"golang.org/x/text/language"
)

//go:embed templates static text
var files embed.FS

// Pages renders pages. Make it with Load.
type Pages struct {
	texts map[string]map[string]string // language -> key -> text
	raw   map[string][]byte            // language -> all keys, as JSON
	// language -> English sentence -> sentence
	sentences map[string]map[string]sentence
	pages     map[string]*template.Template

	version string   // of all that is embedded
	tags    []string // of the languages, Default first
	matcher language.Matcher
}

// Load reads templates and texts. An error means that the program was built
// from broken files.
func Load() (*Pages, error) {
	p := &Pages{texts: map[string]map[string]string{}, raw: map[string][]byte{}, pages: map[string]*template.Template{}, sentences: map[string]map[string]sentence{}}
	var err error
	if p.version, err = versionOf(files); err != nil {
		return nil, err
	}
	names, err := fs.Glob(files, "text/*.json")
	if err != nil {
		return nil, err
	}
	// Default first, since the others are filled up from it.
	for _, n := range append([]string{"text/" + Default + ".json"}, names...) {
		tag := strings.TrimSuffix(path.Base(n), ".json")
		if p.Speaks(tag) {
			continue
		}
		data, err := files.ReadFile(n)
		if err != nil {
			return nil, err
		}
		if err := p.Add(tag, data); err != nil {
			return nil, err
		}
	}
	names, err = fs.Glob(files, "text/sentences/*.json")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		data, err := files.ReadFile(n)
		if err != nil {
			return nil, err
		}
		if err := p.AddSentences(strings.TrimSuffix(path.Base(n), ".json"), data); err != nil {
			return nil, err
		}
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
			// The address of a file changes with what is embedded, so a browser may
			// keep it, and a page never gets scripts of another version.
			"asset": func(name string) string { return "/static/" + p.version + "/" + name },
		})
		if t, err = t.ParseFS(files, "templates/frame.html", "templates/part/*.html", n); err != nil {
			return nil, err
		}
		p.pages[strings.TrimSuffix(path.Base(n), ".html")] = t
	}
	return p, nil
}

// Version names what is embedded: "v" and twelve hexadecimal digits.
func (p *Pages) Version() string { return p.version }

func versionOf(files fs.FS) (string, error) {
	sum := sha256.New()
	err := fs.WalkDir(files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(files, name)
		fmt.Fprintf(sum, "%s %d\n", name, len(data))
		sum.Write(data)
		return err
	})
	return "v" + hex.EncodeToString(sum.Sum(nil))[:12], err
}

// Static holds styles, scripts and pictures.
func (p *Pages) Static() fs.FS {
	sub, err := fs.Sub(files, "static")
	if err != nil {
		panic(err) // the folder is embedded, so it is there
	}
	return sub
}

// Text gives the text of a key. args come in pairs: a name, and what stands
// for {name} in the text; {unit} is the reader's. A key without a text is given
// back itself.
func (p *Pages) Text(r Reader, key string, args ...any) string {
	text, ok := p.texts[r.Language][key]
	if !ok {
		if text, ok = p.texts[Default][key]; !ok {
			return key
		}
	}
	for i := 0; i+1 < len(args); i += 2 {
		text = strings.ReplaceAll(text, fmt.Sprintf("{%v}", args[i]), fmt.Sprint(args[i+1]))
	}
	if strings.Contains(text, "{unit}") {
		text = strings.ReplaceAll(text, "{unit}", p.Unit(r))
	}
	return text
}

// Render writes the page called name for a reader. model is the page's model
// from models.go.
func (p *Pages) Render(w io.Writer, r Reader, name string, model any) error {
	t, ok := p.pages[name]
	if !ok {
		return fmt.Errorf("there is no page %q", name)
	}
	t, err := t.Clone()
	if err != nil {
		return err
	}
	t.Funcs(template.FuncMap{"t": func(key string, args ...any) string { return p.Text(r, key, args...) }})
	return t.Execute(w, model)
}
