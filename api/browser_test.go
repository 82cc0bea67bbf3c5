package api

import (
	"context"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"nodespan/assess"
	"nodespan/assess/store"
)

// A size is a screen on which the pages must work.
type size struct {
	name          string
	width, height int64
	touch         bool
}

var sizes = []size{
	{"phone", 390, 844, true},
	{"desk", 1280, 800, false},
}

// patience is how long one browser path may take on a busy machine.
const patience = 60 * time.Second

// browsers are the names that Chromium goes by. The first is a smaller build of
// it for tests, which takes two thirds of the processor time and keeps nothing
// when it ends.
var browsers = []string{"chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "chrome"}

// chromium finds the first of these browsers. Without one the tests are skipped
// with a loud word, but never in CI, where a skipped test would pass for a good one.
func chromium(t testing.TB, names []string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	const loud = "NO CHROMIUM FOUND: THE PAGES WERE NOT TESTED. Run: sh cmd/setup.sh"
	if os.Getenv("CI") == "true" {
		t.Fatal(loud)
	}
	t.Skip(loud)
	return ""
}

// A tab is a page in a real browser. It fails the test for every script error,
// every refusal by the content policy, and every request to another host.
type tab struct {
	t    *testing.T
	ctx  context.Context
	rig  *rig
	size size
	mu   sync.Mutex
	bad  []string
	// hears is told each event of the browser.
	hears []func(event any)
}

func openTab(t *testing.T, r *rig, z size) *tab {
	t.Helper()
	return open(t, r, z, chromium(t, browsers), t.TempDir())
}

// openTabIn opens a browser that keeps in a folder what people's browsers keep.
func openTabIn(t *testing.T, r *rig, z size, profile string) *tab {
	t.Helper()
	return open(t, r, z, chromium(t, browsers[1:]), profile)
}

func open(t *testing.T, r *rig, z size, browser, profile string) *tab {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(browser), chromedp.UserDataDir(profile), chromedp.DisableGPU,
		chromedp.Flag("accept-lang", "en-GB"), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.WSURLReadTimeout(patience),
	)
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox) // its sandbox refuses to run as root
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*patience)
	ctx, cancelAll := chromedp.NewExecAllocator(ctx, options...)
	b := &tab{t: t, rig: r, size: z}
	ctx, cancelTab := chromedp.NewContext(ctx, chromedp.WithListener(b.listen))
	t.Cleanup(func() { cancelTab(); cancelAll(); cancel() })
	b.ctx = ctx
	screen := chromedp.EmulateViewport(z.width, z.height)
	if z.touch {
		screen = chromedp.EmulateViewport(z.width, z.height, chromedp.EmulateMobile, chromedp.EmulateTouch, chromedp.EmulatePortrait)
	}
	// The first run starts the browser, which ends with the run's context.
	if err := chromedp.Do(ctx, screen); err != nil {
		t.Fatal(err)
	}
	return b
}

func describe(d *runtime.ExceptionDetails) string {
	text := fmt.Sprintf("%s at %s:%d", d.Text, d.URL, d.LineNumber+1)
	if d.Exception != nil {
		text += " " + d.Exception.Description
	}
	return text
}

func (b *tab) listen(event any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, f := range b.hears {
		f(event)
	}
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		b.bad = append(b.bad, "script error: "+describe(e.ExceptionDetails))
	case *log.EventEntryAdded:
		// An answer that isn't a success is noted by the browser too; whether it
		// was right is for the test itself.
		if e.Entry.Level == log.EntryLevelError && e.Entry.Source != log.EntrySourceNetwork {
			b.bad = append(b.bad, "browser says: "+e.Entry.Text)
		}
	case *network.EventRequestWillBeSent:
		u := e.Request.URL
		if !strings.HasPrefix(u, b.rig.http.URL) && !strings.HasPrefix(u, "blob:"+b.rig.http.URL) && !strings.HasPrefix(u, "data:") && u != "about:blank" {
			b.bad = append(b.bad, "request to another host: "+u)
		}
	}
}

// do runs steps, and fails the test with what the page shows when one fails.
func (b *tab) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.lost(what, err)
	}
}

