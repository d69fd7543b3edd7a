package bottest

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"milepost/bot"
)

var eraseTests = []storeTest{
	{"items", eraseItems},
	{"what only passed through", erasePlumbing},
	{"what still stands", eraseKeeps},
	{"refused", eraseRefused},
	{"proof", eraseProof},
	{"files", eraseFiles},
}

func labels(s bot.Stored) string {
	var l []string
	for _, it := range s.Items {
		l = append(l, it.Label)
	}
	return strings.Join(l, " ")
}

func eraseItems(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l, o := NewLog("north", "job"), NewLog("north", "other")
	commit(t, s, l, l.Batch(1, "name", "Erwin", "text", "kept"))
	commit(t, s, l, l.Batch(1, "name", "Erwin"))
	commit(t, s, o, o.Batch(1, "name", "Otto"))
	before := get(s.Entries(ctx, "north", "job", 0))(t)
	must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 1, Label: "name"}, {Job: "job", Seq: 2, Label: "name"}, {Job: "job", Seq: 9, Label: "never"}}))
	after := get(s.Entries(ctx, "north", "job", 0))(t)
	if len(after) != 3 || labels(after[0]) != "text" || labels(after[1]) != "" {
		t.Errorf("after: %+v", after)
	}
	for i := range before {
		if string(after[i].Bytes) != string(before[i].Bytes) || after[i].Index != before[i].Index {
			t.Errorf("entry %d has changed", i+1)
		}
	}
	if got := get(s.Entries(ctx, "north", "other", 0))(t); labels(got[0]) != "name" {
		t.Error("the other job's item is gone too")
	}
	// What is gone already is no error.
	must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 1, Label: "name"}}))
}

func erasePlumbing(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l, o := NewLog("north", "job"), NewLog("north", "other")
	first := l.full(1)
	commit(t, s, l, first)
	commit(t, s, o, o.full(1))
	other := get(s.Entries(ctx, "north", "other", 0))(t)
	b := l.Batch(1)
	b.Forget = []bot.Identity{first.Current}
	must(t, s.Erase(ctx, b, []bot.ItemRef{{Job: "job", Seq: 1, Label: "name"}}))
	equal(t, "outbox", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"other/1"})
	equal(t, "index", rowJobs(get(s.Index(ctx, "north", false))(t)), []string{"other"})
	equal(t, "keys", get(s.Known(ctx, "north", "vin:job"))(t), nil)
	equal(t, "evidence", get(s.EvidenceJobs(ctx, "north", sum("evidence of job")))(t), nil)
	if got := get(s.Current(ctx, "north", first.Current))(t); got != "" {
		t.Errorf("current: %q", got)
	}
	// Those who go on are still answered, and a repeat is still a repeat.
	equal(t, "threads", get(s.Threads(ctx, "north", "job"))(t), []bot.JobThread{*first.Thread})
	if err := s.Commit(ctx, &bot.Batch{Shop: "north", Job: "job", Expect: 2, Delivery: first.Delivery}); !errors.Is(err, bot.ErrDelivered) {
		t.Errorf("repeat after the erasure: %v, want ErrDelivered", err)
	}
	equal(t, "other job", get(s.Entries(ctx, "north", "other", 0))(t), other)
}

// eraseKeeps: what is in the batch takes the place of what was.
func eraseKeeps(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	first := l.full(1)
	first.Evidence = append(first.Evidence, sum("another"))
	first.Thread.Thread = "erwin"
	first.Current = "matrix:erwin"
	commit(t, s, l, first)
	next := l.full(1)
	next.Evidence, next.Vehicles, next.Thread = []string{sum("another")}, []string{"code:7"}, nil
	next.Current, next.Forget = "matrix:else", []bot.Identity{"matrix:erwin"}
	must(t, s.Erase(ctx, next, []bot.ItemRef{{Job: "job", Seq: 1, Label: "name"}}))
	equal(t, "outbox", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"job/2"})
	equal(t, "index", get(s.Index(ctx, "north", false))(t), []bot.IndexRow{*next.Index})
	equal(t, "old key", get(s.Known(ctx, "north", "vin:job"))(t), nil)
	equal(t, "new key", get(s.Known(ctx, "north", "code:7"))(t), []string{"job"})
	equal(t, "old evidence", get(s.EvidenceJobs(ctx, "north", sum("evidence of job")))(t), nil)
	equal(t, "evidence kept", get(s.EvidenceJobs(ctx, "north", sum("another")))(t), []string{"job"})
	equal(t, "thread named as the person", get(s.Threads(ctx, "north", "job"))(t), nil)
	for id, want := range map[bot.Identity]string{"matrix:erwin": "", "matrix:else": "job"} {
		if got := get(s.Current(ctx, "north", id))(t); got != want {
			t.Errorf("current of %s: %q, want %q", id, got, want)
		}
	}
	if job, ok, _ := s.Delivered(ctx, "north", next.Delivery); job != "job" || !ok {
		t.Error("the erasure's own delivery is not known")
	}
}

