package matrix

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"maunium.net/go/mautrix"

	"milepost/bot"
)

// limited is the server's word that we send too much.
type limited struct {
	after time.Duration
	err   error
}

func (e *limited) Error() string             { return e.err.Error() }
func (e *limited) Unwrap() error             { return e.err }
func (e *limited) RetryAfter() time.Duration { return e.after }

// errTooLarge says that the server takes nothing of this size.
var errTooLarge = errors.New("too large for this homeserver")

// sendFault gives an answer of the server the kind that the outbox acts on.
// Unavailable is tried again, with the same transaction; Conflict too, once we may
// write in that room; Invalid never. What a proxy on the way answers, without a code of Matrix, is no word of
// the server.
func sendFault(ctx context.Context, op string, err error) error {
	var e *bot.Error
	if err == nil || errors.As(err, &e) {
		return err
	}
	if ctx.Err() != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("%s: %w", op, ctx.Err())}
	}
	switch s := status(err); {
	case s == http.StatusTooManyRequests, errors.Is(err, mautrix.MLimitExceeded):
		return &bot.Error{Kind: bot.Unavailable, Err: &limited{after: retryAfter(err), err: fmt.Errorf("%s: the homeserver asks to wait: %w", op, err)}}
	case s == http.StatusRequestEntityTooLarge, errors.Is(err, mautrix.MTooLarge):
		return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("%s: %w: %w", op, errTooLarge, err)}
	case errors.Is(err, mautrix.MForbidden):
		return &bot.Error{Kind: bot.Conflict, Err: fmt.Errorf("%s: the assistant is not in the room, or has no right to write there: %w", op, err)}
	case s == http.StatusBadRequest && (errors.Is(err, mautrix.MBadJSON) || errors.Is(err, mautrix.MNotJSON) || errors.Is(err, mautrix.MInvalidParam)):
		return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("%s: %w", op, err)}
	}
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("%s: %w", op, err)}
}

// turnedDown says that the server has answered, and did not take the message.
func turnedDown(err error) bool {
	s := status(err)
	return s >= 400 && s < 500 && s != http.StatusRequestTimeout
}

// storeFault is a fault of our own database: it passes.
func storeFault(err error) error {
	if err == nil {
		return nil
	}
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("state: %w", err)}
}
