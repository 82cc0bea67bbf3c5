package api

import (
	"fmt"
	"net/http"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nodespan/assess"
)

// everyPage lists the pages of a full record, by a name for pictures.
func (r *rig) everyPage() [][2]string {
	v := r.full()
	// One photo more, which can't be measured: it has no reference.
	st := r.measured(r.send(1, pngOf(r.t, 900, 700), http.StatusCreated).ID)
	job := r.newJob()
	for i, path := range []string{"North-1-1.jpg", "North-1-2.jpg"} {
		if status, text := r.sendJob(job, path, [][]byte{vineJPEG, pngOf(r.t, 500, 400)}[i]); status != http.StatusCreated {
			r.t.Fatalf("%s into a job: %d %s", path, status, text)
		}
	}
	r.written(job, 2)
	pages := append(r.lessonPages(), [][2]string{
		{"home", "/"}, {"newblock", "/blocks/new"}, {"block", "/blocks/1?row=4"}, {"rules", "/blocks/1/rules"}, {"pairs", "/blocks/1/pairs"}, {"labels", "/blocks/1/labels"},
		{"vine", "/blocks/1/4/7"}, {"addphoto", "/blocks/1/4/7/photo"}, {"second", fmt.Sprintf("/blocks/1/4/7/photo?second=%d&step=left", v.Photo)}, {"plan", "/blocks/1/4/7/plan?winter=" + lastWinter()},
		{"rule", fmt.Sprintf("/photos/%d", v.Photo)}, {"choice", fmt.Sprintf("/photos/%d/choice", v.Photo)}, {"unmeasured", fmt.Sprintf("/photos/%d", st.ID)},
		{"card", "/card"}, {"about", "/about"}, {"people", "/people"}, {"account", "/account"}, {"deleted", "/deleted"}, {"error", "/nowhere"},
		{"waiting", "/waiting"}, {"jobs", "/jobs"}, {"job", fmt.Sprintf("/jobs/%d", job)},
		{"jobcanes", fmt.Sprintf("/jobs/%d/canes", job)}, {"jobphoto", fmt.Sprintf("/jobs/%d/photo?path=North-1-1.jpg&cane=2", job)},
	}...)
	// One that failed, and one that is being measured for as long as anybody looks.
	r.measurer.fails(assess.Errorf(assess.EInvalid, "The photo is empty."))
	failed := r.measured(r.sendAt(8, aside("failed")).ID)
	r.measurer.fails(nil)
	r.measurer.holds()
	held := r.sendAt(9, aside("held"))
	return append(pages, [2]string{"failed", fmt.Sprintf("/photos/%d", failed.ID)}, [2]string{"progress", fmt.Sprintf("/photos/%d", held.ID)})
}

// fails has what is measured from now on end with an error.
func (k *keptMeasurer) fails(err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.err = err
}

// holds has what is measured from now on never end by itself.
func (k *keptMeasurer) holds() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.gate = make(chan struct{})
}

// sendAt uploads a photo of another vine of row 4.
func (r *rig) sendAt(vine int, data []byte) photoState {
	r.t.Helper()
	got, text := r.sendTo(fmt.Sprintf("/api/blocks/1/rows/4/vines/%d/photos", vine), data)
	var st photoState
	r.check("upload", got, http.StatusCreated, text, &st)
	return st
}

// settled waits until a page's scripts have drawn what they draw.
func (b *tab) settled() {
	b.t.Helper()
	b.until(`document.readyState === 'complete' && (!document.querySelector('#rule, #choice, #attempt, #compare') || document.querySelector('[data-ready]')) && (!document.querySelector('#job') || document.querySelector('#outcomes tr')) && (!document.querySelector('#jobcanes') || document.querySelector('.gridrow')) && (!document.querySelector('#jobphoto') || document.querySelector('#picture .cane')) && document.getAnimations().length === 0`)
}

// violations are what axe-core finds on the page that is shown.
const violations = `axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'], resultTypes: ['violations']}).then((r) => {
  window.axeFound = r.violations.flatMap((v) => v.nodes.map((n) => v.id + ': ' + n.target.join(' ') + ': ' + (n.failureSummary || '').replace(/\s+/g, ' ').slice(0, 300)));
}) && true`

