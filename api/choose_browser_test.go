package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"nodespan/assess/store"
)

// agreeToAll rules on every cane of a measurement by the API.
func (r *rig) agreeToAll(v measurementView) {
	r.t.Helper()
	var all []string
	for _, c := range v.Seen.Canes {
		all = append(all, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
	}
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", v.ID), `{"after":0,"rulings":[`+strings.Join(all, ",")+`]}`, http.StatusCreated, nil)
}

// A choice that was open is confirmed, and the vine said to be pruned, without
// signal; both go up once.
func TestBrowserChoosesWithoutSignal(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			v := r.view()
			r.agreeToAll(v)
			way := newLine(t, r)
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/")
			b.ready()
			kept := func(path string) {
				t.Helper()
				b.until(fmt.Sprintf(`caches.match(%q).then((m) => { document.body.dataset.kept = m ? 'yes' : ''; }) && document.body.dataset.kept === 'yes'`, path))
			}
			b.visit("/photos/1/choice")
			b.until(`document.querySelector("#picture")?.dataset.ready === "yes"`)
			kept("/photos/1/choice")
			kept("/api/measurements/1/choice")

			way.set(true, false, 0)
			b.visit("/photos/1/choice")
			b.until(`document.querySelector("#picture")?.dataset.ready === "yes"`)
			b.click("#confirm")
			b.until(`document.querySelector('#done').textContent.includes('Kept in this phone')`)
			b.waits(1)
			b.shot("choice-kept")
			b.visit("/photos/1/choice")
			b.until(`document.querySelector('#done')?.textContent.includes('Kept in this phone')`)
			b.signalBack(way)
			b.until(`document.querySelector('#done').textContent.includes('Confirmed by Ada')`)
			b.noneWaits()
			b.visit("/blocks/1/4/7/plan")
			b.until(`document.querySelector('#plan')?.dataset.ready === 'yes'`)
			kept("/blocks/1/4/7/plan")
			way.set(true, false, 0)
			b.visit("/blocks/1/4/7/plan")
			b.until(`document.querySelector('#plan')?.dataset.ready === 'yes'`)
			b.click("#plan #done")
			b.until(`document.querySelector('#pruned-by').textContent.includes('kept in this phone')`)
			b.waits(1)
			b.signalBack(way)
			b.until(`document.querySelector('#pruned-by').textContent === 'Ada'`)
			b.noneWaits()

			photos := r.photosOf(4, 7)
			c, err := r.store.LatestChoice(t.Context(), photos[0].VineID, photos[0].Winter)
			if err != nil || c == nil || c.Seq != 1 || c.Who != "Ada" {
				t.Errorf("the choice: %+v, %v", c, err)
			}
			said, err := r.store.Sayings(t.Context(), photos[0].VineID)
			if err != nil || len(said) != 1 || said[0].Kind != store.SaidPruned {
				t.Errorf("said: %+v, %v", said, err)
			}
			b.clean()
		})
	}
}

// The winter before is a swipe, a button or a key away from the canes and from
// the choice.
func TestBrowserLastWinter(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.measurer.alike = true
			block := r.block()
			const edge = "edgeofparts"
			body := "--" + edge + "\r\nContent-Disposition: form-data; name=\"winter\"\r\n\r\n2019/20\r\n--" + edge + "\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"IMG_0.jpg\"\r\n\r\n" + string(vineJPEG) + "before\r\n--" + edge + "--\r\n"
			status, text := r.do("POST", fmt.Sprintf("/api/blocks/%d/rows/4/vines/7/photos", block), strings.NewReader(body), "Content-Type", "multipart/form-data; boundary="+edge)
			var st photoState
			r.check("upload", status, http.StatusCreated, text, &st)
			for i := range 2 { // then and now
				if i == 1 {
					st = r.send(block, vineJPEG, http.StatusCreated)
				}
				st = r.measured(st.ID)
				var v measurementView
				r.get(fmt.Sprintf("/api/measurements/%d", st.Measurement), http.StatusOK, &v)
				r.agreeToAll(v)
				if i == 0 {
					r.post(fmt.Sprintf("/api/measurements/%d/choice", v.ID), `{"after":0,"wishes":{},"buds":0}`, http.StatusCreated, nil)
				}
			}
			b := openTab(t, r, z)
			b.signIn("Ada")
			for _, path := range []string{"/photos/2", "/photos/2/choice"} {
				b.visit(path)
				b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
				if z.touch {
					y := valueOf[float64](b, `document.querySelector('.sheet').getBoundingClientRect().top + 90`)
					b.drag(320, y, 120, y+10)
				} else {
					b.click("#last-open")
				}
				b.until(`document.querySelector('#last').open`)
				if got := b.text("#last"); !containsAll(got, "Winter 2019/20", "lay on the wire", "Confirmed by Ada") {
					t.Errorf("%s: of last winter it says %q", path, got)
				}
				b.shot("last-winter")
				if z.touch {
					b.drag(100, 400, 320, 405)
				} else {
					b.do("Escape", chromedp.KeyEvent(kb.Escape))
				}
				b.until(`!document.querySelector('#last').open`)
				b.smallTargets(path)
			}
			b.clean()
		})
	}
}
