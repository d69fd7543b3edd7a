package bottest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/journal"
)

// TestStore is the suite that every bot.Store runs. Open gives a fresh, empty
// store and closes it when the test ends. What a store must keep over a restart
// is in TestStoreReopen.
func TestStore(t *testing.T, open func(t *testing.T) bot.Store) {
	for _, s := range []struct {
		name  string
		tests []storeTest
	}{
		{"append", appendTests},
		{"outbox", outboxTests},
		{"board", boardTests},
		{"erase", eraseTests},
		{"tree", treeTests},
		{"busy", busyTests},
	} {
		t.Run(s.name, func(t *testing.T) {
			for _, c := range s.tests {
				t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
			}
		})
	}
}

type storeTest struct {
	name string
	run  func(*testing.T, bot.Store)
}

// TestStoreReopen checks that all a store was told is there when it is opened
// again. Open gives a fresh store, and a function that closes it and opens it
// again from what was kept.
func TestStoreReopen(t *testing.T, open func(t *testing.T) (bot.Store, func() bot.Store)) {
	ctx := context.Background()
	s, again := open(t)
	var jobs []*Log
	for i := range 5 {
		l := NewLog("north", fmt.Sprintf("job%d", i))
		for range 4 {
			commit(t, s, l, l.full(2))
		}
		jobs = append(jobs, l)
	}
	must(t, s.MarkSent(ctx, []string{"job0/2", "job3/4"}))
	must(t, s.SaveHead(ctx, "north", bot.Head{Size: 3, Note: string(signedHead(t, s, "north", 3)), Time: day(3)}))
	before := dump(t, s, jobs...)
	s = again()
	if after := dump(t, s, jobs...); after != before {
		t.Errorf("reopened:\n%s\nwant\n%s", after, before)
	}
	// And it goes on where it was.
	commit(t, s, jobs[0], jobs[0].full(1))
	if err := s.Commit(ctx, &bot.Batch{Shop: "north", Job: "job1", Expect: 8, Delivery: jobs[1].delivery}); !errors.Is(err, bot.ErrDelivered) {
		t.Errorf("delivery of before: %v, want ErrDelivered", err)
	}
	checkTree(t, s, jobs...)
}

// A Log makes the entries of one job, as a store is given them: real leaves, each
// going on from the one before.
type Log struct {
	Shop, Job string
	Seq       int64
	prev      string
	random    *rand.ChaCha8
	delivery  string // of the last batch made by full
}

// NewLog begins a job. The same job gives the same entries.
func NewLog(shop, job string) *Log {
	return &Log{Shop: shop, Job: job, random: rand.NewChaCha8(sha256.Sum256([]byte(shop + "/" + job)))}
}

// GoOn puts the log to where a store has it, after its last entry.
func (l *Log) GoOn(last bot.Stored) {
	l.Seq, l.prev = last.Seq, journal.Hash(last.Bytes)
}

// at is a job that claims to be at a sequence, for batches that are refused.
func at(shop, job string, seq int64) *Log {
	l := NewLog(shop, job)
	if l.Seq = seq; seq > 0 {
		l.prev = sum("some entry before")
	}
	return l
}

// Batch makes a batch of n entries with the given items, label and content in
// turn, in the last of them. The log counts them as made.
func (l *Log) Batch(n int, items ...string) *bot.Batch {
	b := &bot.Batch{Shop: l.Shop, Job: l.Job, Expect: l.Seq}
	for i := range n {
		l.Seq++
		leaf := journal.Leaf{Shop: l.Shop, Job: l.Job, Seq: l.Seq, Prev: l.prev, Time: day(int(l.Seq)).Format(journal.TimeLayout),
			Who: "p" + l.Job, Role: "technician", Kind: "note", V: 1, Data: fmt.Appendf(nil, `{"n":%d,"text":%q}`, l.Seq, l.Job)}
		var kept []journal.Item
		for j := 0; i == n-1 && j+1 < len(items); j += 2 {
			it, err := journal.NewItem(items[j], []byte(items[j+1]), l.random)
			if err != nil {
				panic(err) // a label of this suite that can't stand
			}
			kept = append(kept, it)
		}
		var err error
		if leaf.Items, err = journal.Hashes(kept); err != nil {
			panic(err)
		}
		bytes, err := leaf.Bytes()
		if err != nil {
			panic(err)
		}
		l.prev = journal.Hash(bytes)
		b.Leaves = append(b.Leaves, bot.NewLeaf{Seq: l.Seq, Bytes: bytes, Items: kept})
	}
	return b
}