// axe-core finds nothing on any page, at phone and desk size.
func TestPagesByAxe(t *testing.T) {
	script := axe(t)
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			pages := append(r.everyPage(), [2]string{"signin", "/sign-in"})
			b := openTab(t, r, z)
			b.signIn("Ada")
			for i, p := range pages {
				if p[0] == "signin" {
					r.signOut(b)
				}
				b.visit(p[1])
				if p[0] != "signin" {
					b.settled()
				}
				// What is folded away is read too.
				valueOf[bool](b, `[...document.querySelectorAll('details')].map((d) => { d.open = true; }).length >= 0`)
				valueOf[bool](b, `(window.axeFound = null, true)`)
				valueOf[bool](b, script+"; true")
				valueOf[bool](b, violations)
				b.until(`window.axeFound`)
				for _, found := range valueOf[[]string](b, `window.axeFound`) {
					t.Errorf("%s: %s", p[0], found)
				}
				b.whole(fmt.Sprintf("page-%02d-%s", i, p[0]))
			}
		})
	}
}

func (r *rig) signOut(b *tab) {
	valueOf[bool](b, `fetch('/api/session', {method: 'DELETE', headers: {'X-Nodespan': '1'}}).then(() => { window.signedOut = true; }) && true`)
	b.until(`window.signedOut`)
}

// speak chooses a language, from one of the service's own pages.
func (b *tab) speak(language string) {
	b.t.Helper()
	b.visit("/about")
	valueOf[bool](b, `fetch('/language?language=`+language+`&unit=mm&to=%2Fabout').then(() => { window.chosen = true; }) && true`)
	b.until(`window.chosen`)
	b.visit("/about")
	b.until(`document.documentElement.lang === '` + language + `'`)
}

// smallTargets lists the targets below 48 px, links within running text apart
// (WCAG 2.2, 2.5.8, exempts those). Where a label is the target, it counts.
const smallTargets = `[...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, label.button')].flatMap((e) => {
  const box = e.matches('input[type=radio], input[type=checkbox], input.file') ? e.closest('label') || e : e;
  const r = box.getBoundingClientRect();
  const style = getComputedStyle(box);
  if (!r.width || !r.height || style.visibility === 'hidden' || e.closest('.skip, .sr') || e.matches('.skip')) return [];
  if (e.matches('a') && style.display === 'inline') return [];
  return r.width < 47.5 || r.height < 47.5 ? [e.outerHTML.slice(0, 120) + ' ' + Math.round(r.width) + 'x' + Math.round(r.height)] : [];
})`

// lost lists what doesn't fit into a window of some width: text that is cut off,
// that another control lies over, or that reaches out of it, which only sideways scrolling would show. The browser's
// own innerWidth grows on a phone with what is too wide.
const lost = `((room) => {
  const out = [];
  const wide = document.scrollingElement.scrollWidth - room;
  if (wide > 1) out.push('the page is ' + wide + ' px wider than the window');
  for (const e of document.querySelectorAll('main *, header *, footer *')) {
    if (e.closest('svg, .sr, .skip, pre, .grid, canvas, dialog:not([open]), [hidden]') || !e.getClientRects().length) continue;
    if (e.closest('thead') && getComputedStyle(e.closest('thead')).clipPath !== 'none') continue; // read out alone
    const style = getComputedStyle(e);
    const cut = (style.overflowX === 'hidden' || style.overflowX === 'clip') && e.scrollWidth > e.clientWidth + 1 || (style.overflowY === 'hidden' || style.overflowY === 'clip') && e.scrollHeight > e.clientHeight + 1;
    const text = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    const r = e.getBoundingClientRect();
    const burst = e.matches('button, .button') && (e.scrollWidth > e.clientWidth + 2 || e.scrollHeight > e.clientHeight + 2);
    if (burst) out.push('words reach out of: ' + e.outerHTML.slice(0, 100));
    else if (cut && e.innerText) out.push('cut off: ' + e.outerHTML.slice(0, 100));
    else if (wide > 1 && r.right > room + 1 && (text || !e.children.length)) out.push('reaches out: ' + e.outerHTML.slice(0, 100));
  }
  const over = [...document.querySelectorAll('.stage button')].filter((e) => e.getClientRects().length).map((e) => [e, e.getBoundingClientRect()]);
  for (const [a, p] of over) for (const [b, q] of over) {
    if (a.compareDocumentPosition(b) & 4 && p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 1 && q.top < p.bottom - 1) out.push('one lies over the other: ' + a.outerHTML.slice(0, 60) + ' ' + b.outerHTML.slice(0, 60));
  }
  return out.slice(0, 8);
})`

// unreached lists the controls that the Tab key doesn't come to; each visit of
// one is marked by the page's own focus event.
const markFocus = `(() => {
  window.seen = new Set();
  document.addEventListener('focusin', (e) => window.seen.add(e.target));
  for (const d of document.querySelectorAll('details')) d.open = true;
  const all = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]')];
  window.wanted = all.filter((e) => e.tabIndex >= 0 && !e.disabled && e.getClientRects().length && getComputedStyle(e).visibility !== 'hidden' && !e.closest('dialog:not([open])')
    && !(e.type === 'radio' && !e.checked && document.querySelector('input[name="' + e.name + '"]:checked')));
  return window.wanted.length;
})()`

