package slack

import (
	"context"
	"slices"
	"sync"
	"time"
)

// Slack takes about one message a second in a channel and lets short bursts pass
// (docs.slack.dev, Rate limits). What is beyond waits here, not there.
const (
	postEvery = time.Second
	postBurst = 3

	// chat.update is of tier 3: 50 a minute and more, in the whole workspace.
	updateEvery = 1100 * time.Millisecond
	updateBurst = 20
)

// A change of a post that has waited so long goes before messages that wait.
const patience = 10 * time.Second

// paces are the queues of all channels.
type paces struct {
	every time.Duration

	mu  sync.Mutex
	all map[string]*pace
}

func newPaces(every time.Duration) *paces { return &paces{every: every, all: map[string]*pace{}} }

// of gives a channel's queue.
func (p *paces) of(channel string) *pace {
	p.mu.Lock()
	defer p.mu.Unlock()
	c := p.all[channel]
	if c == nil {
		c = newPace(p.every, postBurst)
		p.all[channel] = c
	}
	return c
}

// pace is the one queue of a channel: one call at a time, about one message a
// second, and between jobs the one that was served least lately. Within a job
// the order is that of asking. Changes of posts wait until no message does.
type pace struct {
	every time.Duration // between two, once the burst is used up; 0: no limit
	burst float64

	mu     sync.Mutex // guards what follows
	busy   bool
	tokens float64
	last   time.Time // when tokens was right
	hold   time.Time // Slack asked to be left alone until then
	queue  []*waiter
	turns  int64
	served map[string]int64 // by job: the turn it was served last
	timer  *time.Timer
}

func newPace(every time.Duration, burst float64) *pace {
	return &pace{every: max(0, every), burst: burst, tokens: burst, last: time.Now(), served: map[string]int64{}}
}

type waiter struct {
	job  string
	turn chan struct{}
}

// enter waits for its turn. Whoever got it gives it back by leave.
func (p *pace) enter(ctx context.Context, job string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	w := &waiter{job: job, turn: make(chan struct{})}
	p.mu.Lock()
	p.queue = append(p.queue, w)
	p.next()
	p.mu.Unlock()
	select {
	case <-w.turn:
		return nil
	case <-ctx.Done():
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if i := slices.Index(p.queue, w); i >= 0 {
		p.queue = slices.Delete(p.queue, i, i+1)
		return ctx.Err()
	}
	p.busy = false // it was given between the two
	p.next()
	return ctx.Err()
}

// tryEnter takes a turn only if it is to be had at once.
func (p *pace) tryEnter(job string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.busy || len(p.queue) > 0 || p.pause() > 0 {
		return false
	}
	p.take(job)
	return true
}

// try takes a turn if it is to be had at once; else it says how long until it may be.
func (p *pace) try() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if d := p.pause(); d > 0 {
		return d
	}
	if p.busy || len(p.queue) > 0 {
		return max(p.every, time.Millisecond)
	}
	p.take("")
	return 0
}

// left is how long nobody may go yet.
func (p *pace) left() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.pause()
}

// unused takes back that a turn was used: nothing was asked of Slack.
func (p *pace) unused() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tokens = min(p.burst, p.tokens+1)
}

// tryChange takes the turn for a change, which costs none of the messages' time,
// if no message wants it; pressing changes go before messages that wait for time.
func (p *pace) tryChange(pressing bool) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.free(pressing) {
		return false
	}
	p.busy = true
	return true
}

// mayChange says whether tryChange would succeed.
func (p *pace) mayChange(pressing bool) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.free(pressing)
}

// free says whether a change may go. Called with mu held.
func (p *pace) free(pressing bool) bool { return !p.busy && (len(p.queue) == 0 || pressing) }

// leave gives the turn back; after is how long Slack asked to be left alone.
func (p *pace) leave(after time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if after > 0 {
		p.hold = time.Now().Add(after)
	}
	p.busy = false
	p.next()
}

// next gives the turn to who is first, now or when it may be. Called with mu
// held.
func (p *pace) next() {
	if p.busy || len(p.queue) == 0 {
		return
	}
	if d := p.pause(); d > 0 {
		if p.timer == nil {
			p.timer = time.AfterFunc(d, func() {
				p.mu.Lock()
				defer p.mu.Unlock()
				p.timer = nil
				p.next()
			})
		}
		return
	}
	best := 0
	for i, w := range p.queue {
		if p.served[w.job] < p.served[p.queue[best].job] {
			best = i
		}
	}
	w := p.queue[best]
	p.queue = slices.Delete(p.queue, best, best+1)
	p.take(w.job)
	close(w.turn)
}

// take uses a turn. Called with mu held.
func (p *pace) take(job string) {
	p.busy = true
	p.tokens--
	p.turns++
	if len(p.served) > 1000 {
		clear(p.served) // jobs of long ago: all are equal again
	}
	p.served[job] = p.turns
}

// pause is how long nobody may go yet. Called with mu held.
func (p *pace) pause() time.Duration {
	now := time.Now()
	if d := p.hold.Sub(now); d > 0 {
		return d
	}
	if p.every == 0 {
		return 0
	}
	p.tokens = min(p.burst, p.tokens+float64(now.Sub(p.last))/float64(p.every))
	p.last = now
	if p.tokens >= 1 {
		return 0
	}
	return time.Duration((1 - p.tokens) * float64(p.every))
}
