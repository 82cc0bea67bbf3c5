package api

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nodespan/assess"
	"nodespan/assess/store"
)

// keptInTheClear looks for a text in all files of the record.
func keptInTheClear(r *rig, text string) (bool, error) {
	found := false
	err := filepath.WalkDir(r.store.Dir(), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		found = found || bytes.Contains(data, []byte(text))
		return err
	})
	return found, err
}

const goodPassword = "four canes two wires"

// raw sends JSON from a page with the given cookies, and gives the answer.
func (r *rig) raw(method, path, body string, cookies ...*http.Cookie) *http.Response {
	r.t.Helper()
	q, err := http.NewRequest(method, r.http.URL+path, strings.NewReader(body))
	if err != nil {
		r.t.Fatal(err)
	}
	q.Header.Set("Origin", r.http.URL)
	q.Header.Set(ownHeader, "1")
	q.Header.Set("Content-Type", "application/json")
	for _, k := range cookies {
		q.AddCookie(k)
	}
	a, err := (&http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}).Do(q)
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { a.Body.Close() })
	return a
}

func (r *rig) sessionOf(a *http.Response, want int) *http.Cookie {
	r.t.Helper()
	if a.StatusCode != want {
		var e errorAnswer
		_ = json.NewDecoder(a.Body).Decode(&e)
		r.t.Fatalf("status %d, want %d: %s", a.StatusCode, want, e.Message)
	}
	for _, k := range a.Cookies() {
		if k.Name == r.server.cookieName() {
			return k
		}
	}
	r.t.Fatal("no session cookie")
	return nil
}

// firstAccount uses a one-time link to make a manager's account.
func (r *rig) firstAccount(name string) *http.Cookie {
	r.t.Helper()
	link, err := NewLink(r.t.Context(), r.store, store.FirstEstate, Manager, 0, "test")
	if err != nil {
		r.t.Fatal(err)
	}
	body, err := json.Marshal(map[string]string{"secret": strings.TrimPrefix(link, "/join/"), "name": name, "password": goodPassword})
	if err != nil {
		r.t.Fatal(err)
	}
	return r.sessionOf(r.raw("POST", "/api/join", string(body)), http.StatusCreated)
}

// The first link makes an account once; its session works, is replaced at the
// next sign-in, and is worth nothing after signing out.
func TestSessions(t *testing.T) {
	r := newRig(t)
	link, err := NewLink(t.Context(), r.store, store.FirstEstate, Manager, 0, "test")
	if err != nil {
		t.Fatal(err)
	}
	secret := strings.TrimPrefix(link, "/join/")
	if a := r.raw("GET", link, ""); a.StatusCode != http.StatusOK {
		t.Fatalf("the link's page: %d", a.StatusCode)
	}
	body := `{"secret":"` + secret + `","name":"Ada","password":"` + goodPassword + `"}`
	first := r.sessionOf(r.raw("POST", "/api/join", body), http.StatusCreated)
	if !first.HttpOnly || first.SameSite != http.SameSiteLaxMode || first.Path != "/" || first.Domain != "" {
		t.Errorf("cookie %+v", first)
	}
	for _, path := range []string{"/api/join", link} {
		method := map[bool]string{true: "POST", false: "GET"}[path == "/api/join"]
		if a := r.raw(method, path, strings.Replace(body, "Ada", "Eve", 1)); a.StatusCode != http.StatusNotFound {
			t.Errorf("%s %s: %d, want a link that was used to be gone", method, path, a.StatusCode)
		}
	}
	// Nothing that was kept gives the secrets away.
	for _, s := range []string{secret, first.Value, goodPassword} {
		if n, err := keptInTheClear(r, s); err != nil || n {
			t.Errorf("a secret is kept in the clear: %v, %v", n, err)
		}
	}
	second := r.sessionOf(r.raw("POST", "/api/session", `{"name":"ada","password":"`+goodPassword+`"}`, first), http.StatusCreated)
	if second.Value == first.Value {
		t.Error("the session wasn't renewed")
	}
	if a := r.raw("GET", "/api/blocks", "", first); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("the session before: %d, want it ended", a.StatusCode)
	}
	if a := r.raw("GET", "/api/blocks", "", second); a.StatusCode != http.StatusOK {
		t.Errorf("the new session: %d", a.StatusCode)
	}
	// Another browser; this one changes the password, which ends that one.
	third := r.sessionOf(r.raw("POST", "/api/session", `{"name":"Ada","password":"`+goodPassword+`"}`), http.StatusCreated)
	if a := r.raw("POST", "/api/account/password", `{"now":"wrong wrong wrong","next":"another good one here"}`, second); a.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("another password without the present one: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/account/password", `{"now":"`+goodPassword+`","next":"another good one here"}`, second); a.StatusCode != http.StatusNoContent {
		t.Errorf("another password: %d", a.StatusCode)
	}
	if a := r.raw("GET", "/api/blocks", "", third); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("the other browser: %d, want it signed out", a.StatusCode)
	}
	if a := r.raw("DELETE", "/api/session", "", second); a.StatusCode != http.StatusNoContent {
		t.Errorf("signing out: %d", a.StatusCode)
	}
	if a := r.raw("GET", "/api/blocks", "", second); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("after signing out: %d", a.StatusCode)
	}
	if a := r.raw("GET", "/blocks/1?row=3", ""); a.StatusCode != http.StatusSeeOther || a.Header.Get("Location") != "/sign-in?to=%2Fblocks%2F1%3Frow%3D3" {
		t.Errorf("a page without a session: %d to %q", a.StatusCode, a.Header.Get("Location"))
	}
}

