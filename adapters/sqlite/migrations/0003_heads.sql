-- Heads that left the house, and what an erasure or a restore leaves to be done.

CREATE TABLE head (
	id   INTEGER PRIMARY KEY,
	shop TEXT NOT NULL,
	size INTEGER NOT NULL,
	note TEXT NOT NULL,
	time INTEGER,
	UNIQUE (shop, size, note)
) STRICT;

-- scrub: erased bytes may still lie in free pages or in the write-ahead log.
-- restored: the manifest of the backup this store came from.
CREATE TABLE meta (
	name  TEXT PRIMARY KEY,
	value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- Evidence that no job holds any more, to be removed.
CREATE TABLE doomed (
	sha256 TEXT PRIMARY KEY
) STRICT, WITHOUT ROWID;
