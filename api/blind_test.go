package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"nodespan/assess/exercise"
)

// Before sealing, nothing of the program's or of anybody else's choice can be
// reached by a participant, by whatever page or call.
func TestBlindMeansBlind(t *testing.T) {
	for _, mode := range exercise.Modes() {
		t.Run(string(mode), func(t *testing.T) {
			r := newRig(t)
			r.chosen() // by Ada, and so with a plan
			c := newClass(t, r, string(mode), "blind")
			c.seal(c.bo, 0, nil)
			c.seal(c.trainer, 0, nil)
			c.who = c.ann
			shownToChoose := c.get(c.address(""), http.StatusOK, nil)
			var shown map[string]json.RawMessage
			if err := json.Unmarshal([]byte(shownToChoose), &shown); err != nil {
				t.Fatal(err)
			}
			for _, never := range []string{"because", `"keep"`, "suggest", "points", `"origin"`, `"terms"`, c.bo, c.trainer} {
				if strings.Contains(shownToChoose, never) {
					t.Errorf("what is shown to choose by has %q", never)
				}
			}
			if string(shown["start"]) != "null" || string(shown["sealed"]) != "null" {
				t.Errorf("start %s, sealed %s", shown["start"], shown["sealed"])
			}
			if has := strings.Contains(shownToChoose, `"finding"`); has != (mode == exercise.WithFindings) {
				t.Errorf("findings shown: %v", has)
			}
			if has := strings.Contains(shownToChoose, "diameter_mm"); has != (mode != exercise.PhotoOnly) {
				t.Errorf("measurements shown: %v", has)
			}
			// Every route that names the vine, its photo, its measurement or its
			// block, but those that tell nothing of one vine.
			open := map[string]bool{
				"GET /blocks/:block": true, "GET /api/blocks/:block": true, "GET /blocks/:block/rules": true, "GET /api/blocks/:block/rules": true,
				"GET /blocks/:block/:row/:vine/photo": true, "GET /photos/:photo/picture/:size": true,
				"POST /api/blocks/:block/rows/:row/vines/:vine/photos": true, "POST /api/blocks/:block/rules": true,
			}
			n := 0
			for _, route := range routesOf(c.rig) {
				method, path, _ := strings.Cut(route, " ")
				if !strings.Contains(path, ":photo") && !strings.Contains(path, ":measurement") && !strings.Contains(path, ":block") {
					continue
				}
				if !Trainee.May(routeRules[route]) {
					continue // refused for the role
				}
				p := strings.NewReplacer(":photo", "1", ":measurement", "1", ":block", "1", ":row", "4", ":vine", "7", ":size", "medium.jpg", ":file", "made.svg").Replace(path)
				c.who = c.ann
				status, text := c.do(method, p, strings.NewReader("{}"))
				n++
				if open[route] {
					if status == http.StatusForbidden {
						t.Errorf("%s: refused: %.120s", route, text)
					}
					continue
				}
				if status != http.StatusForbidden {
					t.Errorf("%s: %d, want held back", route, status)
				}
				for _, never := range []string{"Ada", "internode_mm", "<svg class=\"plan\""} {
					if strings.Contains(text, never) {
						t.Errorf("%s: the refusal tells %q", route, never)
					}
				}
			}
			if n < 15 {
				t.Errorf("only %d routes were tried", n)
			}
			c.who = c.ann
			for _, path := range []string{"/", "/blocks/1"} {
				if page := c.get(path, http.StatusOK, nil); strings.Contains(page, "/photos/1") || strings.Contains(page, "made.svg") || strings.Contains(page, "Sound") {
					t.Errorf("%s leads to the vine or tells of it", path)
				}
			}
			for _, rest := range []string{"/comparison", "/suggestion"} {
				if s := c.status(c.ann, c.address(rest)); s != http.StatusForbidden {
					t.Errorf("%s: %d", rest, s)
				}
			}
			// Who isn't in an exercise of the vine sees it as ever.
			if s := c.status("Ada", "/photos/1"); s != http.StatusOK {
				t.Errorf("for others: %d", s)
			}
			// A sibling vine isn't touched.
			if s := c.status(c.ann, "/blocks/1/4/8"); s != http.StatusOK {
				t.Errorf("the next vine: %d", s)
			}
			// Passing lifts it, and nothing can be chosen any more.
			c.who = c.ann
			c.post(c.address("/choices"), `{"after":0,"pass":true}`, http.StatusCreated, nil)
			c.post(c.address("/choices"), `{"after":1,"pass":true}`, http.StatusConflict, nil)
			if s := c.status(c.ann, "/photos/1"); s != http.StatusOK {
				t.Errorf("passed, and still held back: %d", s)
			}
		})
	}
}

