package matrix

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
	"milepost/bot"
)

// Bounds of the work on the inbox.
const (
	working     = 8  // at work at once
	workers     = 32 // with those who wait for a file
	loadBatch   = 500
	poisonAfter = 6 // tries that ended in a fault of the program
	sweepEvery  = 100 * time.Millisecond
	sweepAt     = 64
	inboxMost   = 200_000 // rows to be handled: beyond it nothing is taken from the homeserver, which keeps it
	asideMost   = 10_000  // rows put aside: beyond it the oldest are given up
)

// row is a message on its way in.
type row struct {
	n     int64
	event string
	room  string
	lane  string
	raw   []byte
}

// handled collects the rows that are done, to be deleted together. After a
// crash before that they are handed over again, and are known there.
type handled struct {
	mu   sync.Mutex
	rows []int64
	full chan struct{}
}

// turnName is the lane in which a row waits its turn: that of its thread, but in a
// direct message that of the room. There what is said beside a thread is part of
// the same talk.
const turnName = "CASE WHEN EXISTS (SELECT 1 FROM room WHERE id = inbox.room AND direct = 1) THEN room ELSE lane END"

// load takes rows from the database into lanes, as many as there is room for.
// It is called after each commit and when room has been made.
func (m *stint) load(ctx context.Context) error {
	m.in.loading.Lock()
	defer m.in.loading.Unlock()
	for {
		free, after := m.in.lanes.room()
		if m.in.behind.Store(free <= 0); free <= 0 {
			return nil
		}
		rows, err := m.state.db.QueryContext(ctx, "SELECT n, "+turnName+" FROM inbox WHERE n > ? AND waits = 0 ORDER BY n LIMIT ?", after, min(free, loadBatch))
		if err != nil {
			return err
		}
		count := 0
		for rows.Next() {
			var n int64
			var lane string
			if err := rows.Scan(&n, &lane); err != nil {
				return errors.Join(err, rows.Close())
			}
			m.in.lanes.add(n, lane)
			count++
		}
		if err := errors.Join(rows.Err(), rows.Close()); err != nil {
			return err
		}
		if count < min(free, loadBatch) {
			return nil
		}
	}
}

// full says whether more waits than is taken. While all rows are in memory it is
// not asked.
func (m *stint) full(ctx context.Context) error {
	if !m.in.behind.Load() {
		return nil
	}
	var n int
	err := m.state.db.QueryRowContext(ctx, "SELECT count(*) FROM (SELECT 1 FROM inbox WHERE waits = 0 LIMIT ?)", m.in.most).Scan(&n)
	if err == nil && n >= m.in.most {
		err = &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("%d messages wait to be handled: no more are taken before", n)}
	}
	return err
}

// answer works on one row after the other, of whatever lane is in turn.
func (m *stint) answer(ctx context.Context) {
	for {
		ln, n, ok := m.in.lanes.next()
		if !ok {
			return
		}
		var wait time.Duration
		m.in.turns.take()
		err := m.contain("a message", func() (err error) {
			wait, err = m.handle(ctx, ln, n)
			return err
		})
		m.in.turns.give()
		switch {
		case ctx.Err() != nil:
			m.in.lanes.park(ln, time.Hour) // it is over; the row stays
		case err != nil:
			m.again(ctx, ln, n, err)
		case wait > 0:
			m.in.lanes.park(ln, wait)
		default:
			m.in.lanes.done(ln)
		}
	}
}

// handle does one row. A wait means that its key is not here yet; an error that
// it is to be tried again.
func (m *stint) handle(ctx context.Context, ln *lane, n int64) (wait time.Duration, err error) {
	r, err := m.state.row(ctx, n)
	if err != nil || r == nil {
		return 0, err // erased meanwhile
	}
	evt := new(event.Event)
	if err := json.Unmarshal(r.raw, evt); err != nil {
		return 0, &bot.Error{Kind: bot.Internal, Err: errors.New("a stored message can't be read")}
	}
	evt.RoomID = id.RoomID(r.room)
	if done, err := m.moves(ctx, evt); done || err != nil {
		return 0, m.after(n, err)
	}
	rel := relation(evt)
	if evt.Type.Type == event.EventEncrypted.Type {
		plain, wait, err := m.decrypt(ctx, ln, r, evt)
		if wait > 0 || err != nil {
			return wait, err
		}
		if plain == nil { // it has been said that it can't be read
			return 0, nil
		}
		if in := relation(plain); in.Type != "" || in.InReplyTo != nil {
			rel = in
		}
		evt = plain
	}
	ins, err := m.hear(ctx, evt, rel)
	if err != nil {
		return 0, err
	}
	for _, in := range ins {
		if err := m.hand(ctx, in); err != nil {
			return 0, err
		}
	}
	return 0, m.after(n, nil)
}

