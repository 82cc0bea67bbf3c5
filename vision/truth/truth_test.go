package truth

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nodespan/assess"
)

// stand makes a photo's truth by hand: five canes of known sizes, 0.6 mm per
// pixel; the last is hidden too much to count. Old wood lies along the wire.
func stand(name, ref string) *Photo {
	p := &Photo{Scene: name, Image: name + ".jpg", ImageSize: [2]int{2000, 2000}, Background: "b/white", Light: "sun", MMPerPx: 0.6}
	if ref != "" {
		p.Reference = &Reference{Kind: ref, MMPerPxCentre: 0.6}
	}
	for i, v := range []struct {
		x, inter, dia, depth, visible float64
		nodes                         int
	}{{300, 80, 9, 10, 1, 10}, {600, 35, 5, -20, 1, 14}, {900, 120, 15, 70, 1, 8}, {1200, 70, 8, 5, 1, 9}, {1500, 70, 8, 5, 0.4, 8}} {
		const scale = 0.6
		c := Cane{ID: fmt.Sprintf("w%d", i+1), Origin: "head", LengthMM: v.inter*float64(v.nodes) + 20, VisibleFraction: v.visible, MeanDepthMM: v.depth, InFrameFraction: 1}
		at := func(mm float64) [2]float64 { return [2]float64{v.x + 8*math.Sin(mm/150), 1800 - mm/scale} }
		dia := func(mm float64) float64 { return v.dia * (1 - 0.2*mm/c.LengthMM) }
		for mm := 0.0; mm <= c.LengthMM; mm += 5 {
			c.LinePx, c.LineMM = append(c.LinePx, at(mm)), append(c.LineMM, mm)
			c.LineDepthMM, c.LineDiameterMM, c.LineMMPerPx = append(c.LineDepthMM, v.depth), append(c.LineDiameterMM, dia(mm)), append(c.LineMMPerPx, scale)
		}
		c.VisibleLengthMM = v.visible * c.LengthMM
		for k := 0; k < v.nodes; k++ {
			mm := 10 + v.inter*float64(k)
			c.Nodes = append(c.Nodes, Node{MM: mm, Px: at(mm), BudSide: "left", Visible: true, MMPerPx: scale})
			if k > 0 {
				mid := mm - v.inter/2
				c.Internodes = append(c.Internodes, Internode{Index: k - 1, LengthMM: v.inter, MidMM: mid, DiameterMM: dia(mid)})
			}
		}
		d := dia(c.Internodes[3].MidMM)/2 + dia(c.Internodes[min(4, len(c.Internodes)-1)].MidMM)/2
		c.MedianDiameter, c.MedianInternode = &d, &v.inter
		p.Canes = append(p.Canes, c)
		p.Wood = append(p.Wood, Wood{ID: c.ID, Class: "cane", PolylinePx: c.LinePx, DiameterMM: c.LineDiameterMM})
	}
	p.Wood = append(p.Wood, Wood{ID: "w9", Class: "old_wood", PolylinePx: [][2]float64{{100, 1815}, {1900, 1815}}, DiameterMM: []float64{15, 15}})
	return p
}

func compareOne(p *Photo, change func(*assess.Measurement)) Summary {
	m := AsMeasurement(p)
	if change != nil {
		change(m)
	}
	r := DefaultRules()
	return Summarise("", []Result{Compare(p, m, r)}, r)
}

func is(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: want %g, got %g", what, want, got)
	}
}

func TestTruthAsPredictionIsPerfect(t *testing.T) {
	s := compareOne(stand("a", "card"), nil)
	is(t, "canes", float64(s.Eligible), 4, 0)
	is(t, "recall", s.Recall(), 1, 0)
	is(t, "precision", s.Precision(), 1, 0)
	is(t, "diameter MAE", s.Diameter.MAE, 0, 1e-12)
	is(t, "canes near the plane", float64(s.DiameterNear.N), 3, 0)
	is(t, "internode MAE", s.Internode.MAE, 0, 1e-12)
	is(t, "node F1", s.NodeF1(), 1, 0)
	is(t, "diameters in interval", s.DiameterInterval.Share(), 1, 0)
	is(t, "diameter interval's width", s.DiameterInterval.MeanWidth, 1, 1e-9)
	is(t, "internode interval's width", s.InternodeInterval.MeanWidth, 10, 1e-9)
}

