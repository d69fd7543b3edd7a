// Package sqlite keeps the log, its items, the outbox and the board in one
// SQLite database, and evidence in files named by the hash of their content. A
// [Store] is a bot.Store and a bot.Blobs.
//
// # Data directory
//
//	DIR/                 0700
//	    lock             who writes; held for as long as the store is open
//	    milepost.db      the database (with -wal and -shm), 0600
//	    evidence/ab/ab…  files, by SHA-256
//	    erased           items erased so far, unless Config.ErasedList says where
//
// One process writes; commands that only read open the store with ReadOnly
// beside it. The directory must be on a local disk: SQLite's write-ahead log
// does not work over a network file system.
//
// # What holds
//
// A commit is one transaction in the write-ahead log with synchronous FULL: it
// is on the disk when Commit returns. Leaves and hashes are only ever added;
// triggers stop anything else, and the tree shows what gets around the triggers.
// The right edge of each shop's tree is kept in memory, so that a commit reads
// nothing.
//
// An erasure deletes rows and files and then rewrites the database, so that no
// erased byte is left in a free page or in the write-ahead log.
//
// What an entry means, who may do what and which key signs is not its business.
package sqlite
