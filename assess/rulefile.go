package assess

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	yamlparser "github.com/goccy/go-yaml/parser"
	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// FileFormat is how a rule set, a training form or a descriptor table is written
// in a file.
type FileFormat string

// The formats that can be read and written.
const (
	YAML FileFormat = "yaml"
	TOML FileFormat = "toml"
)

// largestFile bounds a rule set's file: a long one has about 4 kB.
const largestFile = 64 << 10

// FormatOf tells a file's format from its name, by .yaml, .yml or .toml;
// EInvalid for any other.
func FormatOf(name string) (FileFormat, error) {
	lower := strings.ToLower(name)
	switch {
	case strings.HasSuffix(lower, ".yaml"), strings.HasSuffix(lower, ".yml"):
		return YAML, nil
	case strings.HasSuffix(lower, ".toml"):
		return TOML, nil
	}
	return "", Errorf(EInvalid, "the file %q is neither YAML nor TOML by its name: let it end in .yaml, .yml or .toml.", name)
}

// ReadRuleSet reads a rule set from a file's bytes. What it doesn't give isn't
// filled in. EInvalid when it can't be read or can't stand, with a sentence for
// each fault that names its line; ETooLarge beyond 64 kB. It never panics.
func ReadRuleSet(data []byte, format FileFormat) (RuleSet, error) {
	return readFile(data, format, Tell("the rule set"), RuleSet.faults)
}

// WriteRuleSet writes a rule set so that ReadRuleSet reads the same one.
func WriteRuleSet(rs RuleSet, format FileFormat) ([]byte, error) { return writeFile(rs, format) }

// ReadDescriptorTable reads a descriptor table, as ReadRuleSet does a rule set.
func ReadDescriptorTable(data []byte, format FileFormat) (DescriptorTable, error) {
	return readFile(data, format, Tell("the descriptor table"), DescriptorTable.faults)
}

// WriteDescriptorTable writes a table so that ReadDescriptorTable reads the
// same one.
func WriteDescriptorTable(t DescriptorTable, format FileFormat) ([]byte, error) {
	return writeFile(t, format)
}

// ReadForm reads a training form, as ReadRuleSet does a rule set.
func ReadForm(data []byte, format FileFormat) (Form, error) {
	f, err := readFile(data, format, Tell("the training form"), Form.faults)
	if err == nil && f.Places == nil {
		f.Places = []Place{}
	}
	return f, err
}

// WriteForm writes a training form so that ReadForm reads the same one.
func WriteForm(f Form, format FileFormat) ([]byte, error) { return writeFile(f, format) }

func writeFile(v any, format FileFormat) ([]byte, error) {
	switch format {
	case YAML:
		return yaml.Marshal(v)
	case TOML:
		return toml.Marshal(v)
	}
	return nil, Errorf(EInvalid, "%q isn't a format: choose yaml or toml.", format)
}

func readFile[T any](data []byte, format FileFormat, what Sentence, check func(T) faults) (out T, err error) {
	var none T
	// A file is a stranger's: a slip in a parser must not take the service with it.
	defer func() {
		if r := recover(); r != nil {
			out, err = none, Errorf(EInvalid, "%s can't be read as %s: write it anew from an exported one.", what, format)
		}
	}()
	if len(data) > largestFile {
		return none, Errorf(ETooLarge, "%s has %d kB, and may have %d: is it the right file?", what, len(data)>>10, largestFile>>10)
	}
	if !utf8.Valid(data) {
		return none, Errorf(EInvalid, "%s isn't text in UTF-8: save it so in your editor.", what)
	}
	var lineOf func(path string) int
	switch format {
	case YAML:
		lineOf, err = readYAML(data, &out)
	case TOML:
		lineOf, err = readTOML(data, &out)
	default:
		err = Errorf(EInvalid, "%q isn't a format: choose yaml or toml.", format)
	}
	if err != nil {
		return none, Errorf(EInvalid, "%s can't be read: %w", what, err)
	}
	fs := check(out)
	if len(fs) == 0 {
		return out, nil
	}
	var lines []Sentence
	for _, f := range fs {
		lines = append(lines, Tell("line %d: %s", lineNear(f.path, lineOf), f.text))
	}
	return none, Errorf(EInvalid, "%s can't be used: %s", what, joined(lines, "\n"))
}