// Every page in every language, with text as it is and twice as large, on phone
// and desk: targets are large enough, nothing is cut off, nothing scrolls
// sideways.
func TestPagesInEveryLanguageAndSize(t *testing.T) {
	r := newRig(t)
	pages := r.everyPage()
	for _, language := range []string{"en", "de", "es", "fr", "it"} {
		b := openTab(t, r, sizes[0])
		b.signIn("Ada")
		b.speak(language)
		for _, p := range pages {
			b.visit(p[1])
			// One visit for both sizes, since loading is what takes long.
			for _, z := range sizes {
				b.sized(z)
				b.settled()
				for _, twice := range []bool{false, true} {
					what, shot := "text as it is", language+"-"+p[0]
					if twice {
						what, shot = "text twice as large", shot+"-twice"
					}
					valueOf[bool](b, fmt.Sprintf(`(document.documentElement.style.fontSize = %t ? '225%%' : '', true)`, twice))
					b.settled()
					b.whole(shot)
					if !twice {
						for _, s := range valueOf[[]string](b, smallTargets) {
							t.Errorf("%s, %s, %s: a small target: %s", z.name, language, p[0], s)
						}
					}
					for _, s := range valueOf[[]string](b, fmt.Sprintf("%s(%d)", lost, z.width)) {
						t.Errorf("%s, %s, %s, %s: %s", z.name, language, p[0], what, s)
					}
				}
				valueOf[bool](b, `(document.documentElement.style.fontSize = '', true)`)
			}
			b.sized(sizes[0])
		}
		b.clean()
	}
}

// sized makes the window as large as a screen.
func (b *tab) sized(z size) {
	b.t.Helper()
	screen := chromedp.EmulateViewport(z.width, z.height)
	if z.touch {
		screen = chromedp.EmulateViewport(z.width, z.height, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait)
	}
	b.size = z
	b.do("size", screen)
}

// Every control of every page is reached by the Tab key alone, and what has the
// focus is marked.
func TestPagesByKeyboard(t *testing.T) {
	r := newRig(t)
	b := openTab(t, r, sizes[1])
	b.signIn("Ada")
	for _, p := range r.everyPage() {
		b.visit(p[1])
		b.settled()
		n := valueOf[int](b, markFocus)
		for range n + 10 {
			b.do("tab", chromedp.KeyEvent("\t"))
			if valueOf[bool](b, `window.wanted.every((e) => window.seen.has(e))`) {
				break
			}
		}
		for _, s := range valueOf[[]string](b, `window.wanted.filter((e) => !window.seen.has(e) && e.getClientRects().length).map((e) => e.outerHTML.slice(0, 120))`) {
			t.Errorf("%s: never reached by keyboard: %s", p[0], s)
		}
		if !valueOf[bool](b, `(() => { const e = document.activeElement; const s = getComputedStyle(e); return e === document.body || s.outlineStyle !== 'none' || e.closest('label') && getComputedStyle(e.closest('label')).outlineStyle !== 'none'; })()`) {
			t.Errorf("%s: the focus isn't marked on %s", p[0], valueOf[string](b, `document.activeElement.outerHTML.slice(0, 120)`))
		}
	}
}

// Nothing moves by itself, but for those who want it (prefers-reduced-motion,
// Media Queries Level 5).
func TestMotionOnlyForThoseWhoWantIt(t *testing.T) {
	css, err := os.ReadFile("../web/static/nodespan.css")
	if err != nil {
		t.Fatal(err)
	}
	still := regexp.MustCompile(`@media \(prefers-reduced-motion: no-preference\) \{[^{}]*(\{[^{}]*\}[^{}]*)*\}`).ReplaceAllString(string(css), "")
	if moves := regexp.MustCompile(`(?:[\s;{])(animation|transition|scroll-behavior|transform)\s*:[^;}]*`).FindAllString(still, -1); len(moves) > 0 {
		t.Errorf("moves for everybody: %s", strings.Join(moves, ", "))
	}
	scripts, err := os.ReadDir("../web/static")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range scripts {
		data, err := os.ReadFile("../web/static/" + s.Name())
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(s.Name(), ".js") && regexp.MustCompile(`behavior:\s*'smooth'|\.animate\(`).Match(data) {
			t.Errorf("%s moves for everybody", s.Name())
		}
	}
}
