package api

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// asideFile is a second photo as a file.
func asideFile(t testing.TB, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name+".jpg")
	if err := os.WriteFile(path, aside(name), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (b *tab) stageReady() {
	b.t.Helper()
	b.until(`document.querySelector('#picture')?.dataset.ready === 'yes' && document.body.dataset.framed === 'yes'`)
}

// goTo steps to a cane.
func (b *tab) goTo(cane int) {
	b.t.Helper()
	for range 9 {
		if valueOf[bool](b, fmt.Sprintf(`document.querySelector('#cane-title').textContent.startsWith('Cane %d ')`, cane)) {
			return
		}
		b.click("#next")
	}
	b.t.Fatalf("cane %d is never shown", cane)
}

// A cane in doubt by its depth alone asks for one more photo. It is taken
// without signal and goes up later, once, after what was said before; the vine
// is measured anew with both, nothing that was said is lost, and the page tells
// what became of it.
func TestBrowserSecondStance(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.view()
			way := newLine(t, r)
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/")
			b.ready()
			b.visit("/photos/1")
			b.stageReady()
			b.until(`Promise.all(['/api/measurements/1', '/photos/1/picture/medium.jpg'].map((a) => caches.match(a))).then((all) => { document.body.dataset.kept = all.every(Boolean) ? 'yes' : ''; }) && document.body.dataset.kept === 'yes'`)
			b.click("#agree") // of cane 1, and not saved yet
			b.goTo(5)
			if text := valueOf[string](b, `document.querySelector('#helps').innerText`); valueOf[bool](b, `document.querySelector('#helps').hidden`) || text == "" {
				t.Fatal("nothing is said of one more photo")
			} else {
				t.Log(text)
			}
			// It is in sight as it is, below the finding and above what stays in place.
			if !valueOf[bool](b, `(() => { const r = document.querySelector('#one-more').getBoundingClientRect(); const e = document.elementFromPoint(r.x + r.width / 2, r.y + r.height - 4); return r.height >= 48 && e?.id === 'one-more'; })()`) {
				t.Error("the button is small, or not in sight")
			}
			b.shot("second-helps")
			b.whole("second-helps")

			way.set(true, false, 0)
			b.click("#one-more")
			b.until(`location.pathname === '/blocks/1/4/7/photo' && document.body.dataset.ready === 'yes'`)
			if !valueOf[bool](b, `!document.querySelector('#as-second').hidden && document.querySelector('#needs').hidden && document.querySelector('#addphoto').dataset.upload === '/api/photos/1/second'`) {
				t.Fatal("without signal the page isn't that of a second photo")
			}
			b.whole("second-needs")
			b.takes(asideFile(t, "left"))
			b.whole("second-taken")
			b.usesWithoutSignal()
			b.waits(2) // the ruling of cane 1 and the photo
			b.visit("/photos/1")
			b.stageReady()
			if text := valueOf[string](b, `document.querySelector('#stances').innerText`); text == "" {
				t.Error("the page doesn't say that a second photo waits")
			}
			b.whole("second-waits")
			b.sendsAll(way)
			v := r.viewOf(1)
			if !v.Second.Used || len(v.Rulings) != 1 || v.Rulings[0].Cane != 1 || v.Rulings[0].Who != "Ada" {
				t.Fatalf("after the signal came back: %+v, rulings %+v", v.Second, v.Rulings)
			}
			if n := len(r.measurer.all()); n != 2 {
				t.Errorf("measured %d times, want once with one and once with both", n)
			}
			b.visit("/photos/1")
			b.stageReady()
			b.goTo(5)
			b.until(`!document.querySelector('#deep').hidden && document.querySelector('#deep').textContent.includes('nearer to you than the card')`)
			if !valueOf[bool](b, `document.querySelector('#stances').innerText.includes('Measured from two photos') && document.querySelector('#helps').hidden && document.querySelector('#quiet').hidden`) {
				t.Error("the page doesn't say that two photos were used, or asks for more")
			}
			b.whole("second-used")
			b.goTo(1)
			b.until(`document.querySelector('#state').textContent.includes('Ada')`)
			b.clean()
		})
	}
}

// Why a second photo couldn't be used is said, and another can be taken.
func TestBrowserSecondStanceUnused(t *testing.T) {
	r := newRig(t)
	r.view()
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/photos/1")
	b.stageReady()
	b.click("#one-more-quiet")
	b.until(`document.body.dataset.ready === 'yes'`)
	b.do("take it", chromedp.SetUploadFiles(chromedp.CSS("#take"), []string{asideFile(t, "near")}))
	b.until(`document.querySelector('#looked').dataset.state === 'done'`)
	b.click("#send")
	b.until(`location.pathname === '/photos/1'`)
	b.stageReady()
	b.until(`document.querySelector('#unused-short').checkVisibility() && document.querySelector('#unused-short').innerText.includes('too near') && document.querySelector('#unused-why').textContent.includes('nearly the same place') && !document.querySelector('#quiet').hidden`)
	b.whole("second-unused")
	b.clean()
}
