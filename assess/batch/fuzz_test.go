package batch

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

// FuzzLists reads what a researcher may give as CSV: a list of photos, a plan of
// treatments, a walk list, a filled-in sample. Each is read or refused with a
// line to look at; what was read are places that can be.
func FuzzLists(f *testing.F) {
	for _, s := range []string{
		"photo,block,row,vine\na.jpg,North,1,2\n",
		"\ufeffphoto;block;row;vine;stance\r\n\"a;b.jpg\";North;1;2;left\r\n",
		"block\trow\tvine\ttreatment\tcultivar\nNorth\t\t\tlate\t\nNorth\t1\t3\tearly\tx\n",
		"time,block,row,vine\n2026-12-03 09:41:30,North,1,1\n2026-12-03T09:42,North,1,2\n2026-12-03 09:41:30,North,1,1\n",
		"photo,cane,said,who,note,sha256,with_sha256\na.jpg,1,agree,Ada,,abc,\n'=a.jpg,2,Reject,Ada,x,abc,def\n",
		"photo,block,row,vine\n\"a.jpg,North,1", "photo,photo,block,row,vine,\n,,,,,,\na,b\n", "", "\n\n", "a\"b,c\n", "photo,block,row,vine\na,b,99999999999999999999,-0\n",
	} {
		f.Add(s)
	}
	j, err := Open(f.Context(), f.TempDir())
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { j.Close() })
	if err := j.keep(f.Context(), contents{"abc", ""}, "p1", result{outcome: string(assess.Measured), seen: measurementOf([]byte("photo"))}); err != nil {
		f.Fatal(err)
	}
	refused := func(t *testing.T, what string, err error) bool {
		if err != nil && assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: an error nobody can act on: %v", what, err)
		}
		return err != nil
	}
	f.Fuzz(func(t *testing.T, text string) {
		photos := []photo{{path: "a.jpg", sha: "abc", taken: "2026-12-03T09:41:31"}, {path: "North/b.jpg"}, {}}
		m := &Matcher{}
		if l, err := ReadList(strings.NewReader(text), "vines.csv"); !refused(t, "list", err) {
			m.List = l
		}
		if w, err := ReadWalk(strings.NewReader(text), "walk.csv"); !refused(t, "walk", err) {
			m.Walk = w
			if !slices.IsSortedFunc(w.stops, func(a, b stop) int { return a.from.Compare(b.from) }) {
				t.Error("the stops aren't in order")
			}
		}
		if p, err := ReadPlan(strings.NewReader(text), "plan.csv"); !refused(t, "plan", err) {
			m.Plan = p
		}
		for _, p := range photos {
			if at := m.Place(p); at.Known() && checkPlace(at) != nil {
				t.Errorf("%+v is found for %q", at, p.path)
			}
		}
		_, err := j.ReadChecks(t.Context(), "p1", strings.NewReader(text), "sample.csv")
		refused(t, "sample", err)
	})
}

// FuzzPattern: a pattern is taken or refused, and what it finds in a name is a
// place that can be.
func FuzzPattern(f *testing.F) {
	for _, s := range [][2]string{
		{DefaultPattern, "North/North-1-2-left.jpg"}, {"{block}/{row}-{vine}[-{stance}][_{any}]", "N/1-2-a_x.jpg"}, {"{treatment}_{winter}_{row}.{vine}", "late_2026-27_1.2.jpg"},
		{"[[{row}]{vine}", "1"}, {"{row}{vine}", "99999999999999999999"}, {"(?P<row>.*){row}{vine}", "(?P<row>.*)12"}, {"{row}/{vine}", "//"}, {"{block}-{row}-{vine}", "\xff-1-1.jpg"},
	} {
		f.Add(s[0], s[1])
	}
	f.Fuzz(func(t *testing.T, pattern, path string) {
		p, err := ParsePattern(pattern)
		if err != nil {
			if assess.ErrorCode(err) != assess.EInvalid {
				t.Errorf("an error nobody can act on: %v", err)
			}
			return
		}
		begun := time.Now()
		if at, ok := p.Match(path); ok && (checkPlace(at) != nil || at.By != byName) {
			t.Errorf("%q finds %+v in %q", pattern, at, path)
		}
		if took := time.Since(begun); took > 5*time.Second {
			t.Errorf("%q took %s for %q", pattern, took, path)
		}
	})
}
