package api

import (
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"nodespan/assess/store"
)

var anyParam = regexp.MustCompile(`:[a-z]+`)

// routesOf lists the router's own routes as "METHOD path", without those that
// echo adds by itself for what isn't there.
func routesOf(r *rig) []string {
	var out []string
	for _, route := range r.server.echo.Routes() {
		if route.Method != "echo_route_not_found" {
			out = append(out, route.Method+" "+route.Path)
		}
	}
	return out
}

// Each route of the router has a rule, and each rule a route.
func TestEveryRouteHasARule(t *testing.T) {
	r := newRig(t)
	there := map[string]bool{}
	for _, route := range routesOf(r) {
		there[route] = true
		if _, known := routeRules[route]; !known {
			t.Errorf("%s has no rule: add it to routeRules in access.go", route)
		}
	}
	for route, action := range routeRules {
		if !there[route] {
			t.Errorf("the rule of %s is for no route", route)
		}
		if action != Public && action != Own && mayDo[action] == nil {
			t.Errorf("%s does %q, which nobody may", route, action)
		}
	}
	if len(there) < 40 {
		t.Errorf("only %d routes", len(there))
	}
}

// Each parameter of each route either names an object whose estate is checked,
// or is one of those that name none. So a new kind of object can't be reached
// by guessing before somebody said whose it is.
func TestEveryParameterIsKnown(t *testing.T) {
	plain := strings.Join(plainParams, " ")
	for _, route := range routesOf(newRig(t)) {
		for _, p := range anyParam.FindAllString(route, -1) {
			if addressed[p[1:]] == nil && !strings.Contains(" "+plain+" ", " "+p[1:]+" ") {
				t.Errorf("%s: whose is %s? Add it to addressed or plainParams in guard.go", route, p)
			}
		}
	}
}

// wantedFor is the table once more, written by hand from the description of
// the roles, so that a slip in mayDo shows.
var wantedFor = map[Role]string{
	Trainee:    "own view upload learn",
	Pruner:     "own view upload rule choose export learn",
	Researcher: "own view upload rule blocks rules export jobs learn",
	Trainer:    "own view upload rule choose blocks rules export learn teach",
	Manager:    "own view upload rule choose blocks rules export jobs delete people operate learn teach",
}

// Every route, with every role and with none: who may not is refused before
// the handler does anything, who may isn't.
func TestWhoMayDoWhat(t *testing.T) {
	r := newRig(t)
	r.view()   // block 1, photo 1, measurement 1
	r.newJob() // job 1
	newClass(t, r, "photo", "review")
	callers := map[Role]string{"": "", "nobody's": "outsider"}
	for _, role := range Roles() {
		r.role = role
		name := "a " + string(role)
		r.session(name)
		callers[role] = name
	}
	// Somebody with an account who belongs to another estate alone.
	other, err := r.store.AddEstate(t.Context(), "Other estate")
	if err != nil {
		t.Fatal(err)
	}
	outsider(t, r, "outsider", other.ID)

	n := 0
	for _, route := range routesOf(r) {
		method, path, _ := strings.Cut(route, " ")
		action := routeRules[route]
		if route == "DELETE /api/session" || route == "DELETE /api/jobs/:job" || strings.HasSuffix(path, "/events") {
			continue // ends the session or the job that the test needs; streams
		}
		scoped := false
		for _, p := range anyParam.FindAllString(path, -1) {
			scoped = scoped || addressed[p[1:]] != nil
		}
		if strings.Contains(path, ":link") || strings.Contains(path, ":deleted") {
			continue // there is none yet: TestPeople and TestDeleting have them
		}
		for role, name := range callers {
			r.who = name
			status, text := r.do(method, anyParam.ReplaceAllString(path, "1"), strings.NewReader(`{"no such field": 1}`))
			n++
			if route == "DELETE /api/photos/:photo" && status == http.StatusNoContent {
				if err := r.store.UndeletePhoto(t.Context(), 1, "Ada"); err != nil {
					t.Fatal(err)
				}
			}
			refused := status == http.StatusForbidden || status == http.StatusUnauthorized
			switch {
			case action == Public:
				if status == http.StatusUnauthorized || status == http.StatusForbidden {
					t.Errorf("%s as %q: %d, want anybody let in", route, role, status)
				}
			case name == "":
				a := r.raw(method, anyParam.ReplaceAllString(path, "1"), "{}")
				asked := a.StatusCode == http.StatusSeeOther && strings.HasPrefix(a.Header.Get("Location"), "/sign-in?")
				if !refused && !asked {
					t.Errorf("%s as nobody: %d, want refused: %.100s", route, status, text)
				}
			case role == "nobody's":
				if scoped && status != http.StatusNotFound {
					t.Errorf("%s from another estate: %d, want not found: %.100s", route, status, text)
				}
			default:
				may := strings.Contains(" "+wantedFor[role]+" ", " "+string(action)+" ")
				if may && (status == http.StatusForbidden || status == http.StatusUnauthorized && !strings.Contains(text, "your own account")) {
					t.Errorf("%s as %s: %d, want let in: %.100s", route, role, status, text)
				}
				if !may && status != http.StatusForbidden {
					t.Errorf("%s as %s: %d, want forbidden: %.100s", route, role, status, text)
				}
			}
		}
	}
	if n < 250 {
		t.Errorf("only %d requests were made", n)
	}
	if all, err := r.store.Rulings(t.Context(), 1); err != nil || len(all) != 0 {
		t.Errorf("%d rulings after refusals and nonsense, %v", len(all), err)
	}
}

