package slack

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"time"

	"milepost/adapters/own"
)

// state is what the adapter keeps of its own, in one database beside the
// store's: messages on their way in, and which of our posts are which. It can be
// lost: a job's thread is found again by the metadata of its card.
//
// The inbox holds people's words: rows go when they are handled and deleted
// bytes are overwritten.
type state struct {
	db *sql.DB
}

// schema is the first version; later ones are added behind it and counted by
// PRAGMA user_version.
var schema = []string{`
CREATE TABLE meta (k TEXT PRIMARY KEY, v TEXT NOT NULL) WITHOUT ROWID, STRICT;

-- Messages on their way in. key is what makes two deliveries the same thing:
-- channel, ts and kind; a lane is a thread's root, one is handled after the other by at.
CREATE TABLE inbox (
  n      INTEGER PRIMARY KEY AUTOINCREMENT,
  key    TEXT NOT NULL UNIQUE,
  lane   TEXT NOT NULL,
  at     TEXT NOT NULL,               -- Slack's ts, for the order within a lane
  user   TEXT NOT NULL,
  raw    BLOB NOT NULL,
  came   INTEGER NOT NULL,            -- our time, ms
  state  INTEGER NOT NULL DEFAULT 0,  -- 0 to be handled, 1 can't be read, 2 can't be handled
  tries  INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX inbox_lane ON inbox (state, lane, at, n);

-- What was taken in, for repeats that come after it was handled, and for reading
-- a channel up to what is known.
CREATE TABLE seen (
  key     TEXT PRIMARY KEY,
  channel TEXT NOT NULL,
  at      TEXT NOT NULL,
  came    INTEGER NOT NULL
) WITHOUT ROWID, STRICT;
CREATE INDEX seen_channel ON seen (channel, at);

-- A job's thread and the post it hangs on, which is its card.
CREATE TABLE root (
  thread  TEXT PRIMARY KEY,
  channel TEXT NOT NULL,
  ts      TEXT NOT NULL,
  job     TEXT NOT NULL,
  open    INTEGER NOT NULL DEFAULT 1,
  UNIQUE (channel, ts)
) WITHOUT ROWID, STRICT;

-- Our posts by the key of the outgoing message. ts is '' while a try is under
-- way whose end is not known; more holds what a file's upload has come to.
CREATE TABLE sent (
  key     TEXT PRIMARY KEY,
  row     TEXT NOT NULL UNIQUE,  -- opaque id in the post's metadata
  channel TEXT NOT NULL,
  ts      TEXT NOT NULL DEFAULT '',
  more    TEXT NOT NULL DEFAULT '',
  at      INTEGER NOT NULL
) WITHOUT ROWID, STRICT;

-- What our posts offer, so that buttons give way once answered.
CREATE TABLE shown (
  channel TEXT NOT NULL,
  ts      TEXT NOT NULL,
  thread  TEXT NOT NULL,
  job     TEXT NOT NULL,
  post    TEXT NOT NULL,  -- JSON of what is shown
  at      INTEGER NOT NULL,
  PRIMARY KEY (channel, ts)
) WITHOUT ROWID, STRICT;
CREATE INDEX shown_job ON shown (job);
`, `
-- A post that is to be shown anew: stale is 1 until Slack has its present form.
ALTER TABLE shown ADD COLUMN stale INTEGER NOT NULL DEFAULT 0;
ALTER TABLE shown ADD COLUMN rev   INTEGER NOT NULL DEFAULT 0;
CREATE INDEX shown_stale ON shown (stale, at);
CREATE INDEX sent_at ON sent (at);
`, `
-- What a row holds, for its reader, and whether it waits for none before it. Of
-- messages: thread, author and parts, by which a deletion that was missed is found.
ALTER TABLE inbox ADD COLUMN kind TEXT NOT NULL DEFAULT '';
ALTER TABLE seen ADD COLUMN root  TEXT NOT NULL DEFAULT '';
ALTER TABLE seen ADD COLUMN user  TEXT NOT NULL DEFAULT '';
ALTER TABLE seen ADD COLUMN parts TEXT NOT NULL DEFAULT '';
ALTER TABLE seen ADD COLUMN called INTEGER NOT NULL DEFAULT 0;  -- 1: we were addressed
CREATE INDEX seen_came ON seen (came);
`, `
-- When a job was closed, in ms: what is said in its thread a little later is read
-- back too.
ALTER TABLE root ADD COLUMN closed INTEGER NOT NULL DEFAULT 0;
CREATE INDEX sent_ts ON sent (channel, ts);
`}

// openState opens or makes the database.
func openState(ctx context.Context, dir string) (*state, error) {
	db, err := own.OpenAs(ctx, dir, filepath.Join(dir, "slack.db"), schema)
	if err != nil {
		return nil, err
	}
	return &state{db: db}, nil
}

// tx runs f in one durable transaction: all of it or nothing.
func (s *state) tx(ctx context.Context, f func(*sql.Tx) error) error { return own.Tx(ctx, s.db, f) }

func (s *state) close() error { return s.db.Close() }

// setRoot keeps the post a thread hangs on; the first one stays.
func (s *state) setRoot(ctx context.Context, thread, channel, ts, job string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR IGNORE INTO root (thread, channel, ts, job) VALUES (?, ?, ?, ?)", thread, channel, ts, job)
	return err
}

// rootOf gives the ts of the post a thread hangs on, "" if it is not known.
func (s *state) rootOf(ctx context.Context, thread string) (ts string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT ts FROM root WHERE thread = ?", thread).Scan(&ts)
	return ts, own.IgnoreNone(err)
}

// threadOf gives the thread that hangs on a post, "" if it is none of ours.
func (s *state) threadOf(ctx context.Context, channel, ts string) (thread string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT thread FROM root WHERE channel = ? AND ts = ?", channel, ts).Scan(&thread)
	return thread, own.IgnoreNone(err)
}

// sentAs gives what is known of an outgoing message: tried says that a try was
// begun, ts is that of the post once it is known.
func (s *state) sentAs(ctx context.Context, key string) (ts, more string, tried bool, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT ts, more FROM sent WHERE key = ?", key).Scan(&ts, &more)
	if errors.Is(err, sql.ErrNoRows) {
		return "", "", false, nil
	}
	return ts, more, err == nil, err
}

// rowOf gives the opaque id in a post's metadata, "" if it is not known.
func (s *state) rowOf(ctx context.Context, channel, ts string) (row string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT row FROM sent WHERE channel = ? AND ts = ?", channel, ts).Scan(&row)
	return row, own.IgnoreNone(err)
}

// trying notes that a message is about to be sent.
func (s *state) trying(ctx context.Context, key, row, channel string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR IGNORE INTO sent (key, row, channel, at) VALUES (?, ?, ?, ?)", key, row, channel, time.Now().UnixMilli())
	return err
}

// posted notes the ts of a message that is out.
func (s *state) posted(ctx context.Context, key, ts string) error {
	_, err := s.db.ExecContext(ctx, "UPDATE sent SET ts = ? WHERE key = ?", ts, key)
	return err
}
