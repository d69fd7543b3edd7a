package bot

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"milepost/bot/journal"
	"milepost/flow"
)

// toLeaf gives an entry in the form in which it is hashed and kept. Salts of
// its erasable items are fresh from random.
func toLeaf(shop, job string, e *flow.Entry, prev string, random io.Reader) (NewLeaf, error) {
	data, err := flow.Encode(e)
	if err != nil {
		return NewLeaf{}, err
	}
	items := make([]journal.Item, 0, len(e.Items))
	for _, it := range e.Items {
		item, err := journal.NewItem(it.Label, []byte(it.Content), random)
		if err != nil {
			return NewLeaf{}, fmt.Errorf("entry %s/%d: %w", job, e.Seq, err)
		}
		items = append(items, item)
	}
	return seal(journal.Leaf{
		Shop: shop, Job: job, Seq: e.Seq, Prev: prev, Time: stamp(e.At), Net: netStamp(e.Net), Clock: e.Clock,
		Who: string(e.Who), Role: string(e.Role), Kind: string(e.Kind), V: e.V, Data: ordered(data),
	}, items)
}

// seal gives a leaf with its items in the form in which it is kept.
func seal(l journal.Leaf, items []journal.Item) (NewLeaf, error) {
	var err error
	if l.Items, err = journal.Hashes(items); err != nil {
		return NewLeaf{}, err
	}
	b, err := l.Bytes()
	if err != nil {
		return NewLeaf{}, err
	}
	return NewLeaf{Seq: l.Seq, Bytes: b, Items: items}, nil
}

// fromLeaf reads an entry back. What comes from the store is checked before it
// is believed: form, place, chain and the hashes of the items that are there.
func fromLeaf(shop, job string, seq int64, prev string, s *Stored) (flow.Entry, error) {
	l, err := openLeaf(shop, job, seq, prev, s)
	if err != nil {
		return flow.Entry{}, err
	}
	e := flow.Entry{Seq: l.Seq, Clock: l.Clock, Who: flow.Who(l.Who), Role: flow.Role(l.Role), Kind: flow.Kind(l.Kind), V: l.V}
	if e.At, err = time.Parse(journal.TimeLayout, l.Time); err != nil {
		return flow.Entry{}, fmt.Errorf("entry %s/%d: %w", job, seq, err)
	}
	if l.Net != "" {
		if e.Net, err = time.Parse(journal.TimeLayout, l.Net); err != nil {
			return flow.Entry{}, fmt.Errorf("entry %s/%d: %w", job, seq, err)
		}
	}
	for _, it := range s.Items {
		e.Items = append(e.Items, flow.Item{Label: it.Label, Content: string(it.Content)})
	}
	if err := flow.Decode(&e, l.Data); err != nil {
		return flow.Entry{}, err
	}
	return e, nil
}

// openLeaf parses stored leaf bytes and checks them against their place.
func openLeaf(shop, job string, seq int64, prev string, s *Stored) (journal.Leaf, error) {
	l, err := journal.Parse(s.Bytes)
	if err != nil {
		return l, fmt.Errorf("entry %s/%d: %w", job, seq, err)
	}
	if l.Shop != shop || l.Job != job || l.Seq != seq || l.Prev != prev {
		return l, fmt.Errorf("entry %s/%d: %w", job, seq, errChain)
	}
	for _, it := range s.Items {
		if it.Hash() != l.Items[it.Label] {
			return l, fmt.Errorf("entry %s/%d: item %s: %w", job, seq, it.Label, errItem)
		}
	}
	return l, nil
}

var (
	errChain = errors.New("not the entry that belongs here")
	errItem  = errors.New("content is not what was hashed")
)

func stamp(t time.Time) string { return t.UTC().Format(journal.TimeLayout) }

func netStamp(t time.Time) string {
	if t.IsZero() || t.Year() < 1970 || t.Year() > 9999 {
		return ""
	}
	return stamp(t)
}

// ordered gives JSON as encoding/json writes it with the keys of its objects in
// order, which spares the leaf's canonical form a second parse. It changes
// nothing else.
func ordered(b []byte) []byte {
	out, rest, ok := order(make([]byte, 0, len(b)), b)
	if !ok || len(rest) > 0 {
		return b
	}
	return out
}

// order appends the value that b begins with and gives what follows it.
func order(out, b []byte) (_, rest []byte, ok bool) {
	if len(b) == 0 {
		return out, b, false
	}
	switch b[0] {
	case '{':
		return orderObject(out, b[1:])
	case '[':
		out, b = append(out, '['), b[1:]
		for len(b) > 0 && b[0] != ']' {
			if b[0] == ',' {
				out, b = append(out, ','), b[1:]
			}
			if out, b, ok = order(out, b); !ok {
				return out, b, false
			}
		}
		if len(b) == 0 {
			return out, b, false
		}
		return append(out, ']'), b[1:], true
	}
	n := scalar(b)
	return append(out, b[:n]...), b[n:], n > 0
}

// orderObject appends the members as they come and, if they are out of order,
// puts them right afterwards.
func orderObject(out, b []byte) (_, rest []byte, ok bool) {
	type member struct{ start, key, end int } // in out: key is where the name ends
	var room [24]member
	members := room[:0]
	out = append(out, '{')
	first, inOrder := len(out), true
	for len(b) > 0 && b[0] != '}' {
		if b[0] == ',' {
			out, b = append(out, ','), b[1:]
		}
		n := scalar(b)
		if n < 2 || n >= len(b) || b[n] != ':' {
			return out, b, false
		}
		m := member{start: len(out), key: len(out) + n}
		if out, b, ok = order(append(out, b[:n+1]...), b[n+1:]); !ok {
			return out, b, false
		}
		m.end = len(out)
		if k := len(members); k > 0 && bytes.Compare(out[members[k-1].start:members[k-1].key], out[m.start:m.key]) > 0 {
			inOrder = false
		}
		members = append(members, m)
	}
	if len(b) == 0 {
		return out, b, false
	}
	if !inOrder {
		was := append(make([]byte, 0, len(out)-first), out[first:]...)
		name := func(m member) []byte { return was[m.start-first : m.key-first] }
		slices.SortFunc(members, func(x, y member) int { return bytes.Compare(name(x), name(y)) })
		out = out[:first]
		for i, m := range members {
			if i > 0 {
				out = append(out, ',')
			}
			out = append(out, was[m.start-first:m.end-first]...)
		}
	}
	return append(out, '}'), b[1:], true
}

// scalar is the length of the string, number or word that b begins with.
func scalar(b []byte) int {
	if len(b) > 0 && b[0] == '"' {
		for i := 1; i < len(b); i++ {
			switch b[i] {
			case '\\':
				i++
			case '"':
				return i + 1
			}
		}
		return 0
	}
	return len(b) - len(bytes.TrimLeft(b, "0123456789+-.eEtrufalsn"))
}
