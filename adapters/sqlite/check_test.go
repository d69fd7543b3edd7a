package sqlite_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
)

// TestAppendOnly: not even by SQL is the log changed, unless the triggers are
// taken away.
func TestAppendOnly(t *testing.T) {
	ctx := context.Background()
	s := open(t, t.TempDir())
	l := bottest.NewLog("north", "job")
	commit(t, s, turn(l))
	for _, q := range []string{
		"UPDATE leaf SET bytes = x'00' WHERE seq = 1",
		"UPDATE leaf SET n = 9",
		"DELETE FROM leaf",
		"INSERT OR REPLACE INTO leaf (id, shop, job, seq, n, bytes) VALUES (1, 'north', 'job', 1, 0, x'00')",
		"REPLACE INTO leaf (shop, job, seq, n, bytes) VALUES ('north', 'job', 4, 3, x'00')",
		"UPDATE hash SET hashes = x'00'",
		"DELETE FROM hash WHERE n = 2",
		"REPLACE INTO hash (shop, n, hashes, leaf) VALUES ('north', 3, x'00', 4)",
		"UPDATE item SET content = CAST('another' AS BLOB)",
	} {
		if err := s.Exec(ctx, q); err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v", q, err)
		}
	}
	must(t, s.Verify(ctx))
}

// TestTampered changes a closed store as someone could who owns the file. What
// is at the end is found at the start, the rest by Verify.
func TestTampered(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name, query string
		atStart     bool
	}{
		{"last entry changed", "UPDATE leaf SET bytes = CAST(replace(CAST(bytes AS TEXT), 'note', 'nope') AS BLOB) WHERE n = 199", true},
		{"last entry gone", "DELETE FROM leaf WHERE n = 199", true},
		{"last hashes gone", "DELETE FROM hash WHERE n >= 190", true},
		{"last entry and hash gone, a head was given out", "DELETE FROM leaf WHERE n = 199; DELETE FROM hash WHERE n = 199", true},
		{"last hashes gone, no head was given out", "DELETE FROM hash WHERE n >= 190; DELETE FROM head", true},
		{"last hash changed", "UPDATE hash SET hashes = zeroblob(length(hashes)) WHERE n = 199", true},
		{"tree's edge changed", "UPDATE hash SET hashes = zeroblob(length(hashes)) WHERE n = 127", true},
		{"entry moved to another job", "UPDATE leaf SET job = 'other' WHERE n = 199", true},
		{"all entries gone", "DELETE FROM leaf", true},
		{"head changed", "UPDATE head SET note = replace(note, '200', '199')", true},
		{"first entry changed", "UPDATE leaf SET bytes = CAST(replace(CAST(bytes AS TEXT), 'note', 'nope') AS BLOB) WHERE n = 0", false},
		{"entry gone", "DELETE FROM leaf WHERE n = 50", false},
		{"entries exchanged", "UPDATE leaf SET n = 1000 WHERE n = 5; UPDATE leaf SET n = 5 WHERE n = 9; UPDATE leaf SET n = 9 WHERE n = 1000", false},
		{"inner hash changed", "UPDATE hash SET hashes = zeroblob(length(hashes)) WHERE n = 31", false},
		{"item changed", "UPDATE item SET content = CAST('another' AS BLOB) WHERE label = 'name' AND seq = 8", false},
		{"salt changed", "UPDATE item SET salt = zeroblob(32) WHERE label = 'vin' AND seq = 8", false},
		{"item added", "INSERT INTO item (shop, job, seq, label, salt, content) VALUES ('north', 'job', 1, 'more', zeroblob(32), x'78')", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			s := open(t, dir)
			l := bottest.NewLog("north", "job")
			for range 50 {
				commit(t, s, turn(l))
			}
			must(t, s.SaveHead(ctx, "north", bottest.SignedHead(t, s, "north")))
			must(t, s.Verify(ctx))
			for _, table := range []string{"leaf", "hash"} {
				must(t, s.Exec(ctx, "DROP TRIGGER "+table+"_update; DROP TRIGGER "+table+"_delete"))
			}
			must(t, s.Exec(ctx, "DROP TRIGGER item_update; "+c.query))
			if err := s.Verify(ctx); !errors.Is(err, sqlite.ErrDamaged) {
				t.Errorf("verify: %v, want ErrDamaged", err)
			}
			must(t, s.Close())
			again, err := sqlite.Open(ctx, sqlite.Config{Dir: dir})
			if err == nil {
				again.Close()
			}
			if found := errors.Is(err, sqlite.ErrDamaged); found != c.atStart {
				t.Errorf("open: %v; to be found at the start: %t", err, c.atStart)
			}
		})
	}
}

