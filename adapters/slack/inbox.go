package slack

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"milepost/bot"
)

const (
	maxWorkers = 16      // messages handled at once
	maxPending = 200_000 // messages that wait; what is beyond is not acknowledged and comes again
	maxBatch   = 64      // deliveries in one transaction

	// A message that fails for another reason than that something is not there is
	// tried so often, then kept aside.
	maxTries = 3

	seenFor      = 14 * 24 * time.Hour // how long a repeat is known for one
	eventSeenFor = 24 * time.Hour      // by an event's id: Slack repeats for minutes
)

// States of a row in the inbox.
const (
	stateWaits  = 0
	stateBad    = 1 // can't be read
	statePoison = 2 // can't be handled
)

// inbox keeps what came until it is handled: lanes that run beside each other,
// each in the order of Slack's time.
type inbox struct {
	st   *state
	log  *slog.Logger
	time times

	puts chan *put
	done chan int64

	mu      sync.Mutex
	lanes   map[string]*lane
	ready   []*lane
	running int
	pending int
	linked  time.Time // when the connection was made last
	handle  func(context.Context, row) error
	ctx     context.Context // of run; nil before
	tasks   sync.WaitGroup
}

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

// row is a stored arrival.
type row struct {
	n     int64
	key   string
	at    string
	user  string
	kind  string
	raw   []byte
	came  time.Time
	tries int
}

// put is a delivery on its way into the store.
type put struct {
	list []arrival
	back chan error
}

// newInbox takes up what waits from before.
func newInbox(ctx context.Context, s *Slack, st *state) (*inbox, error) {
	in := &inbox{st: st, log: s.log, time: s.times, puts: make(chan *put), done: make(chan int64, 256), lanes: map[string]*lane{}}
	rows, err := st.db.QueryContext(ctx, "SELECT n, lane, at, came FROM inbox WHERE state = ? ORDER BY n", stateWaits)
	if err != nil {
		return nil, fmt.Errorf("read inbox: %w", err)
	}
	defer rows.Close()
	for rows.Next() {
		var w waiting
		var name string
		var came int64
		if err := rows.Scan(&w.n, &name, &w.at, &came); err != nil {
			return nil, fmt.Errorf("read inbox: %w", err)
		}
		w.came = time.UnixMilli(came)
		in.add(name, w)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read inbox: %w", err)
	}
	return in, nil
}

// keep stores arrivals in one durable transaction; on return without error they
// may be acknowledged.
func (in *inbox) keep(ctx context.Context, list []arrival) error {
	if len(list) == 0 {
		return nil
	}
	p := &put{list: list, back: make(chan error, 1)}
	select {
	case in.puts <- p:
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case err := <-p.back:
		return err
	case <-ctx.Done():
		return ctx.Err() // stored or not, it comes again
	}
}

// commit is the one writer of the inbox until ctx is done: what comes at the
// same time is one transaction, and rows that were handled go with it.
func (in *inbox) commit(ctx context.Context) {
	var done []int64
	idle := time.NewTicker(50 * time.Millisecond)
	defer idle.Stop()
	flush := func(ctx context.Context, puts []*put) {
		for n := len(in.done); n > 0; n-- {
			done = append(done, <-in.done)
		}
		if len(puts) == 0 && len(done) == 0 {
			return
		}
		if in.write(ctx, puts, done) == nil {
			done = done[:0]
		}
	}
	for {
		select {
		case <-ctx.Done():
			last, stop := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer stop()
			in.tasks.Wait()
			flush(last, nil)
			return
		case n := <-in.done:
			done = append(done, n)
			if len(done) >= maxBatch {
				flush(ctx, nil)
			}
		case <-idle.C:
			flush(ctx, nil)
		case p := <-in.puts:
			puts := []*put{p}
			for more := true; more && len(puts) < maxBatch; {
				select {
				case p := <-in.puts:
					puts = append(puts, p)
				default:
					more = false
				}
			}
			flush(ctx, puts)
		}
	}
}

// write stores what came and removes what was handled, all or nothing.
func (in *inbox) write(ctx context.Context, puts []*put, done []int64) error {
	in.mu.Lock()
	full := in.pending >= maxPending
	in.mu.Unlock()
	type stored struct {
		arrival
		n int64
	}
	var news []stored
	now := time.Now()
	err := in.st.tx(ctx, func(tx *sql.Tx) error {
		for _, n := range done {
			if _, err := tx.ExecContext(ctx, "DELETE FROM inbox WHERE n = ?", n); err != nil {
				return err
			}
		}
		for _, p := range puts {
			fresh := map[string]bool{}
			for _, a := range p.list {
				if full {
					continue
				}
				a.said = fresh[a.within]
				n, err := insert(ctx, tx, &a, now)
				if err != nil {
					return err
				}
				fresh[a.key] = n != 0
				if n != 0 && !a.bad {
					news = append(news, stored{a, n})
				}
			}
		}
		return nil
	})
	said := err
	if err == nil {
		for _, f := range news {
			in.arrived(f.lane, waiting{n: f.n, at: f.at, came: now}, f.soon, f.unsure)
		}
		if full {
			said = errors.New("too much waits already")
		}
	}
	for _, p := range puts {
		p.back <- said
	}
	return err
}

