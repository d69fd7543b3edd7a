package slack

import (
	"sync"
	"time"
)

// A home view is published when its tab is opened, and again when the board has
// changed: to a person at most once in homeEvery, and only to those who looked
// within homeLately. views.publish is of tier 4, 100 a minute and more in the whole
// workspace (docs.slack.dev, Rate limits): so many people looking share one pace.
const (
	homeEvery  = 5 * time.Second
	homePace   = time.Second // between two, whoever they are to
	homeBurst  = 10
	homeFirst  = time.Second     // pause after a failure, doubled after each
	homeMost   = 5 * time.Minute // and the longest
	homeLately = 12 * time.Hour
	homeRows   = 60 // jobs shown; the view's blocks and bytes have their limits
	homePeople = 500
)

type homes struct {
	more chan struct{}
	pace *pace // of the whole workspace

	mu     sync.Mutex
	people map[string]*homeOf // by user id
	links  map[string]string  // permalinks by channel/ts
}

type homeOf struct {
	opened, next time.Time // looked last; not to be published before
	served       time.Time // when it was their turn last
	due, fresh   bool      // fresh: they have looked since
	fails        int       // one after the other
	last         [32]byte  // what is published, so that the same is not published again
}

// init takes the pause between two calls, 0 for none.
func (h *homes) init(every time.Duration) {
	h.pace = newPace(every, homeBurst)
	h.more, h.people, h.links = make(chan struct{}, 1), map[string]*homeOf{}, map[string]string{}
}

// homeOpened notes that a person looks at the home tab: it is published.
func (s *Slack) homeOpened(user string) { s.mouth.homes.opened(user, time.Now()) }

func (h *homes) opened(user string, now time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.people[user]
	if p == nil {
		if len(h.people) >= homePeople {
			h.drop(now)
		}
		p = &homeOf{}
		h.people[user] = p
	}
	p.opened, p.due, p.fresh = now, true, true
	p.last = [32]byte{} // Slack may have lost it: publish whatever it was
	h.wake()
}

// drop forgets who looked longest ago. Called with mu held.
func (h *homes) drop(now time.Time) {
	var who string
	oldest := now
	for u, p := range h.people {
		if !p.opened.After(oldest) {
			who, oldest = u, p.opened
		}
	}
	delete(h.people, who)
}

// forget drops a person.
func (h *homes) forget(user string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.people, user)
}

// changed notes that the board may have changed.
func (h *homes) changed() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.people) == 0 {
		return
	}
	for _, p := range h.people {
		p.due = true
	}
	h.wake()
}

func (h *homes) wake() {
	select {
	case h.more <- struct{}{}:
	default:
	}
}

// take gives whose turn it is, with the turn of the workspace, which done gives back:
// who has just looked, then who was served least lately. Where it is nobody's, it
// gives how long until it may be somebody's.
func (h *homes) take(now time.Time) (user string, next time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	next = time.Hour
	var first *homeOf
	for u, p := range h.people {
		switch {
		case now.Sub(p.opened) > homeLately:
			delete(h.people, u)
		case !p.due:
		case p.next.After(now):
			next = min(next, p.next.Sub(now))
		case first == nil || p.before(first):
			user, first = u, p
		}
	}
	if first == nil {
		return "", next
	}
	if pause := h.pace.try(); pause > 0 {
		return "", pause
	}
	first.due, first.fresh = false, false
	first.served, first.next = now, now.Add(homeEvery)
	return user, 0
}

// before says whether p goes first.
func (p *homeOf) before(o *homeOf) bool {
	switch {
	case p.fresh != o.fresh:
		return p.fresh
	case p.fresh:
		return p.opened.Before(o.opened)
	}
	return p.served.Before(o.served)
}

// done gives the turn back. called says that Slack was asked to publish; what failed
// is tried again, each time later.
func (h *homes) done(user string, called bool, err error) {
	h.pace.leave(wait(err))
	if !called {
		h.pace.unused()
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.people[user]
	switch {
	case p == nil:
	case err == nil:
		p.fails = 0
	default:
		p.due, p.next = true, time.Now().Add(max(wait(err), min(homeFirst<<min(p.fails, 10), homeMost)))
		p.fails++
	}
}

// news says whether a view is another than the one published, and notes it.
func (h *homes) news(user string, sum [32]byte) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.people[user]
	if p == nil || p.last == sum {
		return false
	}
	p.last = sum
	return true
}
