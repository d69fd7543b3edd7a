package sqlite_test

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
)

// TestMigrate brings a store of each version up to this one, 0 being an empty
// file: what was in it is there, and it goes on.
func TestMigrate(t *testing.T) {
	ctx := context.Background()
	for version := range sqlite.Latest() + 1 {
		t.Run(fmt.Sprint("from ", version), func(t *testing.T) {
			dir := t.TempDir()
			l := bottest.NewLog("north", "job")
			must(t, sqlite.MakeVersion(ctx, filepath.Join(dir, "milepost.db"), version, func(c *sql.Conn) error {
				if version == 0 {
					return nil
				}
				return fillFirst(ctx, c, turn(l))
			}))
			if version < sqlite.Latest() {
				if _, err := sqlite.Open(ctx, sqlite.Config{Dir: dir, ReadOnly: true}); err == nil {
					t.Error("an old store was opened for reading only")
				}
			}
			s := open(t, dir)
			if got := int64(len(entries(t, s, "north", "job"))); got != l.Seq {
				t.Errorf("%d entries, want %d", got, l.Seq)
			}
			commit(t, s, turn(l))
			must(t, s.Verify(ctx))
		})
	}
}

// fillFirst writes a batch's log as the first version had it, which every later
// one has to read.
func fillFirst(ctx context.Context, c *sql.Conn, b *bot.Batch) error {
	var edge journal.Edge
	for i, l := range b.Leaves {
		hashes, err := edge.Append(l.Bytes)
		if err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, "INSERT INTO leaf (shop, job, seq, n, bytes) VALUES (?, ?, ?, ?, ?)", b.Shop, b.Job, l.Seq, i, l.Bytes); err != nil {
			return err
		}
		if _, err := c.ExecContext(ctx, "INSERT INTO hash (shop, n, hashes, leaf) VALUES (?, ?, ?, last_insert_rowid())", b.Shop, i, flat(hashes)); err != nil {
			return err
		}
		for _, it := range l.Items {
			if _, err := c.ExecContext(ctx, "INSERT INTO item (shop, job, seq, label, salt, content) VALUES (?, ?, ?, ?, ?, ?)", b.Shop, b.Job, l.Seq, it.Label, it.Salt[:], it.Content); err != nil {
				return err
			}
		}
	}
	return nil
}

func flat(hashes []tlog.Hash) (b []byte) {
	for _, h := range hashes {
		b = append(b, h[:]...)
	}
	return b
}
