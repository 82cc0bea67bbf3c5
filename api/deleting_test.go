package api

import (
	"net/http"
	"strings"
	"testing"
)

// A manager deletes a photo and brings it back; nobody else does either, and
// meanwhile nothing of it is reached.
func TestDeleting(t *testing.T) {
	r := newRig(t)
	r.view()
	r.who, r.role = "Ben", Pruner
	r.session("Ben")
	del := func() int { status, _ := r.do(http.MethodDelete, "/api/photos/1", nil); return status }
	if got := del(); got != http.StatusForbidden {
		t.Errorf("a pruner deletes: %d", got)
	}
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); strings.Contains(page, "data-delete-photo") {
		t.Error("a pruner is offered to delete")
	}
	r.who = "Ada"
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); !strings.Contains(page, `data-delete-photo="1"`) {
		t.Error("a manager isn't offered to delete")
	}
	if got := del(); got != http.StatusNoContent {
		t.Errorf("a manager deletes: %d", got)
	}
	for _, path := range []string{"/photos/1", "/api/photos/1", "/photos/1/picture/small.jpg", "/api/measurements/1"} {
		if status, _ := r.do("GET", path, nil); status != http.StatusNotFound {
			t.Errorf("%s of a deleted photo: %d", path, status)
		}
	}
	if page := r.get("/blocks/1/4/7", http.StatusOK, nil); strings.Contains(page, "/photos/1") {
		t.Error("the vine's page shows a deleted photo")
	}
	if page := r.get("/deleted", http.StatusOK, nil); !strings.Contains(page, `data-undelete="1"`) || !strings.Contains(page, "deleted by Ada") {
		t.Error("the deleted photo isn't listed")
	}
	r.who = "Ben"
	r.post("/api/deleted/1/undelete", `{}`, http.StatusForbidden, nil)
	r.who = "Ada"
	r.post("/api/deleted/1/undelete", `{}`, http.StatusNoContent, nil)
	r.get("/photos/1", http.StatusOK, nil)
	r.post("/api/deleted/1/undelete", `{}`, http.StatusNotFound, nil)
}
