package api

import (
	"slices"
	"time"
)

// Role is what a person is in an estate.
type Role string

// The roles. A person has one in each estate that they belong to.
const (
	Pruner     Role = "pruner"     // photographs, rules on findings, chooses
	Trainee    Role = "trainee"    // photographs and looks; what counts others say
	Trainer    Role = "trainer"    // a pruner who teaches
	Researcher Role = "researcher" // rules and takes data away, doesn't choose
	Manager    Role = "manager"    // all of it, and the people
)

// Roles lists every role, the one with the fewest rights first.
func Roles() []Role { return []Role{Trainee, Pruner, Researcher, Trainer, Manager} }

// Action is what a request does, as far as rights go.
type Action string

// The actions. Public needs no account; Own is of one's own account alone.
const (
	Public  Action = "public"
	Own     Action = "own"
	View    Action = "view"    // read the record of the estate
	Upload  Action = "upload"  // add photos, and marks to measure them by
	Rule    Action = "rule"    // say what counts: rulings, canes pointed out
	Choose  Action = "choose"  // confirm what becomes of the canes
	Blocks  Action = "blocks"  // make and change blocks
	Rules   Action = "rules"   // make and change rule sets and training forms
	Export  Action = "export"  // take data away in bulk
	Jobs    Action = "jobs"    // measure many photos in one job
	Delete  Action = "delete"  // mark as deleted, and take that back
	People  Action = "people"  // members, roles, invitations
	Learn   Action = "learn"   // take part in exercises, and see one's own results
	Teach   Action = "teach"   // have groups, make exercises and judge them
	Operate Action = "operate" // metrics of the service
)

// mayDo is who may do what: the one place where that is said.
var mayDo = map[Action][]Role{
	View:    {Trainee, Pruner, Researcher, Trainer, Manager},
	Upload:  {Trainee, Pruner, Researcher, Trainer, Manager},
	Rule:    {Pruner, Researcher, Trainer, Manager},
	Choose:  {Pruner, Trainer, Manager},
	Blocks:  {Researcher, Trainer, Manager},
	Rules:   {Researcher, Trainer, Manager},
	Export:  {Pruner, Researcher, Trainer, Manager},
	Jobs:    {Researcher, Manager},
	Delete:  {Manager},
	People:  {Manager},
	Learn:   {Trainee, Pruner, Researcher, Trainer, Manager},
	Teach:   {Trainer, Manager},
	Operate: {Manager},
}

// Scope is what a token may be used for; it never gives more than the role of
// whoever made it.
type Scope string

// The scopes.
const (
	ScopeRead    Scope = "read"    // look and export
	ScopeRecord  Scope = "record"  // that, and add to the record
	ScopeMetrics Scope = "metrics" // the metrics alone
)

var scopes = map[Scope][]Action{
	ScopeRead:    {View, Export},
	ScopeRecord:  {View, Export, Upload, Rule, Choose, Blocks, Rules, Jobs, Learn, Teach},
	ScopeMetrics: {Operate},
}

// May tells whether a role gives a right. Whoever has any role has Own.
func (r Role) May(a Action) bool {
	if a == Public || a == Own && slices.Contains(Roles(), r) {
		return true
	}
	return slices.Contains(mayDo[a], r)
}

