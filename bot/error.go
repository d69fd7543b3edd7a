package bot

import (
	"errors"
	"fmt"

	"milepost/flow/words"
)

// Kind says what sort of failure an Error is. Adapters map kinds to their
// network, commands to exit codes.
type Kind string

// The kinds of failure.
const (
	Invalid     Kind = "invalid"     // what was asked can't be done as asked
	Forbidden   Kind = "forbidden"   // not by this person
	Conflict    Kind = "conflict"    // not now: something else stands against it
	Unavailable Kind = "unavailable" // a store or network is not there; trying again may help
	Internal    Kind = "internal"    // a fault of the program
)

// Error has two faces: a cause for the operator's log, and a sentence for a
// person. Neither is ever shown in the other's place.
type Error struct {
	Kind Kind
	Say  string // for a person, "" for the neutral sentence
	Ref  string // the same in log and sentence, "" where there is none
	Err  error  // the cause
}

func (e *Error) Error() string {
	s := string(e.Kind)
	if e.Ref != "" {
		s += " " + e.Ref
	}
	switch {
	case e.Err != nil:
		return s + ": " + e.Err.Error()
	case e.Say != "":
		return s + ": " + e.Say
	}
	return s
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// Sentence is what a person may read of the failure.
func (e *Error) Sentence() string {
	if e.Say != "" {
		return e.Say
	}
	return words.Default().Say("bot.fault", false, words.Args{"Ref": e.Ref})
}

// Sentence gives what a person may read of any error: never its cause.
func Sentence(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Sentence()
	}
	return (&Error{Kind: Internal}).Sentence()
}

// failed wraps the cause of a failed operation with the kind that the store's
// errors stand for. An Error stays what it is.
func failed(op string, err error) error {
	var e *Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &e):
		return err
	case errors.Is(err, ErrFull):
		return &Error{Kind: Unavailable, Say: words.Default().Say("bot.full", false, nil), Err: fmt.Errorf("%s: %w", op, err)}
	case errors.Is(err, ErrSequence):
		return &Error{Kind: Conflict, Err: fmt.Errorf("%s: %w", op, err)}
	}
	return &Error{Kind: Unavailable, Err: fmt.Errorf("%s: %w", op, err)}
}
