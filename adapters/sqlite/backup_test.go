package sqlite_test

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
)

// TestBackupRestore backs a store up while it is written to, and restores it.
func TestBackupRestore(t *testing.T) {
	ctx := context.Background()
	s, l, sum := world(t, t.TempDir())
	must(t, s.SaveHead(ctx, "north", bottest.SignedHead(t, s, "north")))
	file := filepath.Join(t.TempDir(), "backup")
	other := bottest.NewLog("south", "busy")
	commit(t, s, turn(other))
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
			}
			if err := s.Commit(ctx, turn(other)); err != nil {
				t.Error(err)
				return
			}
		}
	})
	must(t, s.Backup(ctx, file))
	close(stop)
	wg.Wait()
	if names, err := filepath.Glob(filepath.Join(filepath.Dir(file), "*")); len(names) != 1 || err != nil {
		t.Errorf("beside the backup: %v %v", names, err)
	}

	dir := filepath.Join(t.TempDir(), "data")
	got, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: dir})
	must(t, err)
	r := open(t, dir)
	must(t, r.Verify(ctx))
	if got.ErasedAgain != 0 || got.Evidence != 1 || len(got.Shops) != 2 || got.Time.IsZero() {
		t.Errorf("restored %+v", got)
	}
	want := entries(t, s, "north", "job")
	if have := entries(t, r, "north", "job"); len(have) != len(want) || string(have[9].Bytes) != string(want[9].Bytes) || len(have[9].Items) != len(want[9].Items) {
		t.Error("the job is another one")
	}
	// What was written meanwhile is there up to some commit, whole.
	busy := entries(t, r, "south", "busy")
	if n := int64(len(busy)); n < 4 || n%4 != 0 || n > other.Seq {
		t.Errorf("%d entries of the busy job, of %d", n, other.Seq)
	}
	f, err := r.Open(ctx, sum)
	must(t, err)
	if b, err := io.ReadAll(f); string(b) != "photo-of-erwin" || err != nil {
		t.Errorf("evidence: %q %v", b, err)
	}
	must(t, f.Close())
	checkUnrecorded(t, r, got, l, int64(len(busy)))
}

// checkUnrecorded: until the entry that the log was restored is made, the store
// says that it is due, with what the backup had.
func checkUnrecorded(t *testing.T, r *sqlite.Store, got sqlite.Restored, l *bottest.Log, busy int64) {
	t.Helper()
	ctx := context.Background()
	due, err := r.Unrecorded(ctx)
	must(t, err)
	if !slices.Equal(due, got.Shops) || due[1].Size != busy || due[0].Head == "" {
		t.Errorf("to be recorded: %+v, want %+v", due, got.Shops)
	}
	tree, err := r.Tree(ctx, "north")
	must(t, err)
	if root, err := journal.Root(due[0].Size, tree); root != due[0].Root || err != nil {
		t.Errorf("root %v, want %v", root, due[0].Root)
	}
	commit(t, r, l.Batch(1))
	if due, err = r.Unrecorded(ctx); len(due) != 1 || due[0].Shop != "south" || err != nil {
		t.Errorf("after an entry in north: %+v %v", due, err)
	}
	fresh := open(t, t.TempDir())
	if due, err = fresh.Unrecorded(ctx); len(due) != 0 || err != nil {
		t.Errorf("in a store that was not restored: %+v %v", due, err)
	}
}

