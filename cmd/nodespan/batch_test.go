package main

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"nodespan/assess"
)

// A rule set is read from each kind of file; what can't stand is refused.
func TestReadRules(t *testing.T) {
	dir := t.TempDir()
	rs := assess.DefaultRuleSet()
	rs.Weak.Limit = 5.5
	for name, format := range map[string]assess.FileFormat{"r.yaml": assess.YAML, "r.toml": assess.TOML} {
		data, err := assess.WriteRuleSet(rs, format)
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := readRules(path); err != nil || got != rs {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if got, err := readRules(""); err != nil || got != assess.DefaultRuleSet() {
		t.Errorf("no file: %v", err)
	}
	for name, text := range map[string]string{"bad.json": `{"nmae":"x"}`, "bad.yaml": "name: [", "r.doc": ""} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := readRules(path); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := readRules(filepath.Join(dir, "none.json")); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a file that isn't there: %v", err)
	}
}

// Options may stand before and after the folder.
func TestParseAnywhere(t *testing.T) {
	for _, args := range [][]string{{"DIR", "--out", "R", "--watch"}, {"--out", "R", "DIR", "--watch"}, {"--watch", "--out=R", "DIR"}} {
		fs := flag.NewFlagSet("x", flag.ContinueOnError)
		out, watch := fs.String("out", "", ""), fs.Bool("watch", false, "")
		if err := parseAnywhere(fs, args); err != nil || *out != "R" || !*watch || !slices.Equal(fs.Args(), []string{"DIR"}) {
			t.Errorf("%v: out %q watch %v rest %v, %v", args, *out, *watch, fs.Args(), err)
		}
	}
}
