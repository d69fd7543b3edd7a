package bot_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/bot"
	"milepost/bot/journal"
)

// mem is a store in memory that fails when it is told to.
type mem struct {
	mu        sync.Mutex
	jobs      map[string][]bot.Stored
	order     []string
	delivered map[string]string
	out       []bot.OutRow
	sent      map[string]bool
	current   map[string]string
	threads   map[string][]bot.JobThread
	thread    map[string]string
	index     map[string]bot.IndexRow
	keys      map[string][]string
	evidence  map[string][]string
	edge      journal.Edge
	hashes    []tlog.Hash
	heads     []bot.Head
	commits   int
	reads     int

	// fail is asked before each commit; an error is given back and nothing done.
	fail func(*bot.Batch) error
	// lost is asked after each commit: the caller gets the error, the store has it.
	lost func(*bot.Batch) error
}

func newMem() *mem {
	return &mem{jobs: map[string][]bot.Stored{}, delivered: map[string]string{}, sent: map[string]bool{},
		current: map[string]string{}, threads: map[string][]bot.JobThread{}, thread: map[string]string{},
		index: map[string]bot.IndexRow{}, keys: map[string][]string{}, evidence: map[string][]string{}}
}

func (m *mem) lock() func() { m.mu.Lock(); return m.mu.Unlock }

func (m *mem) Entries(_ context.Context, shop, job string, after int64) ([]bot.Stored, error) {
	defer m.lock()()
	m.reads++
	all := m.jobs[shop+"/"+job]
	out := make([]bot.Stored, 0, len(all))
	for _, s := range all[min(int(after), len(all)):] {
		s.Items = slices.Clone(s.Items)
		out = append(out, s)
	}
	return out, nil
}

func (m *mem) Delivered(_ context.Context, shop, key string) (string, bool, error) {
	defer m.lock()()
	job, ok := m.delivered[shop+"/"+key]
	return job, ok, nil
}

func (m *mem) Commit(_ context.Context, b *bot.Batch) error {
	defer m.lock()()
	if m.fail != nil {
		if err := m.fail(b); err != nil {
			return err
		}
	}
	if err := m.add(b); err != nil {
		return err
	}
	if m.lost != nil {
		return m.lost(b)
	}
	return nil
}

func (m *mem) add(b *bot.Batch) error {
	key := b.Shop + "/" + b.Job
	if b.Delivery != "" {
		if _, ok := m.delivered[b.Shop+"/"+b.Delivery]; ok {
			return bot.ErrDelivered
		}
	}
	if int64(len(m.jobs[key])) != b.Expect {
		return bot.ErrSequence
	}
	if len(m.jobs[key]) == 0 && len(b.Leaves) > 0 {
		m.order = append(m.order, b.Job)
	}
	for _, l := range b.Leaves {
		m.jobs[key] = append(m.jobs[key], bot.Stored{NewLeaf: l, Index: m.edge.Size()})
		hs, err := m.edge.Append(l.Bytes)
		if err != nil {
			return err
		}
		m.hashes = append(m.hashes, hs...)
	}
	for _, r := range b.Outbox {
		if slices.ContainsFunc(m.out, func(o bot.OutRow) bool { return o.Key == r.Key }) {
			return fmt.Errorf("outbox key %s twice", r.Key)
		}
		m.out = append(m.out, r)
	}
	for _, k := range b.Sent {
		m.sent[k] = true
	}
	if b.Delivery != "" {
		m.delivered[b.Shop+"/"+b.Delivery] = b.Job
	}
	if b.Index != nil {
		m.index[b.Shop+"/"+b.Index.Job] = *b.Index
	}
	if b.Current != "" {
		m.current[b.Shop+"/"+string(b.Current)] = b.Job
	}
	if b.Thread != nil {
		m.threads[key] = append(m.threads[key], *b.Thread)
		m.thread[b.Shop+"/"+b.Thread.Network+"/"+string(b.Thread.Thread)] = b.Job
	}
	for _, k := range b.Vehicles {
		m.keys[b.Shop+"/"+k] = append([]string{b.Job}, m.keys[b.Shop+"/"+k]...)
	}
	for _, h := range b.Evidence {
		if !slices.Contains(m.evidence[b.Shop+"/"+h], b.Job) {
			m.evidence[b.Shop+"/"+h] = append(m.evidence[b.Shop+"/"+h], b.Job)
		}
	}
	m.commits++
	return nil
}

func (m *mem) Unsent(_ context.Context, limit int) ([]bot.OutRow, error) {
	defer m.lock()()
	var rows []bot.OutRow
	for _, r := range m.out {
		if !m.sent[r.Key] && len(rows) < limit {
			rows = append(rows, r)
		}
	}
	return rows, nil
}

func (m *mem) MarkSent(_ context.Context, keys []string) error {
	defer m.lock()()
	for _, k := range keys {
		m.sent[k] = true
	}
	return nil
}

func (m *mem) Current(_ context.Context, shop string, id bot.Identity) (string, error) {
	defer m.lock()()
	return m.current[shop+"/"+string(id)], nil
}

func (m *mem) Threads(_ context.Context, shop, job string) ([]bot.JobThread, error) {
	defer m.lock()()
	return slices.Clone(m.threads[shop+"/"+job]), nil
}

func (m *mem) ThreadJob(_ context.Context, shop, network string, t bot.Thread) (string, error) {
	defer m.lock()()
	return m.thread[shop+"/"+network+"/"+string(t)], nil
}

