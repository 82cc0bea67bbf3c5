package api

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"

	"nodespan/assess/store"
)

// ready waits until the service worker answers for the page.
func (b *tab) ready() {
	b.t.Helper()
	b.until(`navigator.serviceWorker?.controller && document.body.dataset.framed === 'yes'`)
}

// waiting is how many pieces of work wait in the browser's store, by its own
// count.
func (b *tab) waiting() int {
	b.t.Helper()
	return valueOf[int](b, `document.querySelector('#waiting').hidden ? 0 : parseInt(document.querySelector('#waiting').textContent)`)
}

func (b *tab) waits(n int) {
	b.t.Helper()
	b.until(fmt.Sprintf(`document.querySelector('#waiting')?.textContent.startsWith('%d ') && !document.querySelector('#waiting').hidden`, n))
}

// noneWaits waits until everything has gone up.
func (b *tab) noneWaits() {
	b.t.Helper()
	b.until(`document.querySelector('#waiting')?.hidden && document.body.dataset.framed === 'yes'`)
}

// takes has the page to add a photo get one and look at it.
func (b *tab) takes(path string) {
	b.t.Helper()
	valueOf[bool](b, `delete document.querySelector('#looked').dataset.state`)
	b.do("take a photo", chromedp.SetUploadFiles(chromedp.CSS("#take"), []string{path}))
	b.until(`document.querySelector('#looked').dataset.state === 'done'`)
}

// usesWithoutSignal says that the photo is to be used, and waits until the page
// tells that it is kept.
func (b *tab) usesWithoutSignal() {
	b.t.Helper()
	b.click("#send")
	b.until(`document.querySelector('#sending-text').textContent.includes('No signal')`)
}

