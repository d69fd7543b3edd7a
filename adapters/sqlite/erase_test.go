package sqlite_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
)

// secrets are words of a person, one for each place where they can lie.
var secrets = []string{"Erwinname", "said-by-erwin", "erwin-identity", "boardline-erwin", "outgoing-erwin", "photo-of-erwin", "vinERW1N"}

// world is a store with a person in a job among others.
func world(t *testing.T, dir string) (*sqlite.Store, *bottest.Log, string) {
	t.Helper()
	ctx := context.Background()
	s := open(t, dir)
	for i := range 30 {
		l := bottest.NewLog("north", fmt.Sprintf("other%d", i))
		commit(t, s, turn(l))
		commit(t, s, turn(l))
	}
	l := bottest.NewLog("north", "job")
	blob, err := s.Put(ctx, strings.NewReader("photo-of-erwin"), 100)
	must(t, err)
	for i := range 5 {
		b := l.Batch(2, "name", "Erwinname", "text", strings.Repeat("said-by-erwin ", 300*i+1), "identity", "matrix:erwin-identity", "sha256", blob.SHA256)
		b.Outbox = []bot.OutRow{{Key: fmt.Sprint("job/", i), Shop: "north", Job: "job", Network: "matrix", Thread: "erwin-identity", Payload: []byte("outgoing-erwin")}}
		b.Index = &bot.IndexRow{Job: "job", Open: true, Data: []byte("boardline-erwin")}
		b.Current, b.Thread = "matrix:erwin-identity", &bot.JobThread{Network: "matrix", Thread: "erwin-identity"}
		b.Evidence, b.Vehicles = []string{blob.SHA256}, []string{"vinERW1N"}
		commit(t, s, b)
	}
	// Rows that went out long ago leave free space behind.
	must(t, s.MarkSent(ctx, []string{"job/0", "job/1"}))
	return s, l, blob.SHA256
}

func allItems(t *testing.T, s bot.Store, job string) (refs []bot.ItemRef) {
	t.Helper()
	for _, e := range entries(t, s, "north", job) {
		for _, it := range e.Items {
			refs = append(refs, bot.ItemRef{Job: job, Seq: e.Seq, Label: it.Label})
		}
	}
	return refs
}

// TestErasedBytes looks at every byte of the data directory, the store open.
func TestErasedBytes(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s, l, sum := world(t, dir)
	if found := search(t, dir, secrets...); strings.Count(found, "\n") < len(secrets) {
		t.Fatalf("before the erasure the search finds only:\n%s", found)
	}
	e := entries(t, s, "north", "job")
	var salts []string
	for _, x := range e {
		for _, it := range x.Items {
			salts = append(salts, string(it.Salt[:8]))
		}
	}
	if found := searchSalts(t, dir, salts); found == "" {
		t.Fatal("before the erasure the search finds no salt")
	}
	b := l.Batch(1)
	b.Forget = []bot.Identity{"matrix:erwin-identity"}
	must(t, s.Erase(ctx, b, allItems(t, s, "job")))
	if found := search(t, dir, append([]string{sum}, secrets...)...); found != "" {
		t.Errorf("after the erasure:\n%s", found)
	}
	if found := searchSalts(t, dir, salts); found != "" {
		t.Errorf("salts after the erasure:\n%s", found)
	}
	must(t, s.Verify(ctx))
	if got := len(entries(t, s, "north", "other7")[3].Items); got != 4 {
		t.Errorf("another job has %d items left, want 4", got)
	}
	list, err := readList(filepath.Join(dir, "erased"))
	if len(list) != 20 || err != nil {
		t.Errorf("the list of erased items has %d, %v; want 20", len(list), err)
	}
	must(t, s.Close())
	if found := search(t, dir, secrets...); found != "" {
		t.Errorf("after closing:\n%s", found)
	}
}

// searchSalts searches for bytes that can't be arguments: where they hold a NUL.
func searchSalts(t *testing.T, dir string, salts []string) string {
	t.Helper()
	var words []string
	for _, s := range salts {
		if !strings.Contains(s, "\x00") {
			words = append(words, s)
		}
	}
	return search(t, dir, words...)
}

func readList(path string) ([]journal.ItemID, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return journal.ReadErased(f)
}

// TestErasedList: the list may lie beside a key in another directory, and if
// it can't be written nothing is erased.
func TestErasedList(t *testing.T) {
	ctx := context.Background()
	dir, keys := t.TempDir(), t.TempDir()
	list := filepath.Join(keys, "erased.list")
	s, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ErasedList: list})
	must(t, err)
	defer s.Close()
	l := bottest.NewLog("north", "job")
	for range 3 {
		commit(t, s, l.Batch(1, "name", "Somebody"))
	}
	for _, seq := range []int64{3, 1, 1} {
		must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: seq, Label: "name"}}))
	}
	ids, err := readList(list)
	if len(ids) != 2 || ids[0].String() != "job/1/name" || err != nil {
		t.Errorf("list: %v %v", ids, err)
	}
	must(t, os.WriteFile(list, []byte("milepost erased items 1\njob/1/name\n"), 0o600)) // cut
	at := *l
	if err := s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 2, Label: "name"}}); err == nil {
		t.Error("erased over a list that was cut")
	}
	*l = at
	e := entries(t, s, "north", "job")
	if len(e[1].Items) != 1 || int64(len(e)) != l.Seq {
		t.Errorf("after a refused erasure: %d entries, %d items", len(e), len(e[1].Items))
	}
}

// TestEraseSharedEvidence: a file goes with the last job that speaks of it.
func TestEraseSharedEvidence(t *testing.T) {
	ctx := context.Background()
	s := open(t, t.TempDir())
	blob, err := s.Put(ctx, strings.NewReader("shared"), 100)
	must(t, err)
	logs := []*bottest.Log{bottest.NewLog("north", "aaa"), bottest.NewLog("south", "bbb")}
	for _, l := range logs {
		b := l.Batch(1, "sha256", blob.SHA256)
		b.Evidence = []string{blob.SHA256}
		commit(t, s, b)
	}
	// The index of evidence may be lost: what the log speaks of stays all the same.
	must(t, s.Reindex(ctx, "south", nil))
	for i, l := range logs {
		must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: l.Job, Seq: 1, Label: "sha256"}}))
		r, err := s.Open(ctx, blob.SHA256)
		if there := err == nil; there != (i == 0) {
			t.Errorf("after %d of 2 erasures the file is there: %t", i+1, there)
		}
		if err == nil {
			r.Close()
		}
	}
}

// TestEraseLingers: a reader that stays on old pages is told of, and the next
// start does what was left.
func TestEraseLingers(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s, l, _ := world(t, dir)
	must(t, s.HoldOldPages(ctx, func() {
		b := l.Batch(1)
		b.Forget = []bot.Identity{"matrix:erwin-identity"}
		if err := s.Erase(ctx, b, allItems(t, s, "job")); !errors.Is(err, bot.ErrLingers) {
			t.Errorf("erase beside a reader that stays: %v, want ErrLingers", err)
		}
		if got := allItems(t, s, "job"); len(got) != 0 {
			t.Errorf("%d items are still there", len(got))
		}
	}))
	must(t, s.Close())
	open(t, dir)
	if found := search(t, dir, secrets...); found != "" {
		t.Errorf("after the next start:\n%s", found)
	}
}