// Whoever takes part is kept from the vine, whatever the role allows otherwise:
// every route of the vine, its photo, its measurement and its plan.
func TestBlindWhateverTheRole(t *testing.T) {
	r := newRig(t)
	r.chosen()
	c := newClass(t, r, "photo", "review")
	var people []string
	for _, role := range []Role{Pruner, Researcher, Manager, Trainer} {
		name := "Pupil, " + string(role)
		id := c.as(name, role)
		people = append(people, fmt.Sprint(id))
		c.who = c.trainer
		c.post(fmt.Sprintf("/api/groups/%d/members", c.group), fmt.Sprintf(`{"account":%d,"in":true}`, id), http.StatusNoContent, nil)
	}
	c.who = c.trainer
	c.post(fmt.Sprintf("/api/groups/%d/exercises", c.group), fmt.Sprintf(`{"name":"All","mode":"photo","judging":"review","photos":[1],"participants":[%s]}`, strings.Join(people, ",")), http.StatusCreated, nil)
	open := []string{
		"GET /blocks/:block", "GET /api/blocks/:block", "GET /blocks/:block/rules", "GET /api/blocks/:block/rules", "POST /api/blocks/:block/rules",
		"GET /blocks/:block/:row/:vine/photo", "POST /api/blocks/:block/rows/:row/vines/:vine/photos", "GET /photos/:photo/picture/:size",
	}
	n := 0
	for _, role := range []Role{Pruner, Researcher, Manager, Trainer} {
		for _, route := range routesOf(c.rig) {
			method, path, _ := strings.Cut(route, " ")
			if !strings.Contains(path, ":photo") && !strings.Contains(path, ":measurement") && !strings.Contains(path, ":block") || slices.Contains(open, route) {
				continue
			}
			c.who = "Pupil, " + string(role)
			p := strings.NewReplacer(":photo", "1", ":measurement", "1", ":block", "1", ":row", "4", ":vine", "7", ":size", "medium.jpg", ":file", "made.svg").Replace(path)
			if status, text := c.do(method, p, strings.NewReader("{}")); status != http.StatusForbidden {
				t.Errorf("%s as %s: %d, want held back: %.100s", route, role, status, text)
			}
			n++
		}
	}
	if n < 60 {
		t.Errorf("only %d requests", n)
	}
	// An exercise of one's own that would show the vine isn't to be had either.
	c.who = "Pupil, trainer"
	var g groupAnswer
	c.post("/api/groups", `{"name":"Mine"}`, http.StatusCreated, &g)
	c.post(fmt.Sprintf("/api/groups/%d/members", g.ID), fmt.Sprintf(`{"account":%d,"in":true}`, c.ids[c.ann]), http.StatusNoContent, nil)
	c.post(fmt.Sprintf("/api/groups/%d/exercises", g.ID), fmt.Sprintf(`{"name":"x","mode":"findings","judging":"review","photos":[1],"participants":[%d]}`, c.ids[c.ann]), http.StatusForbidden, nil)
	if page := c.get(fmt.Sprintf("/groups/%d/exercise", g.ID), http.StatusOK, nil); strings.Contains(page, `data-photo="1"`) {
		t.Error("the vine is offered for an exercise of one's own")
	}
}

// Shown less in one exercise, the same vine isn't shown with more in another
// before the first is sealed, nor looked at side by side.
func TestOneVineInTwoExercises(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "findings", "review")
	c.seal(c.ann, 0, nil)
	c.seal(c.bo, 0, nil)
	c.who = c.trainer
	c.post(fmt.Sprintf("/api/exercises/%d/opening", c.exercise), `{}`, http.StatusOK, nil)
	if s := c.status(c.ann, c.address("/comparison")); s != http.StatusOK {
		t.Fatalf("open: %d", s)
	}
	again := c.give("Again", "photo", "review", 1)
	for _, path := range []string{c.address("/comparison"), c.address("/suggestion"), c.address("")} {
		if s := c.status(c.ann, path); s != http.StatusForbidden {
			t.Errorf("%s, while the vine is in another exercise: %d", path, s)
		}
	}
	if s := c.status(c.ann, fmt.Sprintf("/api/exercises/%d/vines/1", again)); s != http.StatusOK {
		t.Errorf("the other exercise itself: %d", s)
	}
}
