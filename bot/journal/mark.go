package journal

import (
	"encoding/json"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Kinds of entries that this package reads. The first two are entries of ShopJob.
const (
	KindKeyChanged = "key_changed" // Data is a KeyChange
	KindRestored   = "restored"    // Data is a Restored
	KindErased     = "erased"      // Data is an Erasure
)

// A KeyChange is the data of an entry that puts a new signing key in the place of
// the old one.
type KeyChange struct {
	Old  string `json:"old"`            // public key before
	New  string `json:"new"`            // public key from here on
	Lost bool   `json:"lost,omitempty"` // old key not at hand: it signs no head over this
}

// A Restored is the data of the first entry after a restore: what the tree was in
// the backup, and that the log goes on under another origin.
type Restored struct {
	Origin string    `json:"origin"`         // origin line from here on, which names the old one
	Size   int64     `json:"size"`           // leaves restored; the index of this entry
	Root   tlog.Hash `json:"root"`           // root of those leaves
	Head   string    `json:"head,omitempty"` // backup's last head as a signed note, if it had one
}

// A Mark is an entry that the check of keys and origins rests on, of kind
// KindKeyChanged or KindRestored, with what an export needs of it. A store keeps
// all marks of a shop and gives all to every export, in the order of the tree.
type Mark struct {
	Index int64  // in the tree
	Leaf  []byte // leaf bytes
	Head  []byte // of a key change that is not Lost: the first signed head over it, by both keys
}

// keyChange and restored read a mark's leaf.
func keyChange(l Leaf) (KeyChange, error) {
	var c KeyChange
	if err := json.Unmarshal(l.Data, &c); err != nil {
		return KeyChange{}, fmt.Errorf("key change: %w", err)
	}
	var err error
	if c.Old, err = canonicalKey(c.Old, l.Shop); err != nil {
		return KeyChange{}, fmt.Errorf("key change: old: %w", err)
	}
	if c.New, err = canonicalKey(c.New, l.Shop); err != nil {
		return KeyChange{}, fmt.Errorf("key change: new: %w", err)
	}
	return c, nil
}

func restored(l Leaf) (Restored, Origin, error) {
	var r Restored
	if err := json.Unmarshal(l.Data, &r); err != nil {
		return Restored{}, Origin{}, fmt.Errorf("restored: %w", err)
	}
	o, err := ParseOrigin(r.Origin)
	if err != nil {
		return Restored{}, Origin{}, fmt.Errorf("restored: %w", err)
	}
	if o.Shop != l.Shop || o.After == "" {
		return Restored{}, Origin{}, fmt.Errorf("restored: origin %s does not name the log before", o)
	}
	return r, o, nil
}

// A chain is what the marks of an export say of keys and origins.
type chain struct {
	keys  []string         // oldest first
	last  int              // keys before this index were lost hold of: a break in the chain
	ended map[string]int64 // log id to the size at which a restore ended it
	id    string           // log id in force after the marks, "" if no restore was seen
}

// addKey takes the next key change.
func (c *chain) addKey(k KeyChange) error {
	if len(c.keys) == 0 {
		c.keys = []string{k.Old}
	}
	if k.Old != c.keys[len(c.keys)-1] {
		return fmt.Errorf("the key it replaces is not the one in force")
	}
	for _, before := range c.keys {
		if before == k.New {
			return fmt.Errorf("the new key was in use before")
		}
	}
	c.keys = append(c.keys, k.New)
	if k.Lost {
		c.last = len(c.keys) - 1
	}
	return nil
}

// addOrigin takes the next restore.
func (c *chain) addOrigin(r Restored, o Origin) error {
	if c.id != "" && c.id != o.After {
		return fmt.Errorf("the log it goes on from is not the one in force")
	}
	if _, again := c.ended[o.ID]; again || o.ID == o.After {
		return fmt.Errorf("the new log id was in use before")
	}
	if c.ended == nil {
		c.ended = map[string]int64{}
	}
	c.ended[o.After] = r.Size
	c.id = o.ID
	return nil
}

// vouches reports whether a key leads to the last one: 1 it does, 0 it is not of
// the chain, -1 it is, but the chain is broken after it.
func (c *chain) vouches(key string) int {
	for i, k := range c.keys {
		if k == key {
			if i < c.last {
				return -1
			}
			return 1
		}
	}
	return 0
}
