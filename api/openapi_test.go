package api

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net/http"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"

	"nodespan/assess"
	"nodespan/assess/store"
)

var record = flag.Bool("record", false, "write examples.json anew from the calls of TestDescriptionHoldsForRealAnswers")

// Every route under /api is in the description, and nothing else is.
func TestDescriptionHasEveryRoute(t *testing.T) {
	r := newRig(t)
	var routes, described []string
	for _, x := range r.server.echo.Routes() {
		if (x.Path == "/api" || strings.HasPrefix(x.Path, "/api/")) && x.Method != "echo_route_not_found" {
			routes = append(routes, x.Method+" "+x.Path)
		}
	}
	for _, o := range operations {
		described = append(described, o.route)
	}
	for _, x := range routes {
		if !slices.Contains(described, x) {
			t.Errorf("%s isn't described: add it to operations.go, and a call of it to the walk in openapi_test.go", x)
		}
	}
	for _, x := range described {
		if !slices.Contains(routes, x) {
			t.Errorf("%s is described, but there is no such route", x)
		}
	}
	// Read by a parser of others, as any program would.
	var doc map[string]any
	r.get("/api", http.StatusOK, &doc)
	if doc["openapi"] != OpenAPIVersion {
		t.Errorf("version %v", doc["openapi"])
	}
	ids := regexp.MustCompile(`"operationId": *"([^"]+)"`).FindAllStringSubmatch(r.get("/api", http.StatusOK, nil), -1)
	seen := map[string]bool{}
	for _, m := range ids {
		if seen[m[1]] {
			t.Errorf("two operations are named %s", m[1])
		}
		seen[m[1]] = true
	}
}

// A walk goes through the API as a program would, and holds each answer against
// the published description.
type walk struct {
	*rig
	v    validator.Validator
	made map[string]example
}

func newWalk(t *testing.T, r *rig) *walk {
	text, err := description()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := libopenapi.NewDocument(text)
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	if ok, faults := v.ValidateDocument(); !ok {
		for _, f := range faults {
			t.Errorf("the description is no valid OpenAPI document: %s %s", f.Message, f.Reason)
			for _, s := range f.SchemaValidationErrors {
				t.Errorf("  %s at %s", s.Reason, s.FieldPath)
			}
		}
	}
	w := &walk{rig: r, v: v, made: map[string]example{}}
	return w
}

// call makes one call of a route, wants the described status, holds question and
// answer against the description and reads the answer into into.
func (w *walk) call(route, path, body string, into any, header ...string) {
	w.t.Helper()
	i := slices.IndexFunc(operations, func(o operation) bool { return o.route == route })
	if i < 0 {
		w.t.Fatalf("%s isn't described", route)
	}
	o := operations[i]
	method, _, _ := strings.Cut(route, " ")
	status, text := w.do(method, path, strings.NewReader(body), header...)
	if status != o.status {
		w.t.Fatalf("%s: status %d, described is %d: %.300s", route, status, o.status, text)
	}
	w.hold(o, method, path, body, text, status)
	if into != nil {
		if err := json.Unmarshal([]byte(text), into); err != nil {
			w.t.Fatalf("%s: %v", route, err)
		}
	}
	e := example{Path: path}
	if o.in != nil {
		e.Request = shortened(w.t, body)
	}
	if o.out != nil && route != "GET /api" {
		e.Response = shortened(w.t, text)
	}
	w.made[route] = e
}

func (w *walk) hold(o operation, method, path, body, answer string, status int) bool {
	good := true
	w.t.Helper()
	kind := "application/json"
	if o.kind != "" {
		kind = o.kind
	}
	q, err := http.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader(body))
	if err != nil {
		w.t.Fatal(err)
	}
	q.Header.Set("Content-Type", "application/json")
	if o.in != nil {
		if ok, faults := w.v.GetRequestBodyValidator().ValidateRequestBody(q); !ok {
			good = false
			for _, f := range faults {
				w.t.Errorf("%s: the request isn't as described: %s %s %+v", o.route, f.Message, f.Reason, f.SchemaValidationErrors)
			}
		}
	}
	a := &http.Response{StatusCode: status, Header: http.Header{"Content-Type": {kind}}, Body: io.NopCloser(strings.NewReader(answer))}
	if ok, faults := w.v.GetResponseBodyValidator().ValidateResponseBody(q, a); !ok {
		good = false
		for _, f := range faults {
			w.t.Errorf("%s: the answer isn't as described: %s %s", o.route, f.Message, f.Reason)
			for _, s := range f.SchemaValidationErrors {
				w.t.Errorf("    %s at %s", s.Reason, s.FieldPath)
			}
		}
	}
	return good
}

