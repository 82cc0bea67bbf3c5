package api

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/invopop/jsonschema"
	"github.com/labstack/echo/v4"

	"nodespan/assess"
)

// OpenAPIVersion is the version of the specification that the description at
// /api follows (https://spec.openapis.org/oas/v3.1.0).
const OpenAPIVersion = "3.1.0"

// examples holds a request and an answer of each operation, as a test recorded
// them; the same test holds them against the description.
//
//go:embed examples.json
var examplesText []byte

// An example is one call that was made.
type example struct {
	Path     string          `json:"path"`
	Request  json.RawMessage `json:"request,omitempty"`
	Response json.RawMessage `json:"response,omitempty"`
}

// describe gives the description of the API.
func (s *Server) describe(c echo.Context) error {
	text, err := description()
	if err != nil {
		return err
	}
	return c.JSONBlob(http.StatusOK, text)
}

// description is made once: it depends on the program alone.
var description = sync.OnceValues(func() ([]byte, error) {
	d, err := describeOperations(operations)
	if err != nil {
		return nil, err
	}
	return json.MarshalIndent(d, "", " ")
})

type object = map[string]any

func describeOperations(list []operation) (object, error) {
	examples := map[string]example{}
	if err := json.Unmarshal(examplesText, &examples); err != nil {
		return nil, fmt.Errorf("examples.json: %w", err)
	}
	d := &describer{schemas: object{}}
	paths := object{}
	for _, o := range list {
		method, route, _ := strings.Cut(o.route, " ")
		path, params := "", []any{}
		for _, piece := range strings.Split(strings.TrimPrefix(route, "/"), "/") {
			if name, ok := strings.CutPrefix(piece, ":"); ok {
				kind := "integer"
				if slices.Contains([]string{"file", "name"}, name) {
					kind = "string"
				}
				params = append(params, object{"name": name, "in": "path", "required": true, "schema": object{"type": kind}})
				piece = "{" + name + "}"
			}
			path += "/" + piece
		}
		for _, q := range o.query {
			params = append(params, object{"name": q.name, "in": "query", "description": q.what, "schema": object{"type": q.kind}})
		}
		op, err := d.operation(o, examples[o.route])
		if err != nil {
			return nil, err
		}
		if len(params) > 0 {
			op["parameters"] = params
		}
		at, ok := paths[path].(object)
		if !ok {
			at = object{}
			paths[path] = at
		}
		at[strings.ToLower(method)] = op
	}
	return object{
		"openapi": OpenAPIVersion,
		"info": object{
			"title": "nodespan", "version": "1",
			"description": "Measures dormant vines in photos, suggests a pruning choice, and keeps what a person confirmed. " +
				"A write needs the header X-Nodespan: 1, which a page of another site can't set; sent twice under one Idempotency-Key it is done once. " +
				"Lengths are millimetres, times RFC 3339, pixels those of the upright photo with (0, 0) the centre of the top-left one.",
			"license": object{"name": "MIT", "identifier": "MIT"},
		},
		"paths":    paths,
		"security": []any{object{"token": []any{}}, object{"session": []any{}}},
		"components": object{
			"schemas": d.schemas,
			"securitySchemes": object{
				"token":   object{"type": "http", "scheme": "bearer", "description": "made under /account or by POST /api/tokens"},
				"session": object{"type": "apiKey", "in": "cookie", "name": "nodespan_session", "description": "set by POST /api/session; over https its name is __Host-nodespan_session"},
			},
		},
	}, nil
}

type describer struct{ schemas object }

func (d *describer) operation(o operation, e example) (object, error) {
	op := object{"summary": strings.TrimSuffix(o.what, "."), "description": o.what + " " + rightInWords(routeRules[o.route]), "operationId": operationID(o.route)}
	if routeRules[o.route] == Public {
		op["security"] = []any{}
	}
	switch {
	case len(o.form) > 0:
		fields := object{}
		for _, p := range o.form {
			s := object{"type": "string", "description": p.what}
			if p.name == "photo" || p.name == "file" {
				s["contentMediaType"] = "application/octet-stream"
			}
			fields[p.name] = s
		}
		op["requestBody"] = object{"required": true, "content": object{"multipart/form-data": object{"schema": object{"type": "object", "properties": fields, "required": []any{o.form[0].name}}}}}
	case o.in != nil:
		schema, err := d.schema(o.in)
		if err != nil {
			return nil, err
		}
		op["requestBody"] = object{"required": true, "content": object{"application/json": withExample(object{"schema": schema}, e.Request)}}
	}
	good := object{"description": "done"}
	if o.out != nil {
		schema, err := d.schema(o.out)
		if err != nil {
			return nil, err
		}
		good["content"] = object{"application/json": withExample(object{"schema": schema}, e.Response)}
	} else if o.kind != "" {
		good["content"] = object{o.kind: object{"schema": object{"type": "string"}}}
	}
	fault, err := d.schema(errorAnswer{})
	if err != nil {
		return nil, err
	}
	answers := object{
		fmt.Sprint(o.status): good,
		"default":            object{"description": "what was wrong, and what to do", "content": object{"application/json": object{"schema": fault}}},
	}
	if o.route == "POST /api/blocks/:block/rows/:row/vines/:vine/photos" {
		answers["200"] = object{"description": "this photo was here already", "content": good["content"]}
	}
	op["responses"] = answers
	return op, nil
}

