package bot

import (
	"context"
	"sync"
	"time"

	"milepost/flow"
)

// wakes are the jobs that want to be woken, by elapsed time: a clock that is
// set forth or back neither hastens nor delays them.
type wakes struct {
	mu      sync.Mutex
	due     map[[2]string]due // by shop and job
	changed chan struct{}
}

// due is when a job wants to be woken: on the scale of Config.Elapsed, which
// counts, and by the clock that stood then, which the job knows.
type due struct {
	at   time.Duration // below zero: never
	wall time.Time
}

func newWakes() *wakes {
	return &wakes{due: map[[2]string]due{}, changed: make(chan struct{}, 1)}
}

// set notes when a job wants to be woken.
func (w *wakes) set(shop, job string, d due) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if d.at < 0 {
		delete(w.due, [2]string{shop, job})
		return
	}
	w.due[[2]string{shop, job}] = d
	select {
	case w.changed <- struct{}{}:
	default:
	}
}

// take removes and gives the jobs that are due, and when the next one is;
// below zero: none.
func (w *wakes) take(now time.Duration) (jobs map[[2]string]due, next time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	next, jobs = -1, map[[2]string]due{}
	for k, d := range w.due {
		switch {
		case d.at <= now:
			jobs[k] = d
			delete(w.due, k)
		case next < 0 || d.at < next:
			next = d.at
		}
	}
	return jobs, next
}

// untilWake turns the time a job wants to be woken at into elapsed time. The
// clock may stand before the job's own last times, having gone back while
// nothing ran: then the distance between those counts.
func (b *Bot) untilWake(at, since time.Time) due {
	if at.IsZero() {
		return due{at: -1}
	}
	d := at.Sub(b.now())
	if !since.IsZero() && b.now().Before(since) {
		d = at.Sub(since)
	}
	return due{at: b.cfg.Elapsed() + max(d, 0), wall: at}
}

// loadWakes reads after a start which jobs want to be woken, and which owe a head.
func (b *Bot) loadWakes(ctx context.Context, s *shop) error {
	rows, err := b.cfg.Store.Index(ctx, s.name, false)
	if err != nil {
		return failed("read index", err)
	}
	for _, r := range rows {
		if r.Job == s.ownJob() {
			continue
		}
		if !r.Wake.IsZero() {
			b.wakes.set(s.name, r.Job, b.untilWake(r.Wake, r.Since))
		}
		if s.hasKey() && owedRow(&r) {
			b.owed.set(s.name, r.Job, true)
		}
	}
	return nil
}

// watchEvery is how often the day and the marks are looked after.
const watchEvery = time.Minute

// watch wakes jobs and keeps the shops' days until ctx is done.
func (b *Bot) watch(ctx context.Context) {
	for {
		next := b.tick(ctx)
		pause := watchEvery
		if next >= 0 {
			pause = min(pause, max(next-b.cfg.Elapsed(), 0))
		}
		t := time.NewTimer(pause)
		select {
		case <-ctx.Done():
			t.Stop()
			late, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
			defer cancel()
			b.keepDays(late)
			return
		case <-b.wakes.changed:
		case <-t.C:
		}
		t.Stop()
	}
}

// tick does what is due now. It gives when the next job is due, below zero if
// none is.
func (b *Bot) tick(ctx context.Context) time.Duration {
	b.ticking.Lock()
	defer b.ticking.Unlock()
	b.giveOwed(ctx)
	b.keepDays(ctx)
	jobs, next := b.wakes.take(b.cfg.Elapsed())
	for k, d := range jobs {
		if ctx.Err() != nil {
			return -1
		}
		b.wake(ctx, b.shops[k[0]], k[1], d)
	}
	return next
}

// retryWake is the pause after a wake that failed or changed nothing.
const retryWake = time.Minute

// wake passes a job the time it asked for. What it leads to is an entry like
// any other, so that a wake whose commit was lost in a crash comes again, and
// one that was committed does not.
func (b *Bot) wake(ctx context.Context, s *shop, job string, d due) {
	v := &visit{shop: s, job: job, wake: true}
	again := due{at: b.cfg.Elapsed() + retryWake, wall: d.wall}
	l, err := b.lanes.enter(ctx, s.name, job)
	if err != nil {
		b.wakes.set(s.name, job, again)
		return
	}
	defer b.lanes.leave(l)
	for range maxTries {
		if err = b.wakeTurn(ctx, v, l, d); err == nil {
			return
		}
		l.forget()
	}
	b.cfg.Log.Error("wake job", "job", job, "err", err)
	b.wakes.set(s.name, job, again)
}

