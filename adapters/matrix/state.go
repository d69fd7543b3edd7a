package matrix

import (
	"context"
	"database/sql"
	"path/filepath"
	"time"

	"milepost/adapters/own"
)

// state is what the adapter keeps of its own, in one database beside the
// store's: where the sync stands, messages on their way in, and which of our
// events are which. It can be lost: then nothing of before is answered again,
// and a job's thread is found again by the event it hangs on.
//
// The inbox holds people's words: rows go when they are handled, deleted bytes
// are overwritten, and the log beside the database is cut after an erasure.
type state struct {
	db *sql.DB
}

// schema is the first version; later ones are added behind it and counted by
// PRAGMA user_version.
var schema = []string{`
CREATE TABLE meta (k TEXT PRIMARY KEY, v TEXT NOT NULL) WITHOUT ROWID, STRICT;

-- Messages on their way in, in the order in which they came. A lane is a thread's
-- root, or the room where there is none: one is handled after the other.
CREATE TABLE inbox (
  n      INTEGER PRIMARY KEY AUTOINCREMENT,
  event  TEXT NOT NULL UNIQUE,
  room   TEXT NOT NULL,
  lane   TEXT NOT NULL,
  sender TEXT NOT NULL,
  raw    BLOB NOT NULL,
  came   INTEGER NOT NULL,            -- our time, ms
  waits  INTEGER NOT NULL DEFAULT 0,  -- 0: to be handled; 2: said to be unreadable, kept for its key; 3: can't be handled
  tries  INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX inbox_lane ON inbox (waits, lane, n);

-- Events seen, newest last: what a gap in the sync is filled up to, and the lane
-- and the sender of what an edit, a reaction or a redaction names.
CREATE TABLE seen (
  n      INTEGER PRIMARY KEY AUTOINCREMENT,
  event  TEXT NOT NULL UNIQUE,
  room   TEXT NOT NULL,
  lane   TEXT NOT NULL,
  sender TEXT NOT NULL
) STRICT;
CREATE INDEX seen_room ON seen (room, n);
CREATE INDEX seen_lane ON seen (lane, n);

CREATE TABLE room (
  id        TEXT PRIMARY KEY,
  encrypted INTEGER NOT NULL DEFAULT 0,  -- 1 for good
  joined    INTEGER NOT NULL DEFAULT 0,  -- ms by the server's clock, 0: not in it
  direct    INTEGER NOT NULL DEFAULT 0,
  gap       TEXT NOT NULL DEFAULT ''     -- from where older messages are still to be fetched
) WITHOUT ROWID, STRICT;

-- Rooms that were replaced, and the room in which what is for them is said now.
CREATE TABLE moved (room TEXT PRIMARY KEY, successor TEXT NOT NULL) WITHOUT ROWID, STRICT;

-- A job's thread and the event it hangs on, which is its card.
CREATE TABLE root (
  thread TEXT PRIMARY KEY,
  event  TEXT NOT NULL UNIQUE,
  room   TEXT NOT NULL,
  job    TEXT NOT NULL
) WITHOUT ROWID, STRICT;

-- Our events by the key of the outgoing message: one that stands here is not
-- sent again. event is '' while a try is under way whose end is not known.
CREATE TABLE sent (
  key   TEXT PRIMARY KEY,
  txn   TEXT NOT NULL UNIQUE,
  event TEXT NOT NULL DEFAULT '',
  room  TEXT NOT NULL,
  data  TEXT NOT NULL DEFAULT '', -- of an uploaded file: how it is found and opened; emptied once its message is out
  at    INTEGER NOT NULL
) WITHOUT ROWID, STRICT;

-- What our events offer: for plain replies and reactions to them.
CREATE TABLE shown (
  event   TEXT PRIMARY KEY,
  thread  TEXT NOT NULL,
  job     TEXT NOT NULL,
  choices TEXT NOT NULL,  -- JSON of []flow.Choice
  at      INTEGER NOT NULL
) WITHOUT ROWID, STRICT;
CREATE INDEX shown_job ON shown (job);
CREATE INDEX sent_room ON sent (room);
`}

