package study

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"nodespan/assess"
	"nodespan/assess/batch"
	"nodespan/assess/store"
)

// reads gives each photo one cane with one internode at 100 mm along the wire,
// of the diameter that its content's first two letters say in tenths of a
// millimetre; together with a second photo 0.05 mm less. It notes what it was
// asked. "none" is refused, "junk" is no photo.
type reads struct {
	mu    sync.Mutex
	asked []string
}

func (r *reads) Measure(_ context.Context, photo []byte, ask assess.Ask) (*assess.Measurement, error) {
	said := string(photo)
	if ask.With != nil {
		said += " with " + string(ask.With)
	}
	r.mu.Lock()
	r.asked = append(r.asked, said)
	r.mu.Unlock()
	switch {
	case strings.HasPrefix(string(photo), "junk") || strings.HasPrefix(string(ask.With), "junk"):
		return nil, assess.Errorf(assess.EInvalid, "This is no photo.")
	case strings.HasPrefix(string(photo), "none"):
		return &assess.Measurement{Outcome: assess.Refused, Reasons: []assess.Reason{assess.NoReference}}, nil
	}
	d := 10*float64(photo[0]-'0') + float64(photo[1]-'0')
	d /= 10
	m := &assess.Measurement{Outcome: assess.Measured, Reference: &assess.Reference{PxToMM: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}, Outline: []assess.Point{{0, 0}}}}
	if ask.With != nil {
		d -= 0.05
		m.With = "second"
	}
	m.Canes = []assess.Cane{{
		ID: 1, CentreLine: []assess.Point{{100, 0}, {100, 200}}, Nodes: []assess.Node{{AlongMM: 10}, {AlongMM: 90}},
		Internodes: []assess.Internode{{Diameter: assess.Interval{Value: d, Low: d - 1, High: d + 1}}},
	}}
	return m, nil
}

func (*reads) Guide(context.Context, []byte, *assess.Measurement, assess.Point, assess.Point) (*assess.Cane, error) {
	return nil, assess.Errorf(assess.EInvalid, "never asked")
}

