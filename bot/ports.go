package bot

import (
	"context"
	"io"
	"time"

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
