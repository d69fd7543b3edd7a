package slack

import (
	"context"
	"database/sql"
	"strings"
	"time"

	"milepost/adapters/own"
)

// meta and setMeta keep single values.
func (s *state) meta(ctx context.Context, k string) (v string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT v FROM meta WHERE k = ?", k).Scan(&v)
	return v, own.IgnoreNone(err)
}

func (s *state) setMeta(ctx context.Context, k, v string) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO meta (k, v) VALUES (?, ?) ON CONFLICT (k) DO UPDATE SET v = excluded.v", k, v)
	return err
}

// knows says whether something was taken in under a key.
func (s *state) knows(ctx context.Context, key string) (yes bool, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM seen WHERE key = ?)", key).Scan(&yes)
	return yes, err
}

// calledBy notes that a message addressed us: what is answered below it is meant
// for us, before a card is there too.
func (s *state) calledBy(ctx context.Context, key string) error {
	_, err := s.db.ExecContext(ctx, "UPDATE seen SET called = 1 WHERE key = ?", key)
	return err
}

// begun says whether a thread of ours has this name: a card of it is out, or the
// message it is named after addressed us.
func (s *state) begun(ctx context.Context, thread, key string) (yes bool, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM root WHERE thread = ?) OR EXISTS (SELECT 1 FROM seen WHERE key = ? AND called = 1)",
		thread, key).Scan(&yes)
	return yes, err
}

// earlier says whether an older message of a lane waits.
func (s *state) earlier(ctx context.Context, lane, at string) (yes bool, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM inbox WHERE state = ? AND lane = ? AND at < ?)", stateWaits, lane, at).Scan(&yes)
	return yes, err
}

// threadOfPost gives the thread that a post of ours is in, "" if it is not known.
// What it offered may have been answered long ago.
func (s *state) threadOfPost(ctx context.Context, channel, ts string) (thread string, err error) {
	r, ok, err := s.shownAt(ctx, channel, ts)
	if err != nil || ok {
		return r.thread, err
	}
	err = s.db.QueryRowContext(ctx, `SELECT root.thread FROM sent JOIN root ON root.job <> '' AND root.job = substr(sent.key, 1, instr(sent.key, '/') - 1)
		WHERE sent.channel = ?1 AND sent.ts = ?2 AND root.channel = ?1 LIMIT 1`, channel, ts).Scan(&thread)
	return thread, own.IgnoreNone(err)
}

// author gives who wrote a message, and its parts.
func (s *state) author(ctx context.Context, key string) (user, parts string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT user, parts FROM seen WHERE key = ?", key).Scan(&user, &parts)
	return user, parts, own.IgnoreNone(err)
}

// lastKey gives the latest key that begins so, up to a time; "" if there is none.
func (s *state) lastKey(ctx context.Context, prefix, at string) (key string, err error) {
	end := strings.TrimSuffix(prefix, ":") + ";"
	err = s.db.QueryRowContext(ctx, "SELECT key FROM seen WHERE key >= ? AND key < ? AND at <= ? ORDER BY at DESC LIMIT 1", prefix, end, at).Scan(&key)
	return key, own.IgnoreNone(err)
}

// known is a message that was taken in.
type known struct{ key, channel, root, user, parts string }

// ts is the message's.
func (k *known) ts() string { return strings.TrimPrefix(k.key, keyMessage+k.channel+":") }

const knownRows = "SELECT key, channel, root, user, parts FROM seen WHERE key >= 'm:' AND key < 'm;' AND "

// querier is a database, or a transaction in it.
type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

func readKnown(ctx context.Context, q querier, where string, args ...any) ([]known, error) {
	rows, err := q.QueryContext(ctx, knownRows+where, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []known
	for rows.Next() {
		var k known
		if err := rows.Scan(&k.key, &k.channel, &k.root, &k.user, &k.parts); err != nil {
			return nil, err
		}
		list = append(list, k)
	}
	return list, rows.Err()
}

// withFile gives the messages that a file was sent in.
func withFile(ctx context.Context, q querier, id string) ([]known, error) {
	return readKnown(ctx, q, "instr(' ' || parts || ' ', ' ' || ? || ' ') > 0", id)
}

// knownIn gives the messages of a thread that were taken in, from a time on.
func (s *state) knownIn(ctx context.Context, channel, root, from string) ([]known, error) {
	return readKnown(ctx, s.db, "channel = ? AND root = ? AND at >= ?", channel, root, from)
}

// openThread is a job's thread, by the posts replies to it can hang on.
type openThread struct{ thread, channel, ts string }

// threadsToRead gives the threads in which something may have been missed: of open
// jobs, of those closed lately, and below posts of ours, such as alerts, that can be
// answered.
func (s *state) threadsToRead(ctx context.Context, now time.Time) ([]openThread, error) {
	rows, err := s.db.QueryContext(ctx, `SELECT thread, channel, ts FROM root WHERE open = 1
		UNION ALL SELECT * FROM (SELECT thread, channel, ts FROM root WHERE open = 0 AND closed > ?1 ORDER BY closed DESC LIMIT ?2)
		UNION ALL SELECT * FROM (SELECT thread, channel, ts FROM shown WHERE at > ?1 AND thread NOT IN (SELECT thread FROM root) ORDER BY at DESC LIMIT ?2)`,
		now.Add(-closedFor).UnixMilli(), maxClosed)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []openThread
	for rows.Next() {
		var t openThread
		if err := rows.Scan(&t.thread, &t.channel, &t.ts); err != nil {
			return nil, err
		}
		list = append(list, t)
	}
	return list, rows.Err()
}
