package api

import (
	"net/http"
	"strings"
	"testing"
)

// The labels of a row lead to its vines, under the address by which the page
// was reached; what can't be printed is said.
func TestLabels(t *testing.T) {
	r := newRig(t)
	r.block() // 12 rows of 40 vines
	if page := r.get("/blocks/1/labels?row=4", http.StatusOK, nil); !strings.Contains(page, `name="row" type="number" inputmode="numeric" min="1" max="12" required value="4"`) || !strings.Contains(page, r.http.URL) || !strings.Contains(page, "known on this machine alone") {
		t.Errorf("the page to choose a row: %s", page)
	}
	for _, path := range []string{"/blocks/1/labels.pdf?row=4", "/blocks/1/labels.pdf?row=12&from=3&to=3&paper=Letter"} {
		if got := r.get(path, http.StatusOK, nil); !strings.HasPrefix(got, "%PDF-") {
			t.Errorf("%s: %.40q", path, got)
		}
	}
	for path, status := range map[string]int{
		"/blocks/1/labels.pdf": http.StatusNotFound, "/blocks/1/labels.pdf?row=13": http.StatusNotFound, "/blocks/1/labels.pdf?row=x": http.StatusNotFound,
		"/blocks/1/labels.pdf?row=1&to=41": http.StatusUnprocessableEntity, "/blocks/1/labels.pdf?row=1&from=9&to=8": http.StatusUnprocessableEntity,
		"/blocks/1/labels.pdf?row=1&from=0": http.StatusUnprocessableEntity, "/blocks/1/labels.pdf?row=1&paper=A3": http.StatusUnprocessableEntity, "/blocks/2/labels": http.StatusNotFound,
	} {
		r.get(path, status, nil)
	}
}