// lineNear is the line of a key, or of the nearest one above it that the file
// has; 1 where it has none.
func lineNear(path string, lineOf func(string) int) int {
	for path != "" {
		if n := lineOf(path); n > 0 {
			return n
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return 1
}

func readYAML(data []byte, into any) (func(string) int, error) {
	file, err := yamlparser.ParseBytes(data, 0)
	if err != nil {
		return nil, yamlFault(err)
	}
	docs := slices.DeleteFunc(file.Docs, func(d *ast.DocumentNode) bool { return d == nil || d.Body == nil })
	if len(docs) != 1 {
		return nil, fmt.Errorf("line 1: the file has %d documents; give one", len(docs))
	}
	// Anchors let a small file grow without bound, and nobody needs them here.
	var walk visitor
	ast.Walk(&walk, docs[0].Body)
	if walk.line > 0 {
		return nil, fmt.Errorf("line %d: anchors, aliases, merges and tags aren't read here: write the value out", walk.line)
	}
	if err := yaml.UnmarshalWithOptions(data, into, yaml.Strict(), yaml.DisallowUnknownField()); err != nil {
		return nil, yamlFault(err)
	}
	return func(path string) int {
		p, err := yaml.PathString("$." + path)
		if err != nil {
			return 0
		}
		n, err := p.FilterNode(docs[0].Body)
		if err != nil || n == nil || n.GetToken() == nil || n.GetToken().Position == nil {
			return 0
		}
		// A mapping's token is that of what it holds first, one line below its key;
		// in a list it begins on its own line.
		if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && !strings.HasSuffix(path, "]") {
			return max(1, n.GetToken().Position.Line-1)
		}
		return n.GetToken().Position.Line
	}, nil
}

type visitor struct{ line int }

func (v *visitor) Visit(n ast.Node) ast.Visitor {
	switch n.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.MergeKeyNode, *ast.TagNode:
		if v.line == 0 {
			v.line = 1
			if t := n.GetToken(); t != nil && t.Position != nil {
				v.line = t.Position.Line
			}
		}
	}
	return v
}

// yamlFault puts a parser's error in one sentence with its line.
func yamlFault(err error) error {
	var e yaml.Error
	if !errors.As(err, &e) {
		return fmt.Errorf("line 1: %s", firstLine(err.Error()))
	}
	line := 1
	if t := e.GetToken(); t != nil && t.Position != nil {
		line = t.Position.Line
	}
	return fmt.Errorf("line %d: %s", line, firstLine(e.GetMessage()))
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(strings.TrimSpace(s), "\n")
	return s
}

func readTOML(data []byte, into any) (func(string) int, error) {
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		var unknown *toml.StrictMissingError
		var e *toml.DecodeError
		switch {
		case errors.As(err, &unknown):
			var all []string
			for i := range unknown.Errors {
				line, _ := unknown.Errors[i].Position()
				all = append(all, fmt.Sprintf("line %d: unknown field %q", line, strings.Join(unknown.Errors[i].Key(), ".")))
			}
			return nil, errors.New(strings.Join(all, "\n"))
		case errors.As(err, &e):
			line, _ := e.Position()
			return nil, fmt.Errorf("line %d: %s", line, strings.TrimPrefix(e.Error(), "toml: "))
		}
		return nil, fmt.Errorf("line 1: %s", firstLine(err.Error()))
	}
	lines := tomlLines(data)
	return func(path string) int { return lines[path] }, nil
}

// tomlLines gives the line of each key by its path, like "weak.limit" or
// "classes[1].from".
func tomlLines(data []byte) map[string]int {
	lines := map[string]int{}
	var p unstable.Parser
	p.Reset(data)
	table, count := "", map[string]int{}
	join := func(prefix string, keys []string) string {
		return strings.TrimPrefix(prefix+"."+strings.Join(keys, "."), ".")
	}
	for p.NextExpression() {
		e := p.Expression()
		var keys []string
		line := 0
		for it := e.Key(); it.Next(); {
			n := it.Node()
			keys = append(keys, string(n.Data))
			if line == 0 {
				line = p.Shape(n.Raw).Start.Line
			}
		}
		switch e.Kind {
		case unstable.Table:
			table = join("", keys)
			lines[table] = line
		case unstable.ArrayTable:
			name := join("", keys)
			table = fmt.Sprintf("%s[%d]", name, count[name])
			count[name]++
			lines[table] = line
			if count[name] == 1 {
				lines[name] = line
			}
		case unstable.KeyValue:
			lines[join(table, keys)] = line
		}
	}
	return lines
}
