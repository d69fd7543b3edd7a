package slack

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"strings"
	"time"

	"milepost/bot"
)

// lane is a thread's messages that wait, in their order.
type lane struct {
	name   string
	rows   []waiting
	queued bool // in ready, or with a worker
	timer  *time.Timer
	pause  time.Duration // before the first row is tried again
}

// waiting is a row of the inbox, as far as its order goes.
type waiting struct {
	n    int64
	at   string
	came time.Time
	due  time.Time
}

func (w waiting) before(o waiting) int {
	if c := strings.Compare(w.at, o.at); c != 0 {
		return c
	}
	return int(w.n - o.n)
}

// arrived lets a stored row wait in its lane: a little, because Slack may deliver
// out of order, and longer where that is likely: it comes as a repeat, or several
// of the lane come at once.
func (in *inbox) arrived(name string, w waiting, soon, unsure bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	l := in.lanes[name]
	w.due = w.came.Add(in.time.settle)
	switch {
	case soon:
		w.due = w.came
	case unsure:
		w.due = w.came.Add(in.time.unsure)
	case l != nil && len(l.rows) > 0 && l.pause == 0 && !l.queued:
		front := &l.rows[0]
		front.due = front.came.Add(in.time.unsure)
	}
	in.insert(name, w)
}

func (in *inbox) add(name string, w waiting) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.insert(name, w)
}

// insert puts a row in its place. Called with mu held.
func (in *inbox) insert(name string, w waiting) {
	l := in.lanes[name]
	if l == nil {
		l = &lane{name: name}
		in.lanes[name] = l
	}
	i, _ := slices.BinarySearchFunc(l.rows, w, waiting.before)
	l.rows = slices.Insert(l.rows, i, w)
	in.pending++
	in.schedule(l)
}

// schedule lets a lane go on, now or when its first row is due. Called with mu
// held.
func (in *inbox) schedule(l *lane) {
	if l.queued || in.ctx == nil || in.ctx.Err() != nil {
		return
	}
	if l.timer != nil {
		l.timer.Stop()
		l.timer = nil
	}
	if len(l.rows) == 0 {
		delete(in.lanes, l.name)
		return
	}
	if d := time.Until(l.rows[0].due); d > 0 {
		var t *time.Timer
		t = time.AfterFunc(d, func() {
			in.mu.Lock()
			defer in.mu.Unlock()
			if l.timer == t {
				l.timer = nil
				in.schedule(l)
			}
		})
		l.timer = t
		return
	}
	l.queued = true
	in.ready = append(in.ready, l)
	if in.running < maxWorkers {
		in.running++
		in.tasks.Go(in.work)
	}
}

// work handles rows until no lane is ready.
func (in *inbox) work() {
	in.mu.Lock()
	defer in.mu.Unlock()
	for len(in.ready) > 0 && in.ctx.Err() == nil {
		l := in.ready[0]
		in.ready = in.ready[1:]
		n, first := l.rows[0].n, l.pause == 0
		in.mu.Unlock()
		over, again := in.one(n, first)
		in.mu.Lock()
		l.queued = false
		i := slices.IndexFunc(l.rows, func(w waiting) bool { return w.n == n })
		if over {
			l.rows = slices.Delete(l.rows, i, i+1)
			in.pending--
			l.pause = 0
		} else if !again {
			l.pause = min(max(2*l.pause, in.time.retry), in.time.most)
			l.rows[i].due = time.Now().Add(l.pause)
			// It is tried again before the others: they came after it.
			if i > 0 {
				l.rows[0].due = l.rows[i].due
			}
		}
		in.schedule(l)
	}
	in.running--
}

// errEarlier says that an older message of the lane has just come in: it goes
// first.
var errEarlier = errors.New("an older message goes first")

