-- What stands beside the log: plumbing that may be emptied, and indexes that
-- are rebuilt from the log.

CREATE TABLE delivery (
	shop TEXT NOT NULL,
	key  TEXT NOT NULL,
	job  TEXT NOT NULL,
	PRIMARY KEY (shop, key)
) STRICT, WITHOUT ROWID;

CREATE TABLE outbox (
	id      INTEGER PRIMARY KEY, -- oldest first
	key     TEXT NOT NULL UNIQUE,
	shop    TEXT NOT NULL,
	job     TEXT NOT NULL,
	network TEXT NOT NULL,
	thread  TEXT NOT NULL,
	payload BLOB NOT NULL
) STRICT;

CREATE TABLE current (
	shop     TEXT NOT NULL,
	identity TEXT NOT NULL,
	job      TEXT NOT NULL,
	PRIMARY KEY (shop, identity)
) STRICT, WITHOUT ROWID;

CREATE TABLE thread (
	id      INTEGER PRIMARY KEY, -- in the order joined
	shop    TEXT NOT NULL,
	job     TEXT NOT NULL,
	network TEXT NOT NULL,
	thread  TEXT NOT NULL,
	role    TEXT NOT NULL,
	UNIQUE (shop, job, network, thread)
) STRICT;
CREATE INDEX thread_job ON thread (shop, network, thread, id);

-- Times are nanoseconds since 1970; no time is NULL.
CREATE TABLE board (
	shop  TEXT NOT NULL,
	job   TEXT NOT NULL,
	open  INTEGER NOT NULL,
	since INTEGER,
	wake  INTEGER,
	seq   INTEGER NOT NULL,
	prev  TEXT NOT NULL,
	data  BLOB,
	PRIMARY KEY (shop, job)
) STRICT, WITHOUT ROWID;

CREATE TABLE found (
	shop TEXT NOT NULL,
	key  TEXT NOT NULL,
	job  TEXT NOT NULL,
	PRIMARY KEY (shop, key, job)
) STRICT, WITHOUT ROWID;

CREATE TABLE evidence (
	shop   TEXT NOT NULL,
	sha256 TEXT NOT NULL,
	job    TEXT NOT NULL,
	PRIMARY KEY (sha256, shop, job)
) STRICT, WITHOUT ROWID;
