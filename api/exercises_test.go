package api

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"nodespan/assess"
	"nodespan/assess/exercise"
	"nodespan/assess/store"
)

// A class is a trainer's group with an exercise of one vine, that of photo 1,
// and two participants.
type class struct {
	*rig
	group, exercise  int64
	trainer, ann, bo string
	ids              map[string]int64
}

// as acts as somebody; the account is made at the first call.
func (r *rig) as(name string, role Role) int64 {
	r.t.Helper()
	r.who, r.role = name, role
	r.session(name)
	a, err := r.store.AccountByName(r.t.Context(), name)
	if err != nil || a == nil {
		r.t.Fatal(err)
	}
	return a.ID
}

func newClass(t testing.TB, r *rig, mode, judging string) *class {
	t.Helper()
	before, role := r.who, r.role
	c := &class{rig: r, trainer: "Tess (trainer)", ann: "Ann (trainee)", bo: "Bo (trainee)", ids: map[string]int64{}}
	for _, n := range []string{c.ann, c.bo} {
		c.ids[n] = r.as(n, Trainee)
	}
	c.ids[c.trainer] = r.as(c.trainer, Trainer)
	var g groupAnswer
	r.post("/api/groups", `{"name":"Beginners"}`, http.StatusCreated, &g)
	c.group = g.ID
	for _, n := range []string{c.ann, c.bo} {
		r.post(fmt.Sprintf("/api/groups/%d/members", g.ID), fmt.Sprintf(`{"account":%d,"in":true}`, c.ids[n]), http.StatusNoContent, nil)
	}
	c.exercise = c.give("First", mode, judging, 1)
	r.who, r.role = before, role
	return c
}

func (c *class) give(name, mode, judging string, photos ...int64) int64 {
	c.t.Helper()
	c.who = c.trainer
	var e exerciseView
	c.post(fmt.Sprintf("/api/groups/%d/exercises", c.group), fmt.Sprintf(`{"name":%q,"mode":%q,"judging":%q,"photos":%s,"participants":[%d,%d]}`, name, mode, judging, toJSON(c.t, photos), c.ids[c.ann], c.ids[c.bo]), http.StatusCreated, &e)
	return e.ID
}

// page is the address of the exercise's first vine in the API.
func (c *class) address(rest string) string {
	return fmt.Sprintf("/api/exercises/%d/vines/1%s", c.exercise, rest)
}

// choose decides for every cane as somebody would: the first is laid, the second
// a spur, the rest goes; change may change that.
func (c *class) choose(change func(*exercise.Choice)) exercise.Choice {
	c.t.Helper()
	var v attemptView
	c.get(c.address(""), http.StatusOK, &v)
	return chooseFrom(v, change)
}

func chooseFrom(v attemptView, change func(*exercise.Choice)) exercise.Choice {
	ch := exercise.Choice{Head: exercise.HeadRight}
	for i, k := range v.Shown.Canes {
		d := exercise.Decision{Cane: k.ID, Fate: exercise.Remove, Reason: "weak"}
		if i < 2 {
			d.Fate, d.Reason, d.CutPx = exercise.Spur, "", &k.Line[len(k.Line)/3]
			if i == 0 {
				d.Fate, d.Place = exercise.Lay, 1
			}
		}
		ch.Canes = append(ch.Canes, d)
	}
	if change != nil {
		change(&ch)
	}
	return ch
}

func (c *class) seal(who string, after int, change func(*exercise.Choice)) sealedView {
	c.t.Helper()
	c.who = who
	var out sealedView
	c.post(c.address("/choices"), toJSON(c.t, sealIn{After: after, Choice: c.choose(change)}), http.StatusCreated, &out)
	return out
}