// outsider is a manager of another estate alone.
func outsider(t *testing.T, r *rig, name string, estate int64) {
	t.Helper()
	a, err := r.store.AddMember(t.Context(), estate, name, "", string(Manager))
	if err != nil {
		t.Fatal(err)
	}
	secret, hash := store.NewSecret()
	if err := r.store.AddSession(t.Context(), hash, a.ID, estate, time.Hour); err != nil {
		t.Fatal(err)
	}
	r.cookies[name] = secret
}

// Nothing of one estate is seen from another, whatever is guessed, and what
// exists there is answered as what doesn't exist at all.
func TestEstatesAreApart(t *testing.T) {
	r := newRig(t)
	v := r.view()
	r.post("/api/measurements/1/rulings", `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusCreated, nil, "Idempotency-Key", "same key")
	other, err := r.store.AddEstate(t.Context(), "Other estate")
	if err != nil {
		t.Fatal(err)
	}
	outsider(t, r, "Eve", other.ID)
	r.who = "Eve"
	r.who = "Ada"
	class := newClass(t, r, "photo", "review")
	r.who = "Eve"
	numbers := map[string]int64{"block": 1, "photo": v.Photo, "measurement": v.ID, "group": class.group, "exercise": class.exercise}
	for _, route := range routesOf(r) {
		method, path, _ := strings.Cut(route, " ")
		there, missing, objects := path, path, 0
		for name, n := range numbers {
			if strings.Contains(path, ":"+name) {
				objects++
			}
			there = strings.ReplaceAll(there, ":"+name, fmt.Sprint(n))
			missing = strings.ReplaceAll(missing, ":"+name, "987654")
		}
		if objects == 0 {
			continue
		}
		there, missing = anyParam.ReplaceAllString(there, "1"), anyParam.ReplaceAllString(missing, "1")
		s1, t1 := r.do(method, there, strings.NewReader("{}"))
		s2, t2 := r.do(method, missing, strings.NewReader("{}"))
		// A page's foot names its own address, to come back to in another language.
		t1, t2 = strings.ReplaceAll(t1, there, "HERE"), strings.ReplaceAll(t2, missing, "HERE")
		if s1 != http.StatusNotFound || s1 != s2 || t1 != t2 {
			t.Errorf("%s: %d %.80s; what isn't there at all: %d %.80s", route, s1, t1, s2, t2)
		}
	}
	// Lists are one's own, a name may be used in both, and a key of another
	// account opens nothing.
	var blocks []blockView
	r.get("/api/blocks", http.StatusOK, &blocks)
	if len(blocks) != 0 {
		t.Errorf("blocks seen: %+v", blocks)
	}
	if page := r.get("/", http.StatusOK, nil); strings.Contains(page, "South slope") || strings.Contains(page, "/photos/1") {
		t.Error("the start page shows another estate's")
	}
	b := r.block()
	if b == 1 {
		t.Fatal("the same block")
	}
	st := r.send(b, vineJPEG, http.StatusCreated, "Idempotency-Key", "same key")
	if st.ID == v.Photo {
		t.Error("the same bytes led to another estate's photo")
	}
	// Members and links too.
	r.role = Pruner
	r.session("Ben") // of the first estate
	r.post("/api/members/3", `{"role":"manager"}`, http.StatusNotFound, nil)
	r.post("/api/members/3/link", `{}`, http.StatusNotFound, nil)
	r.who = "Ada"
	r.post("/api/invitations", `{"role":"pruner"}`, http.StatusCreated, nil)
	r.who = "Eve"
	if status, _ := r.do("DELETE", "/api/invitations/1", nil); status != http.StatusNotFound {
		t.Errorf("a link of another estate: %d", status)
	}
	if page := r.get("/people", http.StatusOK, nil); strings.Contains(page, "Ada") || strings.Contains(page, "Ben") {
		t.Error("members of another estate are shown")
	}
	// A member of both sees both.
	r.who = "Ada"
	if err := r.store.Join(t.Context(), other.ID, 1, string(Trainee)); err != nil {
		t.Fatal(err)
	}
	r.get(fmt.Sprintf("/blocks/%d", b), http.StatusOK, nil)
	r.post(fmt.Sprintf("/api/measurements/%d/rulings", r.measured(st.ID).Measurement), `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`, http.StatusForbidden, nil)
}
