package assess

import (
	"errors"
	"fmt"
)

// Codes tell the program what kind of error it met; the sentence beside it
// tells the person what was wrong and what to do.
const (
	EInvalid  = "invalid"   // what was given can't be used
	ETooLarge = "too_large" // beyond a limit that protects the machine
	ENotFound = "not_found"
	EConflict = "conflict" // somebody else changed it meanwhile
	ERefused  = "refused"  // readable, but it can't be measured
	EBusy     = "busy"     // something else is at it; the same will go later
	EInternal = "internal" // ours, not the person's
)

// Error is an error that a person can act on.
type Error struct {
	Code    string
	Message string // what was wrong, and what to do, in English
	Err     error  // what lies beneath, for the log; may be nil

	said Sentence // Message with its places
}

// Sentence is what was wrong and what to do, to be told in any language.
func (e *Error) Sentence() Sentence {
	if e.said.Empty() {
		return Sentence{Text: e.Message}
	}
	return e.said
}

// Saying gives the error the sentence that it was made from elsewhere, in
// another process.
func (e *Error) Saying(p Phrase) *Error {
	e.said = Sentence(p)
	return e
}

// Error gives the sentence for the person.
func (e *Error) Error() string { return e.Message }

// Unwrap gives the error beneath.
func (e *Error) Unwrap() error { return e.Err }

// Errorf makes an Error; a %w in text is kept as the error beneath. text is
// the key by which catalogues have it, as that of a Sentence.
func Errorf(code, text string, args ...any) *Error {
	err := fmt.Errorf(text, args...)
	return &Error{Code: code, Message: err.Error(), Err: errors.Unwrap(err), said: Tell(text, args...)}
}

// ErrorCode is the code of the first Error in err's chain, EInternal for any
// other error and "" for nil.
func ErrorCode(err error) string {
	if err == nil {
		return ""
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return EInternal
}