// lessonPages lists the pages of an exercise of photo 1, for whoever acts as its
// trainer, by a name for pictures. It is reviewed, so that nothing of the vine
// is closed to that one.
func (r *rig) lessonPages() [][2]string {
	r.t.Helper()
	me := r.who
	ann := r.as("Ann", Trainee)
	r.who = me
	var g groupAnswer
	r.post("/api/groups", `{"name":"Beginners"}`, http.StatusCreated, &g)
	r.post(fmt.Sprintf("/api/groups/%d/members", g.ID), fmt.Sprintf(`{"account":%d,"in":true}`, ann), http.StatusNoContent, nil)
	var e exerciseView
	r.post(fmt.Sprintf("/api/groups/%d/exercises", g.ID), fmt.Sprintf(`{"name":"First vines","mode":"findings","judging":"review","photos":[1],"participants":[%d]}`, ann), http.StatusCreated, &e)
	at := fmt.Sprintf("/api/exercises/%d/vines/1", e.ID)
	var v attemptView
	r.who = "Ann"
	r.get(at, http.StatusOK, &v)
	r.post(at+"/choices", toJSON(r.t, sealIn{Choice: chooseFrom(v, nil)}), http.StatusCreated, nil)
	r.who = me
	about := fmt.Sprintf("?about=%d", ann)
	r.post(at+"/choices"+about, toJSON(r.t, sealIn{Choice: chooseFrom(v, func(c *exercise.Choice) {
		c.Canes[1] = exercise.Decision{Cane: c.Canes[1].Cane, Fate: exercise.Remove, Reason: "short_noded"}
	})}), http.StatusCreated, nil)
	who := fmt.Sprintf("?who=%d", ann)
	r.post(at+"/remarks"+who, `{"remark":{"cane":2,"text":"look here","from_px":[100,100],"to_px":[400,400]}}`, http.StatusCreated, nil)
	page := exercisePath(e.ID)
	return [][2]string{
		{"exercises", "/exercises"}, {"group", groupPath(g.ID)}, {"newexercise", groupPath(g.ID) + "/exercise"}, {"exercise", page},
		{"review", page + "/1" + about}, {"compare", page + "/1/compare" + who}, {"results", page + "/results" + who},
	}
}

// Each of these pages is there, in every language.
func TestLessonPages(t *testing.T) {
	r := newRig(t)
	r.view()
	for _, p := range r.lessonPages() {
		for _, language := range []string{"en", "fr", "it", "es", "de"} {
			if status, page := r.do("GET", p[1], nil, "Accept-Language", language); status != http.StatusOK || regexp.MustCompile(`[>" ]exercise\.[a-z]`).MatchString(page) {
				t.Errorf("%s in %s: %d, or a text is missing", p[0], language, status)
			}
		}
	}
}

