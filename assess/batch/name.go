package batch

import (
	"path"
	"regexp"
	"strconv"
	"strings"

	"nodespan/assess"
)

// DefaultPattern is how photos are named unless another pattern is given.
const DefaultPattern = "{block}-{row}-{vine}[-{stance}]"

// NamePattern reads a vine's place from the name of its photo.
type NamePattern struct {
	text    string
	form    *regexp.Regexp
	folders int // how many folders of the path the pattern covers
}

// What each field of a pattern may be.
var patternFields = map[string]string{
	"block":     `[^/]+?`,
	"row":       `\d+`,
	"vine":      `\d+`,
	"stance":    `[^/]+?`,
	"treatment": `[^/]+?`,
	"cultivar":  `[^/]+?`,
	"winter":    `\d{4}(?:[-_]\d{2})?`,
	"any":       `[^/]*?`,
}

// ParsePattern reads a pattern such as {block}-{row}-{vine}[-{stance}]. Fields
// are {block}, {row}, {vine}, {stance}, {treatment}, {cultivar}, {winter}
// (2026-27 or 2026) and {any} for what doesn't matter; what stands in square
// brackets may be missing; all else must be there as written, in upper or
// lower case. With a slash the pattern covers folders too: {block}/{row}-{vine}.
// The ending of the file isn't part of it. EInvalid names what is wrong.
func ParsePattern(text string) (*NamePattern, error) {
	wrong := func(what string) error {
		return assess.Errorf(assess.EInvalid, "The pattern %q can't be used: %s. Write it like %s.", text, what, DefaultPattern)
	}
	var re strings.Builder
	re.WriteString(`(?i)^`)
	seen := map[string]bool{}
	depth := 0
	for rest := text; rest != ""; {
		switch rest[0] {
		case '{':
			end := strings.IndexByte(rest, '}')
			if end < 0 {
				return nil, wrong("a { isn't closed")
			}
			field := rest[1:end]
			form, ok := patternFields[field]
			switch {
			case !ok:
				return nil, wrong("there is no field {" + field + "}")
			case field == "any":
				re.WriteString(form)
			case seen[field]:
				return nil, wrong("{" + field + "} stands there twice")
			default:
				re.WriteString("(?P<" + field + ">" + form + ")")
			}
			seen[field] = true
			rest = rest[end+1:]
		case '[':
			depth++
			re.WriteString("(?:")
			rest = rest[1:]
		case ']':
			if depth == 0 {
				return nil, wrong("a ] closes nothing")
			}
			depth--
			re.WriteString(")?")
			rest = rest[1:]
		default:
			n := strings.IndexAny(rest, "{[]")
			if n < 0 {
				n = len(rest)
			}
			re.WriteString(regexp.QuoteMeta(rest[:n]))
			rest = rest[n:]
		}
	}
	if depth > 0 {
		return nil, wrong("a [ isn't closed")
	}
	for _, f := range []string{"row", "vine"} {
		if !seen[f] {
			return nil, wrong("{" + f + "} is missing")
		}
	}
	re.WriteString("$")
	form, err := regexp.Compile(re.String())
	if err != nil {
		return nil, wrong(err.Error())
	}
	return &NamePattern{text: text, form: form, folders: strings.Count(text, "/")}, nil
}

// String is the pattern as it was given.
func (n *NamePattern) String() string { return n.text }

// Match reads the place from a photo's path below the job's folder; false when
// it isn't named so. A pattern without {block} gives the block "1".
func (n *NamePattern) Match(photoPath string) (Place, bool) {
	parts := strings.Split(photoPath, "/")
	if len(parts) <= n.folders {
		return Place{}, false
	}
	name := strings.Join(parts[len(parts)-1-n.folders:], "/")
	name = strings.TrimSuffix(name, path.Ext(name))
	got := n.form.FindStringSubmatch(name)
	if got == nil {
		return Place{}, false
	}
	at := Place{Block: "1", By: byName}
	var err error
	for i, field := range n.form.SubexpNames() {
		if got[i] == "" {
			continue
		}
		switch field {
		case "block":
			at.Block = got[i]
		case "row":
			at.Row, err = strconv.Atoi(got[i])
		case "vine":
			at.Vine, err = strconv.Atoi(got[i])
		case "stance":
			at.Stance = got[i]
		case "treatment":
			at.Treatment = got[i]
		case "cultivar":
			at.Cultivar = got[i]
		case "winter":
			at.Winter = strings.NewReplacer("-", "/", "_", "/").Replace(got[i])
		}
		if err != nil {
			return Place{}, false
		}
	}
	if checkPlace(at) != nil {
		return Place{}, false
	}
	return at, true
}