// TestRestoreErasesAgain: a backup made before an erasure is restored with the
// list beside the key, and the erased words do not come back.
func TestRestoreErasesAgain(t *testing.T) {
	ctx := context.Background()
	dir, keys := t.TempDir(), t.TempDir()
	s, l, sum := world(t, dir)
	// A friend stays: what he said, and that he is at work here.
	b := l.Batch(1, "identity", "matrix:friend")
	b.Current = "matrix:friend"
	commit(t, s, b)
	file := filepath.Join(t.TempDir(), "backup")
	must(t, s.Backup(ctx, file))
	refs := slices.DeleteFunc(allItems(t, s, "job"), func(r bot.ItemRef) bool { return r.Seq == l.Seq })
	b = l.Batch(1)
	b.Forget = []bot.Identity{"matrix:erwin-identity"}
	must(t, s.Erase(ctx, b, refs))
	list := filepath.Join(keys, "erased")
	copyFile(t, filepath.Join(dir, "erased"), list)

	to := t.TempDir()
	got, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: to, ErasedList: list})
	must(t, err)
	if got.ErasedAgain != len(refs) {
		t.Errorf("%d items erased again, want %d", got.ErasedAgain, len(refs))
	}
	r := open(t, to)
	if found := search(t, to, append([]string{sum}, secrets...)...); found != "" {
		t.Errorf("after the restore:\n%s", found)
	}
	must(t, r.Verify(ctx))
	if job, err := r.Current(ctx, "north", "matrix:friend"); job != "job" || err != nil {
		t.Errorf("the friend works in %q, %v", job, err)
	}
	if e := entries(t, r, "north", "job"); len(e[10].Items) != 1 {
		t.Errorf("the friend's entry has %d items", len(e[10].Items))
	}
	must(t, r.Close())

	// Without the list beside the key, that of a later backup does it.
	later := filepath.Join(t.TempDir(), "later")
	must(t, s.Backup(ctx, later))
	if found := search(t, filepath.Dir(later), secrets...); found != "" {
		t.Errorf("in a backup after the erasure:\n%s", found)
	}
	to = t.TempDir()
	_, err = sqlite.Restore(ctx, sqlite.RestoreConfig{File: later, Dir: to})
	must(t, err)
	ids, err := readList(filepath.Join(to, "erased"))
	if len(ids) != len(refs) || err != nil {
		t.Errorf("the list restored has %d, %v; want %d", len(ids), err, len(refs))
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	b, err := os.ReadFile(from)
	must(t, err)
	must(t, os.WriteFile(to, b, 0o600))
}

func TestRestoreNotEmpty(t *testing.T) {
	ctx := context.Background()
	s, _, _ := world(t, t.TempDir())
	file := filepath.Join(t.TempDir(), "backup")
	must(t, s.Backup(ctx, file))
	for _, name := range []string{"milepost.db", "evidence", "notes.txt"} {
		dir := t.TempDir()
		must(t, os.WriteFile(filepath.Join(dir, name), []byte("mine"), 0o600))
		if _, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: dir}); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("beside %s: %v", name, err)
		}
		if b, err := os.ReadFile(filepath.Join(dir, name)); string(b) != "mine" || err != nil {
			t.Errorf("%s has changed: %v", name, err)
		}
	}
	// The key and what a restore that was broken off left may be there.
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, "key"), []byte("mine"), 0o600))
	must(t, os.MkdirAll(filepath.Join(dir, ".restore-1", "evidence"), 0o700))
	_, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: dir, Keep: []string{"key"}})
	must(t, err)
	names, err := filepath.Glob(filepath.Join(dir, ".*"))
	if len(names) != 0 || err != nil {
		t.Errorf("left behind: %v %v", names, err)
	}
	open(t, dir)
}

type member struct {
	h    tar.Header
	body []byte
}

func readTar(t *testing.T, file string) (out []member) {
	t.Helper()
	f, err := os.Open(file)
	must(t, err)
	defer f.Close()
	r := tar.NewReader(f)
	for {
		h, err := r.Next()
		if err == io.EOF {
			return out
		}
		must(t, err)
		b, err := io.ReadAll(r)
		must(t, err)
		out = append(out, member{*h, b})
	}
}

func writeTar(t *testing.T, members []member) string {
	t.Helper()
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	for _, m := range members {
		if m.h.Typeflag == tar.TypeReg {
			m.h.Size = int64(len(m.body))
		}
		must(t, w.WriteHeader(&m.h))
		_, err := w.Write(m.body)
		must(t, err)
	}
	must(t, w.Close())
	file := filepath.Join(t.TempDir(), "changed")
	must(t, os.WriteFile(file, b.Bytes(), 0o600))
	return file
}

