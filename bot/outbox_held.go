package bot

import (
	"context"
	"errors"
	"time"
)

// Bounds of what waits for a conversation that takes nothing just now. What is
// beyond them is given up, oldest first; of all that is in memory no more than a
// quarter may wait so, or it would stand in the way of the other conversations.
const (
	heldFor   = 24 * time.Hour // since this process has had it
	heldMost  = 200            // messages of one conversation
	heldFirst = time.Minute    // between tries
	heldLast  = 10 * time.Minute
	heldPause = 200 * time.Millisecond // at least, however often it is said to try again
)

// barred notes that a line's conversation took nothing, and says why its first
// message is to be given up; "" if it may wait.
func (o *outbox) barred(l *line, s *send) (why string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if l.held = true; l.over == nil {
		l.over = make(chan struct{}, 1)
	}
	switch {
	case l.rows[0].erased:
		return "it was erased"
	case time.Since(s.at) > o.heldFor:
		return "it has waited too long"
	case o.tooMany(l):
		return "too many wait"
	}
	o.change()
	return ""
}

// tooMany says whether a line that is held is too long. Called with mu held.
func (o *outbox) tooMany(l *line) bool {
	return len(l.rows) > heldMost || o.heldRows() > max(o.room/4, 1)
}

// heldRows counts what waits for conversations that take nothing. Called with mu
// held.
func (o *outbox) heldRows() (n int) {
	for _, l := range o.lines {
		if l.held {
			n += len(l.rows)
		}
	}
	return n
}

// freed notes that a line's conversation takes something again.
func (o *outbox) freed(l *line) {
	o.mu.Lock()
	defer o.mu.Unlock()
	l.held = false
}

// waitBarred waits for the next try of a message whose conversation takes nothing:
// until it is said that it may, or a pause is over, or there is too much behind
// it. It is false if ctx ended.
func (o *outbox) waitBarred(ctx context.Context, l *line, s *send, err error, pause time.Duration) bool {
	var again <-chan struct{} // nil: nobody tells
	var told interface{ Again() <-chan struct{} }
	if errors.As(err, &told) {
		again = told.Again()
	}
	select {
	case <-ctx.Done():
		return false
	case <-time.After(heldPause):
	}
	select {
	case <-ctx.Done():
		return false
	case <-again:
	case <-l.over:
	case <-time.After(min(pause, max(time.Until(s.at.Add(o.heldFor)), 0)+time.Millisecond)):
	}
	return true
}

// forget lets go of what waits of a job whose rows were erased from the store.
func (o *outbox) forget(shop, job string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, l := range o.lines {
		kept := l.rows[:min(1, len(l.rows))] // the first may be on its way
		for _, s := range l.rows[len(kept):] {
			if s.row.Shop == shop && s.row.Job == job {
				delete(o.taken, s.row.Key)
				o.queued--
				continue
			}
			kept = append(kept, s)
		}
		clear(l.rows[len(kept):])
		if l.rows = kept; l.held && len(kept) > 0 && kept[0].row.Shop == shop && kept[0].row.Job == job {
			kept[0].erased, kept[0].out = true, Outbound{}
			select {
			case l.over <- struct{}{}:
			default:
			}
		}
	}
	o.change()
}

// isErased says whether a line's first message was erased while it waited.
func (o *outbox) isErased(l *line) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return l.rows[0].erased
}
