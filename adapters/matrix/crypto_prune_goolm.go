//go:build goolm

package matrix

import (
	"context"
	"time"

	"go.mau.fi/util/dbutil"
	"maunium.net/go/mautrix/id"
)

// When a room key is dropped, and how many at a time.
const (
	// unusedKeyFor is for how long nothing may have come that it opens, beyond the
	// time after which its maker should have taken another. (A week by default:
	// Client-Server API, m.room.encryption, rotation_period_ms; from memory.)
	unusedKeyFor = 180 * 24 * time.Hour
	pruneEvery   = 6 * time.Hour // the first time well after a start, when all that waited has come
	pruneBatch   = 200
	pruneMost    = 50 // batches at a time
)

// prune drops room keys that are not used any more, from time to time: they, and
// the note of each message they opened, are what grows without end in the key
// database.
func (c *olmCipher) prune(ctx context.Context) {
	tick := time.NewTicker(pruneEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			n, err := c.dropUnused(ctx, now)
			if err != nil && ctx.Err() == nil {
				c.log.Warn("matrix: drop unused room keys", "err", err)
			}
			if n > 0 {
				c.log.Info("matrix: dropped unused room keys", "keys", n)
			}
		}
	}
}

// dropUnused drops the room keys that have not been used for long at a time, and
// gives how many.
func (c *olmCipher) dropUnused(ctx context.Context, now time.Time) (n int, err error) {
	before := now.Add(-unusedKeyFor)
	if _, err := c.db.Exec(ctx, `DELETE FROM crypto_megolm_inbound_session
		WHERE session IS NULL AND source_user = '' AND unixepoch(substr(received_at, 1, 19)) < $1`, before.Unix()); err != nil {
		return 0, err // keys that were withheld from us
	}
	for range pruneMost {
		some, err := c.dropSome(ctx, before)
		n += some
		if err != nil || some < pruneBatch {
			return n, err
		}
	}
	return n, nil
}

// dropSome drops a batch. Of each key its name stays, with who sent it: a key
// that came once more, without the notes, would let the server give us the
// messages of then as new ones.
func (c *olmCipher) dropSome(ctx context.Context, before time.Time) (n int, err error) {
	err = c.db.DoTxn(ctx, nil, func(ctx context.Context) error {
		rows, err := c.db.Query(ctx, `SELECT session_id FROM crypto_megolm_inbound_session AS s
			WHERE account_id = $1 AND session IS NOT NULL
			  AND unixepoch(substr(received_at, 1, 19)) < $2 - coalesce(max_age, 0) / 1000
			  AND NOT EXISTS (SELECT 1 FROM crypto_message_index WHERE session_id = s.session_id AND timestamp / 1000 >= $2 - coalesce(s.max_age, 0) / 1000)
			  AND session_id NOT IN (SELECT session_id FROM crypto_megolm_outbound_session)
			LIMIT $3`, c.store.AccountID, before.Unix(), pruneBatch)
		list, err := dbutil.NewRowIterWithError(rows, dbutil.ScanSingleColumn[id.SessionID], err).AsList()
		if err != nil {
			return err
		}
		for _, session := range list {
			if err := c.store.RedactGroupSession(ctx, "", session, "not used for long"); err != nil {
				return err
			}
			for _, stmt := range []string{"DELETE FROM crypto_message_index WHERE session_id = $1", "DELETE FROM crypto_megolm_outbound_session_shared WHERE session_id = $1"} {
				if _, err := c.db.Exec(ctx, stmt, session); err != nil {
					return err
				}
			}
		}
		n = len(list)
		return nil
	})
	return n, err
}

// dropped says whether a room key was here and is not to come back. That a key is
// withheld from us, which anybody can say, leaves no sender.
func (s *keyStore) dropped(ctx context.Context, session id.SessionID) (is bool, err error) {
	err = s.DB.QueryRow(ctx, `SELECT EXISTS (SELECT 1 FROM crypto_megolm_inbound_session
		WHERE account_id = $1 AND session_id = $2 AND session IS NULL AND source_user <> '')`, s.AccountID, session).Scan(&is)
	return is, err
}
