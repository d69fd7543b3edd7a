package bot

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"milepost/bot/journal"
	"milepost/flow"
)

// Kinds of entries in the shop's own log, beside those of package journal. A
// kind once written keeps its meaning.
const (
	kindBegun     = "begun"     // the log begins: its origin
	kindStranger  = "stranger"  // a stranger's day: item identity
	kindStrangers = "strangers" // a day's strangers beyond the cap, together
	kindPolicy    = "policy"    // something decided in words: item identity
	kindHead      = "head"      // a head was given out
	kindAsked     = "command"   // something asked outside any job: item identity
	kindFault     = "fault"     // a message ended in a fault, by reference
)

type (
	begunData struct {
		Key    string `json:"key,omitempty"` // public half of the first key: known after a restore without it
		Origin string `json:"origin"`
	}
	strangerData struct {
		Day   string `json:"day"` // 2006-01-02
		Count int    `json:"count"`
	}
	policyData struct {
		Name  string `json:"name"`
		Value string `json:"value"`
	}
	headData struct {
		Size int64  `json:"size"`
		Head string `json:"head"` // short form
		Job  string `json:"job,omitempty"`
		Day  string `json:"day,omitempty"` // in a daily digest
	}
	askedData struct {
		What string `json:"what"`
		Job  string `json:"job,omitempty"`
	}
	faultData struct {
		Ref string `json:"ref"`
		Job string `json:"job,omitempty"`
	}
)

// shopLog is what the shop's own entries add up to. Guarded by shop.mu.
type shopLog struct {
	loaded  bool
	seq     int64
	prev    string
	last    time.Time
	first   string // id of the first origin
	origin  journal.Origin
	key     string // public key in force, "" if no change was recorded
	marks   []journal.Mark
	decided map[string]string
	digest  string // day of the last digest
	days    strangerDays
}

// readShop folds the shop's own log. It writes nothing. Called with mu held.
func (b *Bot) readShop(ctx context.Context, s *shop) error {
	if s.loaded {
		return nil
	}
	stored, err := b.cfg.Store.Entries(ctx, s.name, s.ownJob(), 0)
	if err != nil {
		return failed("read shop's log", err)
	}
	days := s.days
	s.shopLog = shopLog{decided: map[string]string{}, days: days}
	for i := range stored {
		l, err := openLeaf(s.name, s.ownJob(), int64(i)+1, s.prev, &stored[i])
		if err == nil {
			err = s.apply(l, &stored[i])
		}
		if err != nil {
			return &Error{Kind: Internal, Err: fmt.Errorf("read shop's log: %w", err)}
		}
	}
	if err := b.readDays(ctx, s); err != nil {
		return err
	}
	s.loaded = true
	s.decide()
	return nil
}

// apply adds one entry to what is known of the shop. Called with mu held.
func (s *shop) apply(l journal.Leaf, st *Stored) error {
	s.seq, s.prev = l.Seq, journal.Hash(st.Bytes)
	t, err := time.Parse(journal.TimeLayout, l.Time)
	if err != nil {
		return err
	}
	s.last = t
	switch l.Kind {
	case kindBegun:
		var d begunData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		if s.origin, err = journal.ParseOrigin(d.Origin); err != nil {
			return err
		}
		s.first, s.key = s.origin.ID, d.Key
	case journal.KindRestored:
		var d journal.Restored
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		if s.origin, err = journal.ParseOrigin(d.Origin); err != nil {
			return err
		}
		s.marks = append(s.marks, journal.Mark{Index: st.Index, Leaf: st.Bytes})
	case journal.KindKeyChanged:
		var d journal.KeyChange
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		s.key = d.New
		s.marks = append(s.marks, journal.Mark{Index: st.Index, Leaf: st.Bytes})
	case kindPolicy:
		var d policyData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		s.decided[d.Name] = d.Value
	case kindHead:
		var d headData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		if d.Day != "" {
			s.digest = d.Day
		}
	case kindStranger, kindStrangers:
		var d strangerData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			return err
		}
		s.days.closed = max(s.days.closed, d.Day)
	}
	return nil
}

// shopEntry is something to be written into the shop's own log.
type shopEntry struct {
	kind  string
	role  flow.Role
	data  any
	raw   json.RawMessage // in place of data
	items []flow.Item
	net   time.Time
}

// shopCommit adds entries to the shop's log, in one transaction with the rest
// of the batch. It gives the sequence of the last. Called with mu held.
func (b *Bot) shopCommit(ctx context.Context, s *shop, batch *Batch, entries ...shopEntry) (int64, error) {
	batch.Shop, batch.Job, batch.Expect = s.name, s.ownJob(), s.seq
	leaves, prev, err := b.shopLeaves(s, entries)
	if err != nil {
		return 0, failed("shop's log", err)
	}
	batch.Leaves = leaves
	if err := b.commit(ctx, batch); err != nil {
		s.loaded = false
		return 0, err
	}
	if len(leaves) > 0 {
		s.seq, s.prev, s.last = leaves[len(leaves)-1].Seq, prev, b.now()
	}
	return s.seq, nil
}

// shopSend is shopCommit with messages that go out. Called with mu held.
func (b *Bot) shopSend(ctx context.Context, s *shop, batch *Batch, sends []send, entries ...shopEntry) error {
	for _, o := range sends {
		batch.Outbox = append(batch.Outbox, o.row)
	}
	if _, err := b.shopCommit(ctx, s, batch, entries...); err != nil {
		return err
	}
	b.out.add(sends)
	return nil
}

// shopLeaves gives entries their place in the shop's log. Called with mu held.
func (b *Bot) shopLeaves(s *shop, entries []shopEntry) ([]NewLeaf, string, error) {
	now, prev := b.now(), s.prev
	var leaves []NewLeaf
	for i, e := range entries {
		data := e.raw
		if data == nil {
			var err error
			if data, err = json.Marshal(e.data); err != nil {
				return nil, "", err
			}
		}
		var items []journal.Item
		for _, it := range e.items {
			item, err := journal.NewItem(it.Label, []byte(it.Content), b.cfg.Random)
			if err != nil {
				return nil, "", err
			}
			items = append(items, item)
		}
		leaf, err := seal(journal.Leaf{Shop: s.name, Job: s.ownJob(), Seq: s.seq + int64(i) + 1, Prev: prev,
			Time: stamp(now), Net: netStamp(e.net), Clock: i == 0 && now.Before(s.last), Role: string(e.role), Kind: e.kind, V: 1, Data: data}, items)
		if err != nil {
			return nil, "", err
		}
		prev = journal.Hash(leaf.Bytes)
		leaves = append(leaves, leaf)
	}
	return leaves, prev, nil
}

// shopDo runs f with the shop's log at hand. If the log has moved on, by
// another program on the same store, it is read again and f run again.
func (b *Bot) shopDo(ctx context.Context, s *shop, f func() error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var err error
	for range maxTries {
		if err = b.readShop(ctx, s); err != nil {
			return err
		}
		if err = f(); err == nil || !errors.Is(err, ErrSequence) {
			return err
		}
	}
	return err
}
