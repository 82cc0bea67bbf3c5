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
	Message string // what was wrong, and what to do
	Err     error  // what lies beneath, for the log; may be nil
}

// Error gives the sentence for the person.
func (e *Error) Error() string { return e.Message }

// Unwrap gives the error beneath.
func (e *Error) Unwrap() error { return e.Err }

// Errorf makes an Error; a %w in format is kept as the error beneath.
func Errorf(code, format string, args ...any) *Error {
	err := fmt.Errorf(format, args...)
	return &Error{Code: code, Message: err.Error(), Err: errors.Unwrap(err)}
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
