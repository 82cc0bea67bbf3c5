package vision_test

import (
	"bytes"
	"os"
	"testing"

	"nodespan/vision"
	"nodespan/vision/truth"
)

// TestTruth measures the kept photos with truth and prints the table of how
// far off the measurements are: go test ./vision -run Truth -v.
//
// The floors hold what has been reached, less what a change of compiler or
// library may move; they are no targets. The targets stand in DEVELOPERS.md.
func TestTruth(t *testing.T) {
	for _, c := range []struct {
		dir                        string
		recall, precision, nodeF1  float64
		diameterMAE, diameterCover float64
	}{
		{"../testdata/photos", 0.50, 0.55, 0.55, 1.9, 0.65},
		{"../testdata/raytraced", 0.85, 0.94, 0.84, 0.65, 0.88},
	} {
		t.Run(c.dir, func(t *testing.T) {
			rules := truth.DefaultRules()
			results, err := truth.Collect(t.Context(), c.dir, vision.New("test"), rules, nil)
			if err != nil {
				t.Fatal(err)
			}
			var table bytes.Buffer
			if err := truth.WriteTable(&table, truth.ByCondition(results, rules)); err != nil {
				t.Fatal(err)
			}
			t.Log("\n" + table.String())
			all := truth.Summarise("all", results, rules)
			if all.MeasuredWithout > 0 {
				t.Errorf("%d photos without a reference were measured", all.MeasuredWithout)
			}
			if all.OnEmpty > 0 {
				t.Errorf("%d canes were reported where none stands", all.OnEmpty)
			}
			least := func(what string, got, want float64) {
				if !(got >= want) {
					t.Errorf("%s: want at least %.2f, got %.3f", what, want, got)
				}
			}
			least("cane recall", all.Recall(), c.recall)
			least("cane precision", all.Precision(), c.precision)
			least("node F1", all.NodeF1(), c.nodeF1)
			least("diameter coverage", all.DiameterInterval.Share(), c.diameterCover)
			if all.Diameter.MAE > c.diameterMAE {
				t.Errorf("diameter MAE: want at most %.2f mm, got %.2f", c.diameterMAE, all.Diameter.MAE)
			}
		})
	}
}

// read gives a kept photo.
func read(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile("../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
