package truth

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"math"
	"path/filepath"
	"sort"
)

const worstCount = 12 // crops in the report

type reportPage struct {
	Title    string
	Header   []string
	Rows     [][]string
	Foot     string
	Plots    []template.HTML
	Worst    []worstCane
	Missed   []string
	Failures []string
}

type worstCane struct {
	Caption string
	Image   template.URL
}

// WriteHTML writes a page that stands alone: the table by condition, the
// diameter errors against depth and diameter, and crops of the worst canes,
// cut from the photos in dir. A photo that can't be read for its crop is left
// out with a word.
func WriteHTML(w io.Writer, title, dir string, results []Result, r Rules) error {
	page := reportPage{Title: title, Header: header}
	sums := ByCondition(results, r)
	for _, s := range sums {
		page.Rows = append(page.Rows, s.cells())
	}
	a := sums[0]
	page.Foot = fmt.Sprintf("Reported %d: right %d, on canes that don't count %d, second pieces %d, on other wood %d, elsewhere %d. Nodes within %.0f mm count. Lengths in mm; near is within %.0f mm of the wire plane.",
		a.Reported, a.Good, a.Ignored, a.Duplicate, a.OnWood, a.Elsewhere, r.NodeTolMM, r.NearMM)
	var byDepth, byDia, byInter []dot
	type bad struct {
		res Result
		p   Pair
		z   float64
	}
	var worst []bad
	for _, x := range results {
		if x.Failed != "" {
			page.Failures = append(page.Failures, x.Photo+": "+x.Failed)
		}
		for _, id := range x.MissedIDs {
			page.Missed = append(page.Missed, x.Photo+" "+id)
		}
		for _, p := range x.Pairs {
			tip := fmt.Sprintf("%s %s: %.1f mm, said %s", x.Photo, p.CaneID, p.Diameter.Truth, p.Diameter.Said)
			if p.Diameter.Known {
				byDepth = append(byDepth, dot{p.DepthMM, p.Diameter.Error(), p.Diameter.Inside(), tip})
				byDia = append(byDia, dot{p.Diameter.Truth, p.Diameter.Error(), p.Diameter.Inside(), tip})
			}
			if p.Internode.Known {
				byInter = append(byInter, dot{p.Internode.Truth, 100 * p.Internode.Error() / p.Internode.Truth, p.Internode.Inside(), fmt.Sprintf("%s %s: %.0f mm, said %s", x.Photo, p.CaneID, p.Internode.Truth, p.Internode.Said)})
			}
			worst = append(worst, bad{x, p, badness(p)})
		}
	}
	page.Plots = []template.HTML{
		scatter("Diameter error against depth", "depth, mm (negative is nearer)", "error, mm", byDepth),
		scatter("Diameter error against diameter", "true diameter, mm", "error, mm", byDia),
		scatter("Internode error against internode", "true median internode, mm", "error, %", byInter),
	}
	sort.SliceStable(worst, func(i, j int) bool { return worst[i].z > worst[j].z })
	for _, b := range worst[:min(len(worst), worstCount)] {
		k := worstCane{Caption: fmt.Sprintf("%s %s (%s, %s): diameter %.1f, said %s; internode %.0f, said %s; nodes %d right of %d reported, %d visible",
			b.res.Photo, b.p.CaneID, b.res.Background, b.res.Light, b.p.Diameter.Truth, b.p.Diameter.Said, b.p.Internode.Truth, b.p.Internode.Said, b.p.Nodes.Right, b.p.Nodes.Reported, b.p.Nodes.True)}
		img, err := crop(filepath.Join(dir, filepath.Base(b.res.Photo)), b.p)
		if err != nil {
			k.Caption += " (no crop: " + err.Error() + ")"
		}
		k.Image = img
		page.Worst = append(page.Worst, k)
	}
	return reportTemplate.Execute(w, page)
}

// badness orders canes by how far the truth lies from what was said, in
// relative terms, and by nodes that are wrong.
func badness(p Pair) float64 {
	z := 0.0
	if p.Diameter.Known {
		z += math.Abs(p.Diameter.Error()) / p.Diameter.Truth
	}
	if p.Internode.Known && p.Internode.Truth > 0 {
		z += math.Abs(p.Internode.Error()) / p.Internode.Truth
	}
	if n := p.Nodes.Reported + p.Nodes.True; n > 0 {
		z += 0.5 * (1 - float64(p.Nodes.Right+p.Nodes.Found)/float64(n))
	}
	return z
}

// dot is one cane in a scatter plot.
type dot struct {
	x, y   float64
	inside bool
	tip    string
}