func TestWhatIsWrongShowsAsItself(t *testing.T) {
	each := func(f func(c *assess.Cane)) func(*assess.Measurement) {
		return func(m *assess.Measurement) {
			for i := range m.Canes {
				f(&m.Canes[i])
			}
		}
	}
	shift := func(q assess.Interval, d float64) assess.Interval {
		return assess.Interval{Value: q.Value + d, Low: q.Low + d, High: q.High + d}
	}
	base := compareOne(stand("a", "card"), nil)
	for _, c := range []struct {
		name   string
		change func(*assess.Measurement)
		check  func(t *testing.T, s Summary)
	}{
		{"diameters 0.7 mm too large", each(func(c *assess.Cane) { c.Diameter = shift(c.Diameter, 0.7) }), func(t *testing.T, s Summary) {
			is(t, "bias", s.Diameter.Bias, 0.7, 1e-9)
			is(t, "MAE", s.Diameter.MAE, 0.7, 1e-9)
			is(t, "in interval", s.DiameterInterval.Share(), 0, 0)
			is(t, "recall", s.Recall(), 1, 0)
		}},
		{"internodes a tenth short", each(func(c *assess.Cane) { c.Internode = shift(c.Internode, -0.1*c.Internode.Value) }), func(t *testing.T, s Summary) {
			is(t, "bias, %", s.Internode.Bias, -10, 1e-9)
		}},
		{"a second copy of a cane", func(m *assess.Measurement) { m.Canes = append(m.Canes, m.Canes[0]) }, func(t *testing.T, s Summary) {
			is(t, "second pieces", float64(s.Duplicate), 1, 0)
			is(t, "precision", s.Precision(), 4.0/5, 1e-12)
			is(t, "recall", s.Recall(), 1, 0)
		}},
		{"a cane in two pieces", func(m *assess.Measurement) {
			c := m.Canes[0]
			n := len(c.CentreLine) / 2
			m.Canes[0].CentreLine = c.CentreLine[:n]
			c.CentreLine = c.CentreLine[n:]
			m.Canes = append(m.Canes, c)
		}, func(t *testing.T, s Summary) {
			is(t, "second pieces", float64(s.Duplicate), 1, 0)
			is(t, "recall", s.Recall(), 1, 0)
		}},
		{"old wood called a cane", func(m *assess.Measurement) {
			m.Canes = append(m.Canes, assess.Cane{CentreLine: []assess.Point{{100, 1815}, {1900, 1815}}})
		}, func(t *testing.T, s Summary) {
			is(t, "on other wood", float64(s.OnWood), 1, 0)
		}},
		{"an invented cane", func(m *assess.Measurement) {
			m.Canes = append(m.Canes, assess.Cane{CentreLine: []assess.Point{{1750, 200}, {1760, 900}}})
		}, func(t *testing.T, s Summary) {
			is(t, "elsewhere", float64(s.Elsewhere), 1, 0)
			is(t, "precision", s.Precision(), 4.0/5, 1e-12)
		}},
		{"a line of no use", func(m *assess.Measurement) {
			m.Canes = append(m.Canes, assess.Cane{CentreLine: []assess.Point{{5, 5}}}, assess.Cane{}, assess.Cane{CentreLine: []assess.Point{{7, 7}, {7, 7}}})
		}, func(t *testing.T, s Summary) {
			is(t, "elsewhere", float64(s.Elsewhere), 3, 0)
		}},
		{"half of the canes", func(m *assess.Measurement) { m.Canes = m.Canes[:2] }, func(t *testing.T, s Summary) {
			is(t, "recall", s.Recall(), 0.5, 0)
			is(t, "precision", s.Precision(), 1, 0)
		}},
		{"lines the other way round", each(func(c *assess.Cane) {
			for i, j := 0, len(c.CentreLine)-1; i < j; i, j = i+1, j-1 {
				c.CentreLine[i], c.CentreLine[j] = c.CentreLine[j], c.CentreLine[i]
			}
		}), func(t *testing.T, s Summary) {
			is(t, "recall", s.Recall(), 1, 0)
			is(t, "node F1", s.NodeF1(), 1, 0)
		}},
		{"lines two diameters beside", each(func(c *assess.Cane) {
			for i := range c.CentreLine {
				c.CentreLine[i][0] += 2 * 15 / 0.6
			}
		}), func(t *testing.T, s Summary) {
			is(t, "recall", s.Recall(), 0, 0)
			is(t, "precision", s.Precision(), 0, 0)
		}},
		{"every other node", each(func(c *assess.Cane) {
			var keep []assess.Node
			for i, n := range c.Nodes {
				if i%2 == 0 {
					keep = append(keep, n)
				}
			}
			c.Nodes = keep
		}), func(t *testing.T, s Summary) {
			is(t, "node precision", share(s.NodesRight, s.NodesReported), 1, 0)
			is(t, "node recall", share(s.NodesFound, s.NodesTrue), 0.5, 0.03)
		}},
		{"nodes 4 mm further", each(func(c *assess.Cane) { moveNodes(c, 4) }), func(t *testing.T, s Summary) {
			is(t, "node F1", s.NodeF1(), 1, 0)
			is(t, "their distance", s.NodeMAE, 4, 0.1)
		}},
		{"nodes 11 mm further", each(func(c *assess.Cane) { moveNodes(c, 11) }), func(t *testing.T, s Summary) {
			is(t, "node F1", s.NodeF1(), 0, 0)
		}},
		{"each node twice", each(func(c *assess.Cane) { c.Nodes = append(c.Nodes, c.Nodes...) }), func(t *testing.T, s Summary) {
			is(t, "node precision", share(s.NodesRight, s.NodesReported), 0.5, 1e-12)
			is(t, "node recall", share(s.NodesFound, s.NodesTrue), 1, 0)
		}},
		{"intervals that miss", each(func(c *assess.Cane) { c.Diameter.Low = c.Diameter.Value + 0.1; c.Diameter.High = c.Diameter.Value + 1 }), func(t *testing.T, s Summary) {
			is(t, "in interval", s.DiameterInterval.Share(), 0, 0)
			is(t, "MAE", s.Diameter.MAE, base.Diameter.MAE, 1e-12)
		}},
		{"no diameters", each(func(c *assess.Cane) { c.Diameter = assess.Interval{} }), func(t *testing.T, s Summary) {
			is(t, "diameters judged", float64(s.Diameter.N), 0, 0)
			is(t, "recall", s.Recall(), 1, 0)
		}},
	} {
		t.Run(c.name, func(t *testing.T) { c.check(t, compareOne(stand("a", "card"), c.change)) })
	}
}

