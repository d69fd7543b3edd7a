package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"slices"
	"testing"

	"golang.org/x/mod/sumdb/tlog"
)

// seeded is an endless stream of bytes that a name decides, so that exports made
// by tests are the same every time.
type seeded struct {
	name string
	n    uint64
	left []byte
}

func (s *seeded) Read(p []byte) (int, error) {
	for i := range p {
		if len(s.left) == 0 {
			sum := sha256.Sum256(binary.BigEndian.AppendUint64([]byte(s.name), s.n))
			s.n++
			s.left = sum[:]
		}
		p[i], s.left = s.left[0], s.left[1:]
	}
	return len(p), nil
}

// A world is a shop's log in memory, as a store would keep it.
type world struct {
	t      testing.TB
	rand   io.Reader
	key    Key
	origin Origin
	edge   Edge
	hashes []tlog.Hash
	jobs   map[string][]Entry
	prev   map[string]string
	marks  []Mark
	heads  []Head
	clock  int
}

func newWorld(t testing.TB, seed string) *world {
	t.Helper()
	w := &world{t: t, rand: &seeded{name: seed}, jobs: map[string][]Entry{}, prev: map[string]string{}}
	w.key = must(NewKey("oakroad", w.rand))(t)
	w.origin = must(NewOrigin("oakroad", Origin{}, w.rand))(t)
	return w
}

// must stops the test on an error.
func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func (w *world) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		if x < 0 || x >= int64(len(w.hashes)) {
			return nil, fmt.Errorf("no hash %d", x)
		}
		out[i] = w.hashes[x]
	}
	return out, nil
}

func (w *world) Entries(job string) iter.Seq2[Entry, error] {
	return func(yield func(Entry, error) bool) {
		for _, e := range w.jobs[job] {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func (w *world) time() string {
	w.clock++
	return fmt.Sprintf("2026-03-%02dT08:%02d:%02d.000Z", 1+w.clock/3600, w.clock/60%60, w.clock%60)
}

// add appends an entry with items given as label, content, label, content.
func (w *world) add(job, kind string, data any, items ...string) Entry {
	w.t.Helper()
	raw := must(json.Marshal(data))(w.t)
	var its []Item
	for i := 0; i+1 < len(items); i += 2 {
		its = append(its, must(NewItem(items[i], []byte(items[i+1]), w.rand))(w.t))
	}
	l := Leaf{Shop: "oakroad", Job: job, Seq: int64(len(w.jobs[job]) + 1), Prev: w.prev[job], Time: w.time(),
		Kind: kind, V: 1, Data: raw, Items: must(Hashes(its))(w.t)}
	if kind == "said" {
		l.Who, l.Role = "p4821", "technician"
	}
	b := must(l.Bytes())(w.t)
	index := w.edge.Size()
	hashes := must(w.edge.Append(b))(w.t)
	if int64(len(w.hashes)) != tlog.StoredHashIndex(0, index) {
		w.t.Fatalf("hashes of leaf %d do not follow those before", index)
	}
	w.hashes = append(w.hashes, hashes...)
	w.prev[job] = hexHash(hashes[0])
	e := Entry{Index: index, Leaf: b, Items: its}
	w.jobs[job] = append(w.jobs[job], e)
	return e
}

// head signs the tree as it is.
func (w *world) head(keys ...Key) []byte {
	w.t.Helper()
	if len(keys) == 0 {
		keys = []Key{w.key}
	}
	h := Head{Origin: w.origin, Size: w.edge.Size(), Root: must(w.edge.Root())(w.t), Time: w.time()}
	if n := len(w.heads); n > 0 {
		h.PrevSize, h.PrevRoot = w.heads[n-1].Size, w.heads[n-1].Root
	}
	w.heads = append(w.heads, h)
	return must(SignHead(h, keys...))(w.t)
}

// rotate puts a new key in force.
func (w *world) rotate(lost bool) {
	w.t.Helper()
	next := must(NewKey("oakroad", w.rand))(w.t)
	e := w.add(ShopJob, KindKeyChanged, KeyChange{Old: w.key.Public(), New: next.Public(), Lost: lost})
	m := Mark{Index: e.Index, Leaf: e.Leaf}
	if !lost {
		m.Head = w.head(w.key, next)
	}
	w.marks = append(w.marks, m)
	w.key = next
}

// restore goes on from the log as it is, as if it had been read from a backup.
func (w *world) restore() {
	w.t.Helper()
	w.origin = must(NewOrigin("oakroad", w.origin, w.rand))(w.t)
	r := Restored{Origin: w.origin.String(), Size: w.edge.Size(), Root: must(w.edge.Root())(w.t)}
	e := w.add(ShopJob, KindRestored, r)
	w.marks = append(w.marks, Mark{Index: e.Index, Leaf: e.Leaf})
}

// clone is a copy to go another way from here.
func (w *world) clone(seed string) *world {
	c := *w
	c.rand = &seeded{name: seed}
	c.hashes, c.marks, c.heads = slices.Clone(w.hashes), slices.Clone(w.marks), slices.Clone(w.heads)
	c.jobs, c.prev = map[string][]Entry{}, map[string]string{}
	for j, es := range w.jobs {
		c.jobs[j], c.prev[j] = slices.Clone(es), w.prev[j]
	}
	return &c
}

func (w *world) of(job string) Export {
	x := Export{Job: job, Head: w.head(), Key: w.key, Marks: w.marks, Source: w}
	for _, h := range w.heads {
		x.Seen = append(x.Seen, h.Size)
	}
	return x
}

func (w *world) export(job string) []byte {
	w.t.Helper()
	return w.write(w.of(job))
}

func (w *world) write(x Export) []byte {
	w.t.Helper()
	var b bytes.Buffer
	if err := x.Write(&b); err != nil {
		w.t.Fatal(err)
	}
	return b.Bytes()
}

// busy fills a log with two jobs side by side, n rounds.
func (w *world) busy(n int) *world {
	for i := range n {
		w.add("7q3k9x", "said", map[string]any{"asked": "stored", "n": i}, "text", fmt.Sprintf("it says %d mm", 2438+i))
		w.add("m02vd8", "said", map[string]any{"asked": "size"}, "text", "LT265/70R17", "name", "Pat", "photo", "\xff\xd8\xff"+fmt.Sprint(i))
		w.add("7q3k9x", "target", map[string]any{"value": 2590, "low": 2576.5, "high": 2603.5, "unit": "mm", "method": "cal-1"})
	}
	return w
}

// check is Verify of bytes.
func check(file []byte, key string, heads ...string) (Summary, error) {
	var keys []string
	if key != "" {
		keys = []string{key}
	}
	return Verify(bytes.NewReader(file), keys, heads)
}
