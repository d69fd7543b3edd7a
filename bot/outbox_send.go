package bot

import (
	"context"
	"errors"
	"fmt"
	"time"

	"milepost/flow"
)

// Pauses between tries of the same message.
const (
	firstPause = 200 * time.Millisecond
	lastPause  = 2 * time.Minute
)

// run sends a thread's line until it is empty.
func (o *outbox) run(ctx context.Context, k lineKey, l *line) {
	for {
		o.mu.Lock()
		if len(l.rows) == 0 || ctx.Err() != nil {
			if o.lines[k] == l {
				delete(o.lines, k)
			}
			o.change()
			o.mu.Unlock()
			return
		}
		s, skip := l.rows[0], o.outdated(l)
		o.mu.Unlock()
		if !skip && !o.deliver(ctx, l, &s) {
			continue // stopped: the row stays unsent
		}
		if o.isEdit(&s) {
			o.cards.set(cardKey(&s), "shown")
		}
		o.mu.Lock()
		l.rows = l.rows[1:]
		o.queued--
		o.sent = append(o.sent, s.row.Key)
		if o.behind && o.queued <= o.room/2 {
			o.wake()
		}
		full := len(o.sent) >= 256
		o.change()
		o.mu.Unlock()
		if full {
			o.mark(ctx)
		}
	}
}

// deliver sends one message, again and again until the network has it or says
// that it never will, or it has waited too long for a conversation that takes
// nothing. It is false if ctx ended before.
func (o *outbox) deliver(ctx context.Context, l *line, s *send) bool {
	n := o.networks[s.row.Network]
	if n == nil {
		o.log.Error("outgoing message for a network that is not configured, dropped", "key", s.row.Key, "network", s.row.Network)
		return true
	}
	pause, held := firstPause, heldFirst
	for ctx.Err() == nil {
		start := time.Now()
		err := sendOnce(ctx, n, s.out)
		took := time.Since(start)
		if err == nil {
			o.measure.Sent(s.row.Network, SentOut, took)
			o.freed(l)
			return true
		}
		if ctx.Err() != nil {
			return false
		}
		var e *Error
		if errors.As(err, &e) && (e.Kind == Invalid || e.Kind == Forbidden) {
			o.measure.Sent(s.row.Network, SentDropped, took)
			o.log.Error("outgoing message refused for good, dropped", "key", s.row.Key, "network", s.row.Network, "err", err)
			return true
		}
		if e != nil && e.Kind == Conflict {
			if why := o.barred(l, s); why != "" {
				o.measure.Sent(s.row.Network, SentDropped, took)
				o.log.Error("outgoing message given up, its conversation takes nothing: "+why, "key", s.row.Key, "network", s.row.Network, "err", err)
				return true
			}
			o.measure.Sent(s.row.Network, SentRetry, took)
			o.log.Warn("send, waits until its conversation takes it", "key", s.row.Key, "network", s.row.Network, "at the latest in", held, "err", err)
			if !o.waitBarred(ctx, l, s, err, held) {
				return false
			}
			if o.isErased(l) {
				return true
			}
			held = min(2*held, heldLast)
			continue
		}
		o.measure.Sent(s.row.Network, SentRetry, took)
		wait := pause
		var asked interface{ RetryAfter() time.Duration }
		if errors.As(err, &asked) && asked.RetryAfter() > 0 {
			wait = min(asked.RetryAfter(), lastPause)
		}
		o.log.Warn("send, will be tried again", "key", s.row.Key, "network", s.row.Network, "in", wait, "err", err)
		t := time.NewTimer(wait)
		select {
		case <-t.C:
		case <-ctx.Done():
			t.Stop()
			return false
		}
		pause = min(2*pause, lastPause)
	}
	return false
}

// sendOnce hands a message to a network. A network that panics has not taken it.
func sendOnce(ctx context.Context, n Network, out Outbound) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("network %s: panic: %v", n.Name(), r)
		}
	}()
	if c, ok := n.(CardEditor); ok && out.Reply.Kind == flow.Card && len(out.Reply.To) == 0 {
		return c.EditCard(ctx, out)
	}
	return n.Send(ctx, out)
}
