package sheet

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"nodespan/assess"
	"nodespan/web"
)

func say(t testing.TB) Say {
	t.Helper()
	p, err := web.Load()
	if err != nil {
		t.Fatal(err)
	}
	return func(key string, args ...any) string {
		words := p.Text(web.Reader{Language: web.Default}, key, args...)
		if words == key {
			t.Errorf("there's no text %q", key)
		}
		return words
	}
}

// kept is a real measurement with its suggested choice.
func kept(t testing.TB, number int) Vine {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "vine.json"))
	if err != nil {
		t.Fatal(err)
	}
	m := new(assess.Measurement)
	if err := json.Unmarshal(data, m); err != nil {
		t.Fatal(err)
	}
	assess.Judge(m, assess.DefaultRuleSet())
	ch, err := assess.Suggest(m, assess.DefaultForm(), assess.DefaultRuleSet())
	if err != nil {
		t.Fatal(err)
	}
	var canes []assess.ConfirmedCane
	for _, c := range m.Canes {
		canes = append(canes, assess.ConfirmedCane{Cane: c, Kind: assess.OneYearCane})
	}
	d := Draw(m, canes, ch)
	past := &assess.Past{Winter: "2025/26", Choice: &ch}
	return Vine{
		Where: fmt.Sprintf("Mühlhang, row 4, vine %d", number), Number: number, Confirmed: "Choice confirmed by Žofie, 25 Nov 2026.", Form: assess.DefaultForm().Title,
		Plan: assess.PlanOf("2026/27", ch, past), Drawing: &d, Cautions: assess.Cautions(), Say: say(t), BudAdvice: "20+20 leaves 44 buds for 1.00 kg of prunings.",
	}
}

var pageOf = regexp.MustCompile(`/Type /Page\b[^s]`)

// look keeps the PDF, and its text when the tool for that is there.
func look(t *testing.T, name string, pdf []byte) string {
	t.Helper()
	folder := os.Getenv("NODESPAN_SHOTS")
	if folder == "" {
		folder = t.TempDir()
	}
	file := filepath.Join(folder, name)
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-layout", file, "-").Output()
	if err != nil {
		t.Logf("no pdftotext: the words weren't read back (%v)", err)
		return ""
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

func TestVineSheetIsOnePage(t *testing.T) {
	v := kept(t, 7)
	many := kept(t, 8)
	for i := range 40 {
		many.Plan.Away = append(many.Plan.Away, assess.Removed{Cane: 100 + i, Why: assess.Tell(strings.Repeat("because it is weak and short-noded, ", 3))})
	}
	for name, x := range map[string]Vine{"vine.pdf": v, "vine-many.pdf": many} {
		var out bytes.Buffer
		if err := WriteVine(&out, x); err != nil {
			t.Fatal(err)
		}
		if n := len(pageOf.FindAll(out.Bytes(), -1)); n != 1 {
			t.Errorf("%s has %d pages", name, n)
		}
		text := look(t, name, out.Bytes())
		if text == "" {
			continue
		}
		for _, want := range append([]string{"Mühlhang", "Žofie", "2026/27", "Cut away", "ties at", "Prune in dry weather", "Pruned by"}, fmt.Sprint(x.Plan.Buds)) {
			if !strings.Contains(text, want) {
				t.Errorf("%s lacks %q:\n%s", name, want, text)
			}
		}
	}
}

func TestRowSheet(t *testing.T) {
	for _, c := range []struct{ vines, pages int }{{1, 1}, {12, 1}, {60, 0}} {
		r := Row{Where: "Mühlhang, row 4", Winter: "2026/27", Form: assess.DefaultForm().Title, Cautions: assess.Cautions(), Say: say(t), Undecided: 3}
		for i := range c.vines {
			r.Vines = append(r.Vines, kept(t, i+1))
		}
		var out bytes.Buffer
		if err := WriteRow(&out, r); err != nil {
			t.Fatal(err)
		}
		n := len(pageOf.FindAll(out.Bytes(), -1))
		if c.pages > 0 && n != c.pages || c.pages == 0 && n < 2 {
			t.Errorf("%d vines take %d pages, want %d", c.vines, n, c.pages)
		}
		text := look(t, fmt.Sprintf("row-%d.pdf", c.vines), out.Bytes())
		if text != "" && strings.Count(text, "Prune in dry weather") != n {
			t.Errorf("the cautions stand on %d of %d pages", strings.Count(text, "Prune in dry weather"), n)
		}
	}
}

func TestDrawingOfNothing(t *testing.T) {
	d := Draw(&assess.Measurement{}, nil, assess.Choice{})
	if s := d.SVG(100, 100, "x"); s != "" {
		t.Errorf("a drawing of nothing: %s", s)
	}
	v := kept(t, 1)
	v.Drawing = &d
	if err := WriteVine(new(bytes.Buffer), v); err != nil {
		t.Error(err)
	}
	svg := kept(t, 1).Drawing.SVG(640, 460, `a "quoted" <label>`)
	if !strings.Contains(svg, "a &#34;quoted&#34; &lt;label&gt;") || strings.Count(svg, `class="cut"`) == 0 || strings.Contains(svg, "NaN") {
		t.Errorf("%.300s", svg)
	}
}

// Names that people type in other scripts, or with signs that the font doesn't
// have, never break a sheet.
func TestSheetWithOddNames(t *testing.T) {
	for _, name := range []string{"葡萄园 🍇", "כרם", "\u202eevil\u202c", "a\tb\nc", strings.Repeat("long ", 40), "\xff\xfe", "\U0010ffff"} {
		v := kept(t, 3)
		v.Where, v.Confirmed = name+", row 4, vine 3", name
		var one, row bytes.Buffer
		if err := WriteVine(&one, v); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		if err := WriteRow(&row, Row{Where: name, Winter: "2026/27", Form: name, Vines: []Vine{v}, Cautions: assess.Cautions(), Say: say(t)}); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		look(t, "odd.pdf", one.Bytes())
	}
}