// The whole path: given, chosen blind, sealed, judged, opened, looked at.
func TestExerciseFromGivingToResults(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "photo", "blind")
	compare := c.address("/comparison")
	who := fmt.Sprintf("?who=%d", c.ids[c.ann])

	sealed := c.seal(c.ann, 0, nil)
	if !sealed.Blind || sealed.Attempt != 1 || sealed.Choice.Canes[0].Buds == 0 {
		t.Errorf("sealed %+v", sealed)
	}
	// The trainer sees nothing before an own choice is sealed.
	if s := c.status(c.trainer, compare+who); s != http.StatusForbidden {
		t.Errorf("the trainer looks before choosing: %d", s)
	}
	c.seal(c.trainer, 0, func(ch *exercise.Choice) {
		ch.Canes[1] = exercise.Decision{Cane: ch.Canes[1].Cane, Fate: exercise.Remove}
		ch.Head = exercise.HeadHigh
	})
	var v comparisonView
	c.get(compare+who, http.StatusOK, &v)
	if v.Comparison == nil || v.Comparison.Same != len(v.Comparison.Rows)-1 || v.Comparison.HeadSame || !slices.Equal(v.Comparison.Rows[1].Differs, []exercise.Kind{exercise.KeepKind}) {
		t.Errorf("comparison %+v", v.Comparison)
	}
	c.post(c.address("/remarks")+who, `{"remark":{"cane":2,"text":"too weak for a spur","from_px":[100,100],"to_px":[400,400]}}`, http.StatusCreated, &v)
	if len(v.Remarks) != 1 || v.Remarks[0].Remark.To == nil || v.Remarks[0].Who != c.trainer {
		t.Errorf("remarks %+v", v.Remarks)
	}
	c.post(c.address("/remarks")+who, `{"remark":{"text":""}}`, http.StatusUnprocessableEntity, nil)

	// Not open yet for the participant, with whatever is sealed.
	for _, path := range []string{compare, c.address("/suggestion"), fmt.Sprintf("/exercises/%d/1/compare", c.exercise), "/photos/1", "/blocks/1/4/7"} {
		if s := c.status(c.ann, path); s != http.StatusForbidden {
			t.Errorf("%s before the results are open: %d", path, s)
		}
	}
	c.who = c.ann
	if page := c.get(fmt.Sprintf("/exercises/%d/results", c.exercise), http.StatusOK, nil); !strings.Contains(page, "aren&#39;t open yet") || strings.Contains(page, "kappa") {
		t.Error("results are told before they are open")
	}
	c.who = c.trainer
	c.post(fmt.Sprintf("/api/exercises/%d/opening", c.exercise), `{}`, http.StatusOK, nil)

	c.who = c.ann
	c.get(compare, http.StatusOK, &v)
	if v.Theirs == nil || v.MayRemark || len(v.Remarks) != 1 {
		t.Errorf("what the participant sees: %+v", v)
	}
	var s suggestionView
	c.get(c.address("/suggestion"), http.StatusOK, &s)
	if len(s.Choice.Canes) != len(v.Shown.Canes) || s.Comparison == nil {
		t.Errorf("suggestion %+v", s)
	}
	for path, want := range map[string]string{
		fmt.Sprintf("/exercises/%d/results", c.exercise):   "7 of 8",
		fmt.Sprintf("/exercises/%d", c.exercise):           "The results are open since",
		fmt.Sprintf("/exercises/%d/1/compare", c.exercise): "Side by side",
		fmt.Sprintf("/exercises/%d/1", c.exercise):         "Choose for this vine",
		"/exercises":    "Beginners",
		"/photos/1":     "rule",
		"/blocks/1/4/7": "winter",
	} {
		if page := c.get(path, http.StatusOK, nil); !strings.Contains(page, want) {
			t.Errorf("%s lacks %q", path, want)
		}
	}
	// Few decisions: no share and no kappa.
	var f figuresView
	c.get(fmt.Sprintf("/api/exercises/%d/figures", c.exercise), http.StatusOK, &f)
	if k := f.Figures[0]; k.N != 8 || k.Same != 7 || k.Share != nil || k.Kappa != nil {
		t.Errorf("keep or cut away: %+v", k)
	}
	for _, path := range []string{"/sheet.pdf", "/results.pdf"} {
		if got := c.get(fmt.Sprintf("/exercises/%d%s", c.exercise, path), http.StatusOK, nil); !strings.HasPrefix(got, "%PDF-") {
			t.Errorf("%s: %.40q", path, got)
		}
	}
	c.who = c.trainer
	if page := c.get(fmt.Sprintf("/groups/%d", c.group), http.StatusOK, nil); !strings.Contains(page, "7 of 8") || !strings.Contains(page, c.bo) {
		t.Error("the group's page lacks how its people stand")
	}
	if page := c.get(fmt.Sprintf("/exercises/%d", c.exercise), http.StatusOK, nil); !strings.Contains(page, c.bo+": not chosen yet") || !strings.Contains(page, c.ann+": judged") {
		t.Error("the exercise's page lacks how far people are")
	}
}

