package matrix

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"milepost/adapters/own"
)

// sentRow is what is known of an event of ours.
type sentRow struct {
	event string // "" while it is not known to be out
	data  string
	tried bool      // a try was begun
	at    time.Time // when
}

// sentBy gives what is known of the event with a key.
func (s *state) sentBy(ctx context.Context, key string) (r sentRow, err error) {
	var at int64
	err = s.db.QueryRowContext(ctx, "SELECT event, data, at FROM sent WHERE key = ?", key).Scan(&r.event, &r.data, &at)
	if errors.Is(err, sql.ErrNoRows) {
		return r, nil
	}
	r.tried, r.at = err == nil, time.UnixMilli(at)
	return r, err
}

// untried takes a note back: the server has said that it did not take the
// message.
func (s *state) untried(ctx context.Context, key string) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM sent WHERE key = ? AND event = ''", key)
	return err
}

// uploaded keeps where a file of a message lies, until the message is out.
func (s *state) uploaded(ctx context.Context, key, txn, room, event, data string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR REPLACE INTO sent (key, txn, event, room, data, at) VALUES (?, ?, ?, ?, ?, ?)",
		key, txn, event, room, data, time.Now().UnixMilli())
	return err
}

// unload forgets where a file lies and what opens it.
func (s *state) unload(ctx context.Context, key string) error {
	_, err := s.db.ExecContext(ctx, "UPDATE sent SET data = '' WHERE key = ?", key)
	return err
}

// offered is what an event of ours offers.
type offered struct {
	thread, job, choices string
}

// out notes that a message is out, and what it offers, in one: a reply to it
// may come at once.
func (s *state) out(ctx context.Context, key, event string, offer *offered) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, "UPDATE sent SET event = ? WHERE key = ?", event, key); err != nil {
			return err
		}
		if offer == nil {
			return nil
		}
		_, err := tx.ExecContext(ctx, "INSERT OR IGNORE INTO shown (event, thread, job, choices, at) VALUES (?, ?, ?, ?, ?)",
			event, offer.thread, offer.job, offer.choices, time.Now().UnixMilli())
		return err
	})
}

// lastOf gives the last event seen in a lane that is not of a user, "" if there
// is none.
func (s *state) lastOf(ctx context.Context, lane, but string) (event string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT event FROM seen WHERE lane = ? AND sender NOT IN ('', ?) ORDER BY n DESC LIMIT 1", lane, but).Scan(&event)
	return event, own.IgnoreNone(err)
}

// hasRoots says whether a room holds the thread of any job.
func (s *state) hasRoots(ctx context.Context, room string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM (SELECT 1 FROM root WHERE room = ? LIMIT 1)", room).Scan(&n)
	return n > 0, err
}

// hasSent says whether anything was ever sent to a room.
func (s *state) hasSent(ctx context.Context, room string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM (SELECT 1 FROM sent WHERE room = ? LIMIT 1)", room).Scan(&n)
	return n > 0, err
}

// How long it is remembered that a message is out, and what it offers: longer
// than any may wait to be sent again, and than a job may rest.
const (
	sentFor  = 90 * 24 * time.Hour
	shownFor = 3 * 365 * 24 * time.Hour
)

// pruneOut forgets what is older than that.
func (s *state) pruneOut(ctx context.Context, now time.Time) error {
	_, err := s.db.ExecContext(ctx, "DELETE FROM sent WHERE at < ?", now.Add(-sentFor).UnixMilli())
	if err != nil {
		return err
	}
	_, err = s.db.ExecContext(ctx, "DELETE FROM shown WHERE at < ?", now.Add(-shownFor).UnixMilli())
	return err
}