func eraseRefused(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	first := l.full(1)
	commit(t, s, l, first)
	before := dump(t, s, l)
	item := []bot.ItemRef{{Job: "job", Seq: 1, Label: "name"}}
	if err := s.Erase(ctx, at("north", "job", 4).Batch(1), item); !errors.Is(err, bot.ErrSequence) {
		t.Errorf("erase after 4 at 1: %v, want ErrSequence", err)
	}
	twice := *l
	b := twice.Batch(1)
	b.Delivery = first.Delivery
	if err := s.Erase(ctx, b, item); !errors.Is(err, bot.ErrDelivered) {
		t.Errorf("repeat: %v, want ErrDelivered", err)
	}
	if after := dump(t, s, l); after != before {
		t.Errorf("changed:\n%s\nwant\n%s", after, before)
	}
}

// eraseProof: the tree does not notice.
func eraseProof(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	for range 3 {
		commit(t, s, l, l.full(2))
	}
	root := rootOf(t, get(s.Tree(ctx, "north"))(t), 6)
	must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 2, Label: "name"}, {Job: "job", Seq: 2, Label: "text"}}))
	if got := rootOf(t, get(s.Tree(ctx, "north"))(t), 6); got != root {
		t.Error("the tree of before has another root")
	}
	checkTree(t, s, l)
}

// eraseFiles: a store that keeps evidence too removes a file with the last job
// that holds it.
func eraseFiles(t *testing.T, s bot.Store) {
	ctx := context.Background()
	blobs, ok := s.(bot.Blobs)
	if !ok {
		t.Skip("this store keeps no evidence")
	}
	var sums []string
	for _, content := range []string{"shared", "own", "named"} {
		sums = append(sums, get(blobs.Put(ctx, strings.NewReader(content), 100))(t).SHA256)
	}
	a, b := NewLog("north", "aaa"), NewLog("south", "bbb")
	first := a.Batch(1, "sha256", sums[2], "text", "x")
	first.Evidence = sums
	commit(t, s, a, first)
	other := b.Batch(1)
	other.Evidence = sums[:1]
	commit(t, s, b, other)
	must(t, s.Erase(ctx, a.Batch(1), []bot.ItemRef{{Job: "aaa", Seq: 1, Label: "text"}}))
	for i, want := range []bool{true, false, true} { // the last is named by an item
		if _, err := readBlob(blobs, sums[i]); (err == nil) != want {
			t.Errorf("file %d: %v, to be there: %t", i, err, want)
		}
	}
	must(t, s.Erase(ctx, b.Batch(1), nil))
	must(t, s.Erase(ctx, a.Batch(1), []bot.ItemRef{{Job: "aaa", Seq: 1, Label: "sha256"}}))
	for i := range sums {
		if _, err := readBlob(blobs, sums[i]); err == nil {
			t.Errorf("file %d is still there", i)
		}
	}
}

func storeBackup(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	b := l.full(2)
	b.Evidence = nil // this suite has stored no file
	commit(t, s, l, b)
	file := filepath.Join(t.TempDir(), "copy")
	must(t, s.Backup(ctx, file))
	fi, err := os.Stat(file)
	must(t, err)
	if fi.Mode().Perm() != 0o600 || fi.Size() == 0 {
		t.Errorf("the copy has mode %v and %d bytes", fi.Mode(), fi.Size())
	}
	if err := s.Backup(ctx, file); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a file that exists: %v, want fs.ErrExist", err)
	}
	if again, err := os.Stat(file); err != nil || again.Size() != fi.Size() {
		t.Errorf("the copy has changed: %v %v", again, err)
	}
}
