package journal

import (
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// A keyHead is the doubly signed head of a key change, checked when all keys are
// known.
type keyHead struct {
	line  int64
	index int64
	key   KeyChange
	note  string
	tree  tlog.TreeProof
}

func (v *verifier) mark(m *markLine) error {
	l, err := Parse([]byte(m.Leaf))
	switch {
	case err != nil:
		return v.fault("mark: %v", err)
	case l.Shop != v.of.Shop || l.Job != ShopJob:
		return v.fault("mark: an entry of job %s of shop %s, not of the shop's own", l.Job, l.Shop)
	case m.Index < v.markEnd:
		return v.fault("mark: out of order")
	case len(m.Head) > maxNote:
		return v.fault("mark: head is too long")
	}
	v.markEnd = m.Index + 1
	if err := CheckLeaf(m.Proof, v.head.Size, v.head.Root, m.Index, tlog.RecordHash([]byte(m.Leaf))); err != nil {
		return v.fault("mark: not in the tree of the signed head: %v", err)
	}
	switch l.Kind {
	case KindKeyChanged:
		k, err := keyChange(l)
		if err == nil {
			err = v.chain.addKey(k)
		}
		if err != nil {
			return v.fault("mark: %v", err)
		}
		if !k.Lost {
			v.pending = append(v.pending, keyHead{v.lr.lines, m.Index, k, m.Head, m.Tree})
		} else if m.Head != "" || m.Tree != nil {
			return v.fault("mark: a lost key cannot have signed a head")
		}
		v.sum.KeyChanges++
	case KindRestored:
		r, o, err := restored(l)
		if err == nil {
			err = v.chain.addOrigin(r, o)
		}
		switch {
		case err != nil:
			return v.fault("mark: %v", err)
		case r.Size != m.Index || m.Head != "":
			return v.fault("mark: not the first entry after the %d restored", r.Size)
		}
		if err := CheckPrefix(m.Tree, v.head.Size, v.head.Root, r.Size, r.Root); err != nil {
			return v.fault("mark: the tree restored: %v", err)
		}
		v.proven(r.Size, r.Root)
		v.sum.Restores++
	default:
		return v.fault("mark: kind %s is none", l.Kind)
	}
	return nil
}

// keys is done once, between marks and entries: it decides who vouches for the
// head.
func (v *verifier) keys() error {
	c := &v.chain
	if len(c.keys) == 0 {
		c.keys = []string{v.of.Key}
	}
	fault := func(line int64, format string, args ...any) error {
		return &Fault{Line: line, What: fmt.Sprintf(format, args...)}
	}
	if c.keys[len(c.keys)-1] != v.of.Key {
		return fault(1, "the key named is not the one the key changes lead to")
	}
	if o := v.head.Origin; c.id != "" && o.ID != c.id || c.id == "" && o.After != "" {
		return fault(2, "head: its origin is not the one the restores lead to")
	}
	if _, _, err := openNote(v.note, c.keys); err != nil {
		return fault(2, "head: %v", err)
	}
	for _, p := range v.pending {
		if err := v.keyHead(p); err != nil {
			return fault(p.line, "mark: %v", err)
		}
	}
	v.sum.Fingerprint, _ = Fingerprint(v.of.Key)
	broken := false
	ok := len(v.trusted) == 0
	for _, k := range v.trusted {
		switch c.vouches(k) {
		case 1:
			ok = true
		case -1:
			broken = true
		}
	}
	switch {
	case !ok && broken:
		return &KeyError{v.sum.Fingerprint, "the key given was in use, but was not at hand when the key changed; nothing vouches for the later one"}
	case !ok:
		return &KeyError{v.sum.Fingerprint, "nothing leads from the key given to it"}
	}
	for _, s := range v.seen {
		s.judge(v.head, c)
	}
	return nil
}

// keyHead checks the head that hands the log over from one key to the next.
func (v *verifier) keyHead(p keyHead) error {
	h, signers, err := OpenHead([]byte(p.note), v.chain.keys...)
	if err != nil {
		return err
	}
	old, next := false, false
	for _, s := range signers {
		old, next = old || s == p.key.Old, next || s == p.key.New
	}
	_, before := v.chain.ended[h.Origin.ID]
	switch {
	case !old || !next:
		return errors.New("the head over the key change is not signed by both keys")
	case h.Origin.Shop != v.of.Shop || !before && h.Origin.ID != v.head.Origin.ID:
		return errors.New("the head over the key change is of another log")
	case h.Size <= p.index:
		return errors.New("the head over the key change does not contain it")
	}
	if err := CheckPrefix(p.tree, v.head.Size, v.head.Root, h.Size, h.Root); err != nil {
		return fmt.Errorf("the head over the key change: %w", err)
	}
	v.proven(h.Size, h.Root)
	return nil
}
