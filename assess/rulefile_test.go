package assess

import (
	"fmt"

	"reflect"
	"strings"
	"testing"
)

func TestRuleSetFilesReadBack(t *testing.T) {
	rs := DefaultRuleSet()
	rs.Weak.Source = "a \"quoted\" source: with a colon, 'another', a # and\na second line"
	rs.ShortNoded.Limit = 47.25
	for _, format := range []FileFormat{YAML, TOML} {
		data, err := WriteRuleSet(rs, format)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadRuleSet(data, format)
		if err != nil || !reflect.DeepEqual(got, rs) {
			t.Errorf("%s: read back as %+v, %v from\n%s", format, got, err, data)
		}
		table := InternodeTable()
		if data, err = WriteDescriptorTable(table, format); err != nil {
			t.Fatal(err)
		}
		if got, err := ReadDescriptorTable(data, format); err != nil || !reflect.DeepEqual(got, table) {
			t.Errorf("%s: read back as %+v, %v from\n%s", format, got, err, data)
		}
	}
	if _, err := WriteRuleSet(rs, "xml"); ErrorCode(err) != EInvalid {
		t.Errorf("xml: %v", err)
	}
}

// A broken file is refused with the line that is wrong.
func TestRuleSetFileFaults(t *testing.T) {
	files := map[FileFormat]string{}
	for _, format := range []FileFormat{YAML, TOML} {
		data, err := WriteRuleSet(DefaultRuleSet(), format)
		if err != nil {
			t.Fatal(err)
		}
		files[format] = string(data)
	}
	lineOf := func(text, mark string) int {
		before, _, found := strings.Cut(text, mark)
		if !found {
			t.Fatalf("no %q in\n%s", mark, text)
		}
		return 1 + strings.Count(before, "\n")
	}
	for _, c := range []struct {
		name          string
		format        FileFormat
		old, with     string
		mark          string // stands in the line that must be named
		says          string
		alsoNamesLine string
	}{
		{"limit out of range", YAML, "weak:\n  limit: 6", "weak:\n  limit: 600", "  limit: 600", "give a value from 1 to 30 mm", ""},
		{"limit out of range", TOML, "[weak]\nlimit = 6.0", "[weak]\nlimit = 600.0", "limit = 600.0", "give a value from 1 to 30 mm", ""},
		{"a text for a number", YAML, "weak:\n  limit: 6", "weak:\n  limit: six", "  limit: six", "", ""},
		{"a text for a number", TOML, "[weak]\nlimit = 6.0", "[weak]\nlimit = \"six\"", "limit = \"six\"", "", ""},
		{"unknown key", YAML, "weak:\n  limit: 6", "weak:\n  limmit: 6", "  limmit: 6", "unknown field", ""},
		{"unknown key", TOML, "[weak]\nlimit = 6.0", "[weak]\nlimmit = 6.0", "limmit = 6.0", "unknown field", ""},
		{"no source", TOML, "[cut_beyond]", "[cut_beyond]\n[another]\n[third]", "[another]", "unknown field", "[third]"},
		{"a limit left out", YAML, "short_noded:\n  limit: 50.0", "short_noded:", "short_noded:", "short_noded is 0 mm", ""},
		{"two limits wrong", YAML, "weak:\n  limit: 6", "weak:\n  limit: 14", "  limit: 14", "isn't below over_vigorous", ""},
		{"anchor", YAML, "weak:\n  limit: 6", "weak:\n  limit: &a 6", "limit: &a 6", "anchors", ""},
		{"key twice", YAML, "version: 1", "version: 1\nversion: 2", "version: 2", "", ""},
		{"key twice", TOML, "version = 1", "version = 1\nversion = 2", "version = 2", "", ""},
		{"open text", TOML, "version = 1", "version = 1\nx = \"open", "x = \"open", "", ""},
		{"bad indent", YAML, "version: 1", "version: 1\n   x: y: z", "version: 1", "", ""},
	} {
		text := strings.Replace(files[c.format], c.old, c.with, 1)
		if text == files[c.format] {
			t.Fatalf("%s, %s: nothing to change in\n%s", c.name, c.format, text)
		}
		_, err := ReadRuleSet([]byte(text), c.format)
		want := fmt.Sprintf("line %d: ", lineOf(text, c.mark))
		if ErrorCode(err) != EInvalid || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s, %s: %v; want %q and %q", c.name, c.format, err, want, c.says)
		}
		if c.alsoNamesLine != "" && !strings.Contains(err.Error(), fmt.Sprintf("line %d: ", lineOf(text, c.alsoNamesLine))) {
			t.Errorf("%s, %s: %v doesn't name the second line", c.name, c.format, err)
		}
	}
	for name, data := range map[string]string{"nothing": "", "a list": "- 1\n- 2\n", "two documents": "name: a\n---\nname: b\n", "no text": "\xff\xfe", "null": "null"} {
		if _, err := ReadRuleSet([]byte(data), YAML); ErrorCode(err) != EInvalid || len(err.Error()) < 30 {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReadRuleSet(make([]byte, largestFile+1), YAML); ErrorCode(err) != ETooLarge {
		t.Errorf("a large file: %v", err)
	}
}

// A missing section is told at the file's start, a broken class at its own line.
func TestDescriptorTableFileFaults(t *testing.T) {
	data, _ := WriteDescriptorTable(InternodeTable(), TOML)
	text := strings.Replace(string(data), "from = 90", "from = 55", 1)
	_, err := ReadDescriptorTable([]byte(text), TOML)
	want := 1 + strings.Count(text[:strings.Index(text, "[[classes]]\nname = 'medium'")], "\n")
	if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("line %d: class 2 begins at 55, within class 1", want)) {
		t.Errorf("%v in\n%s", err, text)
	}
	data, _ = WriteDescriptorTable(InternodeTable(), YAML)
	text = strings.Replace(string(data), "from: 90", "from: 55", 1)
	want = 1 + strings.Count(text[:strings.Index(text, "- name: medium")], "\n")
	if _, err := ReadDescriptorTable([]byte(text), YAML); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("line %d: class 2 begins at 55, within class 1", want)) {
		t.Errorf("%v in\n%s", err, text)
	}
}

