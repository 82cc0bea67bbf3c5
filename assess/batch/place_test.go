package batch

import (
	"context"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
)

func TestNamePattern(t *testing.T) {
	for _, c := range []struct {
		pattern, path string
		want          Place // zero: not matched
	}{
		{DefaultPattern, "Mill-4-7.jpg", Place{Block: "Mill", Row: 4, Vine: 7}},
		{DefaultPattern, "Mill-4-7-left.JPEG", Place{Block: "Mill", Row: 4, Vine: 7, Stance: "left"}},
		{DefaultPattern, "Mill slope-004-0017-2.png", Place{Block: "Mill slope", Row: 4, Vine: 17, Stance: "2"}},
		{DefaultPattern, "2026/deep/Mill-4-7.jpg", Place{Block: "Mill", Row: 4, Vine: 7}},
		{DefaultPattern, "North-east-4-7.jpg", Place{Block: "North-east", Row: 4, Vine: 7}},
		{DefaultPattern, "IMG_1234.jpg", Place{}},
		{DefaultPattern, "Mill-0-7.jpg", Place{}},
		{DefaultPattern, "Mill-4.jpg", Place{}},
		{"b{block}-r{row}-v{vine}", "b12-r4-v7.jpg", Place{Block: "12", Row: 4, Vine: 7}},
		{"b{block}-r{row}-v{vine}", "B12-R4-V7.jpg", Place{Block: "12", Row: 4, Vine: 7}},
		{"{block}/{treatment}/{row}_{vine}", "South/early/3_12.webp", Place{Block: "South", Treatment: "early", Row: 3, Vine: 12}},
		{"{block}/{row}_{vine}", "3_12.webp", Place{}},
		{"{row}.{vine}{any}", "3.12 (second try).jpg", Place{Block: "1", Row: 3, Vine: 12}},
		{"{winter} {block} {row} {vine}", "2026-27 Mill 4 7.jpg", Place{Block: "Mill", Row: 4, Vine: 7, Winter: "2026/27"}},
		{DefaultPattern, "Mill-99999999999999999999-7.jpg", Place{}},
	} {
		p, err := ParsePattern(c.pattern)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := p.Match(c.path)
		want := c.want
		if want.Block != "" {
			want.By = byName
		}
		if got != want || ok != (want.By != "") {
			t.Errorf("%s by %s: %+v, want %+v", c.path, c.pattern, got, want)
		}
	}
	for _, bad := range []string{"", "{block}-{row}", "{row}-{vine", "{row}-{vine}]", "[{row}-{vine}", "{row}-{vine}-{row}", "{row}-{vine}-{colour}"} {
		if _, err := ParsePattern(bad); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("pattern %q: %v", bad, err)
		}
	}
}

func TestListAndWalk(t *testing.T) {
	list, err := ReadList(strings.NewReader("\ufeffphoto;block;row;vine;stance\r\nIMG_1.jpg;Mill;4;7;\r\nday2/IMG_1.jpg;Mill;4;8;\r\nIMG_3.jpg;;;;\r\n"), "vines.csv")
	if err != nil {
		t.Fatal(err)
	}
	walk, err := ReadWalk(strings.NewReader("time,block,row,vine\n2026-12-03 09:40:00,Mill,5,1\n2026-12-03 09:42:00,Mill,5,2\n2026-12-03 10:30:00,Mill,5,3\n"), "walk.csv")
	if err != nil {
		t.Fatal(err)
	}
	name, err := ParsePattern(DefaultPattern)
	if err != nil {
		t.Fatal(err)
	}
	m := &Matcher{Name: name, List: list, Walk: walk}
	for _, c := range []struct {
		photo photo
		vine  int
		by    string
	}{
		{photo{path: "IMG_1.jpg"}, 7, byList},
		{photo{path: "day1/IMG_1.jpg"}, 7, byList},
		{photo{path: "day2/IMG_1.jpg"}, 8, byList},
		{photo{path: "IMG_1.jpg", byHand: &Place{Block: "Mill", Row: 1, Vine: 1, By: byHand}}, 1, byHand},
		{photo{path: "Mill-5-9.jpg", taken: "2026-12-03T09:41:00"}, 9, byName},
		{photo{path: "IMG_3.jpg", taken: "2026-12-03T09:41:00"}, 1, byWalk},
		{photo{path: "IMG_4.jpg", taken: "2026-12-03T09:42:00"}, 2, byWalk},
		{photo{path: "IMG_5.jpg", taken: "2026-12-03T10:29:59"}, 0, ""}, // long after the second stop
		{photo{path: "IMG_6.jpg", taken: "2026-12-03T09:39:00"}, 0, ""}, // before the first
		{photo{path: "IMG_7.jpg"}, 0, ""},
	} {
		if got := m.Place(c.photo); got.Vine != c.vine || got.By != c.by {
			t.Errorf("%+v: vine %d by %q, want %d by %q", c.photo, got.Vine, got.By, c.vine, c.by)
		}
	}
	walk.Clock = 3 * time.Minute
	if got := m.Place(photo{path: "IMG_6.jpg", taken: "2026-12-03T09:39:00"}); got.Vine != 2 || got.Winter != "2026/27" {
		t.Errorf("with the clock set right: %+v", got)
	}
	for _, bad := range []string{
		"", "photo,block\n", "photo,block,row,vine\nx,Mill,a,1\n", "photo,block,row,vine\n,Mill,1,1\n",
		"photo,block,row,vine\nx,Mill,1,1\nx,Mill,1,2\n", "photo,block,row,vine\nx,,1,1\n", "photo,block,row,vine\n\"x,Mill,1,1\n",
	} {
		if _, err := ReadList(strings.NewReader(bad), "vines.csv"); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("list %q: %v", bad, err)
		}
	}
	for _, bad := range []string{"time,block,row,vine\nnoon,Mill,1,1\n", "time,block,row,vine\n2026-12-03 09:40:00,Mill,1,1\n2026-12-03 09:40:00,Mill,1,2\n"} {
		if _, err := ReadWalk(strings.NewReader(bad), "walk.csv"); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("walk %q: %v", bad, err)
		}
	}
}

// What a person says of a photo's place stands above all else and stays.
func TestPlaceByHand(t *testing.T) {
	photos, out := fillSeason(t), t.TempDir()
	measureAll(t, photos, out, &keptMeasurer{}, 2)
	j := open(t, out)
	ctx := context.Background()
	if err := j.SetPlace(ctx, "IMG_0001.JPG", Place{Block: "North", Row: 7, Vine: 7}, "Ada"); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []Place{{}, {Block: "North"}, {Block: "North", Row: 1, Vine: -1}} {
		if err := j.SetPlace(ctx, "IMG_0001.JPG", bad, "Ada"); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if err := j.SetPlace(ctx, "none.jpg", Place{Block: "North", Row: 7, Vine: 7}, "Ada"); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("a photo that there isn't: %v", err)
	}
	j.Close()
	_, w := measureAll(t, photos, out, &keptMeasurer{}, 2)
	if w.Unplaced != 3 {
		t.Errorf("%d photos without a vine, want 3", w.Unplaced)
	}
}
