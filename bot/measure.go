package bot

import (
	"errors"
	"time"
)

// Measure takes the figures of what happens. It names networks and outcomes,
// never a job, a person or a vehicle.
type Measure interface {
	// Turn: a message was taken through, and how it ended: done, repeat (it was
	// known), refused (not taken: the store or a bound stood against it and it comes
	// again, or it was no message) or failed (by a fault of the program, whether
	// that could be said in the conversation or not). What is refused to a person
	// is done.
	Turn(network, outcome string, took time.Duration)
	// Refused: what a person wanted by a message was refused. first: he was turned
	// away, having no role here or none for anything he could do, for the first
	// time that day.
	Refused(network string, first bool)
	// Sent: one try to send, and how it ended: sent, retry or dropped.
	Sent(network, outcome string, took time.Duration)
}

// Outcomes of a turn and of a try to send.
const (
	TurnDone    = "done"
	TurnRepeat  = "repeat"
	TurnRefused = "refused"
	TurnFailed  = "failed"

	SentOut     = "sent"
	SentRetry   = "retry"
	SentDropped = "dropped"
)

type noMeasure struct{}

func (noMeasure) Turn(string, string, time.Duration) {}
func (noMeasure) Sent(string, string, time.Duration) {}
func (noMeasure) Refused(string, bool)               {}

// tally is what is counted of a message, as far as its error does not say it.
type tally struct {
	repeat  bool // it was known
	fault   bool // the program failed at it, which has been said
	refused bool // to whoever wrote it
	first   bool // and he was turned away, for the first time that day
}

// outcome says how a turn ended.
func (t tally) outcome(err error) string {
	var e *Error
	switch {
	case err == nil && t.repeat:
		return TurnRepeat
	case err == nil && t.fault:
		return TurnFailed
	case err == nil:
		return TurnDone
	case errors.As(err, &e) && e.Kind != Internal:
		return TurnRefused
	}
	return TurnFailed
}

// Depths are the queues as they stand.
type Depths struct {
	Jobs   int  // jobs kept in memory
	Queued int  // outgoing messages held in memory
	Lines  int  // threads with something to send
	Behind bool // more wait in the store
}

// Depths gives the queues as they stand now.
func (b *Bot) Depths() Depths {
	d := b.out.depths()
	d.Jobs = b.lanes.kept()
	return d
}

func (o *outbox) depths() Depths {
	o.mu.Lock()
	defer o.mu.Unlock()
	return Depths{Queued: o.queued, Lines: len(o.lines), Behind: o.behind}
}

func (ls *lanes) kept() int {
	ls.mu.Lock()
	defer ls.mu.Unlock()
	return len(ls.all)
}