func TestFormatOf(t *testing.T) {
	for name, want := range map[string]FileFormat{"a.yaml": YAML, "b.YML": YAML, "c.d.toml": TOML, "e.json": "", "": ""} {
		if got, err := FormatOf(name); got != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v", name, got, err)
		}
	}
}

// Whatever the bytes: a rule set that stands, or an error with a sentence. What
// is read is written and read back the same.
func FuzzRuleSetFile(f *testing.F) {
	for _, format := range []FileFormat{YAML, TOML} {
		data, err := WriteRuleSet(DefaultRuleSet(), format)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, format == TOML)
		f.Add(data[:len(data)/2], format == TOML)
	}
	for _, s := range []string{"", "{}", "a: &a [*a, *a]", "weak: {limit: 1e999}", "weak: {limit: .nan}", "name: !!binary x", "[weak]\nlimit = nan", "weak.limit = inf", "? [a]\n: b", "---\n...\n---"} {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, data []byte, isTOML bool) {
		format := YAML
		if isTOML {
			format = TOML
		}
		rs, err := ReadRuleSet(data, format)
		if err != nil {
			if code := ErrorCode(err); code != EInvalid && code != ETooLarge || err.Error() == "" {
				t.Fatalf("%v with code %q", err, code)
			}
			return
		}
		if err := rs.Validate(); err != nil {
			t.Fatalf("read, and can't be used: %v", err)
		}
		for _, as := range []FileFormat{YAML, TOML} {
			text, err := WriteRuleSet(rs, as)
			if err != nil {
				t.Fatalf("%s: %v", as, err)
			}
			again, err := ReadRuleSet(text, as)
			if err != nil || !reflect.DeepEqual(again, rs) {
				t.Fatalf("%s: read back as %+v, %v, was %+v", as, again, err, rs)
			}
		}
	})
}

// The same for descriptor tables.
func FuzzDescriptorTableFile(f *testing.F) {
	for _, format := range []FileFormat{YAML, TOML} {
		data, err := WriteDescriptorTable(InternodeTable(), format)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, format == TOML)
	}
	f.Add([]byte("classes: [{name: a, from: 1e400}, {name: b, from: -0}]"), false)
	f.Fuzz(func(t *testing.T, data []byte, isTOML bool) {
		format := YAML
		if isTOML {
			format = TOML
		}
		table, err := ReadDescriptorTable(data, format)
		if err != nil {
			if code := ErrorCode(err); code != EInvalid && code != ETooLarge || err.Error() == "" {
				t.Fatalf("%v with code %q", err, code)
			}
			return
		}
		if _, err := ClassifyBy(table, nil); ErrorCode(err) != EInvalid || !strings.Contains(err.Error(), "can't be classed from") {
			t.Fatalf("read, and can't be used: %v", err)
		}
	})
}

// Every training form is written and read back the same, and a broken one is
// refused with its line.
func TestFormFiles(t *testing.T) {
	for _, f := range Forms() {
		for _, format := range []FileFormat{YAML, TOML} {
			data, err := WriteForm(f, format)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := ReadForm(data, format); err != nil || !reflect.DeepEqual(got, f) {
				t.Errorf("%s, %s: read back as %+v, %v from\n%s", f.Name, format, got, err, data)
			}
		}
	}
	data, _ := WriteForm(DefaultForm(), YAML)
	for name, c := range map[string]struct{ old, with, says string }{
		"place on no wire":   {"direction: right", "direction: up", `goes "up"; give left, right or either`},
		"buds out of range":  {"buds_per_cane: 8", "buds_per_cane: 9", "9 buds are asked of a cane, outside its own range of 6 to 8"},
		"no title":           {"title: Four canes on two wires", "title: ''", "its title is missing"},
		"head the wrong way": {"- 250", "- 2", "give the least before the most"},
		"a word for buds":    {"spur_buds: 2", "spur_buds: two", ""},
	} {
		text := strings.Replace(string(data), c.old, c.with, 1)
		if text == string(data) {
			t.Fatalf("%s: nothing to change in\n%s", name, text)
		}
		if _, err := ReadForm([]byte(text), YAML); ErrorCode(err) != EInvalid || !strings.Contains(err.Error(), "line ") || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A form that is read can be chosen by, whatever it is.
func FuzzFormFile(f *testing.F) {
	for i, form := range Forms() {
		data, err := WriteForm(form, []FileFormat{YAML, TOML}[i%2])
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, i%2 == 1)
	}
	m := vineOf(good(1, -60, -20), good(2, 60, 20), good(3, 5, 0))
	f.Fuzz(func(t *testing.T, data []byte, isTOML bool) {
		format := YAML
		if isTOML {
			format = TOML
		}
		form, err := ReadForm(data, format)
		if err != nil {
			if code := ErrorCode(err); code != EInvalid && code != ETooLarge || err.Error() == "" {
				t.Fatalf("%v with code %q", err, code)
			}
			return
		}
		ch, err := Suggest(m, form, DefaultRuleSet())
		if err != nil || ch.Buds > form.MaxBuds() {
			t.Fatalf("%d buds of at most %d, %v, by %+v", ch.Buds, form.MaxBuds(), err, form)
		}
	})
}
