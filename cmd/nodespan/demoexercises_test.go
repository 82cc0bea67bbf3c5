package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"nodespan/assess"
	"nodespan/assess/exercise"
)

// Whatever the form and however few canes, what is made up can be sealed, and
// the hands differ as they are said to.
func TestInventedChoicesCanBeSealed(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "api", "testdata", "vine.json"))
	if err != nil {
		t.Fatal(err)
	}
	for _, form := range assess.Forms() {
		for n := 1; n <= 8; n++ {
			m := new(assess.Measurement)
			if err := json.Unmarshal(data, m); err != nil {
				t.Fatal(err)
			}
			m.Canes = m.Canes[:n]
			assess.Judge(m, assess.DefaultRuleSet())
			seen, err := exercise.See(m, "2026/27", nil, nil, form, assess.DefaultRuleSet())
			if err != nil {
				t.Fatal(err)
			}
			sealed := map[demoHand]exercise.Choice{}
			for _, hand := range []demoHand{steady, thinWood, careful} {
				c, err := seen.Seal(inventChoice(&seen, hand))
				if err != nil {
					t.Fatalf("%s, %d canes, hand %d: %v", form.Name, n, hand, err)
				}
				sealed[hand] = c
			}
			if n < 8 || len(form.Places) == 0 {
				continue
			}
			if c := exercise.Compare(sealed[thinWood], sealed[steady]); c.Same == len(c.Rows) {
				t.Errorf("%s: thin wood is chosen as the trainer does", form.Name)
			}
			if c := exercise.Compare(sealed[careful], sealed[steady]); c.HeadSame {
				t.Errorf("%s: the careful hand is sure of the head", form.Name)
			}
		}
	}
}
