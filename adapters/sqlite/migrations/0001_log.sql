-- The log: leaves that never change, the tree's hashes over them, and beside
-- them the items that can be erased.

CREATE TABLE leaf (
	id    INTEGER PRIMARY KEY, -- order in the file, all shops
	shop  TEXT NOT NULL,
	job   TEXT NOT NULL,
	seq   INTEGER NOT NULL,    -- number in the job, from 1
	n     INTEGER NOT NULL,    -- index in the shop's tree, from 0
	bytes BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX leaf_job ON leaf (shop, job, seq);

-- One row per leaf: the hashes that this leaf completed, 32 bytes each, from
-- level 0 up. The index of the first is tlog.StoredHashIndex(0, n).
CREATE TABLE hash (
	shop   TEXT NOT NULL,
	n      INTEGER NOT NULL,
	hashes BLOB NOT NULL,
	leaf   INTEGER NOT NULL,   -- its id
	PRIMARY KEY (shop, n)
) STRICT, WITHOUT ROWID;

CREATE TABLE item (
	shop    TEXT NOT NULL,
	job     TEXT NOT NULL,
	seq     INTEGER NOT NULL,
	label   TEXT NOT NULL,
	salt    BLOB NOT NULL,
	content BLOB NOT NULL,
	PRIMARY KEY (shop, job, seq, label)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER leaf_update BEFORE UPDATE ON leaf BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
CREATE TRIGGER leaf_delete BEFORE DELETE ON leaf BEGIN SELECT RAISE(ABORT, 'an entry is never deleted'); END;
CREATE TRIGGER hash_update BEFORE UPDATE ON hash BEGIN SELECT RAISE(ABORT, 'a hash is never changed'); END;
CREATE TRIGGER hash_delete BEFORE DELETE ON hash BEGIN SELECT RAISE(ABORT, 'a hash is never deleted'); END;
CREATE TRIGGER item_update BEFORE UPDATE ON item BEGIN SELECT RAISE(ABORT, 'an item is kept or erased, never changed'); END;
