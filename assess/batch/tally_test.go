package batch

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"nodespan/assess"
	"nodespan/assess/agreement"
)

// seenAt makes a photo of a vine whose canes arise at places along the wire.
func seenAt(path string, vine int, canes map[float64]float64) *sighting {
	m := &assess.Measurement{Outcome: assess.Measured, Reference: &assess.Reference{Kind: "checker", PxToMM: [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}, Outline: []assess.Point{{0, 0}}}}
	for at, d := range canes {
		m.Canes = append(m.Canes, assess.Cane{ID: len(m.Canes) + 1, CentreLine: []assess.Point{{at, 0}, {at, -400}},
			Diameter: assess.Interval{Value: d, Low: d - 1, High: d + 1}, Internode: assess.Interval{Value: 10 * d, Low: 9 * d, High: 11 * d}})
	}
	return &sighting{rec: record{photo: photo{path: path, sha: path}, outcome: "measured"}, at: Place{Block: "North", Row: 1, Vine: vine, By: byName}, seen: m}
}

func tallied(list ...*sighting) *tally {
	t := newTally()
	for _, s := range list {
		s.counted = true
		t.photo(s, s.photoRow())
	}
	return t
}

// Canes of two photos of a vine are paired by the place of their base: here
// three are the same, one was seen only once, and two stand too close to a
// neighbour's place to be taken for it.
func TestRepeatedCanes(t *testing.T) {
	a := seenAt("a", 1, map[float64]float64{0: 8.0, 60: 9.0, 120: 7.0, 300: 6.0})
	b := seenAt("b", 1, map[float64]float64{4: 8.2, 55: 9.4, 128: 7.0, 400: 5.0})
	other := seenAt("c", 2, map[float64]float64{0: 12})
	got := tallied(a, b, other).repeated(diameterOf)
	if len(got) != 3 {
		t.Fatalf("%d canes were paired, want 3: %v", len(got), got)
	}
	r, err := agreement.Repeat(got)
	if err != nil {
		t.Fatal(err)
	}
	// Differences 0.2, 0.4 and 0: the root of half their mean square.
	if want := math.Sqrt((0.04 + 0.16) / 2 / 3); math.Abs(r.WithinSD.Value-want) > 1e-9 {
		t.Errorf("within %v, want %v", r.WithinSD.Value, want)
	}
	if got := tallied(a, b, other).vineMedians(diameterOf); len(got) != 1 || len(got[0]) != 2 {
		t.Errorf("medians of vines with several photos: %v", got)
	}
	// The same bytes twice are no repetition.
	b.samePhoto = "a"
	if got := tallied(a, b).repeated(diameterOf); len(got) != 0 {
		t.Errorf("a copied photo was taken for a second one: %v", got)
	}
}

// One cane four times as thick as the others is an outlier, the others aren't;
// with seven canes nobody can say.
func TestOutliers(t *testing.T) {
	canes := map[float64]float64{}
	for i := range 20 {
		canes[float64(100*i)] = 8 + 0.1*float64(i)
	}
	canes[5000] = 36
	out := tallied(seenAt("a", 1, canes)).outliers(10)
	if len(out) != 2 || out[0].Value != 36 && out[0].Value != 360 {
		t.Errorf("outliers %+v, want the thick cane's diameter and internode", out)
	}
	few := map[float64]float64{0: 8, 100: 8.1, 200: 8.2, 300: 8.3, 400: 8.4, 500: 8.5, 600: 40}
	if out := tallied(seenAt("a", 1, few)).outliers(10); len(out) != 0 {
		t.Errorf("outliers among seven canes: %+v", out)
	}
}