// Withdrawn and made anew, both stay; figures keep to the one that was made
// blind.
func TestWithdrawnChoiceStays(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "photo", "blind")
	first := c.seal(c.ann, 0, nil)
	c.post(c.address("/choices"), toJSON(t, sealIn{After: 1, Choice: first.Choice}), http.StatusConflict, nil)
	c.seal(c.trainer, 0, nil)
	c.post(fmt.Sprintf("/api/exercises/%d/opening", c.exercise), `{}`, http.StatusOK, nil)
	c.who = c.bo
	c.post(c.address("/withdrawals"), fmt.Sprintf(`{"choice":%d}`, first.ID), http.StatusNotFound, nil)
	c.who = c.ann
	c.post(c.address("/withdrawals"), fmt.Sprintf(`{"choice":%d,"why":"looked again"}`, first.ID), http.StatusNoContent, nil)
	// While nothing stands, nothing is open.
	if s := c.status(c.ann, c.address("/comparison")); s != http.StatusForbidden {
		t.Errorf("withdrawn, and still open: %d", s)
	}
	var again attemptView
	c.get(c.address(""), http.StatusOK, &again)
	if again.Start == nil || again.Attempts != 1 || again.Sealed != nil {
		t.Errorf("what to go on from after withdrawing: %+v", again.Start)
	}
	second := c.seal(c.ann, 1, func(ch *exercise.Choice) {
		ch.Canes[0] = exercise.Decision{Cane: ch.Canes[0].Cane, Fate: exercise.Remove}
	})
	if second.Blind || second.Attempt != 2 {
		t.Errorf("second attempt %+v", second)
	}
	var v comparisonView
	c.get(c.address("/comparison"), http.StatusOK, &v)
	if len(v.Earlier) != 1 || v.Earlier[0].Why != "looked again" || v.Mine.Attempt != 2 {
		t.Errorf("earlier %+v", v.Earlier)
	}
	var f figuresView
	c.get(fmt.Sprintf("/api/exercises/%d/figures", c.exercise), http.StatusOK, &f)
	if k := f.Figures[0]; k.Same != k.N {
		t.Errorf("figures are of the attempt after looking: %+v", k)
	}
}

// Whoever reviews starts from the participant's choice, and it's told that
// this isn't blind.
func TestReviewedChoice(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "findings", "review")
	about := fmt.Sprintf("?about=%d", c.ids[c.ann])
	c.seal(c.ann, 0, nil)
	c.who = c.trainer
	var v attemptView
	c.get(c.address(about), http.StatusOK, &v)
	if v.Start == nil || v.Start.Canes[0].Fate != exercise.Lay {
		t.Fatalf("start %+v", v.Start)
	}
	var k sealedView
	c.post(c.address("/choices"+about), toJSON(t, sealIn{Choice: *v.Start}), http.StatusCreated, &k)
	if k.Blind {
		t.Error("a review is told as blind")
	}
	var cmp comparisonView
	c.get(c.address(fmt.Sprintf("/comparison?who=%d", c.ids[c.ann])), http.StatusOK, &cmp)
	if cmp.Comparison == nil || cmp.Comparison.Same != len(cmp.Comparison.Rows) {
		t.Errorf("%+v", cmp.Comparison)
	}
	// Made anew, it isn't judged any more until it was gone through again.
	c.who = c.ann
	var mine attemptView
	c.get(c.address(""), http.StatusOK, &mine)
	c.post(c.address("/withdrawals"), fmt.Sprintf(`{"choice":%d}`, mine.Sealed.ID), http.StatusNoContent, nil)
	c.seal(c.ann, 1, nil)
	c.who = c.trainer
	cmp = comparisonView{}
	c.get(c.address(fmt.Sprintf("/comparison?who=%d", c.ids[c.ann])), http.StatusOK, &cmp)
	if cmp.Theirs != nil || cmp.Comparison != nil {
		t.Errorf("a new attempt beside a review of the one before: %+v", cmp.Theirs)
	}
	// A choice of nobody's can't be gone through, nor an own one be made.
	c.get(c.address(""), http.StatusNotFound, nil)
	c.get(c.address("?about=999"), http.StatusNotFound, nil)
}