// By https the cookie is Secure and bound to the host.
func TestCookieByHTTPS(t *testing.T) {
	s := &Server{access: Access{TLS: true}}
	if s.cookieName() != "__Host-nodespan_session" || !s.access.secure() {
		t.Errorf("cookie %q", s.cookieName())
	}
}

// Where to go after signing in is a page of this service, whatever is asked.
func TestOwnPath(t *testing.T) {
	for to, want := range map[string]string{
		"/blocks/1": "/blocks/1", "": "/", "https://elsewhere.example": "/", "//elsewhere.example": "/", `/\elsewhere.example`: "/", "/\t/x": "/", "blocks": "/",
	} {
		if got := ownPath(to); got != want {
			t.Errorf("ownPath(%q) = %q, want %q", to, got, want)
		}
	}
}

// A wrong password and a missing account are answered alike, and after a few
// failures the next try waits, also with the right password; guessing at many
// accounts from one address waits too.
func TestSlowDown(t *testing.T) {
	r := newRig(t)
	r.firstAccount("Ada")
	answer := func(name, password string) (int, string, string) {
		a := r.raw("POST", "/api/session", `{"name":"`+name+`","password":"`+password+`"}`)
		var e errorAnswer
		_ = json.NewDecoder(a.Body).Decode(&e)
		return a.StatusCode, e.Message, a.Header.Get("Retry-After")
	}
	s1, m1, _ := answer("Ada", "not the password")
	s2, m2, _ := answer("Nobody", "not the password")
	if s1 != s2 || m1 != m2 || s1 != http.StatusUnprocessableEntity {
		t.Errorf("wrong password: %d %s; no account: %d %s", s1, m1, s2, m2)
	}
	for range accountRules.FreeTries - 1 {
		answer("Ada", "not the password")
	}
	status, _, after := answer("Ada", goodPassword)
	if status != http.StatusTooManyRequests || after == "" {
		t.Errorf("after %d failures: %d, Retry-After %q; want to wait", accountRules.FreeTries, status, after)
	}
	time.Sleep(accountRules.FirstWait)
	if status, m, _ := answer("Ada", goodPassword); status != http.StatusCreated {
		t.Errorf("after the wait: %d %s", status, m)
	}
	// Good sign-ins of many people behind one address don't count against it.
	for range accountRules.FreeTries * accountRules.AddressFactor {
		if status, m, _ := answer("Ada", goodPassword); status != http.StatusCreated {
			t.Fatalf("a good sign-in after others: %d %s", status, m)
		}
	}
	status = 0
	for i := range accountRules.FreeTries*accountRules.AddressFactor + 1 {
		status, _, _ = answer("person "+string(rune('a'+i)), "x")
	}
	if status != http.StatusTooManyRequests {
		t.Errorf("many accounts from one address: %d, want to wait", status)
	}
	for n, want := range map[int]time.Duration{0: 0, 2: 0, 3: 2 * time.Second, 4: 4 * time.Second, 6: 16 * time.Second, 40: 15 * time.Minute, 4000: 15 * time.Minute} {
		if got := waitAfter(n, 3); got != want {
			t.Errorf("wait after %d failures: %v, want %v", n, got, want)
		}
	}
}

func TestPasswords(t *testing.T) {
	for password, ok := range map[string]bool{
		goodPassword: true, "Reben am Hang 7": true, "короткая лоза": true,
		"short": false, "password": false, "password12": false, "Password123!": false, "1234567890": false, "qwertyuiop": false,
		"aaaaaaaaaaaa": false, "abcdefghijkl": false, "nodespan2026": false, "xx Ada Lind xx": false, "iloveyou!!": false, "P@ssw0rd12": false,
		strings.Repeat("long ", 50): false,
	} {
		if err := checkPassword(password, "Ada Lind"); (err == nil) != ok {
			t.Errorf("%q: %v, want accepted %v", password, err, ok)
		}
	}
}