// routeRules says of each route what it does. A route without a rule answers
// that there is nothing, and a test fails for it. What stands in the address
// is checked too: see addressed in guard.go.
var routeRules = map[string]Action{
	"GET /sign-in":              Public,
	"GET /join/:secret":         Public,
	"GET /healthz":              Public,
	"GET /readyz":               Public,
	"GET /metrics":              Operate,
	"GET /text/:language":       Public,
	"GET /language":             Public,
	"GET /static/*":             Public,
	"GET /worker.js":            Public,
	"GET /manifest.webmanifest": Public,
	"GET /waiting":              Public,
	"GET /offline/photo":        Public,
	"GET /about":                Public,
	"GET /card":                 Public,
	"GET /card/:name":           Public,
	"POST /api/session":         Public,
	"POST /api/join":            Public,
	"DELETE /api/session":       Own,
	"POST /api/join/member":     Own,

	"GET /account":                   Own,
	"POST /api/account/password":     Own,
	"POST /api/account/estate":       Own,
	"DELETE /api/sessions/:session":  Own,
	"POST /api/tokens":               Own,
	"DELETE /api/tokens/:token":      Own,
	"GET /people":                    People,
	"POST /api/invitations":          People,
	"DELETE /api/invitations/:link":  People,
	"POST /api/members/:member":      People,
	"POST /api/members/:member/link": People,
	"POST /api/estate":               People,
	"POST /api/estates":              People,

	"GET /":                                        View,
	"GET /go":                                      View,
	"GET /blocks/new":                              Blocks,
	"GET /blocks/:block":                           View,
	"GET /blocks/:block/:row/:vine":                View,
	"GET /blocks/:block/:row/:vine/photo":          Upload,
	"GET /photos/:photo":                           View,
	"GET /photos/:photo/choice":                    View,
	"GET /photos/:photo/picture/:size":             View,
	"GET /api":                                     Public,
	"GET /api/blocks":                              View,
	"POST /api/blocks":                             Blocks,
	"GET /api/blocks/:block":                       View,
	"GET /api/blocks/:block/rows/:row/vines/:vine": View,
	"POST /api/blocks/:block/rows/:row/vines/:vine/photos": Upload,
	"POST /api/look":                                     Upload,
	"GET /api/photos/:photo":                             View,
	"GET /api/photos/:photo/events":                      View,
	"POST /api/photos/:photo/marks":                      Upload,
	"POST /api/photos/:photo/second":                     Upload,
	"DELETE /api/photos/:photo":                          Delete,
	"POST /api/deleted/:deleted/undelete":                Delete,
	"GET /deleted":                                       Delete,
	"GET /api/measurements/:measurement":                 View,
	"POST /api/measurements/:measurement/preview":        View,
	"POST /api/measurements/:measurement/rulings":        Rule,
	"POST /api/measurements/:measurement/guide":          Rule,
	"GET /api/measurements/:measurement/choice":          View,
	"POST /api/measurements/:measurement/choice/preview": View,
	"POST /api/measurements/:measurement/choice":         Choose,

	"GET /blocks/:block/rules":                              View,
	"GET /blocks/:block/pairs":                              View,
	"GET /blocks/:block/labels":                             View,
	"GET /blocks/:block/labels.pdf":                         View,
	"GET /blocks/:block/figures/:file":                      View,
	"GET /blocks/:block/:row/:vine/plan":                    View,
	"GET /blocks/:block/:row/:vine/plan.pdf":                View,
	"GET /blocks/:block/:row/plan.pdf":                      View,
	"POST /api/blocks/:block/rows/:row/vines/:vine/sayings": Rule,
	"GET /rule-sets/:file":                                  View,
	"GET /api/blocks/:block/rules":                          View,
	"POST /api/blocks/:block/rules":                         Rules,
	"POST /api/blocks/:block/rules/preview":                 View,
	"GET /forms/:file":                                      View,
	"POST /api/forms/read":                                  View,
	"POST /api/rule-sets/read":                              View,
	"POST /api/descriptor-tables":                           Rules,

	"GET /exercises":                                        Learn,
	"GET /exercises/:exercise":                              Learn,
	"GET /exercises/:exercise/sheet.pdf":                    Learn,
	"GET /exercises/:exercise/results":                      Learn,
	"GET /exercises/:exercise/results.pdf":                  Learn,
	"GET /exercises/:exercise/:part":                        Learn,
	"GET /exercises/:exercise/:part/compare":                Learn,
	"GET /groups/:group":                                    Teach,
	"GET /groups/:group/exercise":                           Teach,
	"POST /api/groups":                                      Teach,
	"POST /api/groups/:group/members":                       Teach,
	"POST /api/groups/:group/exercises":                     Teach,
	"GET /api/exercises":                                    Learn,
	"GET /api/exercises/:exercise/figures":                  Learn,
	"POST /api/exercises/:exercise/opening":                 Teach,
	"GET /api/exercises/:exercise/vines/:part":              Learn,
	"POST /api/exercises/:exercise/vines/:part/choices":     Learn,
	"POST /api/exercises/:exercise/vines/:part/withdrawals": Learn,
	"GET /api/exercises/:exercise/vines/:part/comparison":   Learn,
	"GET /api/exercises/:exercise/vines/:part/suggestion":   Learn,
	"POST /api/exercises/:exercise/vines/:part/remarks":     Teach,
	"POST /api/exercises/:exercise/vines/:part/done":        Learn,

	"GET /jobs":                      Jobs,
	"GET /jobs/:job":                 Jobs,
	"GET /jobs/:job/canes":           Jobs,
	"GET /jobs/:job/photo":           Jobs,
	"GET /jobs/:job/picture/:size":   Jobs,
	"GET /api/jobs":                  Jobs,
	"POST /api/jobs":                 Jobs,
	"GET /api/jobs/:job":             Jobs,
	"POST /api/jobs/:job":            Jobs,
	"DELETE /api/jobs/:job":          Delete,
	"GET /api/jobs/:job/events":      Jobs,
	"GET /api/jobs/:job/uploaded":    Jobs,
	"POST /api/jobs/:job/photos":     Jobs,
	"POST /api/jobs/:job/zip":        Jobs,
	"GET /api/jobs/:job/photos":      Jobs,
	"POST /api/jobs/:job/places":     Jobs,
	"GET /api/jobs/:job/canes":       Jobs,
	"GET /api/jobs/:job/measurement": Jobs,
	"GET /api/jobs/:job/sample":      Jobs,
	"POST /api/jobs/:job/checks":     Jobs,
	"GET /api/jobs/:job/files/:name": Jobs,
}

