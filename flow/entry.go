package flow

import (
	"encoding/json"
	"strconv"
	"time"
)

// Entry is one line of a job's log. Entries are never changed; the state of a
// job is what they add up to.
type Entry struct {
	Seq   int64     // 1, 2, 3 … within the job: this is the order, not the clock
	At    time.Time // our time
	Net   time.Time // the network's time, zero where there was none
	Clock bool      // our clock stood before that of the entry before
	Who   Who       // empty: the assistant
	Role  Role      // the role held then; empty: the assistant
	Kind  Kind
	V     int             // version of the kind's stored form
	Fact  Fact            // what is recorded; Unknown for kinds this program does not know
	Items []Item          // erasable parts, outside the leaf
	Raw   json.RawMessage // stored form of an Unknown fact
}

// Item is an erasable part of an entry: it lies beside the leaf, which holds
// only its salted hash.
type Item struct {
	Label   string // names the part within its entry
	Content string
}

// Item gives the content under a label, "" if there is none or it was erased.
func (e *Entry) Item(label string) string {
	for _, it := range e.Items {
		if it.Label == label {
			return it.Content
		}
	}
	return ""
}

// Labels of erasable items.
const (
	ItemText     = "text"     // what was typed or said
	ItemIdentity = "identity" // network identity
	ItemName     = "name"     // what people call someone
	ItemVehicle  = "vehicle"  // the vehicle in the user's words
	ItemVIN      = "vin"
	ItemFile     = "file"   // file name
	ItemSHA256   = "sha256" // hash of an evidence file
	ItemWhere    = "where"  // where an attested backup is kept
	ItemReason   = "reason" // reason of a waiver, a deviation, a hand-over
	ItemOther    = "other"  // other words of a person within a fact
	ItemMessage  = "message"
	ItemFrom     = "from" // erasable words that were amended
	ItemTo       = "to"   // and what took their place
)

// Kind names what an entry records.
type Kind string

// Value is a stored value: a number in the module's own unit, or, where the
// module offers a list of sizes, a label out of it.
type Value struct {
	Num   float64
	Label string
}

// Number makes a numeric value.
func Number(v float64) Value { return Value{Num: v} }

// Zero says whether nothing is in the value.
func (v Value) Zero() bool { return v == Value{} }

// MarshalJSON writes the number, or the label as a string.
func (v Value) MarshalJSON() ([]byte, error) {
	if v.Label != "" {
		return json.Marshal(v.Label)
	}
	return strconv.AppendFloat(nil, v.Num, 'f', -1, 64), nil
}

// UnmarshalJSON reads a number or a label.
func (v *Value) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, &v.Label)
	}
	return json.Unmarshal(b, &v.Num)
}
