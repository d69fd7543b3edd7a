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

// Identity is a person's full and exact identity on a network:
// matrix:@user:server, slack:TEAM/USER, terminal:NAME. Only the adapter of
// that network takes one apart.
type Identity string

// Thread names a conversation on a network; only its adapter takes one apart.
// A job may live in several threads on several networks.
type Thread string

// Inbound is one thing a person did, as an adapter hands it over. The adapter
// authenticates the identity; what it may do is decided here.
type Inbound struct {
	Shop     string      // "" is the only shop
	Network  string      // terminal, matrix, slack
	Thread   Thread      // where it was written; "" where there is only one place to write
	Begins   Thread      // where a job that begins with this message is to live; "": where it was written
	Loose    bool        // written outside any thread of ours: Thread is where a new job would begin, and joins no other
	Called   bool        // the assistant was addressed: by mention, by a command of the network, or in a direct message
	Direct   bool        // in a direct message: nobody else reads it
	Alone    bool        // a command of the network, which can be answered so that only who gave it sees it: what is in no job is; a refusal comes each time, not once a day
	Room     string      // room, channel or server as the configuration names it; "" for guests and members of another workspace
	Job      string      // where the adapter knows it; "" otherwise
	Delivery string      // the network's identifier: the same again is the same message
	From     Identity    // who
	Name     string      // what people call them there; never trusted for anything
	Stated   flow.Role   // a role stated in a single-user store; "" from every real network
	Text     string      // raw
	Tap      string      // the Send of a choice: of one offered in Thread, or of Job if that is given; of any other job, or of none, it is stale
	File     *Attachment // nil if none
	Edit     string      // Delivery of an earlier message of the same person
	Delete   string      // Delivery of an earlier message of the same person
	Fault    string      // the message could not be read: why, as a key of the catalogue; nothing else of it is there
	SentAt   time.Time   // the network's time, zero where there is none
	Trust    flow.Trust  // of the device it was written on, where the network knows devices
}

// Attachment is a file on its way in. Open is called once; Fault tells that
// the adapter could not take it, as a key of the catalogue.
type Attachment struct {
	Name  string
	Open  func() (io.ReadCloser, error)
	Fault string
}

// Outbound is one message on its way out. Key is job/sequence: sending the
// same key again must end in one message.
type Outbound struct {
	Key     string
	Shop    string
	Network string
	Thread  Thread
	Job     string
	Log     int64 // sequence of the last entry of the turn
	Reply   flow.Reply
	Names   map[flow.Who]string   // names of those it is for
	Users   map[flow.Who]Identity // identities of those it is for: of Reply.To only
	By      flow.Who              // who said what it follows from, "" where nobody in the job did
	After   string                // Delivery of what it follows from, "" where that is nobody's message
	Took    string                // id of the choice that message answered the open question by, "" none
	Asked   Asked                 // the job's open question once the turn is over
	Alone   bool                  // follows from an Inbound that was Alone, and is for nobody else: Users has who under ""
}

// Asked is an open question: what a network shows of earlier ones is done with.
// The zero value is none.
type Asked struct {
	Ask      int // counts the questions of the job, as what a choice sends does
	Question flow.QuestionID
	To       flow.Role // whose turn it is; "": whoever does the work
	Speed    string    // unit of the job's dash: mph or km/h
}

// Network is what every chat network must do: say things. It calls
// Bot.Handle for what it hears. Send may be repeated with the same key after
// a crash; it returns nil once the network has taken the message. An error of kind
// Invalid or Forbidden is for good. One of kind Conflict says that this
// conversation takes nothing just now, as the assistant may not write there: the
// message waits for a day at most, with all that follows it there, and is tried
// at times; at once if the error, or one in it, has a method Again() <-chan
// struct{} and its channel is closed. After any other it is tried until it is
// out.
type Network interface {
	Name() string
	Send(ctx context.Context, out Outbound) error
}

// CardEditor is the ability to change the job's card in place: a message of
// kind card that is for nobody in particular. A network without it is sent one
// in a new thread and when the phase changes.
type CardEditor interface {
	EditCard(ctx context.Context, out Outbound) error
}

// Roster is the ability to say who is where a thread is, so that somebody who has
// not spoken in it can be called.
type Roster interface {
	// Present gives those of some people who are in the room or channel of a
	// thread, each with what he is called there. It asks the network, and returns by
	// the end of ctx. Where that can't be told it is an error.
	Present(ctx context.Context, t Thread, of []Identity) (map[Identity]string, error)
}

// Leaver is the ability to go from where nobody has any business with a shop.
// Whoever is turned away is told so once a day, by a refusal that Send sees;
// TurnedAway tells of his messages after that, to which nothing is said. What
// follows is the network's to decide. It is called within Handle, when no refusal
// for him is on its way any more.
type Leaver interface {
	TurnedAway(ctx context.Context, t Thread)
}

// Forgetter is the ability to remove what passed through a network's own
// keeping: its inbox, raw events, drafts, names. It is called after an erasure;
// on return the erased words are in no byte of what the network keeps here.
type Forgetter interface {
	Forget(ctx context.Context, f Forgotten) error
}

// Forgotten says of what an erasure was.
type Forgotten struct {
	Shop    string
	Job     string // "" where a person was erased, not a job
	Threads []Thread
	People  []Identity
}

// Receiver is the ability to say what of what came in is not dealt with.
type Receiver interface {
	// Inbox gives it as it stands now. Contact is there with an error too: that of
	// a network that does not run, say.
	Inbox(ctx context.Context) (Inbox, error)
}

// Inbox is what came in over a network and is not dealt with.
type Inbox struct {
	Waiting int       // messages to be handled
	Unread  int       // that can't be read: kept for a key that may come, or for the operator
	Aside   int       // that could not be handled, time and again, and are tried no more
	Contact time.Time // when the network was last heard; zero: not since the start
}

// Finding is one thing that was looked at when a configuration was tried.
type Finding struct {
	Area string // matrix, slack, store
	What string // what was found, one line
	OK   bool
	Mend string // what to do, "" if OK
}

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
	Index    *IndexRow  // the job's row on the board, nil: unchanged
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
