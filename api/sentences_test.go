package api

import (
	"encoding/json"
	"go/ast"
	"go/constant"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// tellers are the calls that take a sentence's English text, with the place of
// the text among their arguments. TellCount has the text for one before it.
var tellers = map[string]int{"Tell": 0, "TellCount": 2, "Errorf": 1, "phrase": 0, "say": 1, "refusal": 1, "CheckName": 1}

// told are the folders with code whose sentences reach pages; toldFew those of
// which only the files named do.
var told = []string{".", "apart", "bare", "../assess", "../assess/store", "../assess/exercise", "../assess/batch", "../vision", "../vision/photo", "../vision/scale", "../vision/trace"}

// untold are files whose sentences are for whoever runs the service, at the
// command line.
var untold = []string{"../assess/store/archive.go", "../assess/store/check.go", "../assess/store/purge.go", "origin.go:Check", "../assess/batch/write.go", "../assess/batch/crop.go", "../assess/batch/job.go"}

// A toldText is an English text of the code, with the one for a count of 1.
type toldText struct{ text, one, where string }

// sentencesOfCode reads every sentence from the code.
func sentencesOfCode(t *testing.T) map[string]toldText {
	t.Helper()
	out := map[string]toldText{}
	for _, folder := range told {
		names, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil || len(names) == 0 {
			t.Fatal(folder, err)
		}
		set := token.NewFileSet()
		var files []*ast.File
		constants := map[string]string{}
		for _, n := range names {
			if strings.HasSuffix(n, "_test.go") || slices.Contains(untold, filepath.ToSlash(n)) {
				continue
			}
			f, err := parser.ParseFile(set, n, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			files = append(files, f)
			ast.Inspect(f, func(n ast.Node) bool {
				if v, ok := n.(*ast.ValueSpec); ok && len(v.Names) == len(v.Values) {
					for i, name := range v.Names {
						if text, ok := literal(v.Values[i], constants); ok {
							constants[name.Name] = text
						}
					}
				}
				return true
			})
		}
		for _, f := range files {
			ast.Inspect(f, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				name := ""
				switch fun := call.Fun.(type) {
				case *ast.Ident:
					name = fun.Name
				case *ast.SelectorExpr:
					name = fun.Sel.Name
					if x, ok := fun.X.(*ast.Ident); ok && (x.Name == "fmt" || x.Name == "s" || x.Name == "t") {
						return true // fmt.Errorf, and s.say, whose keys are catalogues' own
					}
				}
				if _, method := call.Fun.(*ast.SelectorExpr); name == "say" && !method {
					return true // only that of faults tells sentences
				}
				at, ok := tellers[name]
				if !ok || len(call.Args) <= at {
					return true
				}
				text, ok := literal(call.Args[at], constants)
				if !ok || !regexp.MustCompile(`\pL{2}|: `).MatchString(verb.ReplaceAllString(text, "")) {
					return true
				}
				s := toldText{text: text, where: set.Position(call.Pos()).String()}
				if name == "TellCount" {
					s.one, _ = literal(call.Args[at-1], constants)
				}
				out[text] = s
				return true
			})
		}
	}
	return out
}

// literal folds a string out of literals, constants and their sums.
func literal(e ast.Expr, constants map[string]string) (string, bool) {
	switch x := e.(type) {
	case *ast.BasicLit:
		if x.Kind != token.STRING {
			return "", false
		}
		return constant.StringVal(constant.MakeFromLiteral(x.Value, x.Kind, 0)), true
	case *ast.Ident:
		text, ok := constants[x.Name]
		return text, ok
	case *ast.BinaryExpr:
		a, okA := literal(x.X, constants)
		b, okB := literal(x.Y, constants)
		return a + b, okA && okB && x.Op == token.ADD
	case *ast.ParenExpr:
		return literal(x.X, constants)
	}
	return "", false
}

var verb = regexp.MustCompile(`%(?:\[(\d)\])?(?:\.\d)?[a-z]`)

// placesOf counts how often each value stands in a text.
func placesOf(text string) map[int]int {
	out, next := map[int]int{}, 1
	for _, m := range verb.FindAllStringSubmatch(text, -1) {
		i := next
		next++
		if m[1] != "" {
			i, _ = strconv.Atoi(m[1])
		}
		out[i]++
	}
	return out
}

// Every sentence of the code stands in every language's catalogue, with the
// same values in its places and, where it counts, a form for one; and there's
// none that the code doesn't have.
func TestSentencesInEveryLanguage(t *testing.T) {
	code := sentencesOfCode(t)
	if len(code) < 250 {
		t.Errorf("only %d sentences were found in the code", len(code))
	}
	for _, tag := range []string{"de", "es", "fr", "it"} {
		data, err := os.ReadFile("../web/text/sentences/" + tag + ".json")
		if err != nil {
			t.Fatal(err)
		}
		var raw map[string]json.RawMessage
		if err := json.Unmarshal(data, &raw); err != nil {
			t.Fatalf("%s: %v", tag, err)
		}
		for _, english := range slices.Sorted(maps.Keys(code)) {
			var forms struct{ One, Other string }
			value, ok := raw[english]
			if !ok {
				t.Errorf("web/text/sentences/%s.json lacks %q, told at %s", tag, english, code[english].where)
				continue
			}
			counts := code[english].one != ""
			if counts {
				if json.Unmarshal(value, &forms) != nil || forms.One == "" || forms.Other == "" {
					t.Errorf(`%s: %q counts something: give {"one": …, "other": …}`, tag, english)
				}
			} else if json.Unmarshal(value, &forms.Other) != nil || strings.TrimSpace(forms.Other) == "" {
				t.Errorf("%s: %q is empty or no text", tag, english)
			}
			if !maps.Equal(placesOf(forms.Other), placesOf(english)) {
				t.Errorf("%s: %q has other places than %q", tag, forms.Other, english)
			}
			// "a single cane" needs no number.
			for i := range placesOf(forms.One) {
				if placesOf(english)[i] == 0 {
					t.Errorf("%s: %q has other places than %q", tag, forms.One, english)
				}
			}
		}
		for _, english := range slices.Sorted(maps.Keys(raw)) {
			if _, ok := code[english]; !ok {
				t.Errorf("web/text/sentences/%s.json has %q, which nobody tells", tag, english)
			}
		}
	}
	if file := os.Getenv("NODESPAN_SENTENCES"); file != "" {
		data, err := json.MarshalIndent(slices.Sorted(maps.Keys(code)), "", " ")
		if err == nil {
			err = os.WriteFile(file, data, 0o600)
		}
		if err != nil {
			t.Error(err)
		}
	}
}