func moveNodes(c *assess.Cane, mm float64) {
	for i := range c.Nodes {
		c.Nodes[i].Px[1] -= mm / 0.6 // the canes stand nearly upright
	}
}

func TestRefusals(t *testing.T) {
	refuse := func(m *assess.Measurement) { m.Outcome, m.Canes = assess.Refused, nil }
	s := compareOne(stand("a", ""), nil)
	is(t, "refused of those without reference", float64(s.WithoutRefused), 1, 0)
	s = compareOne(stand("a", ""), func(m *assess.Measurement) { *m = *AsMeasurement(stand("a", "card")) })
	is(t, "refused though measured", float64(s.WithoutRefused), 0, 0)
	is(t, "measured without reference", float64(s.MeasuredWithout), 1, 0)
	s = compareOne(stand("a", "card_occluded"), refuse)
	is(t, "canes asked of a photo that may be refused", float64(s.Eligible), 0, 0)
	is(t, "hard ones refused", float64(s.HardRefused), 1, 0)
	s = compareOne(stand("a", "card"), refuse)
	is(t, "plain ones refused", float64(s.PlainRefused), 1, 0)
	is(t, "recall of a photo refused without cause", s.Recall(), 0, 0)
	empty := stand("a", "card")
	empty.Canes = nil
	m := &assess.Measurement{Outcome: assess.Measured, Canes: []assess.Cane{{CentreLine: []assess.Point{{5, 5}, {5, 900}}}}}
	s = Summarise("", []Result{Compare(empty, m, DefaultRules())}, DefaultRules())
	is(t, "canes on an empty trellis", float64(s.OnEmpty), 1, 0)
	if got := Compare(stand("a", "card"), nil, DefaultRules()); got.Found != 0 || got.Eligible != 4 {
		t.Errorf("no measurement at all: %d of %d canes found", got.Found, got.Eligible)
	}
}

