package bottest

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"milepost/bot"
)

// Commit implements bot.Store.
func (m *Memory) Commit(ctx context.Context, b *bot.Batch) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.shop(b.Shop)
	if err := m.check(s, b); err != nil {
		return err
	}
	return m.add(s, b)
}

// check finds all that could stand against a batch, before anything is changed.
func (m *Memory) check(s *memShop, b *bot.Batch) error {
	if _, ok := s.Deliveries[b.Delivery]; ok && b.Delivery != "" {
		return bot.ErrDelivered
	}
	if int64(len(s.Log[b.Job])) != b.Expect {
		return bot.ErrSequence
	}
	for i, l := range b.Leaves {
		if l.Seq != b.Expect+int64(i)+1 {
			return fmt.Errorf("commit: leaf %d of the batch has sequence %d", i, l.Seq)
		}
		labels := map[string]bool{}
		for _, it := range l.Items {
			if labels[it.Label] {
				return fmt.Errorf("commit: item %s twice", it.Label)
			}
			labels[it.Label] = true
		}
	}
	keys := map[string]bool{}
	for _, o := range m.out {
		keys[o.Key] = !slices.Contains(b.Sent, o.Key)
	}
	for _, o := range b.Outbox {
		if keys[o.Key] {
			return fmt.Errorf("commit: outgoing key %s twice", o.Key)
		}
		keys[o.Key] = true
	}
	return nil
}

func (m *Memory) add(s *memShop, b *bot.Batch) error {
	if b.Delivery != "" {
		s.Deliveries[b.Delivery] = b.Job
	}
	if b.Expect == 0 && len(b.Leaves) > 0 {
		s.Jobs = append(s.Jobs, b.Job)
	}
	for _, l := range b.Leaves {
		n := s.Edge.Size()
		hashes, err := s.Edge.Append(l.Bytes)
		if err != nil {
			return err
		}
		s.Hashes = append(s.Hashes, hashes...)
		s.Log[b.Job] = append(s.Log[b.Job], bot.Stored{
			NewLeaf: bot.NewLeaf{Seq: l.Seq, Bytes: bytes.Clone(l.Bytes), Items: cloneItems(l.Items)}, Index: n})
	}
	m.drop(b.Sent)
	for _, o := range b.Outbox {
		o.Payload = bytes.Clone(o.Payload)
		m.out = append(m.out, o)
	}
	if b.Index != nil {
		s.Rows[b.Index.Job] = cloneRow(*b.Index)
	}
	if b.Current != "" {
		s.Current[b.Current] = b.Job
	}
	if b.Thread != nil {
		s.join(b.Job, *b.Thread)
	}
	s.find(b.Job, b.Vehicles, b.Evidence)
	return nil
}

func cloneRow(r bot.IndexRow) bot.IndexRow {
	r.Data = bytes.Clone(r.Data)
	r.Keys, r.Evidence = nil, nil
	return r
}

func (s *memShop) join(job string, t bot.JobThread) {
	for i, old := range s.Threads {
		if old.Job == job && old.Network == t.Network && old.Thread == t.Thread {
			s.Threads[i].For = t.For
			return
		}
	}
	s.Threads = append(s.Threads, memThread{job, t})
}

func (s *memShop) find(job string, keys, evidence []string) {
	for _, k := range keys {
		if !slices.Contains(s.Keys[k], job) {
			s.Keys[k] = append(s.Keys[k], job)
		}
	}
	for _, e := range evidence {
		if !slices.Contains(s.Evidence[e], job) {
			s.Evidence[e] = append(s.Evidence[e], job)
		}
	}
}

func (m *Memory) drop(keys []string) {
	m.out = slices.DeleteFunc(m.out, func(o bot.OutRow) bool { return slices.Contains(keys, o.Key) })
}