// accountRules are the tunables of accounts.
var accountRules = struct {
	// SessionLasts ends a session however often it is used. Longer spares
	// pruners typing with cold hands; shorter limits what a lost phone is worth.
	SessionLasts time.Duration
	// SessionIdle ends a session that was not used for so long.
	SessionIdle time.Duration
	// LinkLasts is how long a one-time link holds. Longer is handier; shorter
	// limits what a link that was read by others is worth.
	LinkLasts time.Duration
	// TokenLongest is the longest that a token may hold, in days.
	TokenLongest int
	// FreeTries is how many sign-ins may fail before the next has to wait.
	FreeTries int
	// FirstWait doubles with each failure up to LongestWait. Longer slows
	// guessing down more, and lets a stranger keep an account's owner out for
	// longer by failing on purpose.
	FirstWait, LongestWait time.Duration
	// AddressFactor is how many times FreeTries an address has, since many
	// people may share one.
	AddressFactor int
	// LeastPassword and MostPassword bound a password, in characters. NIST SP
	// 800-63B section 5.1.1.2 (2017) asks for at least 8, for a list of common
	// ones to be refused, and for no rules on kinds of characters (from memory).
	LeastPassword, MostPassword int
	// Hashers make or check password hashes at the same time; each takes 64 MiB.
	Hashers int
}{
	SessionLasts: 90 * 24 * time.Hour, SessionIdle: 14 * 24 * time.Hour, LinkLasts: 7 * 24 * time.Hour,
	TokenLongest: 366, FreeTries: 3, FirstWait: 2 * time.Second, LongestWait: 15 * time.Minute, AddressFactor: 5,
	LeastPassword: 10, MostPassword: 200, Hashers: 2,
}