// scatter draws dots as SVG: filled where the interval held the truth, rings
// where it didn't.
func scatter(title, xName, yName string, dots []dot) template.HTML {
	const w, h, left, bottom, top = 460.0, 300.0, 48.0, 40.0, 26.0
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg viewBox="0 0 %g %g" role="img" aria-label=%q>`, w, h, title)
	fmt.Fprintf(&b, `<text x="%g" y="16" font-weight="600">%s</text>`, left, template.HTMLEscapeString(title))
	if len(dots) == 0 {
		fmt.Fprintf(&b, `<text x="%g" y="%g">nothing measured</text></svg>`, left, h/2)
		return template.HTML(b.String())
	}
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for _, d := range dots {
		x0, x1 = math.Min(x0, d.x), math.Max(x1, d.x)
		y0, y1 = math.Min(y0, d.y), math.Max(y1, d.y)
	}
	xs, ys := ticks(x0, x1), ticks(y0, y1)
	x0, x1, y0, y1 = xs[0], xs[len(xs)-1], ys[0], ys[len(ys)-1]
	px := func(x float64) float64 { return left + (x-x0)/(x1-x0)*(w-left-12) }
	py := func(y float64) float64 { return h - bottom - (y-y0)/(y1-y0)*(h-bottom-top) }
	for _, x := range xs {
		fmt.Fprintf(&b, `<path d="M%.1f %g V%g" stroke="#ddd"/><text x="%.1f" y="%g" text-anchor="middle">%g</text>`, px(x), top, h-bottom, px(x), h-bottom+15, x)
	}
	for _, y := range ys {
		stroke := "#ddd"
		if y == 0 {
			stroke = "#555"
		}
		fmt.Fprintf(&b, `<path d="M%g %.1f H%g" stroke="%s"/><text x="%g" y="%.1f" text-anchor="end">%g</text>`, left, py(y), w-12, stroke, left-5, py(y)+4, y)
	}
	for _, d := range dots {
		fill := "#1a5f9e"
		if !d.inside {
			fill = "none"
		}
		fmt.Fprintf(&b, `<circle cx="%.1f" cy="%.1f" r="3" fill="%s" stroke="#1a5f9e"><title>%s</title></circle>`, px(d.x), py(d.y), fill, template.HTMLEscapeString(d.tip))
	}
	fmt.Fprintf(&b, `<text x="%g" y="%g" text-anchor="middle">%s</text>`, (left+w)/2, h-6, template.HTMLEscapeString(xName))
	fmt.Fprintf(&b, `<text transform="translate(12 %g) rotate(-90)" text-anchor="middle">%s</text></svg>`, h/2, template.HTMLEscapeString(yName))
	return template.HTML(b.String())
}

// ticks gives round values that enclose lo and hi.
func ticks(lo, hi float64) []float64 {
	if !(hi > lo) {
		hi = lo + 1
	}
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/4)))
	for _, k := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(step*k) <= 6 {
			step *= k
			break
		}
	}
	var out []float64
	for i := math.Floor(lo / step); i <= math.Ceil(hi/step); i++ {
		out = append(out, math.Round(i*step*1e6)/1e6)
	}
	return out
}

var reportTemplate = template.Must(template.New("report").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{{.Title}}</title>
<style>
body{font:15px/1.45 system-ui,sans-serif;margin:1.5rem;color:#222;max-width:1500px}
table{border-collapse:collapse;font-size:13px}
th,td{border-bottom:1px solid #ddd;padding:.3rem .5rem;text-align:right;vertical-align:bottom}
th:first-child,td:first-child{text-align:left}
td{white-space:nowrap}
tbody tr:first-child{font-weight:600}
.wide{overflow-x:auto}
.plots{display:flex;flex-wrap:wrap;gap:1rem}
.plots svg{width:460px;max-width:100%;font:11px system-ui,sans-serif}
.worst{display:flex;flex-wrap:wrap;gap:1rem}
figure{margin:0;max-width:330px}
figure img{max-width:330px;max-height:420px;display:block}
figcaption{font-size:12px}
</style>
<h1>{{.Title}}</h1>
<div class="wide"><table><thead><tr>{{range .Header}}<th>{{.}}</th>{{end}}</tr></thead>
<tbody>{{range .Rows}}<tr>{{range .}}<td>{{.}}</td>{{end}}</tr>{{end}}</tbody></table></div>
<p>{{.Foot}}</p>
<h2>Errors</h2>
<p>A ring is a cane whose 95 % interval misses the truth.</p>
<div class="plots">{{range .Plots}}{{.}}{{end}}</div>
<h2>Worst canes</h2>
<p>White rings and dots: true nodes and line. Blue crosses and dots: reported ones.</p>
<div class="worst">{{range .Worst}}<figure>{{if .Image}}<img src="{{.Image}}" alt="">{{end}}<figcaption>{{.Caption}}</figcaption></figure>{{else}}<p>No cane was matched.</p>{{end}}</div>
<h2>Missed canes</h2>
<p>{{range .Missed}}{{.}}; {{else}}none{{end}}</p>
{{if .Failures}}<h2>Failures</h2><ul>{{range .Failures}}<li>{{.}}</li>{{end}}</ul>{{end}}
</html>
`))
