package bot

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"time"
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

	cards *memo // where a job's card is shown

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
		cards: newMemo(carded), more: make(chan struct{}, 1)}
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