// anotherPhoto is a photo with other bytes and the same picture.
func anotherPhoto(t testing.TB, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name+".jpg")
	// What stands behind a JPEG's end is no part of its picture.
	if err := os.WriteFile(path, append(append([]byte{}, vineJPEG...), name...), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// photos lists the photos of a vine in the order in which they arrived.
func (r *rig) photosOf(row, number int) []store.Photo {
	r.t.Helper()
	b, err := r.store.Block(r.t.Context(), 1)
	if err != nil {
		r.t.Fatal(err)
	}
	v, err := r.store.FindVine(r.t.Context(), b, row, number)
	if err != nil {
		r.t.Fatal(err)
	}
	if v.ID == 0 {
		return nil
	}
	all, err := r.store.Photos(r.t.Context(), v.ID)
	if err != nil {
		r.t.Fatal(err)
	}
	return all
}

// The whole path without signal: from the start page to photos of vines that
// this phone never saw, and rulings; the browser is closed; then the signal
// comes back, and all is there once, in order.
func TestBrowserWithoutSignal(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.view()
			way := newLine(t, r)
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/")
			b.ready()
			b.shot("home-next")
			b.visit("/") // now by the service worker, which keeps it
			b.until(`document.body.dataset.ready === 'yes'`)
			b.visit("/photos/1")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes' && document.querySelector('#picture image').href.baseVal`)
			b.until(`Promise.all(['/api/measurements/1', '/photos/1/picture/medium.jpg'].map((a) => caches.match(a))).then((all) => { document.body.dataset.kept = all.every(Boolean) ? 'yes' : ''; }) && document.body.dataset.kept === 'yes'`)

			way.set(true, false, 0)
			b.visit("/")
			b.until(`document.body.dataset.ready === 'yes'`)
			// Row 1, vine 1 is offered; two taps, and the camera opens.
			b.click("#go-photo")
			b.until(`location.pathname === '/blocks/1/1/1/photo' && document.body.dataset.ready === 'yes'`)
			b.shot("offline-photo")
			if got := b.text("#where"); got != "South slope, row 1, vine 1" {
				t.Errorf("the page kept for any vine is of %q", got)
			}
			b.takes(anotherPhoto(t, "first"))
			b.until(`document.querySelector('#looked [data-of=sharp]') && document.querySelector('#looked [data-of=light]')`)
			b.shot("offline-looked")
			b.waits(1) // it is safe before it is said to be good
			b.usesWithoutSignal()
			b.shot("offline-kept")
			b.click("#next-vine")
			b.until(`location.pathname === '/blocks/1/1/2/photo' && document.querySelector('#where').textContent.endsWith('vine 2')`)
			b.takes(anotherPhoto(t, "second"))
			b.waits(2)

			// The battery dies before the second photo was said to be good.
			b.do("leave", chromedp.Navigate("about:blank"))
			b.visit("/blocks/1/1/2/photo")
			b.waits(2)
			b.until(`document.body.dataset.ready === 'yes' && !document.querySelector('#held').hidden`)
			b.shot("offline-held")
			b.usesWithoutSignal()

			// A page that isn't kept says so, and what waits is listed.
			b.visit("/people")
			b.until(`document.querySelector('#instead') && !document.querySelector('#instead').hidden`)
			b.visit("/waiting")
			b.until(`document.querySelectorAll('.piece').length === 2`)
			b.shot("offline-waiting")
			if got := b.text(".piece:first-child"); !containsAll(got, "Photo", "South slope, row 1, vine 1", "Ada") {
				t.Errorf("the first piece that waits: %q", got)
			}
			b.smallTargets("/waiting")
			if got := len(r.photosOf(1, 1)) + len(r.photosOf(1, 2)); got != 0 {
				t.Fatalf("%d photos arrived without signal", got)
			}

			// Findings of a photo that was open before are ruled on as ever.
			b.visit("/photos/1")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.click("#agree")
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 2 of 8'`)
			b.click("#reject")
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 3 of 8'`)
			b.click("#save")
			b.until(`document.querySelector('#banner-text').textContent.includes('Kept in this phone')`)
			b.waits(3)
			// The page is closed and opened: what was said stands there, and goes on.
			b.visit("/photos/1")
			b.until(`document.querySelector('#cane-title')?.textContent === 'Cane 3 of 8' && document.querySelector('#left').textContent.startsWith('2 of 8')`)
			b.click("#previous")
			b.until(`document.querySelector('#state').textContent.includes('when there is signal')`)
			b.until(`fetch(document.querySelector('#picture image').getAttribute('href')).then((a) => a.blob()).then((p) => { document.body.dataset.picture = p.size; }) && Number(document.body.dataset.picture) > 1000`)
			b.shot("offline-rule")
			b.click("#next")
			b.click("#agree")
			b.click("#save")
			b.waits(4)

			b.sendsAll(way)
			all, err := r.store.Rulings(t.Context(), 1)
			if err != nil || len(all) != 3 || all[0].Cane != 1 || all[1].Kind != "reject" || all[2].Cane != 3 || all[2].Who != "Ada" {
				t.Fatalf("rulings %+v, %v; want each once, in order, by Ada", all, err)
			}
			one, two := r.photosOf(1, 1), r.photosOf(1, 2)
			if len(one) != 1 || len(two) != 1 || one[0].ID > two[0].ID || one[0].ReceivedBy != "Ada" {
				t.Fatalf("arrived: %+v and %+v; want each once, in order, by Ada", one, two)
			}
			b.clean()
		})
	}
}