// full makes a batch with something of everything.
func (l *Log) full(n int) *bot.Batch {
	b := l.Batch(n, "name", "Name of "+l.Job, "text", fmt.Sprintf("said in %s at %d", l.Job, l.Seq))
	l.delivery = fmt.Sprintf("in-%s-%d", l.Job, l.Seq)
	b.Delivery = l.delivery
	b.Outbox = []bot.OutRow{outRow(l, l.Seq)}
	b.Index = &bot.IndexRow{Job: l.Job, Open: true, Since: day(int(l.Seq)), Wake: day(100), Data: []byte(`{"job":"` + l.Job + `"}`), Seq: l.Seq, Prev: l.prev}
	b.Current = bot.Identity("matrix:@" + l.Job + ":example.org")
	b.Thread = &bot.JobThread{Network: "matrix", Thread: bot.Thread("!room/" + l.Job), For: "technician"}
	b.Evidence = []string{sum("evidence of " + l.Job)}
	b.Vehicles = []string{"vin:" + l.Job}
	return b
}

func outRow(l *Log, seq int64) bot.OutRow {
	return bot.OutRow{Key: fmt.Sprintf("%s/%d", l.Job, seq), Shop: l.Shop, Job: l.Job, Network: "matrix", Thread: bot.Thread("!room/" + l.Job),
		Payload: fmt.Appendf(nil, `{"text":"said to %s"}`, l.Job)}
}

// day is a time with all the digits a store must keep.
func day(n int) time.Time {
	return time.Date(2026, 3, 1, 8, 15, 0, 250_000_001, time.UTC).AddDate(0, 0, n)
}

func sum(s string) string {
	h := sha256.Sum256([]byte(s))
	return hex.EncodeToString(h[:])
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// commit commits a batch that the log made.
func commit(t testing.TB, s bot.Store, l *Log, b *bot.Batch) {
	t.Helper()
	if err := s.Commit(context.Background(), b); err != nil {
		t.Fatalf("commit %s after %d: %v", l.Job, b.Expect, err)
	}
}

// get is for a method that gives a value and an error.
func get[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		must(t, err)
		return v
	}
}

// equal compares without telling nil from empty at the top.
func equal[T any](t testing.TB, what string, got, want []T) {
	t.Helper()
	if len(got) == 0 && len(want) == 0 {
		return
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

// dump is everything a store gives about some jobs, for comparison.
func dump(t testing.TB, s bot.Store, logs ...*Log) string {
	t.Helper()
	ctx := context.Background()
	out := fmt.Sprintf("unsent %s\n", get(s.Unsent(ctx, 1000))(t))
	for _, l := range logs {
		out += fmt.Sprintf("%s/%s: %+v\n", l.Shop, l.Job, get(s.Entries(ctx, l.Shop, l.Job, 0))(t))
		out += fmt.Sprintf(" threads %v\n", get(s.Threads(ctx, l.Shop, l.Job))(t))
		out += fmt.Sprintf(" current %s\n", get(s.Current(ctx, l.Shop, bot.Identity("matrix:@"+l.Job+":example.org")))(t))
		out += fmt.Sprintf(" thread's %s\n", get(s.ThreadJob(ctx, l.Shop, "matrix", bot.Thread("!room/"+l.Job)))(t))
		out += fmt.Sprintf(" known %s\n", get(s.Known(ctx, l.Shop, "vin:"+l.Job))(t))
		out += fmt.Sprintf(" evidence %s\n", get(s.EvidenceJobs(ctx, l.Shop, sum("evidence of "+l.Job)))(t))
		for seq := int64(0); seq <= l.Seq; seq++ {
			job, ok, err := s.Delivered(ctx, l.Shop, fmt.Sprintf("in-%s-%d", l.Job, seq))
			must(t, err)
			out += fmt.Sprintf(" delivered %d %s %t\n", seq, job, ok)
		}
	}
	for _, shop := range []string{"north", "south", ""} {
		out += fmt.Sprintf("shop %s: %s %+v\n", shop, get(s.Jobs(ctx, shop))(t), get(s.Index(ctx, shop, false))(t))
		out += fmt.Sprintf(" tree %d heads %+v\n", get(s.Tree(ctx, shop))(t).Size(), get(s.Heads(ctx, shop))(t))
	}
	return out
}
