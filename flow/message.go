package flow

import "time"

// Message is one thing a person did in a job's thread, already authorised and
// attributed: exactly one of Text, Tap, File, Edit, Delete and Fault says what.
// Wake is no person's message: the time a job asked to be woken at has come.
type Message struct {
	ID     string    // network's delivery identifier, "" where there is none
	Who    Who       // who, by the number in this job
	Role   Role      // the role held when the message arrived
	Join   *Person   // set when this person speaks in the job for the first time
	Text   string    // cleaned of control characters by understand.Clean
	Tap    string    // the Send of a choice
	File   *File     // evidence, already stored by its hash
	Edit   string    // ID of an earlier message of the same person; Text is the new wording
	Delete string    // ID of an earlier message of the same person
	Fault  string    // words key: why the message could not be read; nothing else of it is there
	Wake   bool      // the clock, not a person
	SentAt time.Time // the network's time, zero where there is none
	Trust  Trust     // of the device it was written on
}

// Trust says whether the device a message was written on is known to be its
// author's: signed by the author's own key. It is of networks with encryption;
// elsewhere it is "".
type Trust string

// The two answers.
const (
	Verified   Trust = "verified"
	Unverified Trust = "unverified"
)

// File is evidence that has been stored: what could be learned of it without
// trusting its name.
type File struct {
	Name      string // base name only; erasable
	Type      string // sniffed media type
	Bytes     int64
	SHA256    string // hex; erasable
	Elsewhere bool   // this hash stands in another vehicle's job
	Web       bool   // it is a web page
	Track     *Track // steady stretches, where it is a track file
	Fault     string // words key: why it could not be taken, "" if it was
}

// Track is what a track file gave: no positions.
type Track struct {
	Format    string // gpx or nmea
	Seconds   float64
	Metres    float64
	Stretches []Stretch
}

// Stretch is a steady piece of a track: its mean speed, from when for how long.
type Stretch struct {
	Start   time.Time
	Seconds float64
	SpeedMS float64 // mean, m/s
}

// ReplyKind is the contract's kind of an outgoing message.
type ReplyKind string

// Kinds of outgoing messages.
const (
	Prompt  ReplyKind = "prompt"  // wants an answer
	Notice  ReplyKind = "notice"  // wants none
	Caution ReplyKind = "caution" // safety, wants none
	Result  ReplyKind = "result"  // figures or a checklist's outcome
	Card    ReplyKind = "card"    // the job's card, edited in place
	Refusal ReplyKind = "refusal" // not allowed, or a gate is closed
)

// Choice is an answer that can be tapped, or typed as its number or label.
type Choice struct {
	Label string `json:"label"`
	Send  string `json:"send"`
}

// Reply is one outgoing message. The adapter renders it; it adds no words.
type Reply struct {
	Seq     int64 // sequence of the entry that records it; with the job, its identity
	Kind    ReplyKind
	To      []Who // whom it is for; empty: whoever is in the thread
	Role    Role  // the role it is worded for
	Phase   Phase
	Text    string
	Choices []Choice
	Facts   map[string]any // by the contract's names, each only where it is new
	Files   []FileRef
}

// FileRef is a file that goes out with a reply, stored by its hash.
type FileRef struct {
	Name   string `json:"name"`
	Type   string `json:"type"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}
