package bottest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"milepost/bot"
)

var busyTests = []storeTest{
	{"many jobs", busyJobs},
	{"one job", busyJob},
	{"one delivery", busyDelivery},
	{"readers beside writers", busyReaders},
}

// together runs f in n goroutines and waits for them.
func together(n int, f func(i int)) {
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() { f(i) })
	}
	wg.Wait()
}

func busyJobs(t *testing.T, s bot.Store) {
	ctx := context.Background()
	const jobs, each = 16, 8
	logs := make([]*Log, jobs)
	together(jobs, func(i int) {
		l := NewLog("north", fmt.Sprintf("job%02d", i))
		logs[i] = l
		for range each {
			if err := s.Commit(ctx, l.full(2)); err != nil {
				t.Errorf("%s: %v", l.Job, err)
				return
			}
		}
	})
	for _, l := range logs {
		if got := get(s.Entries(ctx, "north", l.Job, 0))(t); len(got) != 2*each {
			t.Errorf("%s has %d entries, want %d", l.Job, len(got), 2*each)
		}
	}
	if got := len(get(s.Unsent(ctx, 1000))(t)); got != jobs*each {
		t.Errorf("%d wait to go out, want %d", got, jobs*each)
	}
	checkTree(t, s, logs...)
}

// busyJob: many want to add to one job; who comes second is told so, and reads
// again.
func busyJob(t *testing.T, s bot.Store) {
	const writers, rounds = 8, 5
	var refused atomic.Int64
	together(writers, func(int) {
		for taken := 0; taken < rounds; {
			err := addNext(s)
			switch {
			case err == nil:
				taken++
			case errors.Is(err, bot.ErrSequence):
				refused.Add(1)
			default:
				t.Error(err)
				return
			}
		}
	})
	t.Logf("%d refused", refused.Load())
	l := NewLog("north", "job")
	if got := get(s.Entries(context.Background(), "north", "job", 0))(t); len(got) != writers*rounds {
		t.Errorf("%d entries, want %d", len(got), writers*rounds)
	}
	checkTree(t, s, l)
}

// addNext reads a job and adds an entry to it.
func addNext(s bot.Store) error {
	entries, err := s.Entries(context.Background(), "north", "job", 0)
	if err != nil {
		return err
	}
	l := NewLog("north", "job")
	if n := len(entries); n > 0 {
		l.GoOn(entries[n-1])
	}
	return s.Commit(context.Background(), l.Batch(1))
}

// busyDelivery: one of many that bring the same message is the first.
func busyDelivery(t *testing.T, s bot.Store) {
	ctx := context.Background()
	const n = 12
	var mu sync.Mutex
	var first, repeats int
	together(n, func(i int) {
		l := NewLog("north", fmt.Sprintf("job%02d", i))
		b := l.Batch(1)
		b.Delivery = "the same"
		err := s.Commit(ctx, b)
		mu.Lock()
		defer mu.Unlock()
		switch {
		case err == nil:
			first++
		case errors.Is(err, bot.ErrDelivered):
			repeats++
		default:
			t.Error(err)
		}
	})
	if first != 1 || repeats != n-1 {
		t.Errorf("%d were first and %d repeats, want 1 and %d", first, repeats, n-1)
	}
	if got := get(s.Jobs(ctx, "north"))(t); len(got) != 1 {
		t.Errorf("jobs: %v", got)
	}
}

// busyReaders: what a reader sees is whole at every moment.
func busyReaders(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	done := make(chan struct{})
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				if err := readWhole(ctx, s); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for range 30 {
		if err := s.Commit(ctx, l.full(3)); err != nil {
			t.Error(err)
			break
		}
	}
	close(done)
	wg.Wait()
}

func readWhole(ctx context.Context, s bot.Store) error {
	tree, err := s.Tree(ctx, "north")
	if err != nil {
		return err
	}
	entries, err := s.Entries(ctx, "north", "job", 0)
	if err != nil {
		return err
	}
	if n := int64(len(entries)); n < tree.Size() || n%3 != 0 || tree.Size()%3 != 0 {
		return fmt.Errorf("%d entries after a tree of %d: a part of a commit was seen", n, tree.Size())
	}
	for i, e := range entries {
		if i%3 == 2 && len(e.Items) != 2 {
			return fmt.Errorf("entry %d has %d items, want 2", e.Seq, len(e.Items))
		}
	}
	_, err = s.Index(ctx, "north", true)
	return err
}
