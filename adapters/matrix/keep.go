package matrix

import (
	"context"
	"database/sql"
	"errors"
	"sync"
	"time"
)

// Housekeeping: how often, and how many events are remembered.
const (
	keepEvery = 10 * time.Minute
	seenMost  = 200_000
)

// housekeep does what has time: missed messages, members of encrypted rooms, and
// forgetting what is old.
func (m *stint) housekeep(ctx context.Context) {
	select {
	case <-ctx.Done():
		return
	case <-m.synced:
	}
	m.knowEncrypted(ctx)
	var beside sync.WaitGroup // a homeserver that sets limits makes it take long
	beside.Go(func() { m.sayAway(ctx) })
	defer beside.Wait()
	tick := time.NewTicker(keepEvery)
	defer tick.Stop()
	for {
		m.fillLater(ctx)
		gone, err := m.state.prune(ctx, time.Now().Add(-keptFor))
		err = errors.Join(err, m.state.pruneOut(ctx, time.Now()))
		if err != nil && ctx.Err() == nil {
			m.cfg.Log.Warn("matrix: forget what is old", "err", err)
		}
		if gone > 0 {
			m.cfg.Log.Warn("matrix: gave up messages whose key never came or that can't be handled", "messages", gone, "after", keptFor, "at most", asideMost)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// prune forgets rows that were put aside before a time, or are too many, and the
// oldest events seen, but never a room's last one: a gap ends at it.
func (s *state) prune(ctx context.Context, before time.Time) (gone int64, err error) {
	err = s.tx(ctx, func(tx *sql.Tx) error {
		res, err := tx.ExecContext(ctx, "DELETE FROM inbox WHERE waits <> 0 AND came < ?", before.UnixMilli())
		if err != nil {
			return err
		}
		if gone, err = res.RowsAffected(); err != nil {
			return err
		}
		res, err = tx.ExecContext(ctx, `DELETE FROM inbox WHERE waits <> 0
			AND n <= (SELECT n FROM inbox WHERE waits <> 0 ORDER BY n DESC LIMIT 1 OFFSET ?)`, asideMost)
		if err != nil {
			return err
		}
		more, err := res.RowsAffected()
		if err != nil {
			return err
		}
		gone += more
		_, err = tx.ExecContext(ctx, `DELETE FROM seen WHERE n <= (SELECT coalesce(max(n), 0) FROM seen) - ?
			AND n NOT IN (SELECT max(n) FROM seen GROUP BY room)`, seenMost)
		return err
	})
	return gone, err
}