// after notes that a row is done.
func (m *stint) after(n int64, err error) error {
	if err != nil {
		return err
	}
	h := &m.in.handled
	h.mu.Lock()
	defer h.mu.Unlock()
	h.rows = append(h.rows, n)
	if len(h.rows) >= sweepAt {
		select {
		case h.full <- struct{}{}:
		default:
		}
	}
	return nil
}

// hand gives a message over. What the other side refuses for good is done with.
func (m *stint) hand(ctx context.Context, in bot.Inbound) error {
	err := m.in.hear.Handle(ctx, in)
	var e *bot.Error
	switch {
	case err == nil:
		return nil
	case !errors.As(err, &e):
		return &bot.Error{Kind: bot.Internal, Err: err}
	case e.Kind == bot.Invalid || e.Kind == bot.Forbidden:
		m.cfg.Log.Warn("matrix: message refused", "event", in.Delivery, "err", err)
		return nil
	}
	return err
}

// again lets a lane wait before the next try of the same row: what came later
// stays behind it. A row that fails time and again by a fault of the program is
// put aside.
func (m *stint) again(ctx context.Context, ln *lane, n int64, err error) {
	b := backoff{tries: ln.tries}
	wait := b.next(err)
	ln.tries++
	if transient(err) || status(err) == http.StatusUnauthorized {
		m.cfg.Log.Warn("matrix: message not handled", "row", n, "err", brief(err), "again in", wait.Round(time.Millisecond))
		m.in.lanes.park(ln, wait)
		return
	}
	tries, dberr := m.state.tried(ctx, n)
	if dberr == nil && tries >= poisonAfter {
		if dberr = m.state.putAside(ctx, n, waitsPoisoned); dberr == nil {
			m.cfg.Log.Error("matrix: message put aside: it can't be handled", "row", n, "tries", tries, "err", err)
			m.in.lanes.done(ln)
			return
		}
	}
	if dberr != nil {
		m.cfg.Log.Warn("matrix: count tries", "err", dberr)
	}
	m.in.lanes.park(ln, wait)
}

// sweep deletes handled rows, some at a time, and takes in those that wait.
func (m *stint) sweep(ctx context.Context) {
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		case <-m.in.handled.full:
		}
		err := m.dropHandled(ctx)
		if err == nil && m.in.behind.Load() {
			err = m.load(ctx)
		}
		if err != nil && ctx.Err() == nil {
			m.cfg.Log.Warn("matrix: delete handled messages", "err", err)
			_ = sleep(ctx, time.Second)
		}
	}
}

// dropHandled deletes the rows that are done.
func (m *stint) dropHandled(ctx context.Context) error {
	h := &m.in.handled
	h.mu.Lock()
	rows := h.rows
	h.rows = nil
	h.mu.Unlock()
	if len(rows) == 0 {
		return nil
	}
	err := m.state.tx(ctx, func(tx *sql.Tx) error {
		for _, n := range rows {
			if _, err := tx.ExecContext(ctx, "DELETE FROM inbox WHERE n = ?", n); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		h.mu.Lock()
		h.rows = append(rows, h.rows...)
		h.mu.Unlock()
		return fmt.Errorf("delete handled messages: %w", err)
	}
	return nil
}

// row gives a row of the inbox, nil if it is not there.
func (s *state) row(ctx context.Context, n int64) (*row, error) {
	r := row{n: n}
	err := s.db.QueryRowContext(ctx, "SELECT event, room, lane, raw FROM inbox WHERE n = ?", n).Scan(&r.event, &r.room, &r.lane, &r.raw)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	r.raw = slices.Clone(r.raw)
	return &r, err
}

// tried counts a try of a row and gives the number.
func (s *state) tried(ctx context.Context, n int64) (tries int, err error) {
	err = s.db.QueryRowContext(ctx, "UPDATE inbox SET tries = tries + 1 WHERE n = ? RETURNING tries", n).Scan(&tries)
	return tries, own.IgnoreNone(err)
}

// dropAside deletes the row of an event that was put aside.
func (s *state) dropAside(ctx context.Context, evt string) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM inbox WHERE event = ? AND waits <> ?", evt, waitsNot)
	return err
}

// putAside takes a row out of its lane, and keeps it.
func (s *state) putAside(ctx context.Context, n int64, waits int) error {
	_, err := s.db.ExecContext(ctx, "UPDATE inbox SET waits = ? WHERE n = ?", waits, n)
	return err
}
