package bottest

import (
	"bytes"
	"context"
	"slices"

	"milepost/bot"
	"milepost/bot/journal"
)

// Erase implements bot.Store.
func (m *Memory) Erase(ctx context.Context, b *bot.Batch, items []bot.ItemRef) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.shop(b.Shop)
	if err := m.check(s, b); err != nil {
		return err
	}
	for _, it := range items {
		if log := s.Log[it.Job]; it.Seq >= 1 && it.Seq <= int64(len(log)) {
			e := &log[it.Seq-1]
			e.Items = slices.DeleteFunc(e.Items, func(i journal.Item) bool { return i.Label == it.Label })
		}
	}
	m.empty(s, b)
	if err := m.add(s, b); err != nil {
		return err
	}
	for sum := range m.files {
		if !m.held(sum) {
			delete(m.files, sum)
		}
	}
	return nil
}

// empty empties what only passed through of the batch's job.
func (m *Memory) empty(s *memShop, b *bot.Batch) {
	m.out = slices.DeleteFunc(m.out, func(o bot.OutRow) bool { return o.Shop == b.Shop && o.Job == b.Job })
	delete(s.Rows, b.Job)
	for _, found := range []map[string][]string{s.Keys, s.Evidence} {
		for k := range found {
			found[k] = slices.DeleteFunc(found[k], func(job string) bool { return job == b.Job })
		}
	}
	for _, id := range b.Forget {
		delete(s.Current, id)
		s.Threads = slices.DeleteFunc(s.Threads, func(t memThread) bool {
			return t.Job == b.Job && (string(t.Thread) == string(id) || t.Network+":"+string(t.Thread) == string(id))
		})
	}
}

// held says whether any job still speaks of evidence.
func (m *Memory) held(sum string) bool {
	for _, s := range m.shops {
		if len(s.Evidence[sum]) > 0 {
			return true
		}
		for _, log := range s.Log {
			for _, e := range log {
				if slices.ContainsFunc(e.Items, func(it journal.Item) bool { return bytes.Contains(it.Content, []byte(sum)) }) {
					return true
				}
			}
		}
	}
	return false
}
