package bot

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"slices"
	"strconv"

	"milepost/flow"
)

// strangerDays counts a day's strangers. What is counted stands in the shop's
// index row until the day is over; then it becomes entries, one for each
// stranger. A crash loses no stranger, at worst some of a count.
type strangerDays struct {
	Day    string           `json:"day"`
	People map[Identity]int `json:"people"` // messages of each
	More   int              `json:"more"`   // messages of those beyond the cap

	closed string // last day that has become entries
	dirty  bool   // counted, not yet stored
}

// codeTries is how many messages with a guest code that is none are answered in
// a day: enough to mistype, too few to guess.
const codeTries = 5

// turnAway answers someone who may do nothing here: one polite refusal a day,
// in no job, and one to each command whose answer only he sees. Of what else he
// writes after it only the network is told.
func (b *Bot) turnAway(ctx context.Context, v *visit) error {
	silent, told := false, ""
	err := b.refuse(ctx, v, func(key string) { silent, told = true, key })
	if l, can := b.out.networks[v.in.Network].(Leaver); can && err == nil && silent && !b.out.waits(told) {
		l.TurnedAway(ctx, v.in.Thread)
	}
	return err
}

// refuse is turnAway up to the refusal. Where there is none today, it gives the
// key of the one before.
func (b *Bot) refuse(ctx context.Context, v *visit, silent func(key string)) error {
	s := v.shop
	return b.shopDo(ctx, s, func() error {
		if b.recent.has(s.name, v.key) {
			return nil // counted already
		}
		day := s.day(b.now())
		entries := s.days.turn(day)
		first := s.days.count(v.in.From, b.cfg.Limits.Strangers)
		counted := tally{refused: true, first: first}
		key, role := strangerKey(s, day, v.in.From), flow.Stranger
		if n := s.days.People[v.in.From]; v.coded && n > 0 && n <= codeTries {
			// Whoever holds a code mistypes it: he is told, and not shut out.
			first, key, role = true, key+"/"+strconv.Itoa(n), flow.Customer
		}
		if v.in.Alone {
			sum := sha256.Sum256([]byte(v.key))
			first, key = true, key+"/"+hex.EncodeToString(sum[:8])
		}
		s.days.dirty = true
		if !first {
			silent(key)
			if len(entries) == 0 {
				v.tally = counted
				return nil
			}
		}
		batch := &Batch{Delivery: v.key, Index: s.days.row(s)}
		var sends []send
		if first {
			out := Outbound{Key: key, Shop: s.name, Network: v.in.Network, Thread: v.in.Thread, After: v.in.Delivery, Alone: v.in.Alone,
				Reply: flow.Reply{Kind: flow.Refusal, Role: role, Text: b.refusal(v)}, Names: map[flow.Who]string{"": v.in.Name}}
			if out.Alone {
				out.Users = map[flow.Who]Identity{"": v.in.From}
			}
			o, err := newSend(out)
			if err != nil {
				return err
			}
			sends = append(sends, o)
		}
		if err := b.shopSend(ctx, s, batch, sends, entries...); err != nil {
			s.days = strangerDays{closed: s.days.closed} // read again, with the log
			return err
		}
		s.days.dirty = false
		v.tally = counted
		return nil
	})
}

// refusal tells a mistyped or used guest code from plain strangeness: who
// holds a code is no stranger to the shop.
func (b *Bot) refusal(v *visit) string {
	if v.coded {
		return say("bot.code", flow.Stranger, nil)
	}
	return say("bot.stranger", flow.Stranger, nil)
}

// strangerKey is the identity of the one refusal of a day. It is a hash, as it
// outlives the message.
func strangerKey(s *shop, day string, id Identity) string {
	sum := sha256.Sum256([]byte(s.salt + "\x00" + string(id)))
	return s.outKey(0, 0) + "/" + day + "/" + hex.EncodeToString(sum[:8])
}

// turn begins a day, and gives the entries of the one before.
func (d *strangerDays) turn(day string) []shopEntry {
	if d.Day == day {
		return nil
	}
	var entries []shopEntry
	if d.Day > d.closed {
		for _, id := range slices.Sorted(maps.Keys(d.People)) {
			entries = append(entries, shopEntry{kind: kindStranger, role: flow.Stranger, data: strangerData{d.Day, d.People[id]},
				items: []flow.Item{{Label: flow.ItemIdentity, Content: string(id)}}})
		}
		if d.More > 0 {
			entries = append(entries, shopEntry{kind: kindStrangers, role: flow.Stranger, data: strangerData{d.Day, d.More}})
		}
	}
	*d = strangerDays{Day: day, closed: max(d.closed, d.Day)}
	return entries
}

// count counts a message. It is true for the first of a stranger under the cap.
func (d *strangerDays) count(id Identity, limit int) bool {
	if d.People[id] == 0 && len(d.People) >= limit {
		d.More++
		return false
	}
	if d.People == nil {
		d.People = map[Identity]int{}
	}
	d.People[id]++
	return d.People[id] == 1
}

// row is the shop's index row, which keeps the counts until the day is over.
func (d *strangerDays) row(s *shop) *IndexRow {
	data, err := json.Marshal(d)
	if err != nil {
		data = nil // names and counts only: unreachable
	}
	return &IndexRow{Job: s.ownJob(), Data: data, Seq: s.seq, Prev: s.prev}
}

// readDays reads the counts back after a start. Called with mu held.
func (b *Bot) readDays(ctx context.Context, s *shop) error {
	if s.days.Day != "" {
		return nil
	}
	rows, err := b.cfg.Store.Index(ctx, s.name, false)
	if err != nil {
		return failed("read index", err)
	}
	for _, r := range rows {
		if r.Job != s.ownJob() || len(r.Data) == 0 {
			continue
		}
		d := strangerDays{closed: s.days.closed}
		if json.Unmarshal(r.Data, &d) == nil && d.Day > s.days.closed {
			s.days = d
		}
	}
	return nil
}

// closeDay makes yesterday's counts entries, and stores today's.
func (b *Bot) closeDay(ctx context.Context, s *shop) error {
	return b.shopDo(ctx, s, func() error {
		before := s.days
		entries := s.days.turn(s.day(b.now()))
		if len(entries) == 0 && !s.days.dirty {
			return nil
		}
		_, err := b.shopCommit(ctx, s, &Batch{Index: s.days.row(s)}, entries...)
		if err != nil {
			s.days = before
			return err
		}
		s.days.dirty = false
		return nil
	})
}
