package truth

import (
	"context"
	"image"
	"os"
	"path/filepath"
	"testing"
)

const keptDir = "../../testdata/photos"

// The kept photos are the twelve that their README lists, whole and of the
// kinds that other tests rely on.
func TestKeptPhotos(t *testing.T) {
	photos, err := ReadDir(keptDir)
	if err != nil {
		t.Fatal(err)
	}
	if len(photos) != 12 {
		t.Errorf("want 12 photos, got %d", len(photos))
	}
	kinds := map[string]int{}
	var bytes int64
	for _, p := range photos {
		path := filepath.Join(keptDir, p.Image)
		for _, name := range []string{path, filepath.Join(keptDir, p.Scene+".json")} {
			info, err := os.Stat(name)
			if err != nil {
				t.Fatal(err)
			}
			bytes += info.Size()
		}
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		c, _, err := image.DecodeConfig(f)
		f.Close()
		if err != nil || c.Width != p.ImageSize[0] || c.Height != p.ImageSize[1] {
			t.Errorf("%s is %d x %d (%v), its truth says %v", p.Image, c.Width, c.Height, err, p.ImageSize)
		}
		switch {
		case p.Reference == nil:
			kinds["none"]++
		default:
			kinds[p.Reference.Kind]++
		}
		if len(p.Canes) == 0 {
			kinds["empty"]++
		}
		if p.Made == "" {
			t.Errorf("%s doesn't say how it was made", p.Scene)
		}
	}
	for _, k := range []string{"none", "bar", "card", "card_occluded", "empty"} {
		if kinds[k] == 0 {
			t.Errorf("no photo of kind %q among %v", k, kinds)
		}
	}
	if bytes > 4<<20 {
		t.Errorf("the kept photos take %d bytes, more than 4 MB", bytes)
	}
}

// Told of the truth, the comparison finds no fault in any kept photo.
func TestKeptTruthAsPrediction(t *testing.T) {
	told, err := NewTold(keptDir)
	if err != nil {
		t.Fatal(err)
	}
	res, err := Collect(context.Background(), keptDir, told, DefaultRules(), nil)
	if err != nil {
		t.Fatal(err)
	}
	s := Summarise("all", res, DefaultRules())
	if s.Eligible < 40 {
		t.Errorf("only %d canes count", s.Eligible)
	}
	is(t, "recall", s.Recall(), 1, 0)
	is(t, "precision", s.Precision(), 1, 0)
	is(t, "node F1", s.NodeF1(), 1, 0.002) // a node's place is rounded, and may leave the visible part by it
	is(t, "diameter MAE", s.Diameter.MAE, 0, 1e-9)
	is(t, "refused without reference", float64(s.WithoutRefused), 1, 0)
}