func withExample(media object, text json.RawMessage) object {
	if len(text) > 0 {
		media["example"] = text
	}
	return media
}

func rightInWords(a Action) string {
	switch a {
	case Public:
		return "Needs no account."
	case Own:
		return "For whoever is signed in, of one's own account."
	}
	var roles []string
	for _, r := range mayDo[a] {
		roles = append(roles, string(r))
	}
	text := "Needs the right \"" + string(a) + "\": " + strings.Join(roles, ", ") + "."
	var by []string
	for _, s := range []Scope{ScopeRead, ScopeRecord, ScopeMetrics} {
		if slices.Contains(scopes[s], a) {
			by = append(by, string(s))
		}
	}
	if len(by) > 0 {
		text += " A token needs the scope " + strings.Join(by, " or ") + "."
	}
	return text
}

// operationID makes a name for programs from a route: post_blocks_rules.
func operationID(route string) string {
	method, path, _ := strings.Cut(route, " ")
	words := []string{strings.ToLower(method)}
	for _, p := range strings.Split(strings.TrimPrefix(path, "/api"), "/") {
		if p != "" {
			words = append(words, strings.NewReplacer(":", "by_", "-", "_").Replace(p))
		}
	}
	if len(words) == 1 {
		words = append(words, "description")
	}
	return strings.Join(words, "_")
}

// schema gives the JSON Schema of a Go value's type; named types go to the
// components and are referred to.
func (d *describer) schema(v any) (any, error) {
	r := &jsonschema.Reflector{Anonymous: true, ExpandedStruct: reflect.TypeOf(v).Name() == "", Mapper: special, Namer: schemaName}
	text, err := json.Marshal(r.Reflect(v))
	if err != nil {
		return nil, err
	}
	var s object
	if err := json.Unmarshal(text, &s); err != nil {
		return nil, err
	}
	delete(s, "$schema")
	if defs, ok := s["$defs"].(object); ok {
		for name, def := range defs {
			d.schemas[name] = mended(def)
		}
		delete(s, "$defs")
	}
	return mended(s), nil
}

// schemaName is a type's name among the components: that of a type of another
// package than assess and this one has its package before it.
func schemaName(t reflect.Type) string {
	at := t.PkgPath()[strings.LastIndexByte(t.PkgPath(), '/')+1:]
	if at == "assess" || at == "api" || at == "" {
		return t.Name()
	}
	return strings.ToUpper(at[:1]) + at[1:] + t.Name()
}

// special maps the types whose JSON isn't their fields.
func special(t reflect.Type) *jsonschema.Schema {
	switch t {
	case reflect.TypeFor[assess.Interval]():
		p := jsonschema.NewProperties()
		for _, name := range []string{"value", "low", "high"} {
			p.Set(name, &jsonschema.Schema{Type: "number"})
		}
		return &jsonschema.Schema{
			Description: "a value with its 95 % interval; null when it could not be measured",
			OneOf:       []*jsonschema.Schema{{Type: "object", Properties: p, Required: []string{"value", "low", "high"}}, {Type: "null"}},
		}
	case reflect.TypeFor[numbers]():
		return &jsonschema.Schema{Type: "array", Items: &jsonschema.Schema{
			Description: "null where it isn't known", OneOf: []*jsonschema.Schema{{Type: "number"}, {Type: "null"}},
		}}
	case reflect.TypeFor[anything]():
		return &jsonschema.Schema{Type: "object"}
	case reflect.TypeFor[assess.Sentence]():
		return &jsonschema.Schema{Type: "string", Description: "a sentence, in English"}
	case reflect.TypeFor[assess.Phrase]():
		return &jsonschema.Schema{Type: "object", Description: "a sentence as its English text with places, and what stands in them, so that it can be told in other languages"}
	case reflect.TypeFor[time.Time]():
		return &jsonschema.Schema{Type: "string", Format: "date-time"}
	}
	return nil
}

// mended points references to the components, and lets a list or a map be null,
// as an empty one of Go is.
func mended(v any) any {
	switch x := v.(type) {
	case object:
		if ref, ok := x["$ref"].(string); ok {
			x["$ref"] = strings.Replace(ref, "#/$defs/", "#/components/schemas/", 1)
		}
		_, fixed := x["minItems"]
		if t := x["type"]; t == "array" && !fixed {
			x["type"] = []any{"array", "null"}
		}
		if _, free := x["additionalProperties"].(object); x["type"] == "object" && free {
			x["type"] = []any{"object", "null"}
		}
		for k, e := range x {
			x[k] = mended(e)
		}
	case []any:
		for i, e := range x {
			x[i] = mended(e)
		}
	}
	return v
}
