package bottest

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"milepost/bot"
	"milepost/bot/journal"
)

var appendTests = []storeTest{
	{"entries", storeEntries},
	{"odd bytes", storeOddBytes},
	{"shops apart", storeShopsApart},
	{"jobs in order", storeJobs},
	{"sequence", storeSequence},
	{"sequence in the batch", storeBatchSequence},
	{"delivered", storeDelivered},
	{"delivery alone", storeDeliveryAlone},
	{"all or nothing", storeAllOrNothing},
	{"cancelled", storeCancelled},
}

func storeEntries(t *testing.T, s bot.Store) {
	ctx := context.Background()
	a, b := NewLog("north", "aaa"), NewLog("north", "bbb")
	first := a.Batch(2, "name", "A Name", "text", "a text")
	second := b.Batch(1)
	third := a.Batch(2, "vin", "ZZZTEST1XR0000001")
	for _, batch := range []*bot.Batch{first, second, third} {
		must(t, s.Commit(ctx, batch))
	}
	leaves := append(slices.Clone(first.Leaves), third.Leaves...)
	want := make([]bot.Stored, 4)
	for i, at := range []int64{0, 1, 3, 4} {
		want[i] = bot.Stored{NewLeaf: leaves[i], Index: at}
	}
	equal(t, "all", get(s.Entries(ctx, "north", "aaa", 0))(t), want)
	equal(t, "after 2", get(s.Entries(ctx, "north", "aaa", 2))(t), want[2:])
	equal(t, "after the last", get(s.Entries(ctx, "north", "aaa", 4))(t), nil)
	equal(t, "unknown job", get(s.Entries(ctx, "north", "ccc", 0))(t), nil)
	equal(t, "unknown shop", get(s.Entries(ctx, "west", "aaa", 0))(t), nil)
}

// storeOddBytes: a store gives back the very bytes it was given.
func storeOddBytes(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "odd")
	contents := []string{"", "\x00", "a\x00b", "\xff\xfe no text", "ü € 漢 🚗", `'; DROP TABLE leaf; --`, strings.Repeat("long ", 20_000)}
	for _, c := range contents {
		commit(t, s, l, l.Batch(1, "text", c, "a/b c", c))
	}
	entries := get(s.Entries(ctx, "north", "odd", 0))(t)
	if len(entries) != len(contents) {
		t.Fatalf("%d entries, want %d", len(entries), len(contents))
	}
	for i, e := range entries {
		leaf, err := journal.Parse(e.Bytes)
		must(t, err)
		for _, it := range e.Items {
			if string(it.Content) != contents[i] || it.Hash() != leaf.Items[it.Label] {
				t.Errorf("entry %d, item %s: not what was stored", i+1, it.Label)
			}
		}
		if len(e.Items) != 2 {
			t.Errorf("entry %d: %d items, want 2", i+1, len(e.Items))
		}
	}
}

func storeShopsApart(t *testing.T, s bot.Store) {
	ctx := context.Background()
	n, o := NewLog("north", "same"), NewLog("south", "same")
	b := n.full(2)
	commit(t, s, n, b)
	if got := get(s.Entries(ctx, "south", "same", 0))(t); len(got) != 0 {
		t.Fatalf("the other shop has %d entries", len(got))
	}
	if _, ok, _ := s.Delivered(ctx, "south", b.Delivery); ok {
		t.Error("delivered in the other shop")
	}
	other := o.full(1)
	other.Delivery, other.Outbox = b.Delivery, nil // the same key in another shop is another
	commit(t, s, o, other)
	for _, l := range []*Log{n, o} {
		if got := get(s.Index(ctx, l.Shop, false))(t); len(got) != 1 || got[0].Seq != l.Seq {
			t.Errorf("index of %s: %+v", l.Shop, got)
		}
		if size := get(s.Tree(ctx, l.Shop))(t).Size(); size != l.Seq {
			t.Errorf("tree of %s has %d, want %d", l.Shop, size, l.Seq)
		}
	}
}

func storeJobs(t *testing.T, s bot.Store) {
	ctx := context.Background()
	names := []string{"zeta", "alpha", journal.ShopJob, "mid"}
	var logs []*Log
	for _, name := range names {
		logs = append(logs, NewLog("north", name))
	}
	for _, l := range append(logs, logs[2], logs[0]) {
		commit(t, s, l, l.Batch(1))
	}
	equal(t, "jobs", get(s.Jobs(ctx, "north"))(t), names)
	equal(t, "jobs of an unknown shop", get(s.Jobs(ctx, "west"))(t), nil)
}

