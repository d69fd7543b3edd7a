package bot

import (
	"context"
	"errors"
	"io"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot/journal"
	"milepost/flow"
)

// Errors of a store that Handle acts on.
var (
	// ErrSequence: the job's last sequence was not the one expected; load again.
	ErrSequence = errors.New("job has moved on")
	// ErrDelivered: this delivery has been handled before.
	ErrDelivered = errors.New("delivery handled before")
	// ErrFull: the disk is full; nothing was changed.
	ErrFull = errors.New("store is full")
	// ErrLingers: erased, and the entry stands, but erased bytes could not yet be
	// removed from the disk. The next erasure or start of the program does it.
	ErrLingers = errors.New("erased, but not yet from the disk")
)

// Store keeps the log and what hangs on it. All methods are safe for
// concurrent use. Everything beside the log (index, outbox, deliveries) is
// plumbing that can be rebuilt or emptied.
type Store interface {
	// Entries gives a job's leaves with their items, in sequence, after the
	// given sequence. An unknown job has none.
	Entries(ctx context.Context, shop, job string, after int64) ([]Stored, error)

	// Delivered says whether a delivery key was handled before, and the job it
	// belonged to.
	Delivered(ctx context.Context, shop, key string) (job string, ok bool, err error)

	// Commit adds a batch in one durable transaction: all of it or nothing.
	// ErrSequence if the job is not at Expect, ErrDelivered if the delivery
	// key is known. On return without error it survives a loss of power.
	Commit(ctx context.Context, b *Batch) error

	// Unsent gives outgoing rows not yet marked sent, oldest first.
	Unsent(ctx context.Context, limit int) ([]OutRow, error)

	// MarkSent marks rows as sent. It need not be durable by itself: a lost
	// mark only repeats a send under the same key.
	MarkSent(ctx context.Context, keys []string) error

	// Current gives the job an identity is working in, "" if none.
	Current(ctx context.Context, shop string, id Identity) (string, error)

	// Threads gives the threads in which a job lives, in the order they joined.
	Threads(ctx context.Context, shop, job string) ([]JobThread, error)

	// ThreadJob gives the job that lives in a thread, "" if none.
	ThreadJob(ctx context.Context, shop, network string, t Thread) (string, error)

	// Index gives the board's rows, open jobs only if asked, oldest waiting first.
	Index(ctx context.Context, shop string, openOnly bool) ([]IndexRow, error)

	// Known gives the jobs that can be found under a key, newest first: keys of
	// a vehicle, of a VIN and of a guest code.
	Known(ctx context.Context, shop, key string) ([]string, error)

	// Jobs lists every job of a shop, its own (journal.ShopJob) among them.
	Jobs(ctx context.Context, shop string) ([]string, error)

	// EvidenceJobs lists the jobs that hold evidence with this hash.
	EvidenceJobs(ctx context.Context, shop, sha256 string) ([]string, error)

	// Reindex replaces all index rows of a shop, and by their Keys and Evidence
	// what Known and EvidenceJobs find: they are rebuilt from the log.
	Reindex(ctx context.Context, shop string, rows []IndexRow) error

	// Erase deletes items for good: content and salts, and everything of the
	// batch's job that only passed through (outbox, index row, keys, evidence);
	// what of it still stands is in the batch: Index, Vehicles and Evidence take
	// the place of the job's, and of those in Forget the current job goes, and a
	// thread that is named as they are. Evidence that no job holds and no item
	// names is removed. Delivery keys stay: a repeat is still a repeat. After it
	// returns the erased words are in no byte of the store (ErrLingers: not yet).
	// The entry that records the erasure is in the batch, committed in the same
	// transaction.
	Erase(ctx context.Context, b *Batch, items []ItemRef) error

	// Tree gives the size of the shop's tree and reads its hashes.
	Tree(ctx context.Context, shop string) (TreeReader, error)

	// SaveHead keeps a signed head that has left the house; Heads gives them
	// by size.
	SaveHead(ctx context.Context, shop string, h Head) error
	Heads(ctx context.Context, shop string) ([]Head, error)

	// Backup writes a consistent copy of everything, in use or not, to a file
	// that must not exist.
	Backup(ctx context.Context, file string) error

	Close() error
}

// Blobs keeps evidence by the hash of its content.
type Blobs interface {
	// Put stores what r gives, at most limit bytes (ErrTooLarge beyond), and
	// returns its hash, size and first bytes. Durable on return.
	Put(ctx context.Context, r io.Reader, limit int64) (Blob, error)
	Open(ctx context.Context, sha256 string) (io.ReadCloser, error)
	Delete(ctx context.Context, sha256 string) error
}

// ErrTooLarge is returned by Blobs.Put for a file over the limit.
var ErrTooLarge = errors.New("file is too large")

// Blob is a stored file.
type Blob struct {
	SHA256 string
	Bytes  int64
	Head   []byte // the first bytes, at most 512
}

// Batch is what one message changes.
type Batch struct {
	Shop     string
	Job      string
	Expect   int64 // sequence of the job's last entry so far
	Leaves   []NewLeaf
	Outbox   []OutRow
	Delivery string     // "" if the message had none
	Sent     []string   // keys of rows that went out earlier
	Index    *IndexRow  // a row on the board, of this job or another, nil: unchanged
	Current  Identity   // whose current job this now is, "": nobody's
	Thread   *JobThread // thread that joins the job, nil: none
	Evidence []string   // hashes of evidence that this job now holds
	Vehicles []string   // keys under which the job can be found: vehicle, VIN, guest code
	Forget   []Identity // whose current job is forgotten; read by Erase only
}

// NewLeaf is an entry in its leaf form, with its erasable items.
type NewLeaf struct {
	Seq   int64
	Bytes []byte
	Items []journal.Item
}

// Stored is a leaf as it was stored, with the items that are still there.
type Stored struct {
	NewLeaf
	Index int64 // in the shop's tree
}

// OutRow is an outgoing message at rest.
type OutRow struct {
	Key     string
	Shop    string
	Job     string
	Network string
	Thread  Thread
	Payload []byte // Outbound as JSON
}

// JobThread is a thread in which a job lives, and for whom.
type JobThread struct {
	Network string
	Thread  Thread
	For     flow.Role // "": everyone
}

// IndexRow is a job's line on the board, and when it wants to be woken. It can
// be rebuilt from the log at any time.
type IndexRow struct {
	Job   string
	Open  bool
	Since time.Time // waiting since
	Wake  time.Time // zero: never
	Data  []byte    // the board's line as JSON
	Seq   int64
	Prev  string // hash of the job's last leaf

	Keys     []string // every key the job can be found under; read by Reindex only
	Evidence []string // every hash of evidence it holds; read by Reindex only
}

// TreeReader reads the stored hashes of a shop's tree.
type TreeReader interface {
	tlog.HashReader
	Size() int64 // number of leaves
}

// ItemRef names an erasable item.
type ItemRef struct {
	Job   string
	Seq   int64
	Label string
}

// Head is a signed tree head that was given out.
type Head struct {
	Size int64
	Note string
	Time time.Time
}