// describedTable is a descriptor table as a file.
const describedTable = "name: example lengths\nversion: 1\nquantity: internode_length\nleast_internodes: 10\nleast_shoots: 3\nsource: made up for this example\nclasses:\n- {name: short, from: 0, through: 50}\n- {name: long, from: 50}\n"

var (
	secretForm = regexp.MustCompile(`[A-Za-z0-9_-]{43}`)
	timeForm   = regexp.MustCompile(`\d{4}-\d\d-\d\dT[0-9:.]+(Z|[+-]\d\d:\d\d)`)
	serverForm = regexp.MustCompile(`http://127\.0\.0\.1:\d+`)
)

// shortened keeps of lists the first two entries, and of secrets nothing.
func shortened(t testing.TB, text string) json.RawMessage {
	var v any
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatal(err)
	}
	var short func(v any) any
	short = func(v any) any {
		switch x := v.(type) {
		case map[string]any:
			for k, e := range x {
				x[k] = short(e)
				switch s := e.(type) {
				case string:
					// What differs from time to time would only hide a change.
					s = serverForm.ReplaceAllString(timeForm.ReplaceAllString(s, "2026-12-03T09:41:30Z"), "http://127.0.0.1:8417")
					if k == "token" || k == "link" || k == "secret" {
						s = secretForm.ReplaceAllString(s, "…")
					}
					x[k] = s
				case float64:
					if strings.HasSuffix(k, "_ms") || k == "photos_per_second" {
						x[k] = 20
					}
				}
			}
		case []any:
			// Places are pairs and mappings have nine numbers: they stay whole.
			if _, numbers := any(x).([]any); numbers && len(x) > 2 && len(x) != 9 {
				x = x[:2]
			}
			for i := range x {
				x[i] = short(x[i])
			}
			return x
		}
		return v
	}
	out, err := json.Marshal(short(v))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Each call of the API, made once: its answer is as described, and the examples