func storeSequence(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	commit(t, s, l, l.full(3))
	before := dump(t, s, l)
	for _, expect := range []int64{0, 2, 4, -1} {
		b := at("north", "job", max(expect, 0)).full(1)
		b.Expect, b.Current, b.Delivery = expect, "matrix:@other:example.org", "in-other"
		b.Outbox[0].Key, b.Thread.Thread, b.Vehicles = "other/1", "!other", []string{"vin:other"}
		if err := s.Commit(ctx, b); !errors.Is(err, bot.ErrSequence) {
			t.Errorf("expect %d at 3: %v, want ErrSequence", expect, err)
		}
		if _, ok, _ := s.Delivered(ctx, "north", "in-other"); ok {
			t.Errorf("expect %d: the delivery counts as handled", expect)
		}
	}
	if after := dump(t, s, l); after != before {
		t.Errorf("changed:\n%s\nwant\n%s", after, before)
	}
	commit(t, s, l, l.full(1)) // and the right one still goes
}

func storeBatchSequence(t *testing.T, s bot.Store) {
	ctx := context.Background()
	for _, seqs := range [][]int64{{2}, {0}, {1, 1}, {1, 3}, {2, 1}} {
		l := NewLog("north", "job")
		b := l.Batch(len(seqs))
		for i, seq := range seqs {
			b.Leaves[i].Seq = seq
		}
		if err := s.Commit(ctx, b); err == nil {
			t.Errorf("leaves %v were taken", seqs)
		}
		if got := get(s.Entries(ctx, "north", "job", 0))(t); len(got) != 0 {
			t.Fatalf("leaves %v: %d are there", seqs, len(got))
		}
	}
}

func storeDelivered(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	first := l.full(1)
	commit(t, s, l, first)
	if job, ok, err := s.Delivered(ctx, "north", first.Delivery); job != "job" || !ok || err != nil {
		t.Errorf("delivered: %q %t %v", job, ok, err)
	}
	if job, ok, err := s.Delivered(ctx, "north", "another"); job != "" || ok || err != nil {
		t.Errorf("not delivered: %q %t %v", job, ok, err)
	}
	commit(t, s, l, l.full(1))
	before := dump(t, s, l)
	// A repeat is a repeat wherever the job stands by now.
	for _, expect := range []int64{0, 1, 2} {
		b := at("north", "job", expect).Batch(1)
		b.Delivery = first.Delivery
		if err := s.Commit(ctx, b); !errors.Is(err, bot.ErrDelivered) {
			t.Errorf("repeat, expecting %d: %v, want ErrDelivered", expect, err)
		}
	}
	if after := dump(t, s, l); after != before {
		t.Errorf("changed:\n%s\nwant\n%s", after, before)
	}
}

// storeDeliveryAlone: a message of which nothing came is handled all the same.
func storeDeliveryAlone(t *testing.T, s bot.Store) {
	ctx := context.Background()
	b := &bot.Batch{Shop: "north", Job: "", Delivery: "alone"}
	must(t, s.Commit(ctx, b))
	if job, ok, _ := s.Delivered(ctx, "north", "alone"); job != "" || !ok {
		t.Errorf("delivered: %q %t", job, ok)
	}
	if err := s.Commit(ctx, b); !errors.Is(err, bot.ErrDelivered) {
		t.Errorf("again: %v, want ErrDelivered", err)
	}
	equal(t, "jobs", get(s.Jobs(ctx, "north"))(t), nil)
}

// storeAllOrNothing: a batch whose last part can't stand leaves nothing behind.
func storeAllOrNothing(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	commit(t, s, l, l.full(1))
	before := dump(t, s, l)
	bad := *l
	b := bad.full(2)
	b.Outbox = append(b.Outbox, outRow(l, 1)) // its key waits already
	if err := s.Commit(ctx, b); err == nil {
		t.Error("a key that waits was taken twice")
	}
	twice := *l
	b = twice.full(1)
	b.Leaves[0].Items = append(b.Leaves[0].Items, b.Leaves[0].Items[0])
	if err := s.Commit(ctx, b); err == nil {
		t.Error("an item was taken twice")
	}
	if after := dump(t, s, l); after != before {
		t.Errorf("changed:\n%s\nwant\n%s", after, before)
	}
	commit(t, s, l, l.full(2))
	checkTree(t, s, l)
}

func storeCancelled(t *testing.T, s bot.Store) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	l := NewLog("north", "job")
	if err := s.Commit(ctx, l.full(1)); !errors.Is(err, context.Canceled) {
		t.Errorf("commit: %v, want context.Canceled", err)
	}
	if got := get(s.Entries(context.Background(), "north", "job", 0))(t); len(got) != 0 {
		t.Errorf("%d entries after a commit that was called off", len(got))
	}
	again := NewLog("north", "job")
	commit(t, s, again, again.full(1))
}
