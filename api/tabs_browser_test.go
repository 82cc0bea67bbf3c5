package api

import (
	"fmt"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// beside opens another tab of the same browser, which has the same store.
func (b *tab) beside() *tab {
	b.t.Helper()
	o := &tab{t: b.t, rig: b.rig, size: b.size}
	ctx, cancel := chromedp.NewContext(b.ctx, chromedp.WithListener(o.listen))
	b.t.Cleanup(cancel)
	o.ctx = ctx
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(b.size.width, b.size.height)); err != nil {
		b.t.Fatal(err)
	}
	return o
}

// Two pages of one phone send what waits at the same moment: each piece goes
// up once and counts once, in order. A browser without Web Locks may send a
// piece from both; its key still lets it count once.
func TestBrowserTwoTabsSendOnce(t *testing.T) {
	const vines = 4
	for _, locks := range []bool{true, false} {
		t.Run(fmt.Sprintf("locks %v", locks), func(t *testing.T) {
			r := newRig(t)
			r.view()
			way := newLine(t, r)
			b := openTab(t, r, sizes[0])
			b.signIn("Ada")
			o := b.beside()
			var mu sync.Mutex
			sent := map[string]int{}
			for _, one := range []*tab{b, o} {
				one.hears = append(one.hears, func(event any) {
					if e, ok := event.(*network.EventRequestWillBeSent); ok && e.Request.Method == "POST" {
						u, err := url.Parse(e.Request.URL)
						if err != nil {
							return
						}
						mu.Lock()
						sent[u.Path]++
						mu.Unlock()
					}
				})
				if !locks {
					call(one, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: `Object.defineProperty(Navigator.prototype, 'locks', {value: undefined})`})
				}
			}
			b.visit("/")
			b.ready()
			b.visit("/photos/1")
			b.stageReady()
			b.until(`Promise.all(['/api/measurements/1', '/photos/1/picture/medium.jpg'].map((a) => caches.match(a))).then((all) => { document.body.dataset.kept = all.every(Boolean) ? 'yes' : ''; }) && document.body.dataset.kept === 'yes'`)
			way.set(true, false, 0)
			b.visit("/photos/1")
			b.stageReady()
			for cane := 1; cane <= 2; cane++ { // two pieces that must stay in order
				b.click("#agree")
				b.click("#save")
				b.waits(cane)
			}
			for vine := 1; vine <= vines; vine++ {
				b.visit(fmt.Sprintf("/blocks/1/2/%d/photo", vine))
				b.until(`document.body.dataset.ready === 'yes'`)
				b.takes(anotherPhoto(t, fmt.Sprintf("vine-%d", vine)))
				b.usesWithoutSignal()
			}
			for _, one := range []*tab{b, o} {
				one.visit("/waiting")
				one.until(fmt.Sprintf(`document.querySelectorAll('.piece').length === %d`, vines+2))
			}
			mu.Lock()
			clear(sent)
			mu.Unlock()
			way.set(false, false, 0)
			var both sync.WaitGroup
			for _, one := range []*tab{b, o} {
				both.Go(func() {
					_, _ = chromedp.Run(one.ctx, chromedp.Evaluate[bool](`(document.querySelector('#now').click(), true)`))
				})
			}
			both.Wait()
			b.noneWaits()
			o.noneWaits()

			rs, err := r.store.Rulings(t.Context(), 1)
			if err != nil || len(rs) != 2 || rs[0].Cane != 1 || rs[1].Cane != 2 {
				t.Errorf("rulings %+v, %v; want two, in order", rs, err)
			}
			var before int64
			for vine := 1; vine <= vines; vine++ {
				ps := r.photosOf(2, vine)
				if len(ps) != 1 || ps[0].ID < before {
					t.Fatalf("vine %d: %+v; want one photo, in order", vine, ps)
				}
				before = ps[0].ID
			}
			mu.Lock()
			defer mu.Unlock()
			for path, n := range sent {
				if strings.HasSuffix(path, "/photos") && locks && n != 1 {
					t.Errorf("%s went up %d times", path, n)
				}
			}
			if len(sent) < vines+1 {
				t.Errorf("only %v was seen on its way", sent)
			}
			b.clean()
			o.clean()
		})
	}
}