func TestFileComesBackAsWritten(t *testing.T) {
	dir := t.TempDir()
	p := stand("a", "bar")
	p.Camera.FX = 1234.56789
	path := filepath.Join(dir, "a.json")
	if err := p.Write(path); err != nil {
		t.Fatal(err)
	}
	q, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	is(t, "camera", q.Camera.FX, 1234.56789, 1e-6)
	is(t, "diameter", *q.Canes[1].MedianDiameter, *p.Canes[1].MedianDiameter, 0.0005)
	is(t, "a place on the line", q.Canes[2].LinePx[7][0], p.Canes[2].LinePx[7][0], 0.05)
	is(t, "caller's own number", p.Camera.FX, 1234.56789, 0)
	if c := compareOne(q, nil); c.Recall() != 1 || c.NodeF1() != 1 {
		t.Errorf("read back: recall %g, node F1 %g", c.Recall(), c.NodeF1())
	}
	for name, text := range map[string]string{"empty.json": "", "list.json": "[]", "other.json": `{"scene":"x"}`,
		"ragged.json": `{"scene":"x","image":"x.jpg","image_size":[9,9],"canes":[{"id":"w1","centreline_px":[[1,2]],"centreline_mm":[]}]}`} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Read(path); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: want an error with code %q, got %v", name, assess.EInvalid, err)
		}
	}
	if _, err := ReadDir(t.TempDir()); assess.ErrorCode(err) != assess.ENotFound {
		t.Errorf("a folder without truth: want an error with code %q, got %v", assess.ENotFound, err)
	}
	if ps, err := ReadDir(dir); err != nil || len(ps) != 1 {
		t.Errorf("a folder with one truth among other files: %d, %v", len(ps), err)
	}
}

// failing is a Measurer that can't.
type failing struct{ Told }

func (failing) Measure(context.Context, []byte, assess.Ask) (*assess.Measurement, error) {
	return nil, assess.Errorf(assess.EInvalid, "that is no photo")
}

func TestCollectAndReport(t *testing.T) {
	dir := t.TempDir()
	for _, p := range []*Photo{stand("a", "card"), stand("b", "")} {
		if err := p.Write(filepath.Join(dir, p.Scene+".json")); err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 2000, 2000)), nil); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, p.Image), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	told, err := NewTold(dir)
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	res, err := Collect(context.Background(), dir, told, DefaultRules(), func(int, int, Result) { seen++ })
	if err != nil || len(res) != 2 || seen != 2 {
		t.Fatalf("%d results, %d told of, error %v", len(res), seen, err)
	}
	sums := ByCondition(res, DefaultRules())
	var table bytes.Buffer
	if err := WriteTable(&table, sums); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"background sheet/white", "light sun", "reference none", "1.000", "1/1  0/1  0/0"} {
		if !strings.Contains(table.String(), want) {
			t.Errorf("the table lacks %q:\n%s", want, table.String())
		}
	}
	if _, err := json.Marshal(sums); err != nil {
		t.Errorf("summaries as JSON: %v", err)
	}
	var page bytes.Buffer
	if err := WriteHTML(&page, "A <title>", dir, res, DefaultRules()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"A &lt;title&gt;", "<svg", "<circle", "data:image/jpeg;base64,", "a.jpg w1"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	res, err = Collect(context.Background(), dir, &failing{}, DefaultRules(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if s := Summarise("", res, DefaultRules()); s.Failed != 2 || s.Recall() != 0 {
		t.Errorf("a measurer that fails: %d failures, recall %g", s.Failed, s.Recall())
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if _, err := Collect(ctx, dir, told, DefaultRules(), nil); err == nil {
		t.Error("a stopped run gave no error")
	}
}
