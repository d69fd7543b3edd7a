package sqlite_test

import (
	"bufio"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
)

func TestSecondWriter(t *testing.T) {
	ctx := context.Background()
	dir := filepath.Join(t.TempDir(), "data")
	c := child(t, "hold", dir)
	in, err := c.StdinPipe()
	must(t, err)
	out, err := c.StdoutPipe()
	must(t, err)
	must(t, c.Start())
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "open\n" {
		t.Fatalf("%q %v", line, err)
	}
	_, err = sqlite.Open(ctx, sqlite.Config{Dir: dir})
	var locked *sqlite.LockedError
	if !errors.As(err, &locked) {
		t.Fatalf("second writer: %v, want a LockedError", err)
	}
	if locked.PID != c.Process.Pid || time.Since(locked.Since) > time.Minute || !strings.Contains(err.Error(), "only one may write") {
		t.Errorf("held by %d since %v: %v", locked.PID, locked.Since, err)
	}
	if err := sqlite.Held(dir); !errors.As(err, &locked) {
		t.Errorf("held: %v, want a LockedError", err)
	}
	if _, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: "none", Dir: dir}); !errors.As(err, &locked) {
		t.Errorf("restore beside a running program: %v, want a LockedError", err)
	}
	openReadOnly(t, dir) // who only reads may
	must(t, in.Close())
	must(t, c.Wait())
	must(t, sqlite.Held(dir))
	open(t, dir)
	// The same holds within a process.
	if _, err = sqlite.Open(ctx, sqlite.Config{Dir: dir}); !errors.As(err, &locked) || locked.PID != os.Getpid() {
		t.Errorf("second writer here: %v", err)
	}
}

func TestKilledLeavesNoLock(t *testing.T) {
	dir := t.TempDir()
	c := child(t, "hold", dir)
	in, err := c.StdinPipe()
	must(t, err)
	defer in.Close()
	out, err := c.StdoutPipe()
	must(t, err)
	must(t, c.Start())
	bufio.NewReader(out).ReadString('\n')
	must(t, c.Process.Kill())
	c.Wait()
	open(t, dir)
}

// TestReadersBeside opens, reads and verifies in another process while this one
// writes, erases and cuts the write-ahead log.
func TestReadersBeside(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, dir)
	l := bottest.NewLog("north", "job")
	commit(t, s, turn(l))
	c := child(t, "read", dir)
	in, err := c.StdinPipe()
	must(t, err)
	out, err := c.StdoutPipe()
	must(t, err)
	must(t, c.Start())
	for end := time.Now().Add(600 * time.Millisecond); time.Now().Before(end); {
		for range 5 {
			commit(t, s, turn(l))
		}
		err := s.Erase(ctx, l.Batch(4), []bot.ItemRef{{Job: "job", Seq: l.Seq - 4, Label: "name"}})
		if err != nil && !errors.Is(err, bot.ErrLingers) {
			t.Error(err)
			break
		}
	}
	must(t, in.Close())
	line, _ := bufio.NewReader(out).ReadString('\n')
	if err := c.Wait(); err != nil {
		t.Errorf("reader: %v", err)
	}
	t.Logf("%d entries written, the reader saw %s", l.Seq, strings.TrimSpace(line))
	must(t, s.Verify(ctx))
}

func TestReadOnly(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	if _, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true}); !errors.Is(err, sqlite.ErrNoStore) {
		t.Errorf("nothing there: %v, want ErrNoStore", err)
	}
	if names, _ := os.ReadDir(dir); len(names) != 0 {
		t.Errorf("reading made %v", names)
	}
	w := open(t, dir)
	l := bottest.NewLog("north", "job")
	commit(t, w, turn(l))
	r := openReadOnly(t, dir)
	if got := len(entries(t, r, "north", "job")); got != 4 {
		t.Errorf("%d entries, want 4", got)
	}
	commit(t, w, turn(l))
	if got := len(entries(t, r, "north", "job")); got != 8 {
		t.Errorf("%d entries, want 8: what is committed is seen", got)
	}
	for name, err := range map[string]error{
		"commit":   r.Commit(ctx, turn(l)),
		"sent":     r.MarkSent(ctx, []string{"x"}),
		"reindex":  r.Reindex(ctx, "north", nil),
		"erase":    r.Erase(ctx, l.Batch(1), nil),
		"head":     r.SaveHead(ctx, "north", bot.Head{}),
		"backup":   r.Backup(ctx, filepath.Join(t.TempDir(), "b")),
		"delete":   r.Delete(ctx, strings.Repeat("0", 64)),
		"evidence": func() error { _, err := r.Put(ctx, strings.NewReader("x"), 9); return err }(),
	} {
		if !errors.Is(err, sqlite.ErrReadOnly) {
			t.Errorf("%s: %v, want ErrReadOnly", name, err)
		}
	}
	must(t, w.Close())
	// And it reads a store that nobody writes to.
	if got := len(entries(t, openReadOnly(t, dir), "north", "job")); got != 8 {
		t.Errorf("%d entries, want 8", got)
	}
}

// TestModes: nobody else on the machine reads what is kept.
func TestModes(t *testing.T) {
	ctx := context.Background()
	dir := filepath.Join(t.TempDir(), "a b", "dätä?%41#")
	must(t, os.MkdirAll(dir, 0o755))
	s := open(t, dir)
	l := bottest.NewLog("north", "job")
	blob, err := s.Put(ctx, strings.NewReader("picture"), 100)
	must(t, err)
	b := turn(l)
	b.Evidence = []string{blob.SHA256}
	commit(t, s, b)
	must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 4, Label: "name"}}))
	commit(t, s, turn(l))
	seen := map[string]bool{}
	must(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		must(t, err)
		fi, err := d.Info() // no file is opened
		must(t, err)
		want := fs.FileMode(0o600)
		if d.IsDir() {
			want = 0o700
		}
		if fi.Mode().Perm() != want {
			t.Errorf("%s has mode %v, want %v", d.Name(), fi.Mode().Perm(), want)
		}
		seen[d.Name()] = true
		return nil
	}))
	for _, name := range []string{"lock", "erased", "milepost.db", "milepost.db-wal", "milepost.db-shm", "evidence"} {
		if !seen[name] {
			t.Errorf("%s is not there: %v", name, seen)
		}
	}
}
