package api

import (
	"context"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/alexedwards/argon2id"
	"github.com/trustelem/zxcvbn/frequency"

	"nodespan/assess"
)

// hashing is how passwords are hashed: argon2id with 64 MiB, three passes and
// four lanes, the second recommendation of RFC 9106 section 4. The figures are
// kept with each hash, so a change here leaves old ones usable.
var hashing = &argon2id.Params{Memory: 64 << 10, Iterations: 3, Parallelism: 4, SaltLength: 16, KeyLength: 32} // memory in KiB

// commonPasswords are the 30,000 most common ones in published leaks.
var commonPasswords = sync.OnceValue(func() map[string]bool {
	out := map[string]bool{}
	for _, p := range frequency.FrequencyLists["passwords"] {
		out[p] = true
	}
	return out
})

// checkPassword returns EInvalid, with what to do, for a password that would
// be guessed soon. name is the person's.
func checkPassword(password, name string) error {
	n := utf8.RuneCountInString(password)
	lower := strings.ToLower(password)
	// What stands around the middle of a common one hardly hides it.
	core := strings.TrimFunc(lower, func(r rune) bool { return !unicode.IsLetter(r) })
	plainer := strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i").Replace(lower)
	common := commonPasswords()
	switch {
	case !utf8.ValidString(password):
		return assess.Errorf(assess.EInvalid, "The password has signs in it that can't be read. Type another one.")
	case n < accountRules.LeastPassword:
		return assess.Errorf(assess.EInvalid, "A password needs at least %d characters. Several words that don't belong together are easy to keep in mind.", accountRules.LeastPassword)
	case n > accountRules.MostPassword:
		return assess.Errorf(assess.EInvalid, "A password has at most %d characters. Choose a shorter one.", accountRules.MostPassword)
	case common[lower] || common[core] && n-utf8.RuneCountInString(core) <= 5 || common[plainer] || fewSigns(lower):
		return assess.Errorf(assess.EInvalid, "This password is one of those that are tried first. Choose another one, for example several words that don't belong together.")
	case name != "" && (strings.Contains(lower, strings.ToLower(name)) || strings.HasPrefix(lower, "nodespan")):
		return assess.Errorf(assess.EInvalid, "The password is too much like your name or the service's. Choose another one.")
	}
	return nil
}

// fewSigns tells whether a password is made of at most three different signs,
// or of a run like 0123456789 or abcdefghij.
func fewSigns(p string) bool {
	seen := map[rune]bool{}
	steps := map[rune]bool{}
	var before rune
	for i, r := range p {
		seen[r] = true
		if i > 0 {
			steps[r-before] = true
		}
		before = r
	}
	return len(seen) <= 3 || len(steps) == 1
}

// hashPassword makes what is kept of a password.
func (s *Server) hashPassword(ctx context.Context, password string) (string, error) {
	if err := s.takeHasher(ctx); err != nil {
		return "", err
	}
	defer func() { <-s.hashers }()
	return argon2id.CreateHash(password, hashing)
}

// nobody is the hash that is checked when there is no such account, so that
// the answer takes as long as for one that there is.
var nobody = sync.OnceValue(func() string {
	h, err := argon2id.CreateHash("nobody's password", hashing)
	if err != nil {
		panic(err) // the random source fails: nothing can be trusted then
	}
	return h
})

// passwordIs tells whether a password is the one that hash was made from.
func (s *Server) passwordIs(ctx context.Context, password, hash string) (bool, error) {
	real := hash != ""
	if !real {
		hash = nobody()
	}
	if err := s.takeHasher(ctx); err != nil {
		return false, err
	}
	defer func() { <-s.hashers }()
	ok, err := argon2id.ComparePasswordAndHash(password, hash)
	return ok && real, err
}

func (s *Server) takeHasher(ctx context.Context) error {
	select {
	case s.hashers <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func isRole(r Role) bool { return slices.Contains(Roles(), r) }