func folderOf(t *testing.T, photos map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range photos {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func take(t *testing.T, photos map[string]string, alone bool) ([]Photo, *reads) {
	t.Helper()
	name, err := batch.ParsePattern(batch.DefaultPattern)
	if err != nil {
		t.Fatal(err)
	}
	m := &reads{}
	got, err := Take{Dir: folderOf(t, photos), Match: &batch.Matcher{Name: name}, Measurer: m, Alone: alone, Workers: 2}.Photos(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(m.asked)
	return got, m
}

// Two stances are measured together and are one reading; what is left of the
// occasion when one of them can't be used still counts, and a copy never does.
func TestOccasions(t *testing.T) {
	for _, c := range []struct {
		name   string
		photos map[string]string
		alone  bool
		asked  []string
		read   []string // photos that give a reading
	}{
		{"one photo", map[string]string{"North-1-7.jpg": "80"}, false, []string{"80"}, []string{"North-1-7.jpg"}},
		{"two stances", map[string]string{"North-1-7-a.jpg": "80", "North-1-7-b.jpg": "82"}, false, []string{"80 with 82"}, []string{"North-1-7-a.jpg"}},
		{"two stances, each alone", map[string]string{"North-1-7-a.jpg": "80", "North-1-7-b.jpg": "82"}, true, []string{"80", "82"}, []string{"North-1-7-a.jpg", "North-1-7-b.jpg"}},
		{"two pairs", map[string]string{"North-1-7-1a.jpg": "80", "North-1-7-1b.jpg": "82", "North-1-7-2a.jpg": "84", "North-1-7-2b.jpg": "86"}, false,
			[]string{"80 with 82", "84 with 86"}, []string{"North-1-7-1a.jpg", "North-1-7-2a.jpg"}},
		{"the first is refused", map[string]string{"North-1-7-a.jpg": "none", "North-1-7-b.jpg": "82"}, false, []string{"82", "none with 82"}, []string{"North-1-7-b.jpg"}},
		{"the second is no photo", map[string]string{"North-1-7-a.jpg": "80", "North-1-7-b.jpg": "junk"}, false, []string{"80", "80 with junk"}, []string{"North-1-7-a.jpg"}},
		{"both are refused", map[string]string{"North-1-7-a.jpg": "none", "North-1-7-b.jpg": "none too"}, false, []string{"none too", "none with none too"}, nil},
		{"a copy", map[string]string{"North-1-7.jpg": "80", "North-1-8.jpg": "80"}, false, []string{"80"}, []string{"North-1-7.jpg"}},
		{"of no known vine", map[string]string{"a.jpg": "80", "b.jpg": "82"}, false, []string{"80", "82"}, []string{"a.jpg", "b.jpg"}},
	} {
		photos, m := take(t, c.photos, c.alone)
		var read []string
		for i := range photos {
			if photos[i].read() {
				read = append(read, photos[i].Name)
			} else if photos[i].Why == "" {
				t.Errorf("%s: nothing says why %s gives no reading", c.name, photos[i].Name)
			}
		}
		if !slices.Equal(m.asked, c.asked) || !slices.Equal(read, c.read) || len(photos) != len(c.photos) {
			t.Errorf("%s: asked %q, read %q; want %q, %q", c.name, m.asked, read, c.asked, c.read)
		}
	}
}

const handHead = "vine,cane,node_from,node_to,diameter_mm,internode_mm,who,with,at_mm,photo\n"

// Repeated readings are those of several occasions. Worked by hand after Bland
// & Altman, BMJ 1996; 313: 744: of 8.0, 8.4 and of 9.0, 9.2 the variances within
// are 0.08 and 0.02, their mean 0.05; two stances of one occasion are in it once.
func TestStancesAreNoRepeats(t *testing.T) {
	hands, err := ReadHand(strings.NewReader(handHead+"North-1-7,,1,2,8.2,,Ada,caliper,100,\nNorth-1-8,,1,2,9.1,,Ada,caliper,100,\n"), "hand.csv")
	if err != nil {
		t.Fatal(err)
	}
	pairs := map[string]string{}
	for vine, readings := range map[string][4]string{"7": {"80", "70", "84", "99"}, "8": {"90", "71", "92", "98"}} {
		for i, stance := range []string{"1a", "1b", "2a", "2b"} {
			pairs["North-1-"+vine+"-"+stance+".jpg"] = readings[i] + " " + vine
		}
	}
	photos, _ := take(t, pairs, false)
	d := NewReport(hands, photos, "test").Results[0]
	if d.Agreement.N != 4 || d.Occasions != 4 || d.Deep != 4 || d.Repeats == nil || d.Repeats.Things != 2 || d.Repeats.Readings != 4 || math.Abs(d.Repeats.WithinSD.Value-math.Sqrt(0.05)) > 1e-9 {
		t.Errorf("in pairs: %d values, %d occasions, %d with depth, %+v", d.Agreement.N, d.Occasions, d.Deep, d.Repeats)
	}
	photos, _ = take(t, pairs, true)
	if d := NewReport(hands, photos, "test").Results[0]; d.Agreement.N != 8 || d.Occasions != 8 || d.Deep != 0 || d.Repeats == nil || d.Repeats.Readings != 8 {
		t.Errorf("alone: %d values, %d occasions, %+v", d.Agreement.N, d.Occasions, d.Repeats)
	}
	// One pair a vine repeats nothing, however many photos that are.
	for name := range pairs {
		if strings.Contains(name, "-2") {
			delete(pairs, name)
		}
	}
	photos, _ = take(t, pairs, false)
	if d := NewReport(hands, photos, "test").Results[0]; len(d.pairs) != 2 || d.Occasions != 2 || d.Repeats != nil {
		t.Errorf("one pair each: %d values, %+v", len(d.pairs), d.Repeats)
	}
}

// Each photo numbers its canes by itself: a number alone means a cane only
// where there is one occasion, and never one of a second stance.
func TestNumbersOfSeveralOccasions(t *testing.T) {
	twice := map[string]string{"North-1-7-1a.jpg": "80", "North-1-7-1b.jpg": "81", "North-1-7-2a.jpg": "84", "North-1-7-2b.jpg": "85"}
	once := map[string]string{"North-1-7-a.jpg": "80", "North-1-7-b.jpg": "82"}
	for _, c := range []struct {
		name, row string
		photos    map[string]string
		pairs     int
		why       string
	}{
		{"by number, one occasion", "North-1-7,1,1,2,8.1,,Ada,caliper,,", once, 1, ""},
		{"by number, two occasions", "North-1-7,1,1,2,8.1,,Ada,caliper,,", twice, 0, "on 2 occasions"},
		{"by number and photo", "North-1-7,1,1,2,8.1,,Ada,caliper,,North-1-7-2a.jpg", twice, 1, ""},
		{"by number on the second stance", "North-1-7,1,1,2,8.1,,Ada,caliper,,North-1-7-2b.jpg", twice, 0, "stands with North-1-7-2a.jpg as one occasion"},
		{"by place", "North-1-7,,1,2,8.1,,Ada,caliper,100,", twice, 2, ""},
	} {
		hands, err := ReadHand(strings.NewReader(handHead+c.row+"\n"), "hand.csv")
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		photos, _ := take(t, c.photos, false)
		pairs, left := Pair(hands, photos)
		if len(pairs) != c.pairs || (len(left) == 0) != (c.why == "") || c.why != "" && !strings.Contains(left[0].Why, c.why) {
			t.Errorf("%s: %d pairs, left %+v; want %d, %q", c.name, len(pairs), left, c.pairs, c.why)
		}
	}
}

func TestTakeNeedsPhotos(t *testing.T) {
	for _, dir := range []string{t.TempDir(), filepath.Join(t.TempDir(), "missing")} {
		if _, err := (Take{Dir: dir, Match: &batch.Matcher{}, Measurer: &reads{}}).Photos(t.Context()); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: %v", dir, err)
		}
	}
}

// A photo of the record counts by what people confirmed of it; one that shows
// another one's depth there is no occasion, whatever its name says.
func TestOccasionsOfARecord(t *testing.T) {
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "data"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { st.Close() })
	b, err := st.AddBlock(t.Context(), store.Block{Name: "South slope", Rows: 12, VinesPerRow: 40, TrainingForm: "form", RuleSet: "rules@1", RuleSetText: "{}", CreatedBy: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	first, _, err := st.AddPhoto(t.Context(), store.NewPhoto{Data: []byte("80 first"), Name: "first.jpg", ContentType: "image/jpeg", BlockID: b.ID, Row: 4, Number: 7, Winter: "2026/27", By: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	measured := func() *store.Measurement {
		t.Helper()
		ask, _, _, err := st.LatestAsk(t.Context(), first.ID)
		if err != nil {
			t.Fatal(err)
		}
		seen, err := (&reads{}).Measure(t.Context(), []byte("80 first"), assess.Ask{})
		if err != nil {
			t.Fatal(err)
		}
		m, err := st.AddMeasurement(t.Context(), ask.ID, seen)
		if err != nil {
			t.Fatal(err)
		}
		return &m
	}
	measured()
	if _, _, _, err := st.AddSecond(t.Context(), first.ID, store.NewPhoto{Data: []byte("82 second"), Name: "second.jpg", ContentType: "image/jpeg", By: "Ada"}); err != nil {
		t.Fatal(err)
	}
	m := measured()
	r, err := assess.NewRuling(m.Seen, nil, 1, assess.Agree)
	if err != nil {
		t.Fatal(err)
	}
	keep, err := store.KeepRuling(r)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.AddRulings(t.Context(), m.ID, 0, "Ada", "", []store.NewRuling{keep}); err != nil {
		t.Fatal(err)
	}
	dir := folderOf(t, map[string]string{"IMG_1.jpg": "80 first", "IMG_2.jpg": "82 second", "IMG_3.jpg": "85 elsewhere"})
	for _, alone := range []bool{false, true} {
		k := &reads{}
		got, err := Take{Dir: dir, Match: &batch.Matcher{}, Measurer: k, Record: st, Alone: alone, Workers: 2}.Photos(t.Context())
		if err != nil || len(got) != 3 {
			t.Fatal(got, err)
		}
		if p := got[0]; !p.Ruled || !p.read() || p.Block != "South slope" || p.Row != 4 || p.Vine != 7 || len(p.Canes) != 1 {
			t.Errorf("alone %v, the first: %+v", alone, p)
		}
		if got[1].read() != alone || (got[1].StandsWith == "first.jpg") == alone {
			t.Errorf("alone %v, the second: %+v", alone, got[1])
		}
		slices.Sort(k.asked)
		want := []string{"85 elsewhere"}
		if alone {
			want = []string{"82 second", "85 elsewhere"}
		}
		if !slices.Equal(k.asked, want) {
			t.Errorf("alone %v: measured %q, want %q", alone, k.asked, want)
		}
	}
}
