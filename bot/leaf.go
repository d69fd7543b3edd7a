package bot

import (
	"errors"
	"fmt"
	"io"
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
		Who: string(e.Who), Role: string(e.Role), Kind: string(e.Kind), V: e.V, Data: data,
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