// Chromium itself finds nothing that keeps the pages from being put on a start
// screen.
func TestBrowserInstallable(t *testing.T) {
	r := newRig(t)
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/")
	b.ready()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	got, err := chromedp.Call(ctx, page.GetInstallabilityErrors, cdp.Empty{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range got.InstallabilityErrors {
		t.Errorf("can't be installed: %s %v", e.ErrorID, e.ErrorArguments)
	}
	b.clean()
}

// The battery dies: the browser is killed in the middle of everything, with
// photos and rulings that nobody has yet. A new one finds them, and sends each
// once.
func TestBrowserKilled(t *testing.T) {
	r := newRig(t)
	r.view()
	way := newLine(t, r)
	profile := t.TempDir()
	b := openTabIn(t, r, sizes[0], profile)
	b.signIn("Ada")
	b.visit("/photos/1")
	b.ready()
	b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
	way.set(true, false, 0)
	b.click("#agree")
	b.until(`document.querySelector('#cane-title').textContent === 'Cane 2 of 8'`)
	b.click("#save")
	b.until(`document.querySelector('#banner-text').textContent.includes('Kept in this phone')`)
	b.click("#agree") // and not saved
	b.until(`document.querySelector('#cane-title').textContent === 'Cane 3 of 8'`)
	b.visit("/blocks/1/4/8/photo")
	b.until(`document.body.dataset.ready === 'yes'`)
	b.takes(anotherPhoto(t, "used"))
	b.usesWithoutSignal()
	b.click("#next-vine")
	b.until(`location.pathname === '/blocks/1/4/9/photo'`)
	b.takes(anotherPhoto(t, "not used yet"))
	b.waits(3)
	chrome, err := os.FindProcess(chromedp.FromContext(b.ctx).Browser.Process().Pid)
	if err != nil {
		t.Fatal(err)
	}
	if err := chrome.Kill(); err != nil {
		t.Fatal(err)
	}
	b.clean()
	time.Sleep(time.Second) // its children end too, and let go of the folder

	b = openTabIn(t, r, sizes[0], profile)
	b.signIn("Ada")
	way.set(false, false, 0)
	b.visit("/waiting")
	b.until(`document.querySelectorAll('.piece').length === 1 && document.querySelector('.piece').textContent.includes('nobody said yet')`)
	if rs, err := r.store.Rulings(t.Context(), 1); err != nil || len(rs) != 1 || len(r.photosOf(4, 8)) != 1 || len(r.photosOf(4, 9)) != 0 {
		t.Fatalf("arrived: rulings %+v, %v, photos %d and %d", rs, err, len(r.photosOf(4, 8)), len(r.photosOf(4, 9)))
	}
	b.click(".piece .main")
	b.noneWaits()
	b.visit("/photos/1")
	b.until(`document.querySelector('#save')?.textContent === 'Save 1' && document.querySelector('#cane-title').textContent === 'Cane 3 of 8'`)
	if n := len(r.photosOf(4, 9)); n != 1 {
		t.Errorf("%d photos arrived", n)
	}
	b.clean()
}

// The signal is lost in the middle of an upload, then after it but before the
// answer: the photo is kept once.
func TestBrowserSignalDropsMidUpload(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.block()
			way := newLine(t, r)
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/blocks/1/4/8/photo")
			b.ready()
			b.takes(anotherPhoto(t, "dropped"))
			b.shot("looked")
			way.set(false, false, len(vineJPEG)/2)
			b.usesWithoutSignal()
			if way.up() {
				t.Fatal("the line wasn't cut")
			}
			b.waits(1)
			if n := len(r.photosOf(4, 8)); n != 0 {
				t.Fatalf("half a photo counts: %d", n)
			}
			// Now all of it arrives, but the answer doesn't.
			way.set(false, true, 0)
			b.until(`true`)
			b.online()
			for range 200 {
				if !way.up() {
					break
				}
				b.until(`true`)
			}
			b.waits(1)
			b.signalBack(way)
			b.until(`location.pathname === '/photos/1'`)
			b.noneWaits()
			if n := len(r.photosOf(4, 8)); n != 1 {
				t.Errorf("%d photos kept of one", n)
			}
			b.clean()
		})
	}
}

