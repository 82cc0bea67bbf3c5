package assess

// A fault is one thing that can't stand in what a person entered, with the
// path of its key, like "weak.limit".
type fault struct {
	path string
	text Sentence
}

type faults []fault

func (fs *faults) say(path, text string, args ...any) {
	*fs = append(*fs, fault{path, Tell(text, args...)})
}

// name checks what every named and versioned thing has.
func (fs *faults) name(name string, version int) {
	if !ruleName().MatchString(name) {
		fs.say("name", "name %q can't be used: give 1 to 80 letters, digits, spaces, dots, dashes or underscores, a letter or digit first.", name)
	}
	if version < 1 || version > 1_000_000 {
		fs.say("version", "version is %d: versions count from 1.", version)
	}
}

func joinFaults(fs faults) sentences {
	var out []Sentence
	for _, f := range fs {
		out = append(out, f.text)
	}
	return joined(out, "\n")
}
