package bottest

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
	"milepost/bot/journal"
)

var (
	_ bot.Store = (*Memory)(nil)
	_ bot.Blobs = (*Memory)(nil)
)

// Memory is a store in memory, for tests and for what need not last. It keeps
// the contract of bot.Store and bot.Blobs but that nothing survives the process.
// The zero value is not ready; see NewMemory.
type Memory struct {
	mu    sync.RWMutex
	shops map[string]*memShop
	out   []bot.OutRow
	files map[string][]byte
}

// memShop is a shop's log and what stands beside it. Its fields are exported for
// Backup's JSON only.
type memShop struct {
	Jobs       []string // in the order they began
	Log        map[string][]bot.Stored
	Edge       journal.Edge
	Hashes     []tlog.Hash
	Deliveries map[string]string
	Current    map[bot.Identity]string
	Threads    []memThread
	Rows       map[string]bot.IndexRow
	Keys       map[string][]string // key to jobs
	Evidence   map[string][]string // hash to jobs
	Heads      []bot.Head
}

type memThread struct {
	Job string
	bot.JobThread
}

// NewMemory gives an empty store.
func NewMemory() *Memory {
	return &Memory{shops: map[string]*memShop{}, files: map[string][]byte{}}
}

// shop gives a shop to be written to; its mu is held for writing.
func (m *Memory) shop(name string) *memShop {
	s := m.shops[name]
	if s == nil {
		s = &memShop{Log: map[string][]bot.Stored{}, Deliveries: map[string]string{}, Current: map[bot.Identity]string{},
			Rows: map[string]bot.IndexRow{}, Keys: map[string][]string{}, Evidence: map[string][]string{}}
		m.shops[name] = s
	}
	return s
}

// look runs f on a shop, on an empty one if it is not known.
func (m *Memory) look(name string, f func(*memShop)) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	if s := m.shops[name]; s != nil {
		f(s)
		return
	}
	f(&memShop{})
}

// Entries implements bot.Store.
func (m *Memory) Entries(_ context.Context, shop, job string, after int64) (out []bot.Stored, err error) {
	m.look(shop, func(s *memShop) {
		for _, e := range s.Log[job] {
			if e.Seq > after {
				e.Bytes, e.Items = bytes.Clone(e.Bytes), cloneItems(e.Items)
				out = append(out, e)
			}
		}
	})
	return out, nil
}

func cloneItems(items []journal.Item) []journal.Item {
	out := slices.Clone(items)
	for i := range out {
		out[i].Content = bytes.Clone(out[i].Content)
	}
	slices.SortFunc(out, func(a, b journal.Item) int { return cmp.Compare(a.Label, b.Label) })
	return out
}

// Delivered implements bot.Store.
func (m *Memory) Delivered(_ context.Context, shop, key string) (job string, ok bool, err error) {
	m.look(shop, func(s *memShop) { job, ok = s.Deliveries[key] })
	return job, ok, nil
}

// Unsent implements bot.Store.
func (m *Memory) Unsent(_ context.Context, limit int) ([]bot.OutRow, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	out := slices.Clone(m.out[:min(limit, len(m.out))])
	for i := range out {
		out[i].Payload = bytes.Clone(out[i].Payload)
	}
	return out, nil
}

// MarkSent implements bot.Store.
func (m *Memory) MarkSent(ctx context.Context, keys []string) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.drop(keys)
	return nil
}