// TestRestoreRefuses: nothing that was done to a backup gets into a directory.
func TestRestoreRefuses(t *testing.T) {
	ctx := context.Background()
	s, l, _ := world(t, t.TempDir())
	must(t, s.Erase(ctx, l.Batch(1), []bot.ItemRef{{Job: "job", Seq: 2, Label: "name"}}))
	blob, err := s.Put(ctx, strings.NewReader("a second file"), 100)
	must(t, err)
	b := l.Batch(1)
	b.Evidence = []string{blob.SHA256}
	commit(t, s, b)
	good := filepath.Join(t.TempDir(), "backup")
	must(t, s.Backup(ctx, good))
	whole := readTar(t, good)
	if len(whole) != 5 || whole[0].h.Name != "manifest.json" || whole[1].h.Name != "milepost.db" || whole[2].h.Name != "erased" {
		t.Fatalf("%d members", len(whole))
	}
	change := func(f func(m []member) []member) string {
		m := slices.Clone(whole)
		for i := range m {
			m[i].body = bytes.Clone(m[i].body)
		}
		return writeTar(t, f(m))
	}
	replace := func(i int, old, new string) string {
		return change(func(m []member) []member {
			m[i].body = bytes.Replace(m[i].body, []byte(old), []byte(new), 1)
			return m
		})
	}
	name := func(i int, to string) string {
		return change(func(m []member) []member { m[i].h.Name = to; return m })
	}
	truncated := filepath.Join(t.TempDir(), "cut")
	cut, err := os.ReadFile(good)
	must(t, err)
	must(t, os.WriteFile(truncated, cut[:len(cut)/2], 0o600))
	for what, file := range map[string]string{
		"a cut file":               truncated,
		"no backup":                writeFile(t, "hello"),
		"an empty file":            writeFile(t, ""),
		"a directory":              t.TempDir(),
		"a missing file":           filepath.Join(t.TempDir(), "none"),
		"no evidence at the end":   change(func(m []member) []member { return m[:4] }),
		"a file more":              change(func(m []member) []member { return append(m, m[4]) }),
		"another order":            change(func(m []member) []member { m[3], m[4] = m[4], m[3]; return m }),
		"no list":                  change(func(m []member) []member { return append(m[:2:2], m[3:]...) }),
		"a list changed":           replace(2, "job/2/name", "job/2/text"),
		"evidence changed":         replace(4, "o", "0"),
		"database changed":         replace(1, "SQLite", "sqlite"),
		"an entry changed":         replace(1, `"kind":"note"`, `"kind":"nope"`),
		"a path upwards":           name(4, "../../evil"),
		"an absolute path":         name(4, "/tmp/evil"),
		"a path within evidence":   name(4, "evidence/../evil"),
		"evidence of another name": name(4, "evidence/"+strings.Repeat("f", 64)),
		"a link": change(func(m []member) []member {
			m[4].h.Typeflag, m[4].h.Linkname, m[4].body, m[4].h.Size = tar.TypeSymlink, "/etc/passwd", nil, 0
			return m
		}),
		"a newer version":          replace(0, `"version": 1`, `"version": 2`),
		"a newer schema":           replace(0, fmt.Sprintf(`"schema": %d`, sqlite.Latest()), `"schema": 99`),
		"another size of the tree": replace(0, `"size": `, `"size": 1`),
	} {
		dir := t.TempDir()
		if _, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: dir}); err == nil {
			t.Errorf("%s: restored", what)
		}
		for _, d := range list(t, dir) {
			if d != "lock" {
				t.Errorf("%s: %s is left behind", what, d)
			}
		}
	}
	dir := t.TempDir()
	_, err = sqlite.Restore(ctx, sqlite.RestoreConfig{File: writeTar(t, whole), Dir: dir})
	must(t, err) // unchanged, it is taken: the changes are what is refused
}

func writeFile(t *testing.T, content string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "file")
	must(t, os.WriteFile(file, []byte(content), 0o600))
	return file
}

func list(t *testing.T, dir string) (names []string) {
	t.Helper()
	ds, err := os.ReadDir(dir)
	must(t, err)
	for _, d := range ds {
		names = append(names, d.Name())
	}
	return names
}

// TestRestoreForged: a backup whose hashes were all made to fit holds a log that
// does not, and is refused for that.
func TestRestoreForged(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s, _, _ := world(t, dir)
	must(t, s.Exec(ctx, "DROP TRIGGER leaf_update"))
	must(t, s.Exec(ctx, "UPDATE leaf SET bytes = CAST(replace(CAST(bytes AS TEXT), 'technician', 'supervisor') AS BLOB) WHERE n = 3"))
	file := filepath.Join(t.TempDir(), "backup")
	must(t, s.Backup(ctx, file))
	if _, err := sqlite.Restore(ctx, sqlite.RestoreConfig{File: file, Dir: t.TempDir()}); !errors.Is(err, sqlite.ErrDamaged) {
		t.Errorf("%v, want ErrDamaged", err)
	}
}
