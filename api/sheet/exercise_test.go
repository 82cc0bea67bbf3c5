package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nodespan/assess"
)

// exerciseOf is an exercise of so many vines, all with the same photo.
func exerciseOf(t testing.TB, vines int) Exercise {
	t.Helper()
	jpeg, err := os.ReadFile(filepath.Join("..", "testdata", "vine.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join("..", "testdata", "vine.json"))
	if err != nil {
		t.Fatal(err)
	}
	m := new(assess.Measurement)
	if err := json.Unmarshal(data, m); err != nil {
		t.Fatal(err)
	}
	x := Exercise{Title: "Žofie's first vines", Who: "Group Beginners (invented) of Tess (invented). 26 Nov 2026.", Form: "Training form: Four canes on two wires.", Cautions: assess.Cautions(), Say: say(t)}
	for i := range vines {
		v := ExerciseVine{Where: fmt.Sprintf("%d. Mühlhang, row 4, vine %d", i+1, i+1), JPEG: jpeg, WidthPx: m.WidthPx, HeightPx: m.HeightPx}
		for _, c := range m.Canes {
			v.Canes = append(v.Canes, ExerciseCane{ID: c.ID, Line: c.CentreLine})
		}
		x.Vines = append(x.Vines, v)
	}
	return x
}

// The sheet of an exercise is one page, with however many vines, and tells
// nothing of the canes but their numbers.
func TestExerciseSheetIsOnePage(t *testing.T) {
	for _, n := range []int{1, 2, 3, 6, 12} {
		var out bytes.Buffer
		if err := WriteExercise(&out, exerciseOf(t, n)); err != nil {
			t.Fatal(err)
		}
		if pages := len(pageOf.FindAll(out.Bytes(), -1)); pages != 1 {
			t.Errorf("%d vines take %d pages", n, pages)
		}
		text := look(t, fmt.Sprintf("exercise-%d.pdf", n), out.Bytes())
		if text == "" {
			continue
		}
		for _, want := range []string{"Žofie", "Mühlhang, row 4, vine " + fmt.Sprint(n), "Name:", "Prune in dry weather"} {
			if !strings.Contains(text, want) {
				t.Errorf("%d vines: the sheet lacks %q", n, want)
			}
		}
		for _, never := range []string{"short-noded", "weak", "mm (", "sound"} {
			if strings.Contains(text, never) {
				t.Errorf("%d vines: the sheet tells %q", n, never)
			}
		}
	}
	x := exerciseOf(t, 1)
	x.Vines[0].JPEG = []byte("no picture")
	if err := WriteExercise(&bytes.Buffer{}, x); err == nil {
		t.Error("a picture that is none was printed")
	}
}

// The sheet of results is one page, also with far more than fits.
func TestResultSheetIsOnePage(t *testing.T) {
	r := Result{Title: "First vines", Who: "Ann (invented), in the group Beginners (invented) of Tess (invented).", How: "The photo alone is shown.", Cautions: assess.Cautions(), Say: say(t),
		Figures:  [][3]string{{"Keep or cut away", "41 of 52: 79 % (66 to 88 %)", "0.53 (0.29 to 0.77)"}, {"Head", "3 of 4", "too few, or always the same, to tell"}},
		Mistakes: []string{"Keeps canes that the trainer cuts away: short-noded, near the head (times: 3, vines: 2). Look again at: South slope, row 4, vine 7."},
		Over:     []string{"First vines: 41 of 52", "Second vines: 48 of 52"},
		Vines:    []ResultVine{{Where: "South slope, row 4, vine 7", Words: "Alike on 7 of 8 canes.", Differences: []string{"Cane 2: Spur, 2 buds; the trainer: Cut away."}, Remarks: []string{"Tess (invented): “too weak for a spur”"}}}}
	many := r
	for i := range 12 {
		v := ResultVine{Where: fmt.Sprintf("South slope, row 5, vine %d", i), Words: "Alike on 1 of 15 canes."}
		for k := range 14 {
			v.Differences = append(v.Differences, fmt.Sprintf("Cane %d: Lay (lower wire, to the left), 8 buds; the trainer: Cut away.", k))
			v.Remarks = append(v.Remarks, strings.Repeat("a long word ", 40))
		}
		many.Vines = append(many.Vines, v)
		many.Mistakes = append(many.Mistakes, many.Mistakes[0])
	}
	for name, x := range map[string]Result{"results.pdf": r, "results-many.pdf": many} {
		var out bytes.Buffer
		if err := WriteResult(&out, x); err != nil {
			t.Fatal(err)
		}
		if pages := len(pageOf.FindAll(out.Bytes(), -1)); pages != 1 {
			t.Errorf("%s has %d pages", name, pages)
		}
		text := look(t, name, out.Bytes())
		for _, want := range []string{"Ann (invented)", "0.53 (0.29 to 0.77)", "short-noded, near the head", "South slope, row 4, vine 7", "Prune in dry weather"} {
			if text != "" && !strings.Contains(text, want) {
				t.Errorf("%s lacks %q", name, want)
			}
		}
	}
}