// What is kept of a password is argon2id by RFC 9106, section 4: at least its
// second recommendation (three passes, 64 MiB, four lanes, 128 bits of salt,
// 256 bits of result), and another text each time.
func TestPasswordHash(t *testing.T) {
	tests := hashing
	hashing = usualHashing
	defer func() { hashing = tests }()
	s := &Server{hashers: make(chan struct{}, 1)}
	a, err := s.hashPassword(t.Context(), goodPassword)
	if err != nil {
		t.Fatal(err)
	}
	b, err := s.hashPassword(t.Context(), goodPassword)
	if err != nil || a == b || !strings.HasPrefix(a, "$argon2id$v=19$m=65536,t=3,p=4$") || strings.Contains(a, goodPassword) {
		t.Errorf("%s and %s, %v", a, b, err)
	}
	for password, want := range map[string]bool{goodPassword: true, goodPassword + " ": false, "": false} {
		if ok, err := s.passwordIs(t.Context(), password, a); ok != want || err != nil {
			t.Errorf("%q: %v %v, want %v", password, ok, err, want)
		}
	}
	if ok, err := s.passwordIs(t.Context(), "nobody's password", ""); ok || err != nil {
		t.Errorf("an account without a password can be signed in to: %v %v", ok, err)
	}
}

// A token does what its scope and its maker's role allow, until it is revoked.
func TestTokens(t *testing.T) {
	r := newRig(t)
	r.view()
	k := r.firstAccount("Grace")
	make := func(body string) string {
		a := r.raw("POST", "/api/tokens", body, k)
		var out struct{ Token string }
		if err := json.NewDecoder(a.Body).Decode(&out); err != nil || a.StatusCode != http.StatusCreated {
			t.Fatalf("%s: %d, %v", body, a.StatusCode, err)
		}
		return "Bearer " + out.Token
	}
	for _, bad := range []string{`{"name":"x","scope":"people","days":9}`, `{"name":"x","scope":"read","days":0}`, `{"name":"x","scope":"read","days":9999}`, `{"name":"","scope":"read","days":9}`} {
		if a := r.raw("POST", "/api/tokens", bad, k); a.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", bad, a.StatusCode)
		}
	}
	read, record, metrics := make(`{"name":"sheet","scope":"read","days":9}`), make(`{"name":"camera","scope":"record","days":9}`), make(`{"name":"monitor","scope":"metrics","days":9}`)
	r.who = ""
	ruling := `{"after":0,"rulings":[{"cane":1,"said":"agree"}]}`
	for _, c := range []struct {
		token, method, path, body string
		status                    int
	}{
		{read, "GET", "/api/blocks", "", 200},
		{read, "POST", "/api/measurements/1/rulings", ruling, 403},
		{record, "POST", "/api/measurements/1/rulings", ruling, 201},
		{record, "POST", "/api/invitations", `{"role":"manager"}`, 403},
		{record, "GET", "/account", "", 403},
		{record, "POST", "/api/tokens", `{"name":"more","scope":"read","days":9}`, 403},
		{metrics, "GET", "/metrics", "", 200},
		{metrics, "GET", "/api/blocks", "", 403},
		{"Bearer nonsense", "GET", "/api/blocks", "", 401},
	} {
		// Without any sign of a page: a program sends none.
		status, text := r.do(c.method, c.path, strings.NewReader(c.body), "Authorization", c.token, ownHeader, "", "Origin", "", "Sec-Fetch-Site", "")
		if status != c.status {
			t.Errorf("%s %s with %.20s: %d, want %d: %.100s", c.method, c.path, c.token, status, c.status, text)
		}
	}
	if all, err := r.store.Rulings(t.Context(), 1); err != nil || len(all) != 1 || all[0].Who != "Grace" {
		t.Errorf("rulings %+v, %v; want one by the token's maker", all, err)
	}
	if a := r.raw("DELETE", "/api/tokens/1", "", k); a.StatusCode != http.StatusNoContent {
		t.Errorf("revoking: %d", a.StatusCode)
	}
	if status, _ := r.do("GET", "/api/blocks", nil, "Authorization", read); status != http.StatusUnauthorized {
		t.Errorf("a revoked token: %d", status)
	}
	if has, err := keptInTheClear(r, strings.TrimPrefix(read, "Bearer ")); err != nil || has {
		t.Errorf("a token is kept in the clear: %v %v", has, err)
	}
}

