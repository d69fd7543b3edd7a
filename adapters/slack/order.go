package slack

import (
	"context"
	"time"
)

// After a connection was made Slack may deliver what was under way before it later
// than what was written since: its repeats come with pauses, and for a moment it may
// still write into the old one. So then a message has its thread looked at, and what
// is older goes first: every message at first that the last look did not show, then
// the first of each thread.

const (
	maxOrdered = 100             // looks after one connection
	orderIn    = 2 * time.Second // a look takes no longer, or there is none
)

// order is which lanes were looked at since the connection was made. Guarded by
// ears.mu.
type order struct {
	since string // messages from there on may still be under way
	begun time.Time
	until time.Time
	done  map[string]string // by lane, up to where a look has shown it
	looks int
	off   bool // Slack asked to be left alone
}

// begin starts anew: lost is since when there was no connection, zero if there was
// none before.
func (o *order) begin(lost time.Time) {
	now := time.Now()
	*o = order{begun: now, until: now.Add(orderFor), done: map[string]string{}}
	if !lost.IsZero() {
		o.since = tsOf(lost.Add(-time.Minute))
	}
}

// It is looked so long after a connection was made, until Slack has given up what was
// under way; and for every message so long.
const (
	orderFor = 6 * time.Minute
	orderAll = 3 * time.Second
)

// toOrder says whether a lane is to be looked at, for a message that came over this
// connection, or for one that was left from before it.
func (e *ears) toOrder(lane string, r *row) (since string, yes bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	o := &e.order
	now := time.Now()
	shown, looked := o.done[o.lane(lane, r)]
	if o.off || o.done == nil || shown >= r.at || looked && now.Sub(o.begun) > orderAll || o.looks >= maxOrdered || now.After(o.until) {
		return "", false
	}
	o.looks++
	return o.since, true
}

// shows notes up to where a look has shown a lane.
func (e *ears) shows(lane string, r *row, upTo string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if o := &e.order; o.done != nil {
		o.done[o.lane(lane, r)] = upTo
	}
}

func (o *order) lane(lane string, r *row) string {
	if r.came.Before(o.begun) {
		return lane + "/before"
	}
	return lane
}

// before sees to it that nothing older of a message's lane is still under way,
// just after a connection was made. It gives errEarlier if something was.
func (e *ears) before(ctx context.Context, r *row) error {
	o, err := readOuter(r.raw)
	if err != nil || o.Caught {
		return nil
	}
	ev, err := o.readEvent()
	if err != nil {
		return nil
	}
	channel, root := string(ev.Channel), threadRoot(&ev.inMessage)
	lane := laneOf(channel, ev.Thread, ev.TS, r.user)
	since, yes := e.toOrder(lane, r)
	if !yes {
		return nil
	}
	if since, err = e.from(ctx, since); err != nil || since == "" || since >= r.at {
		return nil // it is only for the order
	}
	method, query := "conversations.history", args("channel", channel, "oldest", since, "limit", "100")
	if root != "" {
		method = "conversations.replies" // the oldest come first
		query.Set("ts", root)
	} else {
		query.Set("latest", r.at) // the newest come first
	}
	var out struct {
		Messages []inMessage `json:"messages"`
	}
	soon, stop := context.WithTimeout(ctx, orderIn)
	err = e.s.read(soon, method, query, &out)
	stop()
	if err != nil {
		if wait(err) > 0 {
			e.mu.Lock()
			e.order.off = true
			e.mu.Unlock()
		}
		e.s.log.Debug("a thread can't be looked at for its order", "err", plainly(err))
		return nil
	}
	others, upTo := out.Messages[:0], r.at
	for _, m := range out.Messages {
		if m.TS != r.at && laneOf(channel, m.Thread, m.TS, string(m.User)) == lane {
			others, upTo = append(others, m), max(upTo, m.TS)
		}
	}
	kind := ev.Kind
	if kind == "" {
		kind = "channel"
	}
	n, err := e.feed(ctx, channel, root, kind, since, others, nil)
	if err != nil {
		return nil
	}
	e.shows(lane, r, upTo)
	if n == 0 {
		return nil
	}
	waits, err := e.st.earlier(ctx, lane, r.at)
	if err == nil && waits {
		return errEarlier
	}
	return nil
}

// from is where it is to be looked from: since the connection before, in this run
// or the last.
func (e *ears) from(ctx context.Context, since string) (string, error) {
	alive, born, err := e.heardLast(ctx)
	if err != nil || alive.IsZero() {
		return "", err
	}
	if since == "" {
		since = tsOf(alive.Add(-time.Minute))
	}
	return max(since, born), nil
}
