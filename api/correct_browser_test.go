package api

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"nodespan/assess"
	"nodespan/assess/store"
)

// onScreen is where a place of the photo is on the window.
func (b *tab) onScreen(p assess.Point) place {
	b.t.Helper()
	return valueOf[place](b, fmt.Sprintf(`(() => { const s = document.querySelector('#picture'); const q = new DOMPoint(%f, %f).matrixTransform(s.getScreenCTM()); return {X: q.x, Y: q.y}; })()`, p[0], p[1]))
}

// middleOf is a place on a cane's line that no node is near, for a finger.
func middleOf(c assess.Cane) assess.Point {
	best, far := c.CentreLine[len(c.CentreLine)/2], 0.0
	for i, p := range c.CentreLine {
		if f := float64(i) / float64(len(c.CentreLine)); f < 0.3 || f > 0.7 {
			continue
		}
		away := math.Inf(1)
		for _, n := range c.Nodes {
			away = min(away, math.Hypot(n.Px[0]-p[0], n.Px[1]-p[1]))
		}
		if away > far {
			best, far = p, away
		}
	}
	return best
}

// Correcting: pull a line by dragging and by taps, say what the wood is, type a
// hand's measure, add and delete a node; each step taken back by undo.
func TestBrowserCorrecting(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			v := r.view()
			canes := v.Seen.Canes
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/photos/1")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)

			// Cane 1: its line is dragged aside.
			b.click("#correct")
			b.click("#pull")
			b.until(`!document.querySelector('#banner').hidden`)
			at := b.onScreen(middleOf(canes[0]))
			b.drag(at.X, at.Y, at.X-60, at.Y)
			b.until(`document.querySelector('#whose').textContent === 'With your correction' && document.querySelector('#banner').hidden`)
			b.shot("pulled")
			b.click("#undo")
			b.until(`document.querySelector('#whose').textContent === 'The program suggests'`)
			// And again by two taps.
			b.click("#pull")
			b.until(`!document.querySelector('#banner').hidden`)
			at = b.onScreen(middleOf(canes[0]))
			b.drag(at.X, at.Y, at.X, at.Y)
			b.until(`document.querySelector('#banner-text').textContent.includes('where it belongs')`)
			b.drag(at.X-60, at.Y, at.X-60, at.Y)
			b.until(`document.querySelector('#whose').textContent === 'With your correction' && document.querySelector('#banner').hidden`)
			b.click("#done")
			b.click("#agree")

			// Cane 2 is old wood, cane 3 no cane at all.
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 2 of 8'`)
			b.click("#correct")
			b.click(`[data-kind="old_wood"]`)
			b.until(`document.querySelector('#finding').textContent === 'old wood'`)
			b.click("#done")
			b.click("#agree")
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 3 of 8'`)
			b.click("#correct")
			b.click(`[data-kind="not_a_cane"]`)
			b.until(`document.querySelector('#finding').textContent === 'not a cane'`)
			b.click("#done")
			b.click("#agree")

			// Cane 4 was measured by hand, and gets a node that was missed.
			b.until(`document.querySelector('#cane-title').textContent === 'Cane 4 of 8'`)
			b.click("#correct")
			b.keys("#byhand", "8.4\t")
			b.until(`document.querySelector('#v-diameter').textContent.startsWith('8.4 ')`)
			if got := b.text("#hand"); got != "8.4 mm measured by hand by Ada; it stands above the photo's." {
				t.Errorf("of the hand's measure it says %q", got)
			}
			b.shot("byhand")
			had := len(canes[3].Nodes)
			if z.touch {
				valueOf[bool](b, `(() => { window.scrollTo(0, 0); return true; })()`)
			}
			at = b.onScreen(middleOf(canes[3]))
			b.drag(at.X, at.Y, at.X, at.Y)
			b.until(fmt.Sprintf(`document.querySelector('#v-nodes').textContent === '%d'`, had+1))
			b.click("#delete-node")
			b.until(fmt.Sprintf(`document.querySelector('#v-nodes').textContent === '%d'`, had))
			b.click("#undo")
			b.until(fmt.Sprintf(`document.querySelector('#v-nodes').textContent === '%d'`, had+1))
			b.click("#done")
			b.click("#agree")
			// Cane 5 is too close to call, and one more photo would settle it.
			b.until(`!document.querySelector('#helps').hidden && document.querySelector('#one-more').getAttribute('href') === '/blocks/1/4/7/photo?second=1&step=left'`)
			b.shot("closer")
			b.click("#save")
			b.until(`document.querySelector('#banner-text').textContent.includes('Saved as Ada')`)

			all, err := r.store.Rulings(t.Context(), 1)
			if err != nil || len(all) != 4 {
				t.Fatalf("%d rulings, %v", len(all), err)
			}
			rs, err := store.ReadRulings(all)
			if err != nil {
				t.Fatal(err)
			}
			l := rs[0].Line
			if l == nil {
				t.Fatal("the line that was pulled isn't kept")
			}
			if l.ID != 1 || len(l.CentreLine) != 61 || rs[0].Seen.Finding != canes[0].Finding {
				t.Errorf("the pulled line is of cane %d, with %d points", l.ID, len(l.CentreLine))
			}
			if rs[1].Kind != assess.OldWood || rs[2].Kind != assess.NotACane {
				t.Errorf("kinds %q and %q", rs[1].Kind, rs[2].Kind)
			}
			if rs[3].DiameterMM != 8.4 || len(rs[3].Nodes) != had+1 {
				t.Errorf("cane 4: %v mm, %d nodes", rs[3].DiameterMM, len(rs[3].Nodes))
			}
			// The vine's page says so too, and that a hand measured it.
			b.visit("/blocks/1/4/7")
			if row := b.text(`tr[data-cane="4"]`); !strings.Contains(row, "8.4 (") || !strings.Contains(row, "by hand") || !strings.Contains(row, "Corrected by Ada") {
				t.Errorf("on the vine's page: %q", row)
			}
			b.visit("/photos/1")
			b.until(`document.querySelector('#picture')?.dataset.ready === 'yes'`)
			b.click("#previous")
			b.until(`document.querySelector('#hand').textContent.startsWith('8.4 mm measured by hand by Ada, ')`)
			b.clean()
		})
	}
}