func (b *tab) lost(what string, err error) {
	b.t.Helper()
	text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText.slice(0, 600)`))
	b.shot("failed")
	b.t.Fatalf("%s: %v, at %s", what, err, text)
}

// valueOf evaluates an expression on the page.
func valueOf[T any](b *tab, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.lost("value of "+expression, err)
	}
	return v
}

func call[P, R any](b *tab, c cdp.Command[P, R], params P) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if _, err := chromedp.Call(ctx, c, params); err != nil {
		b.lost(c.Method, err)
	}
}

func (b *tab) visit(path string) {
	b.t.Helper()
	b.do("visit "+path, chromedp.Navigate(b.rig.http.URL+path), chromedp.WaitReady(chromedp.CSS("main")))
}

func (b *tab) click(selector string) {
	b.t.Helper()
	b.do("click "+selector, chromedp.Click(chromedp.CSS(selector), chromedp.NodeVisible))
}

func (b *tab) keys(selector, keys string) {
	b.t.Helper()
	b.do("type into "+selector, chromedp.SendKeys(chromedp.CSS(selector), keys, chromedp.NodeVisible))
}

func (b *tab) wait(selector string) {
	b.t.Helper()
	b.do("wait for "+selector, chromedp.WaitVisible(chromedp.CSS(selector)))
}

// until waits until an expression is true, also across the loading of a page.
func (b *tab) until(expression string) {
	b.t.Helper()
	for deadline := time.Now().Add(patience / 2); ; time.Sleep(30 * time.Millisecond) {
		ok, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("Boolean("+expression+")"))
		if err == nil && ok {
			return
		}
		if time.Now().After(deadline) || b.ctx.Err() != nil {
			b.lost("until "+expression, err)
		}
	}
}

func (b *tab) text(selector string) string {
	b.t.Helper()
	return valueOf[string](b, fmt.Sprintf("document.querySelector(%q).innerText", selector))
}

// drag moves a finger or the mouse from one place of the window to another.
func (b *tab) drag(x0, y0, x1, y1 float64) {
	b.t.Helper()
	const steps = 8
	for i := 0; i <= steps; i++ {
		f := float64(i) / steps
		b.pointer(i == 0, x0+f*(x1-x0), y0+f*(y1-y0))
	}
	if b.size.touch {
		call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: input.DispatchTouchEventTypeTouchEnd, TouchPoints: []*input.TouchPoint{}})
		return
	}
	call(b, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: input.DispatchMouseEventTypeMouseReleased, X: x1, Y: y1, Button: input.MouseButtonLeft, ClickCount: 1})
}

func (b *tab) pointer(first bool, x, y float64) {
	b.t.Helper()
	if b.size.touch {
		kind := input.DispatchTouchEventTypeTouchMove
		if first {
			kind = input.DispatchTouchEventTypeTouchStart
		}
		call(b, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{{X: x, Y: y}}})
		return
	}
	kind := input.DispatchMouseEventTypeMouseMoved
	if first {
		kind = input.DispatchMouseEventTypeMousePressed
	}
	call(b, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, Buttons: 1, ClickCount: 1})
}

// shot keeps a picture of the window when a folder for them is named.
func (b *tab) shot(name string) {
	b.t.Helper()
	folder := os.Getenv("NODESPAN_SHOTS")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Log(err)
		return
	}
	if err := os.WriteFile(filepath.Join(folder, b.size.name+"-"+name+".png"), png, 0o600); err != nil {
		b.t.Log(err)
	}
}

// whole keeps a picture of all of the page.
func (b *tab) whole(name string) {
	b.t.Helper()
	folder := os.Getenv("NODESPAN_SHOTS")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(80))
	if err != nil {
		b.t.Log(err)
		return
	}
	if err := os.WriteFile(filepath.Join(folder, b.size.name+"-"+name+".jpg"), png, 0o600); err != nil {
		b.t.Log(err)
	}
}

// clean fails the test for what went wrong on any page on the way.
func (b *tab) clean() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.bad {
		b.t.Error(s)
	}
}

type place struct{ X, Y float64 }

// nodeOf is where a node of the cane in hand is on the window.
func (b *tab) nodeOf(i int) place {
	b.t.Helper()
	return valueOf[place](b, fmt.Sprintf(`(() => { const r = document.querySelectorAll('#picture .chosen .node')[%d].getBoundingClientRect(); return {X: r.x + r.width / 2, Y: r.y + r.height / 2}; })()`, i))
}

func writeVine(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "IMG_0001.jpg")
	if err := os.WriteFile(path, vineJPEG, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// The path that matters: make a block, upload a photo, correct a node by
// dragging it, agree, save, and see it on the vine's page.
func TestBrowserPath(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.measurer.gate = make(chan struct{})
			b := openTab(t, r, z)
			// The one-time link of the first start.
			link, err := NewLink(t.Context(), r.store, store.FirstEstate, Manager, 0, "the service")
			if err != nil {
				t.Fatal(err)
			}
			b.visit("/")
			b.until(`location.pathname === '/sign-in'`)
			b.whole("signin")
			b.visit(link)
			b.keys("#j-name", "Ada Weiß")
			b.keys("#j-password", "four canes two wires")
			b.whole("join")
			b.click("#join button[type=submit]")
			b.until(`location.pathname === '/' && document.readyState === 'complete'`)
			b.shot("home-empty")
			b.visit("/blocks/new")
			b.keys("#b-name", "South slope")
			b.keys("#b-rows", "12")
			b.keys("#b-vines", "40")
			b.whole("newblock")
			b.click("#newblock button[type=submit]")
			b.until(`location.pathname === '/blocks/1'`)
			b.shot("block-empty")

			b.visit("/blocks/1/4/7/photo")
			b.whole("addphoto")
			b.do("choose a photo", chromedp.SetUploadFiles(chromedp.CSS("#choose"), []string{writeVine(t)}))
			b.wait("#send")
			// What the look says moves the buttons down: press them after it.
			b.until(`document.querySelector('#looked').dataset.state === 'done'`)
			b.shot("chosen")
			b.click("#send")
			b.until(`location.pathname === '/photos/1' && document.readyState === 'complete'`)
			b.wait("#progress")
			b.shot("progress")
			close(r.measurer.gate)
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.shot("rule")
			if got := b.text("#cane-title"); got != "Cane 1 of 8" {
				t.Errorf("first in hand: %q", got)
			}

			before := kept(t).Canes[0]
			had := b.text("#v-internode")
			b.click("#correct")
			b.until(`!document.querySelector('#edit').hidden`)
			b.until(`document.querySelectorAll('#picture .chosen .node').length === ` + fmt.Sprint(len(before.Nodes)))
			b.shot("correct")
			from, next := b.nodeOf(2), b.nodeOf(3)
			b.drag(from.X, from.Y, from.X+(next.X-from.X)*0.6, from.Y+(next.Y-from.Y)*0.6)
			b.until(`document.querySelector('#whose').textContent === 'With your correction'`)
			b.until(`document.querySelector('#had').textContent.includes('The program had said')`)
			b.shot("corrected")
			b.click("#undo")
			b.until(`document.querySelector('#whose').textContent === 'The program suggests'`)
			if again := b.nodeOf(2); again != from {
				t.Errorf("undo left the node at %v, want %v", again, from)
			}
			b.drag(from.X, from.Y, from.X+(next.X-from.X)*0.6, from.Y+(next.Y-from.Y)*0.6)
			b.until(`document.querySelector('#whose').textContent === 'With your correction'`)
			b.click("#done")
			b.click("#agree") // with the corrected cane: on to the next one
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 2 of 8'`)
			b.click("#agree")
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 3 of 8'`)
			b.click("#reject")
			b.until(`document.querySelector('#save').textContent === 'Save 3'`)
			b.shot("drafts")

			// Nothing is saved before the person says so, and a page that is
			// closed meanwhile loses nothing.
			if all, err := r.store.Rulings(t.Context(), 1); err != nil || len(all) != 0 {
				t.Fatalf("%d rulings before saving, %v", len(all), err)
			}
			b.visit("/photos/1")
			b.until(`document.querySelector('#save').textContent === 'Save 3'`)
			b.click("#save")
			b.until(`document.querySelector('#banner-text').textContent.includes('Saved as Ada Weiß')`)
			b.shot("saved")

			all, err := r.store.Rulings(t.Context(), 1)
			if err != nil || len(all) != 3 {
				t.Fatalf("%d rulings kept, %v; want 3", len(all), err)
			}
			rs, err := store.ReadRulings(all)
			if err != nil {
				t.Fatal(err)
			}
			first := rs[0]
			if first.Cane != 1 || first.Said != assess.Correct || first.Who != "Ada Weiß" || len(first.Nodes) != len(before.Nodes) {
				t.Fatalf("first ruling %+v", first)
			}
			moved, was, limit := first.Nodes[2].AlongMM, before.Nodes[2].AlongMM, before.Nodes[3].AlongMM
			if want := was + 0.6*(limit-was); moved < want-15 || moved > want+15 {
				t.Errorf("the node went from %.0f to %.0f mm, want about %.0f", was, moved, want)
			}

			b.visit("/blocks/1/4/7")
			b.whole("vine")
			row := b.text(`tr[data-cane="1"]`)
			for _, want := range []string{"Corrected by Ada Weiß", "The program had said:"} {
				if !strings.Contains(row, want) {
					t.Errorf("the vine's page says %q, without %q", row, want)
				}
			}
			if had == "" || strings.Contains(had, "not measurable") {
				t.Errorf("internodes before: %q", had)
			}
			b.until(`document.querySelectorAll('tr[data-cane]').length === 2`) // the rejected one isn't there
			b.clean()
		})
	}
}