// insert stores one arrival; n is 0 where it is known already.
func insert(ctx context.Context, tx *sql.Tx, a *arrival, now time.Time) (n int64, err error) {
	if a.also != "" {
		fresh, err := changed(tx.ExecContext(ctx, "INSERT OR IGNORE INTO seen (key, channel, at, came) VALUES (?, '', '', ?)", a.also, now.UnixMilli()))
		if err != nil || !fresh {
			return 0, err
		}
	}
	if a.at == "" {
		a.at = tsOf(now)
	}
	fresh, err := changed(tx.ExecContext(ctx, "INSERT OR IGNORE INTO seen (key, channel, at, came, root, user, parts) VALUES (?, ?, ?, ?, ?, ?, ?)",
		a.key, a.channel, a.at, now.UnixMilli(), a.root, a.user, a.parts))
	if err != nil || !fresh || a.said {
		return 0, err
	}
	if a.lane == "" {
		if a.lane, err = laneOfPost(ctx, tx, a.channel, a.root); err != nil {
			return 0, err
		}
	}
	state := stateWaits
	if a.bad {
		state = stateBad
	}
	r, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO inbox (key, lane, at, user, kind, raw, came, state) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		a.key, a.lane, a.at, a.user, a.kind, a.raw, now.UnixMilli(), state)
	if err != nil {
		return 0, err
	}
	if k, err := r.RowsAffected(); err != nil || k == 0 {
		return 0, err
	}
	return r.LastInsertId()
}

func changed(r sql.Result, err error) (bool, error) {
	if err != nil {
		return false, err
	}
	k, err := r.RowsAffected()
	return k > 0, err
}

// laneOfPost is the lane of the thread in which a post of ours stands.
func laneOfPost(ctx context.Context, tx *sql.Tx, channel, ts string) (string, error) {
	var root string
	err := tx.QueryRowContext(ctx, "SELECT r.ts FROM shown s JOIN root r ON r.thread = s.thread WHERE s.channel = ? AND s.ts = ?", channel, ts).Scan(&root)
	if err := ignoreNone(err); err != nil {
		return "", err
	}
	if root == "" {
		root = ts
	}
	return channel + "/" + root, nil
}

// arrived lets a stored row wait in its lane: a little, because Slack may deliver
// out of order, and longer where that is likely.
func (in *inbox) arrived(name string, w waiting, soon, unsure bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	l := in.lanes[name]
	wait := in.time.settle
	switch {
	case soon:
		wait = 0
	case unsure, l != nil && len(l.rows) > 0, time.Since(in.linked) < in.time.fresh:
		wait = in.time.unsure
	}
	w.due = w.came.Add(wait)
	if l != nil && len(l.rows) > 0 && !soon {
		// The one in front waits on with it, but not for ever.
		front := &l.rows[0]
		if most := front.came.Add(2 * in.time.unsure); l.pause == 0 && front.due.After(time.Now()) && front.due.Before(w.due) {
			front.due = w.due
			if front.due.After(most) {
				front.due = most
			}
		}
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
	in.ctx, in.handle = ctx, handle
	in.tasks.Add(1)
	for _, l := range in.lanes {
		in.schedule(l)
	}
	in.mu.Unlock()
	in.prune(ctx)
	<-ctx.Done()
	in.mu.Lock()
	for _, l := range in.lanes {
		if l.timer != nil {
			l.timer.Stop()
			l.timer = nil
		}
	}
	in.mu.Unlock()
	in.tasks.Done()
	in.tasks.Wait()
}

// prune forgets what came long ago.
func (in *inbox) prune(ctx context.Context) {
	now := time.Now()
	_, err := in.st.db.ExecContext(ctx, "DELETE FROM seen WHERE came < ? OR came < ? AND key >= ? AND key < ?",
		now.Add(-seenFor).UnixMilli(), now.Add(-eventSeenFor).UnixMilli(), keyEvent, "x;")
	if err != nil && ctx.Err() == nil {
		in.log.Warn("old marks can't be removed", "err", err)
	}
}

// connected notes that a connection was made: what was under way on the one
// before may come late.
func (in *inbox) connected() {
	in.mu.Lock()
	in.linked = time.Now()
	in.mu.Unlock()
}

// tsOf is a time in Slack's form.
func tsOf(t time.Time) string {
	us := t.UnixMicro()
	return fmt.Sprintf("%010d.%06d", us/1e6, us%1e6)
}
