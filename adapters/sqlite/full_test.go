package sqlite_test

import (
	"context"
	"crypto/rand"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
)

// fillUp commits until the store is full.
func fillUp(t *testing.T, s *sqlite.Store, l *bottest.Log) (refused *bot.Batch) {
	t.Helper()
	for range 10_000 {
		at := *l
		b := turn(l)
		err := s.Commit(context.Background(), b)
		if err == nil {
			continue
		}
		if !errors.Is(err, bot.ErrFull) {
			t.Fatalf("commit on a full disk: %v, want ErrFull", err)
		}
		*l = at
		return b
	}
	t.Fatal("it never was full")
	return nil
}

func TestFullDatabase(t *testing.T) {
	ctx := context.Background()
	s := open(t, t.TempDir())
	l := bottest.NewLog("north", "job")
	commit(t, s, turn(l))
	must(t, s.LimitPages(ctx, 20))
	checkFull(t, s, l, func() { must(t, s.LimitPages(ctx, 1000)) })
}

// checkFull: when the disk is full nothing is changed, and when there is room
// again the store goes on.
func checkFull(t *testing.T, s *sqlite.Store, l *bottest.Log, makeRoom func()) {
	t.Helper()
	ctx := context.Background()
	for range 3 {
		refused := fillUp(t, s, l)
		if got := int64(len(entries(t, s, "north", "job"))); got != l.Seq {
			t.Fatalf("%d entries, want %d", got, l.Seq)
		}
		if _, ok, err := s.Delivered(ctx, "north", refused.Delivery); ok || err != nil {
			t.Fatalf("what was refused is delivered: %t %v", ok, err)
		}
		tree, err := s.Tree(ctx, "north")
		must(t, err)
		if tree.Size() != l.Seq {
			t.Fatalf("tree of %d, want %d", tree.Size(), l.Seq)
		}
	}
	must(t, s.Verify(ctx))
	makeRoom()
	entries := entries(t, s, "north", "job")
	l.GoOn(entries[len(entries)-1])
	commit(t, s, turn(l))
	must(t, s.Verify(ctx))
}

// TestFullDisk has a small file system of its own, where it may be mounted.
func TestFullDisk(t *testing.T) {
	ctx := context.Background()
	disk := t.TempDir()
	mountSmall(t, disk, 3<<20)
	ballast := filepath.Join(disk, "ballast")
	must(t, os.WriteFile(ballast, make([]byte, 1<<20), 0o600))
	s := open(t, filepath.Join(disk, "data"))
	l := bottest.NewLog("north", "job")
	commit(t, s, turn(l))

	if _, err := s.Put(ctx, io.LimitReader(rand.Reader, 4<<20), 8<<20); !errors.Is(err, bot.ErrFull) {
		t.Errorf("evidence on a full disk: %v, want ErrFull", err)
	}
	if names, err := filepath.Glob(filepath.Join(disk, "data", "evidence", "*")); len(names) != 0 || err != nil {
		t.Errorf("left behind: %v %v", names, err)
	}
	backup := filepath.Join(disk, "backup")
	big, err := s.Put(ctx, io.LimitReader(rand.Reader, 900<<10), 8<<20)
	must(t, err)
	b := turn(l)
	b.Evidence = []string{big.SHA256}
	commit(t, s, b)
	if err := s.Backup(ctx, backup); !errors.Is(err, bot.ErrFull) {
		t.Errorf("backup on a full disk: %v, want ErrFull", err)
	}
	if _, err := os.Lstat(backup); err == nil {
		t.Error("half a backup is there")
	}
	checkFull(t, s, l, func() { must(t, os.Remove(ballast)) })
}