// one handles a row and says whether that is over, and if not, whether the lane
// goes on at once.
func (in *inbox) one(n int64, first bool) (over, again bool) {
	r, err := in.load(n)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return true, false // it was forgotten
	case err == nil:
		err = in.handle(in.ctx, r)
	default:
		err = &bot.Error{Kind: bot.Unavailable, Err: err}
	}
	if in.ctx.Err() != nil {
		return false, false
	}
	if errors.Is(err, errEarlier) {
		return false, true
	}
	kind, ref := kindOf(err)
	switch {
	case err == nil:
		select {
		case in.done <- n:
			return true, false
		case <-in.ctx.Done():
			return false, false
		}
	case kind == bot.Unavailable:
		if first {
			in.log.Warn("message can't be handled now and is tried again", "row", n, "key", r.key, "kind", kind, "ref", ref)
		}
		return false, false
	case kind != bot.Invalid && kind != bot.Forbidden && r.tries+1 < maxTries:
		if _, err := in.st.db.ExecContext(in.ctx, "UPDATE inbox SET tries = tries + 1 WHERE n = ?", n); err == nil {
			return false, false
		}
	}
	if _, err := in.st.db.ExecContext(in.ctx, "UPDATE inbox SET state = ?, tries = tries + 1 WHERE n = ?", statePoison, n); err != nil {
		return false, false
	}
	// Words of the error are not logged: they may quote the message.
	in.log.Error("message can't be handled and is kept aside", "row", n, "key", r.key, "kind", kind, "ref", ref)
	return true, false
}

func (in *inbox) load(n int64) (r row, err error) {
	var came int64
	err = in.st.db.QueryRowContext(in.ctx, "SELECT n, key, at, user, kind, raw, came, tries FROM inbox WHERE n = ? AND state = ?", n, stateWaits).
		Scan(&r.n, &r.key, &r.at, &r.user, &r.kind, &r.raw, &came, &r.tries)
	r.came = time.UnixMilli(came)
	return r, err
}

// kindOf is what sort of failure an error is.
func kindOf(err error) (kind bot.Kind, ref string) {
	var e *bot.Error
	switch {
	case err == nil:
		return "", ""
	case errors.As(err, &e):
		return e.Kind, e.Ref
	case wait(err) > 0:
		return bot.Unavailable, ""
	}
	return bot.Internal, ""
}

// run handles what is there and what comes, until ctx is done.
func (in *inbox) run(ctx context.Context, handle func(context.Context, row) error) {
	in.mu.Lock()
	if in.closed {
		in.mu.Unlock()
		return
	}
	in.ctx, in.handle, in.over = ctx, handle, make(chan struct{})
	for _, l := range in.lanes {
		in.schedule(l)
	}
	in.mu.Unlock()
	for in.prune(ctx); sleep(ctx, in.time.prune); in.prune(ctx) {
	}
	in.mu.Lock()
	for _, l := range in.lanes {
		if l.timer != nil {
			l.timer.Stop()
			l.timer = nil
		}
	}
	in.mu.Unlock()
	in.tasks.Wait()
	close(in.over)
}

// close waits until nothing is handled any more, or sees to it that nothing will be.
func (in *inbox) close() {
	in.mu.Lock()
	in.closed = true
	over := in.over
	in.mu.Unlock()
	if over != nil {
		<-over
	}
}

// prune forgets what came long ago: that it came, and what was kept aside of it.
func (in *inbox) prune(ctx context.Context) {
	now := time.Now()
	_, err := in.st.db.ExecContext(ctx, "DELETE FROM seen WHERE came < ? OR came < ? AND key >= ? AND key < ?",
		now.Add(-seenFor).UnixMilli(), now.Add(-eventSeenFor).UnixMilli(), keyEvent, "x;")
	n := int64(0)
	if err == nil {
		n, err = changes(in.st.db.ExecContext(ctx, "DELETE FROM inbox WHERE state <> ? AND came < ?", stateWaits, now.Add(-asideFor).UnixMilli()))
	}
	if n > 0 {
		in.log.Warn("deliveries that could not be read, or not be handled, were kept long enough and are removed", "rows", n)
	}
	if err != nil && ctx.Err() == nil {
		in.log.Warn("old marks can't be removed", "err", err)
	}
}
