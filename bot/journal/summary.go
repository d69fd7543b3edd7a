package journal

import (
	"fmt"
	"strings"
)

// A Summary is what an export that holds says of itself.
type Summary struct {
	Shop, Job     string
	Entries       int64  // 1 to Entries, none missing
	First, Last   string // times of the first and last entry, our clock
	Head          Head   // the signed head all proofs lead to
	Fingerprint   string // of the key in force
	Proven        bool   // a key that was given vouches for it
	KeyChanges    int    // of the shop, in the file's chain
	Restores      int
	Items         int // erasable items in the file, each as its entry was made with
	Absent        int // items erased or left out
	WithoutPeople bool
	Heads         []string // heads seen earlier that it agrees with
}

// String is the summary in a few lines for people.
func (s Summary) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "job %s of %s: entries 1 to %d hold\n", s.Job, s.Shop, s.Entries)
	fmt.Fprintf(&b, "time  %s to %s (the shop's own clock)\n", s.First, s.Last)
	fmt.Fprintf(&b, "items %d present, %d erased or left out\n", s.Items, s.Absent)
	fmt.Fprintf(&b, "head  %s\n", s.Head.Short())
	fmt.Fprintf(&b, "key   %s", s.Fingerprint)
	if s.KeyChanges > 0 {
		fmt.Fprintf(&b, ", key changes in the log: %d", s.KeyChanges)
	}
	b.WriteByte('\n')
	if s.Restores > 0 {
		fmt.Fprintf(&b, "log restored from a backup: %d\n", s.Restores)
	}
	for _, h := range s.Heads {
		fmt.Fprintf(&b, "agrees with head %s\n", h)
	}
	return b.String()
}
