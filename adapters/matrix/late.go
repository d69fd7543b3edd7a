package matrix

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// How long a lane waits for the key of the message in front, and when the key is
// asked for: it is often a moment later than its message.
const (
	askKeyAfter = 2 * time.Second
	waitForKey  = 12 * time.Second

	keptFor     = 7 * 24 * time.Hour // a message without a key, or that can't be handled
	lateBatch   = 500
	lostMost    = 1000
	decryptMost = 3 // tries where decryption fails otherwise
)

const faultUnreadable = bot.FaultUnreadable

// lost remembers the sessions whose key was waited for in vain: their next
// messages need not wait again.
type lost struct {
	mu       sync.Mutex
	sessions map[id.SessionID]bool
}

func (l *lost) add(s id.SessionID) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.sessions == nil || len(l.sessions) >= lostMost {
		l.sessions = map[id.SessionID]bool{}
	}
	l.sessions[s] = true
}

func (l *lost) has(s id.SessionID) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.sessions[s]
}

func (l *lost) clear() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sessions = nil
}

// decrypt gives what is inside an encrypted event; or how long to wait; or nil
// where the row has been dealt with otherwise.
func (m *stint) decrypt(ctx context.Context, ln *lane, r *row, evt *event.Event) (*event.Event, time.Duration, error) {
	if m.cipher == nil {
		m.sayDumb(evt.RoomID)
		return nil, 0, m.after(r.n, nil)
	}
	if evt.Content.ParseRaw(evt.Type) != nil {
		return nil, 0, m.after(r.n, nil) // no encrypted message, whatever it says
	}
	plain, err := m.open(ctx, evt)
	switch {
	case err == nil:
		return plain, 0, nil
	case ctx.Err() != nil:
		return nil, 0, ctx.Err()
	case errors.Is(err, errNoKey):
	case ln.tries < decryptMost:
		return nil, 0, &bot.Error{Kind: bot.Internal, Err: fmt.Errorf("decrypt: %w", err)}
	default:
		m.cfg.Log.Warn("matrix: message can't be decrypted", "event", evt.ID, "room", evt.RoomID, "err", err)
		return nil, 0, m.unread(ctx, r, evt)
	}
	session := evt.Content.AsEncrypted().SessionID
	if ln.since.IsZero() {
		if m.in.lost.has(session) {
			return nil, 0, m.unread(ctx, r, evt)
		}
		ln.since = time.Now()
	}
	waited := time.Since(ln.since)
	if waited < askKeyAfter {
		return nil, max(askKeyAfter-waited, time.Millisecond), nil
	}
	if !ln.asked {
		ln.asked = true
		if err := m.contain("asking for a key", func() error { return m.cipher.AskKey(ctx, evt) }); err != nil {
			m.cfg.Log.Warn("matrix: ask for a key", "event", evt.ID, "err", err)
		}
	}
	if waited < waitForKey {
		return nil, max(waitForKey-waited, time.Millisecond), nil
	}
	m.in.lost.add(session)
	return nil, 0, m.unread(ctx, r, evt)
}

// open decrypts. What hangs on what may be in clear only.
func (m *stint) open(ctx context.Context, evt *event.Event) (plain *event.Event, err error) {
	err = m.contain("decryption", func() (err error) {
		plain, err = m.cipher.Decrypt(ctx, evt)
		return err
	})
	if err == nil && plain == nil {
		err = errors.New("decryption gave nothing")
	}
	if err == nil {
		plain.Mautrix.WasEncrypted = true
		plain.RoomID, plain.ID, plain.Sender, plain.Timestamp = evt.RoomID, evt.ID, evt.Sender, evt.Timestamp
	}
	return plain, err
}

// unread says in the conversation that a message could not be read, and keeps it
// in case its key still comes. Of what was written between our invitation and our
// coming, for which its sender may have given us no key, it says so once.
func (m *stint) unread(ctx context.Context, r *row, evt *event.Event) error {
	in, ok, err := m.unreadable(ctx, evt)
	if err != nil {
		return err
	}
	joined, err := m.state.joinedAt(ctx, r.room)
	if err != nil {
		return err
	}
	if ok {
		in.Delivery = string(evt.ID) + "/unread"
		if joined != 0 && evt.Timestamp <= joined {
			in.Delivery, in.Fault = fmt.Sprintf("%s/before/%d", r.room, joined), bot.FaultBefore
		}
		if err := m.hand(ctx, in); err != nil {
			return err
		}
	}
	if err := m.state.putAside(ctx, r.n, waitsSaid); err != nil {
		return err
	}
	// A key that came since the last try has not found this row.
	if _, err := m.open(ctx, evt); err == nil {
		select {
		case m.in.reread <- struct{}{}:
		default: // told already
		}
	}
	return nil
}