// Inviting, changing a role, taking somebody out, a new password by link, and
// the last manager who stays.
func TestPeople(t *testing.T) {
	r := newRig(t)
	ada := r.firstAccount("Ada")
	var made struct{ Link string }
	invite := func(path, body string) string {
		a := r.raw("POST", path, body, ada)
		if err := json.NewDecoder(a.Body).Decode(&made); err != nil || a.StatusCode != http.StatusCreated {
			t.Fatalf("%s: %d %v", path, a.StatusCode, err)
		}
		if !strings.HasPrefix(made.Link, r.http.URL+"/join/") {
			t.Fatalf("link %q", made.Link)
		}
		return strings.TrimPrefix(made.Link, r.http.URL+"/join/")
	}
	secret := invite("/api/invitations", `{"role":"trainee"}`)
	ben := r.sessionOf(r.raw("POST", "/api/join", `{"secret":"`+secret+`","name":"Ben","password":"`+goodPassword+`"}`), http.StatusCreated)
	if a := r.raw("POST", "/api/blocks", `{}`, ben); a.StatusCode != http.StatusForbidden {
		t.Errorf("a trainee makes a block: %d", a.StatusCode)
	}
	// The name is taken, whatever the case; a link that failed still holds.
	secret = invite("/api/invitations", `{"role":"pruner"}`)
	if a := r.raw("POST", "/api/join", `{"secret":"`+secret+`","name":"BEN","password":"`+goodPassword+`"}`); a.StatusCode != http.StatusConflict {
		t.Errorf("a name that is taken: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/members/2", `{"role":"trainer"}`, ada); a.StatusCode != http.StatusNoContent {
		t.Errorf("another role: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/blocks", `{"training_form":"two-cane"}`, ben); a.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a trainer makes a block without a name: %d, want to hear what is missing", a.StatusCode)
	}
	for _, role := range []string{"pruner", ""} {
		if a := r.raw("POST", "/api/members/1", `{"role":"`+role+`"}`, ada); a.StatusCode != http.StatusConflict {
			t.Errorf("the last manager becomes %q: %d, want a refusal", role, a.StatusCode)
		}
	}
	secret = invite("/api/members/2/link", `{}`)
	r.sessionOf(r.raw("POST", "/api/join", `{"secret":"`+secret+`","password":"another good one here"}`), http.StatusCreated)
	if a := r.raw("GET", "/api/blocks", "", ben); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("a session from before the new password: %d", a.StatusCode)
	}
	ben = r.sessionOf(r.raw("POST", "/api/session", `{"name":"Ben","password":"another good one here"}`), http.StatusCreated)
	if a := r.raw("POST", "/api/members/2", `{"role":""}`, ada); a.StatusCode != http.StatusNoContent {
		t.Errorf("taken out: %d", a.StatusCode)
	}
	if a := r.raw("GET", "/api/blocks", "", ben); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("after being taken out: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/session", `{"name":"Ben","password":"another good one here"}`); a.StatusCode != http.StatusForbidden {
		t.Errorf("signing in after being taken out: %d", a.StatusCode)
	}
	// An account that is closed is out at once, whatever it holds.
	secret = invite("/api/invitations", `{"role":"pruner"}`)
	cay := r.sessionOf(r.raw("POST", "/api/join", `{"secret":"`+secret+`","name":"Cay","password":"`+goodPassword+`"}`), http.StatusCreated)
	if err := r.store.CloseAccount(t.Context(), 3, false); err != nil {
		t.Fatal(err)
	}
	if a := r.raw("GET", "/api/blocks", "", cay); a.StatusCode != http.StatusUnauthorized {
		t.Errorf("a closed account: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/session", `{"name":"Cay","password":"`+goodPassword+`"}`); a.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a closed account signs in: %d", a.StatusCode)
	}
	if err := r.store.CloseAccount(t.Context(), 3, true); err != nil {
		t.Fatal(err)
	}
	r.sessionOf(r.raw("POST", "/api/session", `{"name":"Cay","password":"`+goodPassword+`"}`), http.StatusCreated)
	if a := r.raw("POST", "/api/estates", `{"name":"Second"}`, ada); a.StatusCode != http.StatusCreated {
		t.Errorf("another estate: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/account/estate", `{"estate":1}`, ada); a.StatusCode != http.StatusNoContent {
		t.Errorf("back to the first: %d", a.StatusCode)
	}
	if a := r.raw("POST", "/api/account/estate", `{"estate":99}`, ada); a.StatusCode != http.StatusNotFound {
		t.Errorf("an estate that isn't there: %d", a.StatusCode)
	}
	if _, err := NewLink(t.Context(), r.store, 1, "owner", 0, "x"); assess.ErrorCode(err) != assess.EInvalid {
		t.Errorf("a role that isn't one: %v", err)
	}
}
