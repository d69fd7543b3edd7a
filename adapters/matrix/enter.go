package matrix

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"maunium.net/go/mautrix"

	"milepost/bot"
)

// stint is one run of Matrix: all that it works with, its database and keys, what
// it learns and what waits. Nothing of it outlives Run, and the next one has its
// own, so neither can get in the other's way.
type stint struct {
	cfg     Config
	client  *mautrix.Client
	store   *rooms // what is known of rooms and their members
	*health        // of Matrix

	// Set before others are let in (begin), and not changed until they have left.
	state  *state
	cipher cipher // nil: no encryption

	// synced is closed once a sync response has been taken: only then is it known
	// which of our messages the server has.
	synced chan struct{}

	out outward // of the messages on their way out
	in  inward  // of those on their way in

	end    context.Context // done when it is over: so is what others do inside
	inside sync.WaitGroup  // those who use it: held
}

// newStint makes a run that has asked nobody yet.
func newStint(cfg Config, h *health, hear Hearer) (*stint, error) {
	client, err := newClient(cfg)
	if err != nil {
		return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("configure matrix: %w", err)}
	}
	m := &stint{cfg: cfg, client: client, store: newRooms(), health: h, synced: make(chan struct{}), out: outward{since: time.Now()}}
	client.StateStore = m.store
	m.in.poll = &http.Client{Transport: client.Client.Transport, Timeout: pollLimit}
	m.in.known = map[string]*knowing{}
	m.in.handled.full, m.in.reread = make(chan struct{}, 1), make(chan struct{}, 1)
	m.in.most, m.in.olderMost = inboxMost, olderMost
	m.in.fetch, m.in.hear, m.in.lanes = client.GetEvent, hear, newLanes(lanesMost)
	m.in.turns, m.in.fetchFor = newTurns(working), fetchFor
	return m, nil
}

// current is the run that is on, and who waits for it.
type current struct {
	mu      sync.Mutex
	run     *stint        // nil: none is on
	changed chan struct{} // closed when run changes, and made anew; nil: nobody waits
}

func (c *current) set(r *stint) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.run = r; c.changed != nil {
		close(c.changed)
		c.changed = nil
	}
}

// get gives the run that is on, nil if none is, and what is closed when that
// changes.
func (c *current) get() (*stint, <-chan struct{}) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.changed == nil {
		c.changed = make(chan struct{})
	}
	return c.run, c.changed
}

// held gives the run that is on, nil if none is. It does not end before leave is
// called.
func (c *current) held() (r *stint, leave func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.run == nil {
		return nil, func() {}
	}
	c.run.inside.Add(1)
	return c.run, c.run.inside.Done
}

// begin lets others into a run until over is called, which waits for them.
func (m *Matrix) begin(ctx context.Context, r *stint) (over func()) {
	end, finish := context.WithCancel(ctx)
	r.end = end
	m.on.set(r)
	return func() {
		m.on.set(nil)
		finish()
		r.inside.Wait()
		r.out.over()
	}
}

// enter waits for a run that has taken a sync response. Until leave is called
// its state and keys are there; inside ends with it. Where there is no such run
// for a while, or it ends, that is of kind Unavailable: the outbox comes again.
func (m *Matrix) enter(ctx context.Context) (r *stint, inside context.Context, leave func(), err error) {
	patience := time.NewTimer(syncWait)
	defer patience.Stop()
	for {
		on, changed := m.on.get()
		var synced <-chan struct{}
		if on != nil {
			synced = on.synced
		}
		select {
		case <-synced:
			r, left := m.on.held()
			if r != on { // it has just ended
				left()
				continue
			}
			inside, cancel := context.WithCancel(ctx)
			stop := context.AfterFunc(r.end, cancel)
			return r, inside, func() { stop(); cancel(); left() }, nil
		case <-changed:
		case <-ctx.Done():
			return nil, nil, nil, &bot.Error{Kind: bot.Unavailable, Err: ctx.Err()}
		case <-patience.C:
			why := errors.New("the homeserver has not answered since the start")
			if on == nil {
				why = errors.New("not connected just now")
			}
			return nil, nil, nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("send: %w", why)}
		}
	}
}
