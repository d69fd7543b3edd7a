package sqlite_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot/bottest"
)

// What a test needs of another process is done by this test program again, told
// by the environment what to do. A database that is open must never be opened
// as a plain file by the same process: closing it would take SQLite's locks.
const (
	childEnv = "MILEPOST_SQLITE_TEST_CHILD"
	childDir = "MILEPOST_SQLITE_TEST_DIR"
)

func TestMain(m *testing.M) {
	dir := os.Getenv(childDir)
	var err error
	switch os.Getenv(childEnv) {
	case "":
		os.Exit(m.Run())
	case "commit":
		err = childCommit(dir)
	case "hold":
		err = childHold(dir)
	case "read":
		err = childRead(dir)
	case "search":
		err = childSearch(dir, os.Args[1:])
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

func child(t testing.TB, what, dir string, args ...string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	must(t, err)
	c := exec.Command(exe, args...)
	c.Env = append(os.Environ(), childEnv+"="+what, childDir+"="+dir)
	c.Stderr = os.Stderr
	return c
}

// childCommit commits to three jobs in turn and prints each after it was
// acknowledged, until it is killed.
func childCommit(dir string) error {
	ctx := context.Background()
	s, err := sqlite.Open(ctx, sqlite.Config{Dir: dir})
	if err != nil {
		return err
	}
	logs, err := resume(ctx, s)
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		l := logs[i%len(logs)]
		b := turn(l)
		if err := s.Commit(ctx, b); err != nil {
			return err
		}
		fmt.Printf("%s %d %s\n", l.Job, l.Seq, b.Delivery)
	}
}

// resume gives logs at the place where the store has them.
func resume(ctx context.Context, s *sqlite.Store) ([]*bottest.Log, error) {
	var logs []*bottest.Log
	for _, job := range []string{"aaa", "bbb", "ccc"} {
		e, err := s.Entries(ctx, "north", job, 0)
		if err != nil {
			return nil, err
		}
		l := bottest.NewLog("north", job)
		if len(e) > 0 {
			l.GoOn(e[len(e)-1])
		}
		logs = append(logs, l)
	}
	return logs, nil
}

// childHold opens the store for writing and says so, until its input ends.
func childHold(dir string) error {
	s, err := sqlite.Open(context.Background(), sqlite.Config{Dir: dir})
	if err != nil {
		return err
	}
	fmt.Println("open")
	bufio.NewReader(os.Stdin).ReadString('\n')
	return s.Close()
}

// childRead reads beside a writer, whole each time, until its input ends.
func childRead(dir string) error {
	ctx := context.Background()
	stop := make(chan struct{})
	go func() {
		bufio.NewReader(os.Stdin).ReadString('\n')
		close(stop)
	}()
	seen := 0
	for {
		select {
		case <-stop:
			fmt.Println(seen)
			return nil
		default:
		}
		s, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true})
		if err != nil {
			return err
		}
		e, err := s.Entries(ctx, "north", "job", 0)
		if err != nil {
			return err
		}
		if len(e) < seen || len(e)%4 != 0 {
			return fmt.Errorf("%d entries after %d were seen", len(e), seen)
		}
		seen = len(e)
		if err := s.Verify(ctx); err != nil {
			return err
		}
		if err := s.Close(); err != nil {
			return err
		}
	}
}

// childSearch prints every file of a directory in which one of the words is, by
// name or by content, in UTF-8 or UTF-16.
func childSearch(dir string, words []string) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for _, w := range words {
			var wide []byte
			for i := range len(w) {
				wide = append(wide, w[i], 0)
			}
			if bytes.Contains(b, []byte(w)) || bytes.Contains(b, wide) || bytes.Contains([]byte(path), []byte(w)) {
				fmt.Printf("%s has %s\n", d.Name(), w)
			}
		}
		return nil
	})
}

// search looks for words in every byte of a directory, by another process.
func search(t testing.TB, dir string, words ...string) string {
	t.Helper()
	out, err := child(t, "search", dir, words...).Output()
	must(t, err)
	return string(out)
}
