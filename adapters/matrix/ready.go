package matrix

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"milepost/bot"
)

const (
	// lostFor is for how long it may fail before it is not ready: a poll is lost
	// every day, and the next one brings what came meanwhile.
	lostFor = 30 * time.Second
	// staleAfter is for how long nothing may come before it is not ready: some
	// polls.
	staleAfter = 3 * time.Minute
)

// health is whether messages come in, as far as is known.
type health struct {
	lostFor time.Duration // 0: the constant

	mu     sync.Mutex
	worked time.Time // last successful sync
	fault  error     // of the last try, nil if it worked
	since  time.Time // of the first fault since it last worked
	over   bool      // the fault has ended Run
}

// Ready is nil while messages come in, or have come in until a moment ago; else
// it says why they don't.
func (m *Matrix) Ready() error {
	h := &m.health
	h.mu.Lock()
	defer h.mu.Unlock()
	patience := h.lostFor
	if patience == 0 {
		patience = lostFor
	}
	switch {
	case h.fault != nil && (h.over || h.worked.IsZero() || time.Since(h.since) > patience):
		return h.fault
	case h.worked.IsZero():
		return &bot.Error{Kind: bot.Unavailable, Err: errors.New("matrix: not connected yet")}
	case time.Since(h.worked) > staleAfter:
		return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("matrix: nothing from the homeserver since %s", h.worked.UTC().Format(time.RFC3339))}
	}
	return nil
}

// contact is when it last worked, zero if it did not yet.
func (h *health) contact() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.worked
}

// stands keeps whether it works, and why not.
func (h *health) stands(err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	switch {
	case err == nil:
		h.worked, h.over = time.Now(), false
	case h.fault == nil:
		h.since = time.Now()
	}
	h.fault = err
}

// ended keeps what has ended Run.
func (h *health) ended(err error) {
	h.stands(err)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.over = true
}
