package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"

	"nodespan/assess"
)

// readRules reads a rule set from a YAML, TOML or JSON file, the default one for
// no name. A misspelt limit is an error: one that silently did nothing would be
// believed.
func readRules(name string) (assess.RuleSet, error) {
	if name == "" {
		return assess.DefaultRuleSet(), nil
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return assess.RuleSet{}, assess.Errorf(assess.EInvalid, "%s can't be read. Check its name and rights: %w", name, err)
	}
	if !strings.EqualFold(filepath.Ext(name), ".json") {
		format, err := assess.FormatOf(name)
		if err != nil {
			return assess.RuleSet{}, err
		}
		return assess.ReadRuleSet(data, format)
	}
	var rs assess.RuleSet
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&rs); err != nil {
		return assess.RuleSet{}, assess.Errorf(assess.EInvalid, "%s is no rule set: %w", name, err)
	}
	return rs, rs.Validate()
}