// The comparison takes each vine as one value: means and interval worked by
// hand from the vines' medians 8, 9 and 10: 9 +- 4.303 x 1 / sqrt(3).
func TestCompareByVine(t *testing.T) {
	var list []*sighting
	for v, d := range []float64{8, 9, 10} {
		list = append(list, seenAt(fmt.Sprint("p", v), v+1, map[float64]float64{0: d - 1, 100: d, 200: d + 3}))
	}
	c := tallied(list...).compare(func(p Place) string { return p.Block })
	if len(c) != 1 || c[0].Vines != 3 || c[0].Canes != 9 || c[0].VineD.Value != 9 {
		t.Fatalf("%+v", c)
	}
	if half := 4.303 / math.Sqrt(3); math.Abs(c[0].VineD.High-9-half) > 0.002 {
		t.Errorf("interval %+v, want +-%.3f", c[0].VineD, half)
	}
	if s := spreadOf([]float64{4, 1, 3, 2}); s.Median != 2.5 || s.Low != 1.75 || s.High != 3.25 || math.Abs(s.SD-1.2910) > 1e-4 {
		t.Errorf("spread of 1 to 4: %+v", s)
	}
}

// The methods paragraph has the run's own figures, and none that there isn't.
func TestMethods(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	text := readText(t, out, "methods.txt")
	for _, want := range []string{
		"31 photos of dormant vines", "27 photos could be measured; 1 was refused because of no reference (1); 3 were unreadable",
		fmt.Sprintf("%d one-year canes", w.Counted), "depth by the parallax", "nodespan-default@1 (weak below 6 mm, short-noded below 50 mm, over-vigorous above 13 mm)",
		fmt.Sprintf("A simple random sample of %d canes", w.ErrorRate.Sample), "[none was checked yet]",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the paragraph lacks %q:\n%s", want, text)
		}
	}
	one := t.TempDir()
	write(t, one, "North-1-1.jpg", "photo one")
	_, _ = measureAll(t, one, out+"2", &keptMeasurer{}, 1)
	if text := readText(t, out+"2", "methods.txt"); strings.Contains(text, "refused") || strings.Contains(text, "Bland") || !strings.Contains(text, "1 photo of dormant vines") {
		t.Errorf("of one good photo:\n%s", text)
	}
}

// What doesn't fit onto one sheet goes on with its heading on a further one.
func TestSheetsGoOn(t *testing.T) {
	book, err := newWorkbook()
	if err != nil {
		t.Fatal(err)
	}
	defer book.close()
	book.rows = 4
	s, err := newSheet[PhotoRow](book, "photos")
	if err != nil {
		t.Fatal(err)
	}
	for i := range 8 {
		if err := s.add(PhotoRow{Photo: fmt.Sprint(i), Outcome: "measured", RuleSet: "r@1"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	if err := book.writeTo(&out); err != nil {
		t.Fatal(err)
	}
	f, err := excelize.OpenReader(&out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got := 0
	for _, name := range f.GetSheetList() {
		rows, err := f.GetRows(name)
		if err != nil || len(rows) > 4 || rows[0][0] != "photo" {
			t.Errorf("sheet %s: %v, %v", name, rows, err)
		}
		for _, r := range rows[1:] {
			if r[0] != fmt.Sprint(got) {
				t.Errorf("sheet %s has %s, want %d", name, r[0], got)
			}
			got++
		}
	}
	if got != 8 {
		t.Errorf("%d rows on all sheets, want 8", got)
	}
}

// A file that a person fills in where it lies isn't written over.
func TestFilledInFilesAreKept(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	measureAll(t, photos, out, &keptMeasurer{}, 2)
	filled := strings.Replace(readText(t, out, "unmatched.csv"), "IMG_0001.JPG,,,", "IMG_0001.JPG,North,8,8", 1)
	write(t, out, "unmatched.csv", filled)
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	if len(w.Kept) != 1 || readText(t, out, w.Kept[0]) != filled {
		t.Fatalf("kept %v", w.Kept)
	}
	l, err := ReadList(strings.NewReader(filled), "unmatched.csv")
	if err != nil {
		t.Fatal(err)
	}
	if at, ok := l.find(photo{path: "IMG_0001.JPG"}); !ok || at.Vine != 8 {
		t.Errorf("the filled-in list gives %+v, %v", at, ok)
	}
	if _, w = measureAll(t, photos, out, &keptMeasurer{}, 2); len(w.Kept) != 0 {
		t.Errorf("kept again: %v", w.Kept)
	}
}
