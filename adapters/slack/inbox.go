package slack

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"milepost/adapters/own"
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
	asideFor     = 30 * 24 * time.Hour // how long what could not be handled is kept for the operator
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
	handle  func(context.Context, row) error
	ctx     context.Context // of run; nil before
	tasks   sync.WaitGroup  // of workers
	over    chan struct{}   // closed when run has ended; nil: it has not begun
	closed  bool            // it must not begin any more
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
			in.close()
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
				fresh[a.key] = n != 0 && !a.rest
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
	if a.key == "" { // nothing came: it is tried whether something can be stored
		_, err := tx.ExecContext(ctx, "INSERT INTO meta (k, v) VALUES ('tried', ?) ON CONFLICT (k) DO UPDATE SET v = excluded.v", tsOf(now))
		return 0, err
	}
	if a.also != "" {
		fresh, err := changed(tx.ExecContext(ctx, "INSERT OR IGNORE INTO seen (key, channel, at, came) VALUES (?, '', '', ?)", a.also, now.UnixMilli()))
		if err != nil || !fresh {
			return 0, err
		}
	}
	if a.at == "" {
		a.at = tsOf(now)
	}
	if a.sign != "" {
		if known, err := signKnown(ctx, tx, a); err != nil || known {
			return 0, err
		}
	}
	fresh, err := changed(tx.ExecContext(ctx, "INSERT OR IGNORE INTO seen (key, channel, at, came, root, user, parts) VALUES (?, ?, ?, ?, ?, ?, ?)",
		a.key, a.channel, a.at, now.UnixMilli(), a.root, a.user, a.parts))
	if err != nil || a.said {
		return 0, err
	}
	if !fresh {
		if a.rest, err = restOf(ctx, tx, a); err != nil || !a.rest {
			return 0, err
		}
	}
	if a.lane == "" {
		if a.lane, err = laneWithin(ctx, tx, a); err != nil {
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
	n, err := changes(r, err)
	return n > 0, err
}

func changes(r sql.Result, err error) (int64, error) {
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

// laneWithin is the lane of what does not say where it belongs.
func laneWithin(ctx context.Context, tx *sql.Tx, a *arrival) (string, error) {
	id, ok := strings.CutPrefix(a.key, keyGone)
	if !ok {
		return laneOfPost(ctx, tx, a.channel, a.root)
	}
	list, err := withFile(ctx, tx, id)
	if err != nil || len(list) == 0 {
		return "file/" + id, err
	}
	m := &list[0]
	return laneOf(m.channel, m.root, m.ts(), m.user), nil
}

// laneOfPost is the lane of the thread in which a post of ours stands.
func laneOfPost(ctx context.Context, tx *sql.Tx, channel, ts string) (string, error) {
	var root string
	err := tx.QueryRowContext(ctx, "SELECT r.ts FROM shown s JOIN root r ON r.thread = s.thread WHERE s.channel = ? AND s.ts = ?", channel, ts).Scan(&root)
	if err := own.IgnoreNone(err); err != nil {
		return "", err
	}
	if root == "" {
		root = ts
	}
	return channel + "/" + root, nil
}