// Results are one's own: a trainee sees no others', a trainer no other
// trainer's, a manager neither; and what isn't one's own looks as if it
// weren't there.
func TestResultsAreOnesOwn(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "photo", "review")
	c.seal(c.ann, 0, nil)
	c.seal(c.bo, 0, nil)
	c.who = c.trainer
	c.post(fmt.Sprintf("/api/exercises/%d/opening", c.exercise), `{}`, http.StatusOK, nil)
	others := map[string]int64{"Udo (trainer)": c.as("Udo (trainer)", Trainer), "Mia (manager)": c.as("Mia (manager)", Manager), "Cy (trainee)": c.as("Cy (trainee)", Trainee), "Pia (pruner)": c.as("Pia (pruner)", Pruner)}
	for name := range others {
		for _, route := range routesOf(r) {
			method, path, _ := strings.Cut(route, " ")
			if !strings.Contains(path, ":exercise") && !strings.Contains(path, ":group") {
				continue
			}
			at := func(exercise, group int64) (int, string) {
				c.who = name
				p := strings.NewReplacer(":exercise", fmt.Sprint(exercise), ":group", fmt.Sprint(group), ":part", "1").Replace(path)
				s, text := c.do(method, p, strings.NewReader("{}"))
				return s, strings.ReplaceAll(text, p, "HERE")
			}
			s1, t1 := at(c.exercise, c.group)
			s2, t2 := at(987654, 987654)
			refused := s1 == http.StatusForbidden && strings.Contains(t1, "Your role") // by the role, before anything else
			if !refused && (s1 != http.StatusNotFound || s1 != s2 || t1 != t2) {
				t.Errorf("%s as %s: %d %.80s; what isn't there: %d %.80s", route, name, s1, t1, s2, t2)
			}
		}
	}
	// One participant asks for the other's.
	for _, path := range []string{c.address("/comparison"), c.address("/suggestion"), fmt.Sprintf("/exercises/%d/results", c.exercise), fmt.Sprintf("/exercises/%d/results.pdf", c.exercise),
		fmt.Sprintf("/api/exercises/%d/figures", c.exercise), fmt.Sprintf("/exercises/%d/1/compare", c.exercise)} {
		if s := c.status(c.ann, path); s != http.StatusOK {
			t.Errorf("%s, one's own: %d", path, s)
		}
		if s := c.status(c.ann, path+fmt.Sprintf("?who=%d", c.ids[c.bo])); s != http.StatusNotFound {
			t.Errorf("%s of somebody else: %d", path, s)
		}
		if s := c.status(c.trainer, path+fmt.Sprintf("?who=%d", c.ids[c.bo])); s != http.StatusOK {
			t.Errorf("%s for the trainer: %d", path, s)
		}
		if s := c.status(c.trainer, path+fmt.Sprintf("?who=%d", others["Cy (trainee)"])); s != http.StatusNotFound {
			t.Errorf("%s of somebody who takes no part: %d", path, s)
		}
	}
	if s := c.status(c.ann, c.address(fmt.Sprintf("?about=%d", c.ids[c.bo]))); s != http.StatusNotFound {
		t.Errorf("a participant goes through another's choice: %d", s)
	}
	// What only the trainer may do.
	c.who = c.ann
	for _, p := range []string{fmt.Sprintf("/api/exercises/%d/opening", c.exercise), c.address("/remarks")} {
		if s, _ := c.do("POST", p, strings.NewReader(`{}`)); s != http.StatusForbidden {
			t.Errorf("%s as a participant: %d", p, s)
		}
	}
	// No page of a participant names the other.
	for _, path := range []string{"/exercises", fmt.Sprintf("/exercises/%d", c.exercise), fmt.Sprintf("/exercises/%d/results", c.exercise), c.address("/comparison")} {
		c.who = c.ann
		if page := c.get(path, http.StatusOK, nil); strings.Contains(page, c.bo) {
			t.Errorf("%s names another participant", path)
		}
	}
}

