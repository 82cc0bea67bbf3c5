package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
)

// onCane is a place on a cane's line, as a share from its base, in the photo's
// pixels.
func onCane(c exercise.ShownCane, share float64) assess.Point {
	return c.Line[int(share*float64(len(c.Line)-1))]
}

// atPhoto visits a page with a photo and waits until it is drawn.
func (b *tab) atPhoto(path string) {
	b.t.Helper()
	b.visit(path)
	b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
}

// holdsOnScreen fails for a page that needs scrolling sideways or has small targets.
func (b *tab) holdsOnScreen(path string) {
	b.t.Helper()
	if valueOf[bool](b, `document.documentElement.scrollWidth > document.documentElement.clientWidth`) {
		b.t.Errorf("%s needs scrolling sideways", path)
	}
	b.smallTargets(path)
}

// The paths of both people: a trainer gives an exercise, a trainee chooses by
// tapping and seals, the trainer chooses blind too, looks at both, draws an
// arrow and opens the results, the trainee looks at them.
func TestBrowserExercise(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			v := r.view()
			ann := r.as("Ann", Trainee)
			r.as("Tess", Trainer)
			tess := openTab(t, r, z)
			tess.signIn("Tess")

			tess.visit("/exercises")
			tess.holdsOnScreen("/exercises")
			tess.keys("#g-name", "Beginners")
			tess.whole("exercises-trainer")
			tess.until(`!document.querySelector('#newgroup button').disabled`)
			tess.click("#newgroup button")
			tess.until(`location.pathname === '/groups/1' && document.readyState === 'complete'`)
			tess.until(`!document.querySelector('[data-account]').disabled`)
			tess.click(fmt.Sprintf("[data-account='%d']", ann))
			tess.until(fmt.Sprintf(`fetch('/groups/1/exercise').then((a) => a.text()).then((t) => { window.inGroup = t.includes('name="person" value="%d"'); }) && window.inGroup`, ann))
			tess.whole("group-new")
			tess.visit("/groups/1/exercise")
			tess.holdsOnScreen("/groups/1/exercise")
			tess.click("[data-photo='1']")
			tess.keys("#x-name", "First vines")
			tess.whole("newexercise")
			tess.until(`!document.querySelector('#newexercise button[type=submit]').disabled`)
			tess.click("#newexercise button[type=submit]")
			tess.until(`location.pathname === '/exercises/1' && document.readyState === 'complete'`)
			tess.holdsOnScreen("/exercises/1")
			tess.whole("exercise-trainer")

			// The trainee: by taps on the photo alone.
			b := openTab(t, r, z)
			b.signIn("Ann")
			b.visit("/")
			b.holdsOnScreen("/")
			b.visit("/exercises")
			b.whole("exercises-trainee")
			b.click(`a[href="/exercises/1"]`)
			b.until(`location.pathname === '/exercises/1' && document.readyState === 'complete'`)
			b.whole("exercise-trainee")
			b.atPhoto("/exercises/1/1")
			b.holdsOnScreen("/exercises/1/1")
			if n := valueOf[int](b, `document.querySelectorAll('#picture .cane').length`); n != 0 {
				t.Errorf("%d canes are drawn before any was taken in hand", n)
			}
			b.shot("attempt")
			seen := exercise.Seen{}
			for _, c := range v.Seen.Canes {
				seen.Canes = append(seen.Canes, exercise.SeenCane{Cane: c})
			}
			shown := seen.Show(exercise.PhotoOnly).Canes
			first := onCane(shown[0], 0.5)
			b.tapPhoto(first[0], first[1])
			b.until(`document.querySelector('#cane-title').textContent.startsWith('Cane 1 ')`)
			b.click("[data-fate=lay]")
			b.until(`!document.querySelector('#cut-field').hidden`)
			bud := onCane(shown[0], 0.7)
			b.tapPhoto(bud[0], bud[1])
			b.until(`document.querySelector('#cut-text').textContent.startsWith('Cut behind')`)
			b.shot("attempt-cut")
			b.do("a reason", chromedp.SetValue(chromedp.CSS("#reason"), "well_grown"))
			valueOf[bool](b, `document.querySelector('#reason').dispatchEvent(new Event('change'))`)
			b.click("#next")
			b.until(`document.querySelector('#cane-title').textContent.startsWith('Cane 2 ')`)
			b.click("[data-fate=spur]")
			// By the slider, as with a keyboard alone.
			valueOf[bool](b, `(() => { const s = document.querySelector('#cut'); s.value = 200; return s.dispatchEvent(new Event('input')); })()`)
			b.until(`document.querySelector('#cut-text').textContent.startsWith('Cut behind')`)
			// What is missing is asked for, and nothing is sealed.
			b.click("#seal")
			b.until(`document.querySelector('#fault').textContent.includes('head stands right')`)
			b.click("#rest")
			b.click("#head input[value=right]")
			// A page that is closed meanwhile loses nothing.
			b.atPhoto("/exercises/1/1")
			b.until(`document.querySelectorAll('#picture .cut').length >= 4`)
			b.whole("attempt-decided")
			b.click("#seal")
			b.until(`document.querySelector('#sealed-text').textContent.startsWith('Attempt 1, sealed')`)
			b.whole("attempt-sealed")
			b.visit("/photos/1")
			if got := b.text("main"); !strings.Contains(got, "Your choice for this vine is sealed") {
				t.Errorf("the photo's page before the results are open: %q", got)
			}
			b.whole("heldback")

			// The trainer chooses blind too: the first cane a spur, the others go.
			tess.visit(fmt.Sprintf("/exercises/1/1/compare?who=%d", ann))
			if got := tess.text("main"); !strings.Contains(got, "you choose blind too") {
				t.Errorf("the trainer looks before choosing: %q", got)
			}
			tess.atPhoto("/exercises/1/1")
			tess.click("#next")
			tess.click("#previous")
			tess.click("[data-fate=spur]")
			tess.tapPhoto(bud[0], bud[1])
			tess.until(`document.querySelector('#cut-text').textContent.startsWith('Cut behind')`)
			tess.click("#rest")
			tess.click("#head input[value=high]")
			tess.click("#seal")
			tess.until(`document.querySelector('#sealed-text').textContent.startsWith('Attempt 1, sealed')`)
			tess.atPhoto(fmt.Sprintf("/exercises/1/1/compare?who=%d", ann))
			tess.holdsOnScreen("compare")
			if got := tess.text(`tr[data-cane="1"]`); !strings.Contains(got, "≠ cane or spur") {
				t.Errorf("cane 1: %q", got)
			}
			if got := tess.text(`tr[data-cane="3"]`); !strings.Contains(got, "= alike") {
				t.Errorf("cane 3: %q", got)
			}
			if valueOf[bool](tess, `document.body.innerText.includes("Program's suggestion")`) {
				t.Error("the program's suggestion is shown before anybody asked")
			}
			tess.click("#arrow")
			tess.until(`document.querySelector('#arrow-text').textContent !== ''`)
			tess.do("see the photo", chromedp.ScrollIntoView(chromedp.CSS("#picture")))
			tess.tapPhoto(300, 500)
			tess.until(`document.querySelector('#arrow-text').textContent.startsWith('Now tap')`)
			tess.tapPhoto(bud[0], bud[1])
			tess.until(`document.querySelector('#arrow-text').textContent.startsWith('The arrow is drawn')`)
			tess.keys("#remark-text", "This one stands better as a spur.")
			tess.click("#remark")
			tess.until(`document.querySelectorAll('#remarks li').length === 1 && document.querySelectorAll('#picture .arrow').length >= 2`)
			tess.click("#ask")
			tess.until(`!document.querySelector('#program-head').hidden`)
			tess.do("see the photo", chromedp.ScrollIntoView(chromedp.CSS("h1")))
			tess.shot("compare-trainer")
			tess.whole("compare-trainer-whole")
			tess.visit("/exercises/1")
			tess.whole("exercise-judged")
			tess.until(`!document.querySelector('#open').disabled`)
			tess.click("#open")
			tess.until(`document.body.innerText.includes('The results are open since')`)

			b.visit("/exercises/1")
			b.click(`a[href="/exercises/1/1/compare"]`)
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.holdsOnScreen("compare for the trainee")
			if got := b.text("#remarks"); !strings.Contains(got, "This one stands better") || strings.Contains(got, "Take it back") {
				t.Errorf("remarks for the trainee: %q", got)
			}
			if n := valueOf[int](b, `document.querySelectorAll('#remark-form').length`); n != 0 {
				t.Error("a trainee can leave remarks")
			}
			b.shot("compare-trainee")
			// Later: a photo taken after pruning, with what was done.
			after, _, err := r.server.Keep(t.Context(), store.NewPhoto{Data: pngOf(t, 640, 480), BlockID: 1, Row: 4, Number: 7, Winter: "2026/27", Name: "after.png", ContentType: "image/png", By: "Ann"})
			if err != nil {
				t.Fatal(err)
			}
			b.atPhoto("/exercises/1/1/compare")
			b.click("#done-box summary")
			b.until(fmt.Sprintf(`document.querySelector('#done-photo').value === '%d'`, after.ID))
			b.do("what was done", chromedp.SetValue(chromedp.CSS("#done-1"), "lay"), chromedp.SetValue(chromedp.CSS("#done-2"), "remove"))
			b.click("button#done")
			b.until(`document.querySelectorAll('#done-rows tbody tr').length === 8 && document.querySelector('#done-picture').complete`)
			if got := b.text("#done-rows"); !strings.Contains(got, "= Lay") || !strings.Contains(got, "≠ Cut away") {
				t.Errorf("planned and done: %q", got)
			}
			b.whole("planned-and-done")
			b.visit("/exercises/1/results")
			b.holdsOnScreen("results")
			b.whole("results")
			if got := b.text("main"); !strings.Contains(got, "7 of 8") || strings.Contains(got, "88 %") {
				t.Errorf("results: %.300q", got)
			}
			// Withdrawn and made anew.
			b.atPhoto("/exercises/1/1")
			b.click("#withdraw-box summary")
			b.keys("#withdraw-why", "I see it now")
			b.click("#withdraw")
			b.until(`document.querySelector('#choosing') && !document.querySelector('#choosing').hidden`)
			if a := r.status("Ann", "/api/exercises/1/vines/1/comparison"); a != http.StatusForbidden {
				t.Errorf("withdrawn, and the comparison is open: %d", a)
			}
			b.clean()
			tess.clean()
		})
	}
}

// What a phone kept of a vine from before an exercise is given up as soon as
// the service refuses it.
func TestBrowserGivesUpWhatIsHeldBack(t *testing.T) {
	r := newRig(t)
	r.view()
	me := r.who
	r.as("Ann (trainee)", Trainee)
	r.who = me
	b := openTab(t, r, sizes[0])
	b.signIn("Ann (trainee)")
	kept := func(want bool) {
		b.until(fmt.Sprintf(`(caches.match('/photos/1', {ignoreVary: true}).then((r) => { window.keptBefore = Boolean(r); }), window.keptBefore === %v)`, want))
	}
	b.visit("/")
	b.until(`navigator.serviceWorker.controller !== null`)
	b.visit("/photos/1")
	kept(true)
	newClass(t, r, "photo", "review")
	b.visit("/photos/1")
	b.until(`document.body.innerText.includes('Seal your choice for it there first')`)
	kept(false)
	b.clean()
}

// status asks for a page or an address of the API as somebody.
func (r *rig) status(who, path string) int {
	r.t.Helper()
	r.who = who
	s, _ := r.do("GET", path, nil)
	return s
}