// Values of inbox.waits.
const (
	waitsNot      = 0
	waitsSaid     = 2
	waitsPoisoned = 3
)

// Keys of meta.
const (
	metaSince  = "since" // sync position, whose messages are all in the inbox
	metaToken  = "token" // access token of the device we made
	metaDevice = "device"
	metaUser   = "user"
)

// openState opens or makes the database.
func openState(ctx context.Context, dir string) (*state, error) {
	db, err := own.OpenAs(ctx, dir, filepath.Join(dir, "matrix.db"), schema)
	if err != nil {
		return nil, err
	}
	return &state{db: db}, nil
}

// tx runs f in one durable transaction: all of it or nothing.
func (s *state) tx(ctx context.Context, f func(*sql.Tx) error) error { return own.Tx(ctx, s.db, f) }

func (s *state) close() error { return s.db.Close() }

// get gives a value of meta, "" if there is none.
func (s *state) get(ctx context.Context, k string) (v string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT v FROM meta WHERE k = ?", k).Scan(&v)
	return v, own.IgnoreNone(err)
}

func (s *state) set(ctx context.Context, k, v string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR REPLACE INTO meta (k, v) VALUES (?, ?)", k, v)
	return err
}

// setRoot keeps the event a thread hangs on; the first one stays. None is kept of a
// room that was replaced: whoever looked for it there has come too late.
func (s *state) setRoot(ctx context.Context, thread, event, room, job string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR IGNORE INTO root (thread, event, room, job) SELECT ?1, ?2, ?3, ?4 WHERE NOT EXISTS (SELECT 1 FROM moved WHERE room = ?3)",
		thread, event, room, job)
	return err
}

// rootOf gives the event a thread hangs on, "" if it is not known.
func (s *state) rootOf(ctx context.Context, thread string) (event string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT event FROM root WHERE thread = ?", thread).Scan(&event)
	return event, own.IgnoreNone(err)
}

// threadOf gives the thread that hangs on an event, "" if it is none of ours.
func (s *state) threadOf(ctx context.Context, event string) (thread string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT thread FROM root WHERE event = ?", event).Scan(&thread)
	return thread, own.IgnoreNone(err)
}

// trying notes that a message is about to be sent.
func (s *state) trying(ctx context.Context, key, txn, room string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR IGNORE INTO sent (key, txn, room, at) VALUES (?, ?, ?, ?)", key, txn, room, time.Now().UnixMilli())
	return err
}

// shownAs keeps what an event of ours offers.
func (s *state) shownAs(ctx context.Context, event, thread, job, choices string) error {
	_, err := s.db.ExecContext(ctx, "INSERT OR REPLACE INTO shown (event, thread, job, choices, at) VALUES (?, ?, ?, ?, ?)",
		event, thread, job, choices, time.Now().UnixMilli())
	return err
}

// offered gives what an event of ours offers; thread is "" if it is none.
func (s *state) offered(ctx context.Context, event string) (thread, job, choices string, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT thread, job, choices FROM shown WHERE event = ?", event).Scan(&thread, &job, &choices)
	return thread, job, choices, own.IgnoreNone(err)
}

// closeRows takes the events of our own messages as a sync brought them back: by
// the transaction they were sent under.
func closeRow(ctx context.Context, tx *sql.Tx, txn, event string) error {
	_, err := tx.ExecContext(ctx, "UPDATE sent SET event = ? WHERE txn = ?", event, txn)
	return err
}

// isEncrypted says whether a room is known to be encrypted.
func (s *state) isEncrypted(ctx context.Context, room string) (bool, error) {
	var e int
	err := s.db.QueryRowContext(ctx, "SELECT encrypted FROM room WHERE id = ?", room).Scan(&e)
	return e == 1, own.IgnoreNone(err)
}

// setEncrypted notes that a room is encrypted. It never goes back.
func (s *state) setEncrypted(ctx context.Context, room string) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO room (id, encrypted) VALUES (?, 1) ON CONFLICT (id) DO UPDATE SET encrypted = 1", room)
	return err
}