// A photo taken after pruning stands beside the choice, with what was done.
func TestPlannedAndDone(t *testing.T) {
	r := newRig(t)
	r.view()
	block := int64(1)
	c := newClass(t, r, "photo", "review")
	c.seal(c.ann, 0, nil)
	c.who = c.trainer
	c.post(fmt.Sprintf("/api/exercises/%d/opening", c.exercise), `{}`, http.StatusOK, nil)
	c.who = c.ann
	after, _, err := r.server.Keep(t.Context(), store.NewPhoto{Data: pngOf(t, 640, 480), BlockID: block, Row: 4, Number: 7, Winter: "2026/27", Name: "after.png", ContentType: "image/png", By: "Ann"})
	if err != nil {
		t.Fatal(err)
	}
	var v comparisonView
	c.get(c.address("/comparison"), http.StatusOK, &v)
	if len(v.Photos) != 1 || v.Photos[0].ID != after.ID {
		t.Fatalf("photos %+v", v.Photos)
	}
	first, third := v.Mine.Choice.Canes[0].Cane, v.Mine.Choice.Canes[2].Cane
	c.post(c.address("/done"), fmt.Sprintf(`{"photo":%d,"done":{"canes":[{"cane":%d,"fate":"lay"},{"cane":%d,"fate":"spur"}],"note":"it broke"}}`, after.ID, first, third), http.StatusCreated, &v)
	if v.Done == nil || v.Done.Note != "it broke" || !v.Done.Canes[0].Same || v.Done.Canes[2].Same || v.Done.Canes[2].Done != exercise.Spur || v.Done.Canes[1].Done != "" {
		t.Errorf("done %+v", v.Done)
	}
	c.post(c.address("/done"), `{"photo":1,"done":{"canes":[]}}`, http.StatusUnprocessableEntity, nil)
	c.post(c.address("/done"), fmt.Sprintf(`{"photo":%d,"done":{"canes":[{"cane":99,"fate":"lay"}]}}`, after.ID), http.StatusUnprocessableEntity, nil)
}

// What makes no exercise is refused in words.
func TestExerciseNonsense(t *testing.T) {
	r := newRig(t)
	r.view()
	c := newClass(t, r, "photo", "review")
	c.who = c.trainer
	for name, body := range map[string]string{
		"no photo":          `{"name":"x","mode":"photo","judging":"blind","photos":[],"participants":[%d]}`,
		"a photo not there": `{"name":"x","mode":"photo","judging":"blind","photos":[77],"participants":[%d]}`,
		"nobody":            `{"name":"x","mode":"photo","judging":"blind","photos":[1],"participants":[]}`,
		"no mode":           `{"name":"x","mode":"","judging":"blind","photos":[1],"participants":[%d]}`,
		"no such form":      `{"name":"x","mode":"photo","judging":"blind","form":"bush","photos":[1],"participants":[%d]}`,
	} {
		if strings.Contains(body, "%d") {
			body = fmt.Sprintf(body, c.ids[c.ann])
		}
		if s, text := c.do("POST", fmt.Sprintf("/api/groups/%d/exercises", c.group), strings.NewReader(body)); s < 400 || s >= 500 || !strings.Contains(text, `"message"`) {
			t.Errorf("%s: %d %s", name, s, text)
		}
	}
	c.who = c.ann
	c.get(fmt.Sprintf("/exercises/%d/7", c.exercise), http.StatusNotFound, nil)
	for name, body := range map[string]string{"nothing": `{"after":0}`, "no canes": `{"after":0,"choice":{"canes":[],"head":"right"}}`, "a field that isn't": `{"after":0,"blind":true}`} {
		var a errorAnswer
		c.post(c.address("/choices"), body, http.StatusUnprocessableEntity, &a)
		if a.Code != assess.EInvalid {
			t.Errorf("%s: %+v", name, a)
		}
	}
}
