package api

import (
	"fmt"
	"net/http"

	"nodespan/assess/store"
)

// exercises walks through an exercise of the walk's first measured photo, given
// by a trainer and chosen by a trainee.
func (w *walk) exercises() {
	before := w.who
	defer func() { w.who = before }()
	photos, err := w.store.TeachablePhotos(w.t.Context(), store.FirstEstate, 0, 1)
	if err != nil || len(photos) == 0 {
		w.t.Fatalf("photos to teach with: %v, %v", photos, err)
	}
	photo := photos[0]
	trainee := w.as("Ann (invented)", Trainee)
	w.as("Tess (invented)", Trainer)
	var g groupAnswer
	w.call("POST /api/groups", "/api/groups", `{"name":"Beginners (invented)"}`, &g)
	w.call("POST /api/groups/:group/members", fmt.Sprintf("/api/groups/%d/members", g.ID), fmt.Sprintf(`{"account":%d,"in":true}`, trainee), nil)
	var e exerciseView
	w.call("POST /api/groups/:group/exercises", fmt.Sprintf("/api/groups/%d/exercises", g.ID),
		fmt.Sprintf(`{"name":"First vines","mode":"measurements","judging":"blind","photos":[%d],"participants":[%d]}`, photo.ID, trainee), &e)
	at := fmt.Sprintf("/api/exercises/%d", e.ID)
	seal := func() sealedView {
		var v attemptView
		w.call("GET /api/exercises/:exercise/vines/:part", at+"/vines/1", "", &v)
		var k sealedView
		w.call("POST /api/exercises/:exercise/vines/:part/choices", at+"/vines/1/choices", toJSON(w.t, sealIn{After: v.Attempts, Choice: chooseFrom(v, nil)}), &k)
		return k
	}
	w.who = "Ann (invented)"
	w.call("GET /api/exercises", "/api/exercises", "", nil)
	k := seal()
	w.call("POST /api/exercises/:exercise/vines/:part/withdrawals", at+"/vines/1/withdrawals", fmt.Sprintf(`{"choice":%d,"why":"tapped the wrong bud"}`, k.ID), nil)
	seal()
	w.who = "Tess (invented)"
	seal()
	who := fmt.Sprintf("?who=%d", trainee)
	w.call("POST /api/exercises/:exercise/vines/:part/remarks", at+"/vines/1/remarks"+who, `{"remark":{"cane":1,"text":"this one stands better","from_px":[200,300],"to_px":[420,610]}}`, nil)
	w.call("POST /api/exercises/:exercise/opening", at+"/opening", "{}", nil)
	after, _, err := w.server.Keep(w.t.Context(), store.NewPhoto{Data: pngOf(w.t, 640, 480), BlockID: photo.Vine.BlockID, Row: photo.Vine.Row, Number: photo.Vine.Number, Winter: photo.Winter, Name: "after.png", ContentType: "image/png", By: "Tess (invented)"})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/exercises/:exercise/vines/:part/done", at+"/vines/1/done"+who, fmt.Sprintf(`{"photo":%d,"done":{"canes":[{"cane":1,"fate":"lay"}]}}`, after.ID), nil)
	w.call("GET /api/exercises/:exercise/vines/:part/comparison", at+"/vines/1/comparison"+who, "", nil)
	w.call("GET /api/exercises/:exercise/vines/:part/suggestion", at+"/vines/1/suggestion"+who, "", nil)
	w.call("GET /api/exercises/:exercise/figures", at+"/figures"+who, "", nil)
	if status, _ := w.do(http.MethodGet, at+"/figures", nil); status != http.StatusNotFound {
		w.t.Errorf("a trainer's own figures: %d", status)
	}
}