// unreadable is what is known of a message without reading it; false where it is
// not for us.
func (m *stint) unreadable(ctx context.Context, evt *event.Event) (bot.Inbound, bool, error) {
	in, err := m.inbound(ctx, evt)
	if err != nil {
		return in, false, err
	}
	in.Fault, in.Called = faultUnreadable, m.direct(ctx, evt.RoomID)
	rel := relation(evt)
	if rel.Type == event.RelReplace {
		rel = &event.RelatesTo{} // what it was to change stands elsewhere
	}
	ok, err := m.place(ctx, evt, rel, &in)
	return in, ok, err
}

// sayDumb logs, once for each room, that this program can't read it.
func (m *stint) sayDumb(room id.RoomID) {
	m.in.mu.Lock()
	said := m.in.dumb[string(room)]
	keep(&m.in.dumb, string(room), true)
	m.in.mu.Unlock()
	if !said {
		m.cfg.Log.Warn("matrix: an encrypted room can't be read: encryption is not configured or not in this build", "room", room)
	}
}

// lateKeys tries again what waits for keys, whenever some have come,
// or what was put aside can be read after all.
func (m *stint) lateKeys(ctx context.Context) {
	if m.cipher == nil {
		return
	}
	for {
		err := m.retrySaid(ctx)
		if err != nil && ctx.Err() == nil {
			m.cfg.Log.Warn("matrix: try messages whose key was missing", "err", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-m.cipher.NewKeys():
			m.in.lost.clear()
			m.in.lanes.keysCame()
		case <-m.in.reread:
		}
	}
}

// retrySaid hands over late what can be read now.
func (m *stint) retrySaid(ctx context.Context) error {
	for after := int64(0); ; {
		rows, err := m.state.said(ctx, after)
		if err != nil || len(rows) == 0 {
			return err
		}
		for _, r := range rows {
			after = r.n
			evt := new(event.Event)
			if json.Unmarshal(r.raw, evt) != nil || evt.Content.ParseRaw(evt.Type) != nil {
				continue
			}
			evt.RoomID = id.RoomID(r.room)
			if _, err := m.open(ctx, evt); err != nil {
				continue
			}
			if err := m.takeUp(ctx, &r); err != nil {
				return err
			}
			m.cfg.Log.Info("matrix: the key of a message has come late", "event", r.event, "room", r.room)
		}
	}
}

// takeUp lets a row be handled that was put aside, once there is room for it. One
// behind those that are in memory stays there: load comes to it in its turn.
func (m *stint) takeUp(ctx context.Context, r *row) error {
	for {
		if done, err := m.takeUpNow(ctx, r); done || err != nil {
			return err
		}
		if err := sleep(ctx, sweepEvery); err != nil {
			return err
		}
	}
}

func (m *stint) takeUpNow(ctx context.Context, r *row) (done bool, err error) {
	m.in.loading.Lock()
	defer m.in.loading.Unlock()
	free, last := m.in.lanes.room()
	if free <= 0 {
		return false, nil
	}
	if err := m.state.putAside(ctx, r.n, waitsNot); err != nil {
		return false, err
	}
	if r.n <= last {
		m.in.lanes.add(r.n, r.lane)
	} else {
		m.in.behind.Store(true)
	}
	return true, nil
}

// said gives the rows that were said to be unreadable, some at a time.
func (s *state) said(ctx context.Context, after int64) (list []row, err error) {
	rows, err := s.db.QueryContext(ctx, "SELECT n, event, room, "+turnName+", raw FROM inbox WHERE waits = ? AND n > ? ORDER BY n LIMIT ?", waitsSaid, after, lateBatch)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.n, &r.event, &r.room, &r.lane, &r.raw); err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, rows.Err()
}
