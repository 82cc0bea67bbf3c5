package api

import (
	"net/http"

	"nodespan/assess"
)

// An operation describes one call of the API: the published description is made
// of these and of the Go types that handlers read and write, so that it can't
// tell of other fields than there are.
type operation struct {
	route  string // as in routeRules
	what   string // one sentence
	query  []param
	in     any    // body of the request, nil for none
	form   []part // parts of a multipart request instead
	status int    // of success
	out    any    // body of the answer, nil for none
	kind   string // content type of the answer where it isn't JSON
}

type param struct{ name, what, kind string }

type part struct{ name, what string }

// Answers that handlers write as maps.
type (
	nameAnswer struct {
		Name string `json:"name"`
	}
	tokenAnswer struct {
		Token string `json:"token"`
	}
	linkAnswer struct {
		Link string `json:"link"`
		Days int    `json:"days"`
	}
	estateAnswer struct {
		ID   int64  `json:"id"`
		Name string `json:"name"`
	}
	signInAnswer struct {
		Name   string `json:"name"`
		Estate string `json:"estate"`
		Role   string `json:"role"`
	}
	traceAnswer struct {
		Trace int64       `json:"trace"`
		Cane  assess.Cane `json:"cane"`
	}
	ruleSetAnswer struct {
		Rules assess.RuleSet `json:"rule_set"`
	}
	formAnswer struct {
		Form assess.Form `json:"form"`
	}
	tableAnswer struct {
		Table assess.DescriptorTable `json:"table"`
	}
	changedAnswer struct {
		Rules  rulesView `json:"rules"`
		Blocks int       `json:"blocks"`
	}
	choiceAnswer struct {
		Seq  int    `json:"seq"`
		Who  string `json:"who"`
		When string `json:"when" jsonschema:"format=date-time"`
		Vine string `json:"vine"`
	}
	sayingAnswer struct {
		ID   int64  `json:"id"`
		Who  string `json:"who"`
		When string `json:"when" jsonschema:"format=date-time"`
	}
	// anything is JSON whose inner form belongs to the pages.
	anything map[string]any
)

// Bodies that handlers read into structs of their own.
type (
	secretIn struct {
		Secret string `json:"secret"`
	}
	roleIn struct {
		Role Role `json:"role"`
	}
	nameIn struct {
		Name string `json:"name"`
	}
	blockIn struct {
		Name         string `json:"name"`
		Rows         int    `json:"rows"`
		VinesPerRow  int    `json:"vines_per_row"`
		Southern     bool   `json:"southern,omitempty"`
		TrainingForm string `json:"training_form"`
	}
	signInIn struct {
		Name     string `json:"name"`
		Password string `json:"password"`
	}
	joinIn struct {
		Secret   string `json:"secret"`
		Name     string `json:"name"`
		Password string `json:"password"`
	}
	passwordIn struct {
		Now  string `json:"now"`
		Next string `json:"next"`
	}
	estateIn struct {
		Estate int64 `json:"estate"`
	}
	tokenIn struct {
		Name  string `json:"name"`
		Scope Scope  `json:"scope"`
		Days  int    `json:"days"`
	}
	marksIn struct {
		A          assess.Point `json:"a"`
		B          assess.Point `json:"b"`
		DistanceMM float64      `json:"distance_mm,omitempty"`
		DistanceIn float64      `json:"distance_in,omitempty"`
	}
	guideIn struct {
		Base assess.Point   `json:"base"`
		Tip  assess.Point   `json:"tip"`
		Via  []assess.Point `json:"via,omitempty"`
	}
	oneRuling struct {
		Cane       int            `json:"cane"`
		Said       assess.Said    `json:"said"`
		Kind       assess.Kind    `json:"kind,omitempty"`
		Finding    assess.Finding `json:"finding,omitempty"`
		Nodes      []assess.Node  `json:"nodes,omitempty"`
		DiameterMM float64        `json:"diameter_mm_by_hand,omitempty"`
		DiameterIn float64        `json:"diameter_in_by_hand,omitempty"`
		Trace      int64          `json:"trace,omitempty"`
		Note       string         `json:"note,omitempty"`
	}
	rulingsIn struct {
		After   int         `json:"after"`
		Rulings []oneRuling `json:"rulings"`
	}
	chooseIn struct {
		Wishes assess.Wishes `json:"wishes"`
		Buds   int           `json:"buds"`
		After  int           `json:"after"`
	}
	sayingIn struct {
		Winter  string   `json:"winter"`
		Kind    string   `json:"kind"`
		Cane    int      `json:"cane,omitempty"`
		Payload anything `json:"payload"`
	}
	changeRulesIn struct {
		After   int            `json:"after"`
		Rules   assess.RuleSet `json:"rule_set"`
		Form    string         `json:"training_form"`
		Own     *assess.Form   `json:"form,omitempty"` // instead of one that is known by name
		Winter  string         `json:"winter"`
		Variety string         `json:"variety"`
		Spacing float64        `json:"spacing_m"`
		Divided bool           `json:"divided"`
		Formula string         `json:"formula"`
		Wood    woodIn         `json:"wood,omitempty"`
		All     bool           `json:"whole_variety,omitempty"`
	}
)