// of the description are such calls.
func TestDescriptionHoldsForRealAnswers(t *testing.T) {
	r := newRig(t)
	w := newWalk(t, r)
	w.call("GET /api", "/api", "", nil)
	w.people()
	w.photos()
	w.job()
	w.exercises()
	for _, o := range operations {
		if _, ok := w.made[o.route]; !ok {
			t.Errorf("%s isn't called in this walk: add a call of it", o.route)
		}
	}
	if *record {
		var out bytes.Buffer
		e := json.NewEncoder(&out)
		e.SetEscapeHTML(false)
		e.SetIndent("", " ")
		if err := e.Encode(w.made); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile("examples.json", out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var kept map[string]example
	if err := json.Unmarshal(examplesText, &kept); err != nil {
		t.Fatal(err)
	}
	for _, o := range operations {
		e, ok := kept[o.route]
		if !ok {
			t.Errorf("%s has no example: run go test ./api -run TestDescriptionHolds -record", o.route)
			continue
		}
		method, _, _ := strings.Cut(o.route, " ")
		if o.out != nil && o.route != "GET /api" && !w.hold(o, method, e.Path, string(e.Request), string(e.Response), o.status) {
			t.Errorf("the example of %s is out of date: run go test ./api -run TestDescriptionHolds -record", o.route)
		}
	}
	// The validator can tell: an answer with a wrong field is refused.
	q, _ := http.NewRequest(http.MethodGet, "http://127.0.0.1/api/blocks", nil)
	bad := &http.Response{StatusCode: 200, Header: http.Header{"Content-Type": {"application/json"}}, Body: io.NopCloser(strings.NewReader(`[{"id":"one"}]`))}
	if ok, _ := w.v.GetResponseBodyValidator().ValidateResponseBody(q, bad); ok {
		t.Error("an answer that isn't as described was let through")
	}
}

// people walks through accounts, in an order in which each call still may.
func (w *walk) people() {
	var link linkAnswer
	w.call("POST /api/invitations", "/api/invitations", `{"role":"pruner"}`, &link)
	secret := link.Link[strings.LastIndex(link.Link, "/")+1:]
	// The open one is used, another withdrawn.
	w.call("POST /api/join", "/api/join", fmt.Sprintf(`{"secret":%q,"name":"Jon (invented)","password":"six frozen canes"}`, secret), nil, "Cookie", "")
	var again linkAnswer
	w.call("POST /api/invitations", "/api/invitations", `{"role":"trainee"}`, &again)
	ctx := w.t.Context()
	open, err := w.store.Invitations(ctx, store.FirstEstate)
	if err != nil || len(open) == 0 {
		w.t.Fatalf("open invitations %v, %v", open, err)
	}
	w.call("DELETE /api/invitations/:link", fmt.Sprintf("/api/invitations/%d", open[0].ID), "", nil)
	jon, err := w.store.AccountByName(ctx, "Jon (invented)")
	if err != nil || jon == nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/members/:member/link", fmt.Sprintf("/api/members/%d/link", jon.ID), "", nil)
	w.call("POST /api/members/:member", fmt.Sprintf("/api/members/%d", jon.ID), `{"role":"manager"}`, nil)
	w.call("POST /api/estate", "/api/estate", `{"name":"Mill estate (invented)"}`, nil)
	w.call("POST /api/tokens", "/api/tokens", `{"name":"season script","scope":"record","days":90}`, nil)
	ada, err := w.store.AccountByName(ctx, w.who)
	if err != nil || ada == nil {
		w.t.Fatal(err)
	}
	tokens, err := w.store.Tokens(ctx, ada.ID)
	if err != nil || len(tokens) == 0 {
		w.t.Fatalf("tokens %v, %v", tokens, err)
	}
	w.call("DELETE /api/tokens/:token", fmt.Sprintf("/api/tokens/%d", tokens[0].ID), "", nil)

	// Jon, for what would end Ada's session.
	me := w.who
	w.who = "Jon (invented)"
	w.cookieMu.Lock()
	key, hash := store.NewSecret()
	w.cookies[w.who] = key
	w.cookieMu.Unlock()
	if err := w.store.AddSession(ctx, hash, jon.ID, store.FirstEstate, time.Hour); err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/account/password", "/api/account/password", `{"now":"six frozen canes","next":"seven frozen canes"}`, nil)
	var estate estateAnswer
	w.call("POST /api/estates", "/api/estates", `{"name":"Upper terrace (invented)"}`, &estate)
	_, otherHash := store.NewSecret()
	if err := w.store.AddSession(ctx, otherHash, jon.ID, store.FirstEstate, time.Hour); err != nil {
		w.t.Fatal(err)
	}
	sessions, err := w.store.Sessions(ctx, jon.ID)
	if err != nil || len(sessions) == 0 {
		w.t.Fatalf("sessions %v, %v", sessions, err)
	}
	w.call("POST /api/account/estate", "/api/account/estate", fmt.Sprintf(`{"estate":%d}`, estate.ID), nil)
	// The last one is that which was just added.
	w.call("DELETE /api/sessions/:session", fmt.Sprintf("/api/sessions/%d", lastSession(sessions)), "", nil)
	w.call("DELETE /api/session", "/api/session", "", nil)
	w.call("POST /api/session", "/api/session", `{"name":"Jon (invented)","password":"seven frozen canes"}`, nil, "Cookie", "")

	w.who = me
	var third linkAnswer
	w.call("POST /api/invitations", "/api/invitations", `{"role":"pruner"}`, &third)
	w.who = "Jon (invented)"
	w.cookieMu.Lock()
	key, hash = store.NewSecret()
	w.cookies[w.who] = key
	w.cookieMu.Unlock()
	if err := w.store.AddSession(ctx, hash, jon.ID, estate.ID, time.Hour); err != nil {
		w.t.Fatal(err)
	}
	if err := w.store.SetRole(ctx, store.FirstEstate, jon.ID, "", string(Manager)); err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/join/member", "/api/join/member", fmt.Sprintf(`{"secret":%q}`, third.Link[strings.LastIndex(third.Link, "/")+1:]), nil)
	w.who = me
}

func lastSession(all []store.Session) int64 {
	var last int64
	for _, s := range all {
		last = max(last, s.ID)
	}
	return last
}

// photos walks from a block to a confirmed choice.
func (w *walk) photos() {
	var b blockView
	w.call("POST /api/blocks", "/api/blocks", `{"name":"South slope","rows":12,"vines_per_row":40,"training_form":"four-cane@1"}`, &b)
	w.call("GET /api/blocks", "/api/blocks", "", nil)
	block := fmt.Sprintf("/api/blocks/%d", b.ID)
	w.call("GET /api/blocks/:block", block, "", nil)
	var rules rulesView
	w.call("GET /api/blocks/:block/rules", block+"/rules", "", &rules)
	other := rules.Rules
	other.ShortNoded.Limit = 55
	text, err := json.Marshal(map[string]any{"rule_set": other})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/blocks/:block/rules/preview", block+"/rules/preview", string(text), nil)
	other.Name, other.Version = "south-slope", 1
	text, err = json.Marshal(map[string]any{"after": rules.Seq, "rule_set": other, "training_form": rules.Form, "winter": rules.Present, "variety": "", "spacing_m": 1.2, "divided": false, "formula": ""})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/blocks/:block/rules", block+"/rules", string(text), nil)
	file, err := json.Marshal(map[string]string{"name": "south.yaml", "text": w.rig.get("/rule-sets/nodespan-default@1.yaml", http.StatusOK, nil)})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/rule-sets/read", "/api/rule-sets/read", string(file), nil)
	form, err := assess.WriteForm(assess.DefaultForm(), assess.YAML)
	if err != nil {
		w.t.Fatal(err)
	}
	formFile, err := json.Marshal(fileIn{Name: "form.yaml", Text: string(form)})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/forms/read", "/api/forms/read", string(formFile), nil)
	table, err := json.Marshal(map[string]string{"name": "lengths.yaml", "text": describedTable})
	if err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/descriptor-tables", "/api/descriptor-tables", string(table), nil)

	const edge = "edgeofparts"
	body := "--" + edge + "\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"IMG_1.jpg\"\r\nContent-Type: image/jpeg\r\n\r\n" + string(vineJPEG) + "\r\n--" + edge + "--\r\n"
	var st photoState
	w.call("POST /api/blocks/:block/rows/:row/vines/:vine/photos", block+"/rows/4/vines/7/photos", body, &st, "Content-Type", "multipart/form-data; boundary="+edge)
	w.call("POST /api/look", "/api/look?full=4032", body, nil, "Content-Type", "multipart/form-data; boundary="+edge)
	st = w.measured(st.ID)
	photo := fmt.Sprintf("/api/photos/%d", st.ID)
	w.call("GET /api/photos/:photo", photo, "", nil)
	w.call("GET /api/photos/:photo/events", photo+"/events", "", nil)
	m := fmt.Sprintf("/api/measurements/%d", st.Measurement)
	var v measurementView
	w.call("GET /api/measurements/:measurement", m, "", &v)
	cane := v.Seen.Canes[0].ID
	w.call("POST /api/measurements/:measurement/preview", m+"/preview", fmt.Sprintf(`{"cane":%d,"said":"correct","diameter_mm_by_hand":8.2}`, cane), nil)
	w.call("POST /api/measurements/:measurement/guide", m+"/guide", `{"base":[200,500],"tip":[220,200]}`, nil)
	var said []string
	for _, c := range v.Seen.Canes {
		said = append(said, fmt.Sprintf(`{"cane":%d,"said":"agree"}`, c.ID))
	}
	w.call("POST /api/measurements/:measurement/rulings", m+"/rulings", `{"after":0,"rulings":[`+strings.Join(said, ",")+`]}`, nil)
	w.call("GET /api/measurements/:measurement/choice", m+"/choice", "", nil)
	w.call("POST /api/measurements/:measurement/choice/preview", m+"/choice/preview", `{"wishes":{},"buds":0}`, nil)
	w.call("POST /api/measurements/:measurement/choice", m+"/choice", `{"wishes":{},"buds":0,"after":0}`, nil)
	w.call("POST /api/blocks/:block/rows/:row/vines/:vine/sayings", block+"/rows/4/vines/7/sayings", `{"winter":"`+rules.Present+`","kind":"prunings","payload":{"kg":0.6}}`, nil)
	w.call("GET /api/blocks/:block/rows/:row/vines/:vine", block+"/rows/4/vines/7", "", nil)
	w.call("POST /api/photos/:photo/second", photo+"/second", strings.Replace(body, string(vineJPEG), string(vineJPEG)+"from a step aside", 1), nil, "Content-Type", "multipart/form-data; boundary="+edge)
	w.measured(st.ID)
	w.call("POST /api/photos/:photo/marks", photo+"/marks", `{"a":[100,100],"b":[500,120],"distance_mm":400}`, nil)
	w.measured(st.ID)
	w.call("DELETE /api/photos/:photo", photo, "", nil)
	w.call("POST /api/deleted/:deleted/undelete", fmt.Sprintf("/api/deleted/%d/undelete", st.ID), "", nil)
}

// job walks through a job of many photos.
func (w *walk) job() {
	var j jobView
	w.call("POST /api/jobs", "/api/jobs", `{"name":"Season of the example","check":0.2}`, &j)
	at := fmt.Sprintf("/api/jobs/%d", j.ID)
	const edge = "edgeofparts"
	form := func(fields ...string) string {
		var b strings.Builder
		for i := 0; i+1 < len(fields); i += 2 {
			name, file, _ := strings.Cut(fields[i], ":")
			fmt.Fprintf(&b, "--%s\r\nContent-Disposition: form-data; name=%q", edge, name)
			if file != "" {
				fmt.Fprintf(&b, "; filename=%q", file)
			}
			b.WriteString("\r\n\r\n" + fields[i+1] + "\r\n")
		}
		return b.String() + "--" + edge + "--\r\n"
	}
	kind := []string{"Content-Type", "multipart/form-data; boundary=" + edge}
	w.call("POST /api/jobs/:job/photos", at+"/photos", form("path", "North-1-1.jpg", "photo:a.jpg", string(vineJPEG)), nil, kind...)
	var z bytes.Buffer
	a := zip.NewWriter(&z)
	for name, data := range map[string][]byte{"North-1-2.png": pngOf(w.t, 40, 30), "unnamed.jpg": []byte("no photo"), "notes.txt": []byte("x")} {
		e, err := a.Create(name)
		if err == nil {
			_, err = e.Write(data)
		}
		if err != nil {
			w.t.Fatal(err)
		}
	}
	if err := a.Close(); err != nil {
		w.t.Fatal(err)
	}
	w.call("POST /api/jobs/:job/zip", at+"/zip", form("file:season.zip", z.String()), nil, kind...)
	w.written(j.ID, 3)
	w.call("GET /api/jobs/:job/uploaded", at+"/uploaded", "", nil)
	w.call("GET /api/jobs/:job/photos", at+"/photos?limit=10", "", nil)
	w.call("POST /api/jobs/:job/places", at+"/places", `{"path":"unnamed.jpg","block":"North","row":1,"vine":3}`, nil)
	w.call("POST /api/jobs/:job", at, `{"do":"retry"}`, nil)
	w.written(j.ID, 3)
	w.call("GET /api/jobs", "/api/jobs", "", nil)
	w.call("GET /api/jobs/:job", at, "", nil)
	w.call("GET /api/jobs/:job/events", at+"/events?once=1", "", nil)
	w.call("GET /api/jobs/:job/canes", at+"/canes", "", nil)
	w.call("GET /api/jobs/:job/measurement", at+"/measurement?path=North-1-1.jpg", "", nil)
	var drawn sampleView
	w.call("GET /api/jobs/:job/sample", at+"/sample", "", &drawn)
	if len(drawn.Canes) == 0 {
		w.t.Fatal("no cane was drawn")
	}
	w.call("POST /api/jobs/:job/checks", at+"/checks", fmt.Sprintf(`{"sha256":%q,"cane":%d,"said":"agree"}`, drawn.Canes[0].SHA256, drawn.Canes[0].Cane), nil)
	w.call("GET /api/jobs/:job/files/:name", at+"/files/canes.csv", "", nil)
	w.call("DELETE /api/jobs/:job", at, "", nil)
	if _, err := os.Stat(w.store.JobFolder(j.ID)); !os.IsNotExist(err) {
		w.t.Errorf("the folder of a job that was taken away: %v", err)
	}
}

// written waits until a job's tables are written with so many photos.
func (r *rig) written(job int64, photos int) jobView {
	r.t.Helper()
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		var v jobView
		r.get(fmt.Sprintf("/api/jobs/%d", job), http.StatusOK, &v)
		if v.Fault != "" || v.Doing == jobIdle && v.Written != nil && v.Written.Counts.Done() == photos {
			return v
		}
		if time.Now().After(deadline) {
			r.t.Fatalf("the job is still %s with %+v", v.Doing, v.Counts)
		}
	}
}