// TestDamagedFile overwrites parts of the database file of a closed store.
func TestDamagedFile(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name   string
		damage func([]byte) []byte
		want   string
	}{
		{"cut", func(b []byte) []byte { return b[:len(b)/2/4096*4096] }, "damaged"},
		{"head overwritten", func(b []byte) []byte { copy(b, strings.Repeat("?", 100)); return b }, "damaged"},
		{"pages overwritten", func(b []byte) []byte { copy(b[len(b)/2:], make([]byte, 16384)); return b }, "damaged"},
		{"another program's", func(b []byte) []byte { copy(b[68:72], "GIS\x00"); return b }, "not a database of this program"},
		{"of a newer version", func(b []byte) []byte { b[63] = 99; return b }, "use a newer one"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			s := open(t, dir)
			l := bottest.NewLog("north", "job")
			for range 50 {
				commit(t, s, turn(l))
			}
			must(t, s.Close())
			path := filepath.Join(dir, "milepost.db")
			b, err := os.ReadFile(path)
			must(t, err)
			must(t, os.WriteFile(path, c.damage(b), 0o600))
			for _, readOnly := range []bool{false, true} {
				s, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: readOnly})
				if err == nil {
					// Reading alone looks at the end only.
					err = s.Verify(ctx)
					s.Close()
					if !readOnly {
						t.Error("opened for writing")
					}
				}
				if err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("read-only %t: %v, want %q", readOnly, err, c.want)
				}
			}
			must(t, sqlite.Held(dir)) // the lock was given back
		})
	}
}

// TestDamagedEvidence: a file that is not what its name says is never read as if
// it were.
func TestDamagedEvidence(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, dir)
	blob, err := s.Put(ctx, strings.NewReader("a picture"), 100)
	must(t, err)
	l := bottest.NewLog("north", "job")
	b := turn(l)
	b.Evidence = []string{blob.SHA256}
	commit(t, s, b)
	must(t, s.Verify(ctx))
	path := filepath.Join(dir, "evidence", blob.SHA256[:2], blob.SHA256)
	must(t, os.WriteFile(path, []byte("a forgery"), 0o600))
	if err := s.Verify(ctx); !errors.Is(err, sqlite.ErrDamaged) {
		t.Errorf("verify: %v, want ErrDamaged", err)
	}
	must(t, os.Remove(path))
	if err := s.Verify(ctx); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("verify without the file: %v", err)
	}
}

// TestTidy: what a crash leaves in the evidence directory goes at the next start,
// what any entry speaks of stays.
func TestTidy(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, dir)
	put := func(content string) string {
		blob, err := s.Put(ctx, strings.NewReader(content), 100)
		must(t, err)
		return blob.SHA256
	}
	held, named, orphan := put("held"), put("named"), put("orphan")
	l := bottest.NewLog("north", "job")
	b := l.Batch(1, "sha256", named)
	b.Evidence = []string{held}
	commit(t, s, b)
	must(t, s.Close())
	half := filepath.Join(dir, "evidence", ".put-123")
	must(t, os.WriteFile(half, []byte("half"), 0o600))
	s = open(t, dir)
	for sum, want := range map[string]bool{held: true, named: true, orphan: false} {
		r, err := s.Open(ctx, sum)
		if err == nil {
			r.Close()
		}
		if there := err == nil; there != want {
			t.Errorf("%s is there: %t, want %t", sum, there, want)
		}
	}
	if _, err := os.Stat(half); err == nil {
		t.Error("half a file is there")
	}
}

// TestClosed: use of a store that was closed is an error, not a crash.
func TestClosed(t *testing.T) {
	ctx := context.Background()
	s := open(t, t.TempDir())
	must(t, s.Close())
	l := bottest.NewLog("north", "job")
	if err := s.Commit(ctx, l.Batch(1)); err == nil {
		t.Error("committed to a closed store")
	}
	if _, err := s.Entries(ctx, "north", "job", 0); err == nil {
		t.Error("read from a closed store")
	}
	must(t, s.Close())
	var none bot.Blobs = s
	if err := none.Delete(ctx, strings.Repeat("0", 64)); err == nil {
		t.Error("deleted in a closed store")
	}
}