// What else there is: a missed cane, the keyboard, the choice, a refusal with
// two marks, a conflict, and each of the other pages.
func TestBrowserOther(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			v := r.view()
			b := openTab(t, r, z)
			b.signIn("Ada")

			b.visit("/photos/1")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.click("#missed")
			b.until(`!document.querySelector('#banner').hidden`)
			b.tapPhoto(700, 800)
			b.until(`document.querySelector('#banner-text').textContent.includes('tip')`)
			b.shot("missed")
			b.tapPhoto(720, 400)
			b.until(`document.querySelector('#cane-title').textContent.startsWith('Cane 9')`)
			b.shot("missed-found")
			// By keyboard alone: a node by the millimetre.
			valueOf[bool](b, `document.querySelector('#edit details').open = true`)
			b.keys("#addat", "40\t\r")
			b.keys("#addat", "110\t\r")
			b.until(`document.querySelector('#v-nodes').textContent === '2' && document.querySelector('#v-internode').textContent.startsWith('70 ')`)
			b.click("#done")

			// Somebody else rules meanwhile.
			r.who = "Ben"
			var all []string
			for _, c := range v.Seen.Canes {
				all = append(all, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
			}
			r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[`+strings.Join(all, ",")+`]}`, http.StatusCreated, nil)
			b.click("#save")
			b.wait("#conflict-mine")
			b.shot("conflict")
			b.click("#conflict-mine")
			b.until(`document.querySelector('#banner-text').textContent.includes('Saved as Ada')`)
			b.wait("#onward")
			b.shot("allsaved")
			b.click("#onward")
			b.until(`document.querySelector("#picture")?.dataset.ready === "yes" && document.querySelector(".fate select")`)
			b.shot("choice")
			valueOf[bool](b, `(() => { const s = [...document.querySelectorAll('.fate select')].at(-1); s.value = 'lay 0'; return s.dispatchEvent(new Event('change')); })()`)
			b.until(`!document.querySelector('#changed').hidden`)
			b.click("#confirm")
			b.until(`document.querySelector('#done').textContent.includes('Confirmed by Ada')`)
			b.whole("choice-done")
			b.visit("/blocks/1/4/7")
			if got := b.text(".choice"); !strings.Contains(got, "Confirmed by Ada") || !strings.Contains(got, "Otherwise than suggested") {
				t.Errorf("the choice on the vine's page: %q", got)
			}
			b.whole("vine-choice")

			// A photo without a reference, measured by two marks after all.
			st := r.measured(r.send(1, pngOf(t, 600, 600), http.StatusCreated).ID)
			if st.State != stateRefused {
				t.Fatalf("state %q", st.State)
			}
			b.visit(st.Page)
			b.whole("refused")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.do("see the photo", chromedp.ScrollIntoView(chromedp.CSS("#picture")))
			b.tapPhoto(100, 300)
			b.tapPhoto(400, 300)
			b.until(`document.querySelectorAll('#picture .cross').length === 4`)
			b.keys("#mm", "500")
			b.shot("marks")
			b.click("#marks button[type=submit]")
			b.until(`document.querySelector('#rule') !== null`)
			if a := r.measurer.last(); a.Marks == nil || a.Marks.DistanceMM != 500 || a.Marks.A[0] < 95 || a.Marks.A[0] > 105 {
				t.Errorf("asked with marks %+v", a.Marks)
			}

			for name, path := range map[string]string{"home": "/", "block": "/blocks/1?row=4", "card": "/card", "about": "/about", "account": "/account", "people": "/people", "lost": "/nowhere"} {
				b.visit(path)
				b.whole(name)
				if valueOf[bool](b, `document.documentElement.scrollWidth > document.documentElement.clientWidth`) {
					t.Errorf("%s needs scrolling sideways", path)
				}
				b.smallTargets(path)
			}
			b.clean()
		})
	}
}

// A phone that is told to come back waits, says so, and sends again by itself.
func TestBrowserWaitsItsTurn(t *testing.T) {
	m := &keptMeasurer{gate: make(chan struct{})}
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), m, Limits{Queue: 1, Workers: 1, ComeBack: time.Second})
	b := r.block()
	for i := range 2 { // one is measured, one waits: no more room
		r.send(b, pngOf(t, 500+i, 500), http.StatusCreated)
		for deadline := time.Now().Add(5 * time.Second); i == 0 && time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
			var st photoState
			r.get("/api/photos/1", http.StatusOK, &st)
			if st.State == stateMeasuring {
				break
			}
		}
	}
	tab := openTab(t, r, sizes[0])
	tab.signIn("Ada")
	tab.visit("/blocks/1/4/8/photo")
	tab.do("choose a photo", chromedp.SetUploadFiles(chromedp.CSS("#choose"), []string{writeVine(t)}))
	tab.wait("#send")
	tab.click("#send")
	tab.until(`document.querySelector('#sending-text').textContent.includes('tried again in 1 seconds')`)
	tab.shot("busy")
	close(m.gate)
	tab.until(`location.pathname === '/photos/3'`)
	tab.clean()
}

// signIn gives the browser a session.
func (b *tab) signIn(name string) {
	b.t.Helper()
	call(b, network.SetCookie, network.SetCookieParams{Name: b.rig.server.cookieName(), Value: b.rig.session(name), URL: b.rig.http.URL, Path: "/"})
}

// tapPhoto taps a place of the photo, given in its pixels.
func (b *tab) tapPhoto(x, y float64) {
	b.t.Helper()
	p := valueOf[place](b, fmt.Sprintf(`(() => { const s = document.querySelector('#picture'); const q = new DOMPoint(%f, %f).matrixTransform(s.getScreenCTM()); return {X: q.x, Y: q.y}; })()`, x, y))
	b.drag(p.X, p.Y, p.X, p.Y)
}

// smallTargets fails for controls that a cold thumb would miss: under 44 px
// high where they stand alone. Links within sentences are left out.
func (b *tab) smallTargets(path string) {
	b.t.Helper()
	small := valueOf[[]string](b, `[...document.querySelectorAll('button, a.button, select, input:not(.file):not([type=radio]):not([type=checkbox]), summary, .foot a, .top a, .cell')]
		.filter((e) => e.offsetParent && e.getBoundingClientRect().height < 47.5).map((e) => e.outerHTML.slice(0, 80))`)
	for _, s := range small {
		b.t.Errorf("%s: lower than 48 px: %s", path, s)
	}
}