// wakeTurn is a turn that nobody's message began. The job is told the time it
// asked for where the clock, having gone back, does not show it yet: elapsed
// time counts. The entries have the clock's time all the same.
func (b *Bot) wakeTurn(ctx context.Context, v *visit, l *lane, d due) (err error) {
	defer b.contain(v, &err)
	if err := l.load(ctx, b.cfg.Store); err != nil {
		return err
	}
	env := b.env(v.shop, l, "")
	now := env.Now
	if at := v.shop.opens(now); !at.IsZero() && l.state.Phase == flow.PhaseClosed {
		d.at = b.cfg.Elapsed() + at.Sub(now) // a reminder; what a running job waits for does not wait
		b.wakes.set(v.shop.name, v.job, d)
		return nil
	}
	if now.Before(d.wall) {
		env.Now = d.wall
	}
	out, err := b.cfg.step(l.state, flow.Message{Wake: true}, env)
	if err == nil && callsFor(out.Entries) {
		if env.Here = b.here(ctx, v, l, standing{}); len(env.Here) > 0 {
			out, err = b.cfg.step(l.state, flow.Message{Wake: true}, env)
		}
	}
	if err != nil {
		return b.internal(v, err)
	}
	if len(out.Entries) == 0 {
		next := b.untilWake(out.Wake, out.State.Since)
		if next.at >= 0 {
			next.at = max(next.at, b.cfg.Elapsed()+retryWake)
		}
		b.wakes.set(v.shop.name, v.job, next)
		return nil
	}
	if env.Now != now {
		if out.State, err = b.retime(ctx, l, out.Entries, now); err != nil {
			return err
		}
	}
	return b.finish(ctx, v, l, standing{}, out)
}

// retime gives entries the clock's time and folds the log with them.
func (b *Bot) retime(ctx context.Context, l *lane, entries []flow.Entry, now time.Time) (*flow.State, error) {
	for i := range entries {
		entries[i].At = now
	}
	before, _, err := readEntries(ctx, b.cfg.Store, l.shop, l.job)
	if err != nil {
		return nil, err
	}
	return flow.Fold(l.shop, l.job, append(before, entries...)), nil
}

// wakeOf asks a job when it wants to be woken, without waking it: a step
// changes nothing. What is due already is due now.
func (b *Bot) wakeOf(s *shop, st *flow.State) (at time.Time) {
	defer func() {
		if recover() != nil {
			at = time.Time{}
		}
	}()
	env := flow.Env{Now: st.Last, Policy: s.policyNow(), Program: b.cfg.Program, Others: others(st, "")}
	out, err := b.cfg.step(st, flow.Message{Wake: true}, env)
	if err != nil {
		return time.Time{}
	}
	if len(out.Entries) > 0 {
		return st.Last
	}
	return out.Wake
}

// keepDays ends the shops' days: counts become entries, raw tracks past their
// retention go, the digest is posted.
func (b *Bot) keepDays(ctx context.Context) {
	for _, s := range b.shops {
		if err := b.closeDay(ctx, s); err != nil {
			b.cfg.Log.Warn("close day", "shop", s.name, "err", err)
		}
		if ctx.Err() != nil || !s.opens(b.now()).IsZero() || !s.newDay(b.now()) {
			continue
		}
		if err := b.retire(ctx, s); err != nil {
			b.cfg.Log.Warn("erase tracks past their retention", "shop", s.name, "err", err)
		}
		if err := b.Digest(ctx, s.name); err != nil {
			b.cfg.Log.Warn("daily digest", "shop", s.name, "err", err)
		}
	}
}

// newDay is true once on each day of the shop on which no digest was given yet.
func (s *shop) newDay(now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	day := s.day(now)
	if s.kept == "" {
		s.kept = s.digest
	}
	if s.kept >= day {
		return false
	}
	s.kept = day
	return true
}
