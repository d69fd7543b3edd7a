package bottest

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
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

// Current implements bot.Store.
func (m *Memory) Current(_ context.Context, shop string, id bot.Identity) (job string, err error) {
	m.look(shop, func(s *memShop) { job = s.Current[id] })
	return job, nil
}

// Threads implements bot.Store.
func (m *Memory) Threads(_ context.Context, shop, job string) (out []bot.JobThread, err error) {
	m.look(shop, func(s *memShop) {
		for _, t := range s.Threads {
			if t.Job == job {
				out = append(out, t.JobThread)
			}
		}
	})
	return out, nil
}

// ThreadJob implements bot.Store.
func (m *Memory) ThreadJob(_ context.Context, shop, network string, t bot.Thread) (job string, err error) {
	m.look(shop, func(s *memShop) {
		for _, j := range s.Threads {
			if j.Network == network && j.Thread == t {
				job = j.Job
			}
		}
	})
	return job, nil
}

// Index implements bot.Store.
func (m *Memory) Index(_ context.Context, shop string, openOnly bool) (out []bot.IndexRow, err error) {
	m.look(shop, func(s *memShop) {
		for _, r := range s.Rows {
			if r.Open || !openOnly {
				out = append(out, cloneRow(r))
			}
		}
	})
	slices.SortFunc(out, func(a, b bot.IndexRow) int { return cmp.Or(a.Since.Compare(b.Since), cmp.Compare(a.Job, b.Job)) })
	return out, nil
}

// Known implements bot.Store.
func (m *Memory) Known(_ context.Context, shop, key string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = s.began(s.Keys[key]) })
	slices.Reverse(jobs)
	return jobs, nil
}

// began puts jobs in the order they began.
func (s *memShop) began(jobs []string) []string {
	jobs = slices.Clone(jobs)
	slices.SortFunc(jobs, func(a, b string) int { return cmp.Compare(slices.Index(s.Jobs, a), slices.Index(s.Jobs, b)) })
	return jobs
}

// Jobs implements bot.Store.
func (m *Memory) Jobs(_ context.Context, shop string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = slices.Clone(s.Jobs) })
	return jobs, nil
}

// EvidenceJobs implements bot.Store.
func (m *Memory) EvidenceJobs(_ context.Context, shop, sha256 string) (jobs []string, err error) {
	m.look(shop, func(s *memShop) { jobs = s.began(s.Evidence[sha256]) })
	return jobs, nil
}

// Reindex implements bot.Store.
func (m *Memory) Reindex(ctx context.Context, shop string, rows []bot.IndexRow) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	s := m.shop(shop)
	clear(s.Rows)
	clear(s.Keys)
	clear(s.Evidence)
	for _, r := range rows {
		s.Rows[r.Job] = cloneRow(r)
		s.find(r.Job, r.Keys, r.Evidence)
	}
	return nil
}

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