func (m *mem) Index(_ context.Context, _ string, openOnly bool) ([]bot.IndexRow, error) {
	defer m.lock()()
	var rows []bot.IndexRow
	for _, r := range m.index {
		if r.Open || !openOnly {
			rows = append(rows, r)
		}
	}
	slices.SortFunc(rows, func(a, b bot.IndexRow) int { return a.Since.Compare(b.Since) })
	return rows, nil
}

func (m *mem) Known(_ context.Context, shop, key string) ([]string, error) {
	defer m.lock()()
	return slices.Clone(m.keys[shop+"/"+key]), nil
}

func (m *mem) Jobs(context.Context, string) ([]string, error) {
	defer m.lock()()
	return slices.Clone(m.order), nil
}

func (m *mem) EvidenceJobs(_ context.Context, shop, sha string) ([]string, error) {
	defer m.lock()()
	return slices.Clone(m.evidence[shop+"/"+sha]), nil
}

func (m *mem) Reindex(_ context.Context, shop string, rows []bot.IndexRow) error {
	defer m.lock()()
	clear(m.index)
	clear(m.keys)
	clear(m.evidence)
	for _, r := range rows {
		for _, k := range r.Keys {
			m.keys[shop+"/"+k] = append([]string{r.Job}, m.keys[shop+"/"+k]...)
		}
		for _, h := range r.Evidence {
			m.evidence[shop+"/"+h] = append(m.evidence[shop+"/"+h], r.Job)
		}
		r.Keys, r.Evidence = nil, nil
		m.index[shop+"/"+r.Job] = r
	}
	return nil
}

func (m *mem) Erase(_ context.Context, b *bot.Batch, items []bot.ItemRef) error {
	defer m.lock()()
	for _, it := range items {
		all := m.jobs[b.Shop+"/"+it.Job]
		s := &all[it.Seq-1]
		s.Items = slices.DeleteFunc(slices.Clone(s.Items), func(i journal.Item) bool { return i.Label == it.Label })
	}
	m.out = slices.DeleteFunc(m.out, func(o bot.OutRow) bool { return o.Job == b.Job })
	without := func(in map[string][]string) {
		for k := range in {
			in[k] = slices.DeleteFunc(in[k], func(j string) bool { return j == b.Job })
		}
	}
	without(m.keys)
	without(m.evidence)
	for _, id := range b.Forget {
		delete(m.current, b.Shop+"/"+string(id))
	}
	return m.add(b)
}

type tree struct {
	hashes []tlog.Hash
	size   int64
}

func (t tree) Size() int64 { return t.size }

func (t tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var hs []tlog.Hash
	for _, i := range indexes {
		hs = append(hs, t.hashes[i])
	}
	return hs, nil
}

func (m *mem) Tree(context.Context, string) (bot.TreeReader, error) {
	defer m.lock()()
	return tree{slices.Clone(m.hashes), m.edge.Size()}, nil
}

func (m *mem) SaveHead(_ context.Context, _ string, h bot.Head) error {
	defer m.lock()()
	m.heads = append(m.heads, h)
	return nil
}

func (m *mem) Heads(context.Context, string) ([]bot.Head, error) {
	defer m.lock()()
	return slices.Clone(m.heads), nil
}

func (m *mem) Backup(context.Context, string) error { return nil }
func (m *mem) Close() error                         { return nil }

// dump is everything kept, to look for words in.
func (m *mem) dump() string {
	defer m.lock()()
	var b bytes.Buffer
	for k, es := range m.jobs {
		for _, e := range es {
			fmt.Fprintf(&b, "%s %s\n", k, e.Bytes)
			for _, it := range e.Items {
				fmt.Fprintf(&b, "%s %s\n", it.Label, it.Content)
			}
		}
	}
	for _, o := range m.out {
		fmt.Fprintf(&b, "%s %s\n", o.Key, o.Payload)
	}
	for k, r := range m.index {
		fmt.Fprintf(&b, "%s %s\n", k, r.Data)
	}
	fmt.Fprintln(&b, m.current, m.thread, m.keys, m.evidence)
	return b.String()
}

func (m *mem) count() (commits, reads int) {
	defer m.lock()()
	return m.commits, m.reads
}

// memBlobs keeps files in memory.
type memBlobs struct {
	mu    sync.Mutex
	files map[string][]byte
}

func (m *memBlobs) Put(_ context.Context, r io.Reader, limit int64) (bot.Blob, error) {
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return bot.Blob{}, err
	}
	if int64(len(data)) > limit {
		return bot.Blob{}, bot.ErrTooLarge
	}
	sum := sha256.Sum256(data)
	b := bot.Blob{SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(data)), Head: data[:min(len(data), 512)]}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.files == nil {
		m.files = map[string][]byte{}
	}
	m.files[b.SHA256] = data
	return b, nil
}

func (m *memBlobs) Open(_ context.Context, sha string) (io.ReadCloser, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	data, ok := m.files[sha]
	if !ok {
		return nil, fmt.Errorf("no file %s", sha)
	}
	return io.NopCloser(bytes.NewReader(data)), nil
}

func (m *memBlobs) Delete(_ context.Context, sha string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.files, sha)
	return nil
}

func (m *mem) currentOf(id bot.Identity) string {
	job, _ := m.Current(context.Background(), "oakroad", id)
	return job
}
