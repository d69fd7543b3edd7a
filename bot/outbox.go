package bot

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"milepost/flow"
)

// outbox sends what is stored, in order within a thread, each message until the
// network has it. Sending the same key again is the same message, so a crash
// between sending and marking costs a repeat and no more.
type outbox struct {
	store    Store
	networks map[string]Network
	log      *slog.Logger
	measure  Measure
	room     int
	heldFor  time.Duration

	mu      sync.Mutex
	changed chan struct{}        // closed and replaced on every change: for flush
	lines   map[lineKey]*line    // threads with something to send
	taken   map[string]bool      // keys in a line, or sent and not yet marked
	sent    []string             // sent, not yet marked
	queued  int                  // messages in lines
	behind  bool                 // rows wait in the store that no line has
	missed  bool                 // while behind, more were added
	gone    map[string]bool      // keys marked while rows are being read; nil otherwise
	work    func(lineKey, *line) // starts a line's worker; nil while nothing runs

	more chan struct{} // there is room for rows that wait in the store
}

type lineKey struct {
	network string
	thread  Thread
}

// line is a thread's queue. One worker at a time takes from its front.
type line struct {
	rows []send
	held bool          // its conversation takes nothing just now
	over chan struct{} // more waits than may; nil: was never held
}

func newOutbox(cfg Config) *outbox {
	o := &outbox{store: cfg.Store, networks: map[string]Network{}, log: cfg.Log, measure: cfg.Measure, room: cfg.Limits.Queue, heldFor: heldFor,
		changed: make(chan struct{}), lines: map[lineKey]*line{}, taken: map[string]bool{}, behind: true,
		more: make(chan struct{}, 1)}
	for _, n := range cfg.Networks {
		o.networks[n.Name()] = n
	}
	return o
}

// edits says whether a network can change a card in place.
func (o *outbox) edits(network string) bool {
	_, ok := o.networks[network].(CardEditor)
	return ok
}

// add queues what a commit has stored. Where there is no room, or nothing
// runs, the rows wait in the store.
func (o *outbox) add(sends []send) {
	if len(sends) == 0 {
		return
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.behind || o.queued+len(sends) > o.room {
		o.behind, o.missed = true, true
		o.wake()
		return
	}
	for _, s := range sends {
		o.push(s)
	}
	o.change()
}

// waits says whether a message may still be on its way.
func (o *outbox) waits(key string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.behind || o.taken[key] && !slices.Contains(o.sent, key)
}

// push appends to a thread's line and sees that someone works on it. Called
// with mu held.
func (o *outbox) push(s send) {
	if o.taken[s.row.Key] {
		return
	}
	o.taken[s.row.Key] = true
	o.queued++
	k := lineKey{s.row.Network, s.row.Thread}
	l := o.lines[k]
	if l == nil {
		l = &line{}
		o.lines[k] = l
		o.work(k, l)
	}
	s.at = time.Now()
	l.rows = append(l.rows, s)
	if l.held && o.tooMany(l) {
		select {
		case l.over <- struct{}{}:
		default:
		}
	}
}

// wake tells the one who fetches rows. Called with mu held.
func (o *outbox) wake() {
	select {
	case o.more <- struct{}{}:
	default:
	}
}

// change tells those who wait for the outbox. Called with mu held.
func (o *outbox) change() {
	close(o.changed)
	o.changed = make(chan struct{})
}

// start begins to send; the function it returns waits until all workers have
// stopped, after ctx is done, and marks what was sent.
func (o *outbox) start(ctx context.Context) (stop func()) {
	var wg sync.WaitGroup
	o.mu.Lock()
	o.behind = true // what an earlier run left
	o.work = func(k lineKey, l *line) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			o.run(ctx, k, l)
		}()
	}
	o.mu.Unlock()
	wg.Add(1)
	go func() {
		defer wg.Done()
		o.fetch(ctx)
	}()
	return func() {
		o.mu.Lock()
		o.work, o.behind = nil, true // from here on rows wait in the store
		o.mu.Unlock()
		wg.Wait()
		o.mu.Lock()
		clear(o.lines)
		clear(o.taken)
		for _, k := range o.sent {
			o.taken[k] = true
		}
		o.queued = 0
		o.change()
		o.mu.Unlock()
		late, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		o.mark(late)
	}
}

// fetch moves rows that wait in the store into lines, oldest first, whenever
// there are some and there is room.
func (o *outbox) fetch(ctx context.Context) {
	retry := time.NewTicker(2 * time.Second)
	defer retry.Stop()
	for {
		for o.fetchSome(ctx) {
		}
		select {
		case <-ctx.Done():
			return
		case <-o.more:
		case <-retry.C:
			o.mark(ctx)
		}
	}
}

// fetchSome says whether to go on at once.
func (o *outbox) fetchSome(ctx context.Context) bool {
	o.mu.Lock()
	if !o.behind || o.work == nil || o.queued >= o.room {
		o.mu.Unlock()
		return false
	}
	o.missed, o.gone = false, map[string]bool{}
	o.mu.Unlock()

	// Rows sent and not yet marked come again here; they must not fill the page.
	o.mark(ctx)
	rows, err := o.store.Unsent(ctx, o.room)

	o.mu.Lock()
	defer o.mu.Unlock()
	gone := o.gone
	o.gone = nil
	if err != nil {
		if ctx.Err() == nil {
			o.log.Error("read outbox", "err", err)
		}
		return false
	}
	if o.work == nil {
		return false
	}
	for _, r := range rows {
		if gone[r.Key] {
			continue // marked while we read
		}
		s := send{row: r}
		if err := json.Unmarshal(r.Payload, &s.out); err != nil {
			o.log.Error("outgoing message can't be read, dropped", "key", r.Key, "err", err)
			o.sent = append(o.sent, r.Key)
			continue
		}
		if o.queued >= o.room {
			break
		}
		o.push(s)
	}
	o.change()
	if len(rows) < o.room && !o.missed {
		o.behind = false
		return false
	}
	return o.missed && o.queued < o.room
}

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
		s := l.rows[0]
		o.mu.Unlock()
		if !o.deliver(ctx, l, &s) {
			continue // stopped: the row stays unsent
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

// takeSent gives the keys to be marked with the next commit.
func (o *outbox) takeSent() []string {
	o.mu.Lock()
	defer o.mu.Unlock()
	s := o.sent
	o.sent = nil
	return s
}

// returnSent takes them back after a commit that came to nothing.
func (o *outbox) returnSent(keys []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.sent = append(keys, o.sent...)
}

// forgetSent lets go of keys that are marked.
func (o *outbox) forgetSent(keys []string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, k := range keys {
		delete(o.taken, k)
		if o.gone != nil {
			o.gone[k] = true
		}
	}
}

// mark marks what was sent, at idle: there was no commit to ride in.
func (o *outbox) mark(ctx context.Context) {
	keys := o.takeSent()
	if len(keys) == 0 {
		return
	}
	if err := o.store.MarkSent(ctx, keys); err != nil {
		o.returnSent(keys)
		if ctx.Err() == nil {
			o.log.Warn("mark sent", "err", err)
		}
		return
	}
	o.forgetSent(keys)
}

// flush waits until nothing is queued but what its conversation does not take.
func (o *outbox) flush(ctx context.Context) error {
	for {
		o.mu.Lock()
		idle := o.queued == o.heldRows() && !o.behind
		changed := o.changed
		o.mu.Unlock()
		if idle {
			return nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return &Error{Kind: Unavailable, Err: ctx.Err()}
		}
	}
}
