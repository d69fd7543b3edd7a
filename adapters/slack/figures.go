package slack

import (
	"context"
	"fmt"
	"time"

	"milepost/bot"
)

// Inbox is what came in and is not dealt with. Contact is now while there is a
// socket: the library gives one up that Slack has not pinged for 30 s. Over HTTP
// it is the last event, or the last reading back, which is done every quarter of
// an hour.
func (s *Slack) Inbox(ctx context.Context) (in bot.Inbox, err error) {
	s.mu.Lock()
	e, up := s.ears, s.up
	in.Contact = s.contact
	s.mu.Unlock()
	if e != nil {
		in.Contact = newest(in.Contact, e.contact())
	}
	select {
	case <-up:
	default: // nobody waits for that
		return in, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("read inbox: %w", errNotInside)}
	}
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return in, err
	}
	defer leave()
	return in, failed("read inbox", s.state.count(ctx, &in))
}

var _ bot.Receiver = (*Slack)(nil)

// hears lets Inbox ask the ears when they last heard something, until over is
// called.
func (s *Slack) hears(e *ears) (over func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ears = e
	return func() {
		last := e.contact()
		s.mu.Lock()
		defer s.mu.Unlock()
		s.ears, s.contact = nil, newest(s.contact, last)
	}
}

// contact is when Slack was last heard; zero: not yet.
func (e *ears) contact() time.Time {
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case e.s.cfg.EventsAddr != "":
		return newest(e.heard, e.looked)
	case e.linked:
		return time.Now()
	}
	return e.lost
}

func newest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// count counts the inbox's rows by what becomes of them.
func (s *state) count(ctx context.Context, in *bot.Inbox) error {
	return s.db.QueryRowContext(ctx, `SELECT count(*) FILTER (WHERE state = ?), count(*) FILTER (WHERE state = ?), count(*) FILTER (WHERE state = ?) FROM inbox`,
		stateWaits, stateBad, statePoison).Scan(&in.Waiting, &in.Unread, &in.Aside)
}