// The session ends while there is no signal: the work is kept, and goes up once
// the person has signed in, on the same page, and under no other name.
func TestBrowserSignedOutWithoutSignal(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.block()
			link, err := NewLink(t.Context(), r.store, store.FirstEstate, Manager, 0, "the service")
			if err != nil {
				t.Fatal(err)
			}
			way := newLine(t, r)
			b := openTab(t, r, z)
			b.visit(link)
			b.keys("#j-name", "Ada Weiß")
			b.keys("#j-password", "four canes two wires")
			b.click("#join button[type=submit]")
			b.until(`location.pathname === '/' && document.readyState === 'complete'`)
			b.visit("/blocks/1/4/8/photo")
			b.ready()
			way.set(true, false, 0)
			b.takes(anotherPhoto(t, "kept"))
			b.usesWithoutSignal()

			call(b, network.ClearBrowserCookies, cdp.Empty{})
			b.signalBack(way)
			b.wait("#again-password")
			b.shot("signed-out")
			b.waits(1)
			b.keys("#again-password", "four canes two wires")
			b.click("#again-form button[type=submit]")
			b.until(`location.pathname === '/photos/1'`)
			if all := r.photosOf(4, 8); len(all) != 1 || all[0].ReceivedBy != "Ada Weiß" {
				t.Fatalf("arrived: %+v", all)
			}

			// Somebody else takes the phone: what the first made waits for her.
			b.visit("/blocks/1/4/9/photo")
			b.until(`document.body.dataset.ready === 'yes'`)
			way.set(true, false, 0)
			b.takes(anotherPhoto(t, "hers"))
			b.usesWithoutSignal()
			way.set(false, false, 0)
			call(b, network.ClearBrowserCookies, cdp.Empty{})
			b.signIn("Ben")
			b.visit("/")
			b.until(`document.querySelector('#waiting').textContent.includes('look')`)
			b.click("#waiting")
			b.until(`document.querySelector('.piece')?.textContent.includes('Made by Ada Weiß')`)
			b.shot("waits-for-another")
			if all := r.photosOf(4, 9); len(all) != 0 {
				t.Fatalf("sent under another's name: %+v", all)
			}
			// And without anybody signed in, the list still opens and asks.
			call(b, network.ClearBrowserCookies, cdp.Empty{})
			b.visit("/waiting")
			b.click("#sign-in")
			b.keys("#again-password", "four canes two wires")
			b.do("name", chromedp.SetValue(chromedp.CSS("#again-name"), "Ada Weiß"))
			b.click("#again-form button[type=submit]")
			b.noneWaits()
			if all := r.photosOf(4, 9); len(all) != 1 || all[0].ReceivedBy != "Ada Weiß" {
				t.Errorf("arrived: %+v", all)
			}
			b.clean()
		})
	}
}

// A phone without room says so, offers the photo to be saved elsewhere, and
// sends it straight while there is signal.
func TestBrowserFullPhone(t *testing.T) {
	r := newRig(t)
	r.block()
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/blocks/1/4/8/photo")
	b.ready()
	small := 30_000.0
	call(b, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: r.http.URL, QuotaSize: &small})
	b.do("take a photo", chromedp.SetUploadFiles(chromedp.CSS("#take"), []string{anotherPhoto(t, "too large")}))
	b.until(`document.querySelector('#fault').textContent.includes('This phone is full')`)
	b.wait("#save-copy")
	b.shot("full")
	if n := b.waiting(); n != 0 {
		t.Errorf("%d pieces wait in a full phone", n)
	}
	b.click("#send")
	b.until(`location.pathname === '/photos/1'`)
	if n := len(r.photosOf(4, 8)); n != 1 {
		t.Errorf("%d photos arrived", n)
	}
	b.clean()
}

// A photo that the service won't take doesn't hold up the next; it says why and
// can be saved or thrown away.
func TestBrowserRefusedPieceIsTold(t *testing.T) {
	r := newRig(t)
	r.block()
	way := newLine(t, r)
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/blocks/1/4/8/photo")
	b.ready()
	way.set(true, false, 0)
	bad := filepath.Join(t.TempDir(), "bad.jpg")
	if err := os.WriteFile(bad, []byte("no picture at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.takes(bad)
	b.usesWithoutSignal()
	b.click("#next-vine")
	b.takes(anotherPhoto(t, "good"))
	b.click("#send")
	b.until(`!document.querySelector('#sending').hidden`)
	b.visit("/waiting")
	b.until(`document.querySelectorAll('.piece').length === 2`)
	way.set(false, false, 0)
	b.click("#now")
	b.until(`document.querySelectorAll('.piece').length === 1 && document.querySelector('.piece').textContent.includes('no photo that can be read')`)
	b.shot("stuck")
	if len(r.photosOf(4, 8)) != 0 || len(r.photosOf(4, 9)) != 1 {
		t.Errorf("arrived: %d and %d", len(r.photosOf(4, 8)), len(r.photosOf(4, 9)))
	}
	b.clean()
}

func containsAll(text string, parts ...string) bool {
	for _, p := range parts {
		if !strings.Contains(text, p) {
			return false
		}
	}
	return true
}