// operations lists every call under /api. A route that isn't here fails a test.
var operations = []operation{
	{route: "GET /api", what: "This description.", status: http.StatusOK, out: anything{}},

	{route: "POST /api/session", what: "Sign in; the answer sets the session's cookie. Programs use a token instead.", in: signInIn{}, status: http.StatusCreated, out: signInAnswer{}},
	{route: "DELETE /api/session", what: "Sign out.", status: http.StatusNoContent},
	{route: "POST /api/join", what: "Use a one-time link: make an account, or choose a new password.", in: joinIn{}, status: http.StatusCreated, out: nameAnswer{}},
	{route: "POST /api/join/member", what: "Join another estate by a one-time link, with the account that is signed in.", in: secretIn{}, status: http.StatusCreated, out: nameAnswer{}},
	{route: "POST /api/account/password", what: "Take another password.", in: passwordIn{}, status: http.StatusNoContent},
	{route: "POST /api/account/estate", what: "Turn to another of one's estates.", in: estateIn{}, status: http.StatusNoContent},
	{route: "DELETE /api/sessions/:session", what: "End one of one's own sessions.", status: http.StatusNoContent},
	{route: "POST /api/tokens", what: "Make a token for a program. It is shown in this answer and never again; send it as Authorization: Bearer TOKEN.", in: tokenIn{}, status: http.StatusCreated, out: tokenAnswer{}},
	{route: "DELETE /api/tokens/:token", what: "Revoke one of one's own tokens.", status: http.StatusNoContent},
	{route: "POST /api/invitations", what: "Make a one-time link by which somebody joins the estate in a role.", in: roleIn{}, status: http.StatusCreated, out: linkAnswer{}},
	{route: "DELETE /api/invitations/:link", what: "Withdraw a one-time link.", status: http.StatusNoContent},
	{route: "POST /api/members/:member", what: "Give a member another role, or none.", in: roleIn{}, status: http.StatusNoContent},
	{route: "POST /api/members/:member/link", what: "Make a link by which a member chooses a new password.", status: http.StatusCreated, out: linkAnswer{}},
	{route: "POST /api/estate", what: "Give the estate a name.", in: nameIn{}, status: http.StatusNoContent},
	{route: "POST /api/estates", what: "Make another estate, whose manager one is.", in: nameIn{}, status: http.StatusCreated, out: estateAnswer{}},

	{route: "GET /api/blocks", what: "The estate's blocks.", status: http.StatusOK, out: []blockView{}},
	{route: "POST /api/blocks", what: "Make a block.", in: blockIn{}, status: http.StatusCreated, out: blockView{}},
	{route: "GET /api/blocks/:block", what: "One block.", status: http.StatusOK, out: blockView{}},
	{route: "GET /api/blocks/:block/rows/:row/vines/:vine", what: "A vine's winters: photos, confirmed canes and the choice.", status: http.StatusOK, out: anything{}},
	{route: "POST /api/blocks/:block/rows/:row/vines/:vine/photos", what: "Send one photo of a vine. It is kept when the answer comes; measuring follows.", form: []part{{"photo", "the file: JPEG, PNG or WebP"}, {"winter", "such as 2026/27; the present one without"}}, status: http.StatusCreated, out: photoState{}},
	{route: "POST /api/blocks/:block/rows/:row/vines/:vine/sayings", what: "Say something of a vine in a winter: mass of prunings or harvest in kg, what a cane grew from, where the head is on a photo, that it was pruned. A payload of null takes it back.", in: sayingIn{}, status: http.StatusCreated, out: sayingAnswer{}},
	{route: "GET /api/blocks/:block/rules", what: "By what a block is judged and to what it is pruned.", status: http.StatusOK, out: rulesView{}},
	{route: "POST /api/blocks/:block/rules", what: "Change that, from a winter on.", in: changeRulesIn{}, status: http.StatusOK, out: changedAnswer{}},
	{route: "POST /api/blocks/:block/rules/preview", what: "What another rule set would change among the block's canes; nothing is kept.", in: ruleSetAnswer{}, status: http.StatusOK, out: anything{}},
	{route: "POST /api/rule-sets/read", what: "Read a rule set from the text of a file; nothing is kept.", in: fileIn{}, status: http.StatusOK, out: ruleSetAnswer{}},
	{route: "POST /api/forms/read", what: "Read a training form from the text of a file; nothing is kept.", in: fileIn{}, status: http.StatusOK, out: formAnswer{}},
	{route: "POST /api/descriptor-tables", what: "Keep a descriptor table from the text of a file.", in: fileIn{}, status: http.StatusCreated, out: tableAnswer{}},

	{route: "POST /api/groups", what: "Make a group of one's own for exercises.", in: nameIn{}, status: http.StatusCreated, out: groupAnswer{}},
	{route: "POST /api/groups/:group/members", what: "Put a member of the estate into a group, or take one out.", in: groupMemberIn{}, status: http.StatusNoContent},
	{route: "POST /api/groups/:group/exercises", what: "Give a group an exercise of vines as they are now. mode says what is shown before choosing: photo, measurements or findings; judging is blind or review.", in: exerciseIn{}, status: http.StatusCreated, out: exerciseView{}},
	{route: "GET /api/exercises", what: "The exercises in which one takes part, the latest first.", status: http.StatusOK, out: []exerciseView{}},
	{route: "GET /api/exercises/:exercise/figures", what: "How far a participant's choices agree with the trainer's, by kind of decision, over time, and what recurs. Figures with too few decisions have no share and no kappa.", query: []param{{"who", "a participant's account, for the trainer; one's own without", "integer"}}, status: http.StatusOK, out: figuresView{}},
	{route: "POST /api/exercises/:exercise/opening", what: "Let participants see what became of the choices that they sealed.", status: http.StatusOK, out: exerciseView{}},
	{route: "GET /api/exercises/:exercise/vines/:part", what: "What is shown of a vine to choose by, and nothing else.", query: []param{{"about", "a participant's account, for a trainer who goes through that one's choice", "integer"}}, status: http.StatusOK, out: attemptView{}},
	{route: "POST /api/exercises/:exercise/vines/:part/choices", what: "Seal a choice with the present time, or pass on the vine. after is how many attempts one made before; buds are worked out from where the last bud was tapped.", query: []param{{"about", "as above", "integer"}}, in: sealIn{}, status: http.StatusCreated, out: sealedView{}},
	{route: "POST /api/exercises/:exercise/vines/:part/withdrawals", what: "Withdraw a sealed choice of one's own; it stays on record, and another can be made.", in: withdrawIn{}, status: http.StatusNoContent},
	{route: "GET /api/exercises/:exercise/vines/:part/comparison", what: "A participant's choice beside the trainer's, once both may be seen.", query: []param{{"who", "a participant's account, for the trainer", "integer"}}, status: http.StatusOK, out: comparisonView{}},
	{route: "GET /api/exercises/:exercise/vines/:part/suggestion", what: "The program's suggestion beside a participant's choice, once both may be seen.", query: []param{{"who", "a participant's account, for the trainer", "integer"}}, status: http.StatusOK, out: suggestionView{}},
	{route: "POST /api/exercises/:exercise/vines/:part/remarks", what: "Leave a word or an arrow on a participant's choice, or take one back.", query: []param{{"who", "a participant's account", "integer"}}, in: remarkIn{}, status: http.StatusCreated, out: comparisonView{}},
	{route: "POST /api/exercises/:exercise/vines/:part/done", what: "Put a photo taken after pruning beside a choice, with what was done.", query: []param{{"who", "a participant's account, for the trainer", "integer"}}, in: doneIn{}, status: http.StatusCreated, out: comparisonView{}},

	{route: "GET /api/jobs", what: "The estate's jobs of many photos, the newest first.", status: http.StatusOK, out: []jobView{}},
	{route: "POST /api/jobs", what: "Make a job. pattern tells how its photos are named, such as {block}-{row}-{vine}[-{stance}]; check is the wanted precision of the error rate, 0 for no sample.", in: jobIn{}, status: http.StatusCreated, out: jobView{}},
	{route: "GET /api/jobs/:job", what: "How a job goes on, and what was written.", status: http.StatusOK, out: jobView{}},
	{route: "POST /api/jobs/:job", what: "Pause, resume or retry a job, or change its settings; a field that isn't there stays.", in: jobChange{}, status: http.StatusOK, out: jobView{}},
	{route: "DELETE /api/jobs/:job", what: "Take a job away for good, with its photos and tables.", status: http.StatusNoContent},
	{route: "GET /api/jobs/:job/events", what: "How a job goes on, as a stream of events; with once, one event.", query: []param{{"once", "1 for one event", "string"}}, status: http.StatusOK, kind: "text/event-stream"},
	{route: "GET /api/jobs/:job/uploaded", what: "The photos that a job has, with their size in bytes.", status: http.StatusOK, out: map[string]int64{}},
	{route: "POST /api/jobs/:job/photos", what: "Send one photo into a job.", form: []part{{"path", "its path below the job's folder"}, {"photo", "the file"}}, status: http.StatusCreated, out: placedAnswer{}},
	{route: "POST /api/jobs/:job/zip", what: "Send a zip file with photos into a job.", form: []part{{"file", "the zip file"}}, status: http.StatusCreated, out: zipAnswer{}},
	{route: "GET /api/jobs/:job/photos", what: "What became of each photo, by path.", query: []param{{"after", "the last path that one has", "string"}, {"limit", "at most so many, up to 1000; 200 without", "integer"}}, status: http.StatusOK, out: []outcomeLine{}},
	{route: "POST /api/jobs/:job/places", what: "Say to which vine a photo belongs.", in: placeIn{}, status: http.StatusNoContent},
	{route: "GET /api/jobs/:job/canes", what: "The table of all canes by columns; a text is its place in the list of texts.", status: http.StatusOK, out: caneColumns{}},
	{route: "GET /api/jobs/:job/measurement", what: "What was seen on one photo.", query: []param{{"path", "the photo's path", "string"}}, status: http.StatusOK, out: jobMeasurementView{}},
	{route: "GET /api/jobs/:job/sample", what: "The canes drawn for checking by hand, and the error rate so far.", status: http.StatusOK, out: sampleView{}},
	{route: "POST /api/jobs/:job/checks", what: "Say of a drawn cane: agree, correct or reject.", in: checkIn{}, status: http.StatusNoContent},
	{route: "GET /api/jobs/:job/files/:name", what: "One of the written files, such as canes.csv or canes.parquet.", status: http.StatusOK, kind: "application/octet-stream"},

	{route: "GET /api/photos/:photo", what: "Where a photo stands: waiting, measuring, measured, refused or failed.", status: http.StatusOK, out: photoState{}},
	{route: "GET /api/photos/:photo/events", what: "The same as a stream of events, until it is measured.", status: http.StatusOK, kind: "text/event-stream"},
	{route: "POST /api/look", what: "What would make a better photo, seen quickly on a small copy of it; nothing is kept.", query: []param{{"full", "longer side of the photo that the copy was made of, px", "integer"}},
		form: []part{{"photo", "the copy: a JPEG, PNG or WebP file of up to 4 MB"}}, status: http.StatusOK, out: assess.Look{}},
	{route: "POST /api/photos/:photo/marks", what: "Measure a photo anew by two marks of known distance.", in: marksIn{}, status: http.StatusAccepted, out: photoState{}},
	{route: "POST /api/photos/:photo/second", what: "Send a second photo of the same vine from a step aside, the card left hanging; the first is then measured anew with both, and what was said of its canes comes over.", form: []part{{"photo", "the file: JPEG, PNG or WebP"}}, status: http.StatusCreated, out: photoState{}},
	{route: "DELETE /api/photos/:photo", what: "Mark a photo as deleted; nothing is lost by it.", status: http.StatusNoContent},
	{route: "POST /api/deleted/:deleted/undelete", what: "Bring a photo back that was marked as deleted.", status: http.StatusNoContent},
	{route: "GET /api/measurements/:measurement", what: "A measurement with its rulings and what they confirm.", status: http.StatusOK, out: measurementView{}},
	{route: "POST /api/measurements/:measurement/preview", what: "What a cane would be with a ruling; nothing is kept.", in: oneRuling{}, status: http.StatusOK, out: rulingPreview{}},
	{route: "POST /api/measurements/:measurement/rulings", what: "Keep rulings, all or none. after is the number of the last ruling that one has seen.", in: rulingsIn{}, status: http.StatusCreated, out: measurementView{}},
	{route: "POST /api/measurements/:measurement/guide", what: "Trace a cane from base to tip, one that was missed, or one whose line was pulled; through each place of via.", in: guideIn{}, status: http.StatusCreated, out: traceAnswer{}},
	{route: "GET /api/measurements/:measurement/choice", what: "What is suggested to become of each confirmed cane.", status: http.StatusOK, out: choiceView{}},
	{route: "POST /api/measurements/:measurement/choice/preview", what: "The choice with wishes; nothing is kept.", in: wishesIn{}, status: http.StatusOK, out: choiceView{}},
	{route: "POST /api/measurements/:measurement/choice", what: "Confirm the choice. after is its number that one has seen, 0 for none.", in: chooseIn{}, status: http.StatusCreated, out: choiceAnswer{}},
}
