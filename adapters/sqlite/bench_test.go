package sqlite_test

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/bot/journal"
)

// turn makes what one message changes: 4 entries with 4 items, 2 outgoing rows,
// a delivery, the board's row and the marks of what was sent before.
func turn(l *bottest.Log) *bot.Batch {
	before := l.Seq
	b := l.Batch(4, "text", "265/70R17 to 285/70R17, stored 2446 mm, 12/12 tread", "name", "Somebody", "identity", "matrix:@somebody:example.org", "vin", "ZZZTEST1XR0000001")
	b.Delivery = fmt.Sprintf("%s-%d", l.Job, l.Seq)
	payload := fmt.Appendf(nil, `{"key":"%s/%d","shop":"north","reply":{"kind":"prompt","text":"%0400d"}}`, l.Job, l.Seq, 0)
	for n := range 2 {
		b.Outbox = append(b.Outbox, bot.OutRow{Key: fmt.Sprintf("%s/%d/%d", l.Job, l.Seq, n), Shop: "north", Job: l.Job, Network: "matrix", Thread: "!room:example.org", Payload: payload})
		if before > 0 {
			b.Sent = append(b.Sent, fmt.Sprintf("%s/%d/%d", l.Job, before, n))
		}
	}
	b.Index = &bot.IndexRow{Job: l.Job, Open: true, Data: payload[:200], Seq: l.Seq, Prev: journal.Hash(b.Leaves[3].Bytes)}
	return b
}

// turns makes the batches of a number of jobs that are worked on in turn.
func turns(n int) []*bot.Batch {
	const jobs = 20
	var logs [jobs]*bottest.Log
	out := make([]*bot.Batch, n)
	for i := range out {
		if logs[i%jobs] == nil {
			logs[i%jobs] = bottest.NewLog("north", fmt.Sprintf("k%02dq%02dx", i*7%100, i))
		}
		out[i] = turn(logs[i%jobs])
	}
	return out
}

// BenchmarkCommit is a durable commit of one message by the store. It may cost
// at most 1.5 times BenchmarkBareCommit.
func BenchmarkCommit(b *testing.B) {
	ctx := context.Background()
	s := open(b, b.TempDir())
	batches := turns(b.N)
	b.ResetTimer()
	for _, batch := range batches {
		if err := s.Commit(ctx, batch); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkBareCommit inserts the same rows into the same tables by plain
// statements, prepared, in one transaction, and does nothing else.
func BenchmarkBareCommit(b *testing.B) {
	db := bareDB(b, b.TempDir())
	rows := make([][]bareRow, b.N)
	var edge journal.Edge
	for i, batch := range turns(b.N) {
		rows[i] = bareRows(b, &edge, batch)
	}
	prepared := map[string]*sql.Stmt{}
	for _, r := range append(rows[0], bareRow{"DELETE FROM outbox WHERE key = ?", nil}) {
		var err error
		if prepared[r.query], err = db.Prepare(r.query); err != nil {
			b.Fatal(err)
		}
	}
	b.ResetTimer()
	for _, turn := range rows {
		tx, err := db.Begin()
		if err != nil {
			b.Fatal(err)
		}
		for _, r := range turn {
			if _, err := tx.Stmt(prepared[r.query]).Exec(r.args...); err != nil {
				b.Fatal(err)
			}
		}
		if err := tx.Commit(); err != nil {
			b.Fatal(err)
		}
	}
}

// bareDB is a database with the store's tables and its durability, and no store.
func bareDB(b *testing.B, dir string) *sql.DB {
	must(b, open(b, dir).Close())
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "milepost.db")+"?_txlock=immediate&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	must(b, err)
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { db.Close() })
	return db
}

type bareRow struct {
	query string
	args  []any
}

func bareRows(b *testing.B, edge *journal.Edge, batch *bot.Batch) (rows []bareRow) {
	add := func(query string, args ...any) { rows = append(rows, bareRow{query, args}) }
	add("INSERT INTO delivery (shop, key, job) VALUES (?, ?, ?)", batch.Shop, batch.Delivery, batch.Job)
	for _, l := range batch.Leaves {
		n := edge.Size()
		hashes, err := edge.Append(l.Bytes)
		must(b, err)
		var joined []byte
		for _, h := range hashes {
			joined = append(joined, h[:]...)
		}
		add("INSERT INTO leaf (shop, job, seq, n, bytes) VALUES (?, ?, ?, ?, ?)", batch.Shop, batch.Job, l.Seq, n, l.Bytes)
		add("INSERT INTO hash (shop, n, hashes, leaf) VALUES (?, ?, ?, last_insert_rowid())", batch.Shop, n, joined)
		for _, it := range l.Items {
			add("INSERT INTO item (shop, job, seq, label, salt, content) VALUES (?, ?, ?, ?, ?, ?)", batch.Shop, batch.Job, l.Seq, it.Label, it.Salt[:], it.Content)
		}
	}
	for _, k := range batch.Sent {
		add("DELETE FROM outbox WHERE key = ?", k)
	}
	for _, o := range batch.Outbox {
		add("INSERT INTO outbox (key, shop, job, network, thread, payload) VALUES (?, ?, ?, ?, ?, ?)", o.Key, o.Shop, o.Job, o.Network, string(o.Thread), o.Payload)
	}
	r := batch.Index
	add("INSERT OR REPLACE INTO board (shop, job, open, since, wake, seq, prev, data) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", batch.Shop, r.Job, r.Open, nil, nil, r.Seq, r.Prev, r.Data)
	return rows
}

// BenchmarkEntries reads a job of usual length.
func BenchmarkEntries(b *testing.B) {
	ctx := context.Background()
	s := open(b, b.TempDir())
	l := bottest.NewLog("north", "job")
	for range 50 {
		commit(b, s, turn(l))
	}
	b.ResetTimer()
	for range b.N {
		if e, err := s.Entries(ctx, "north", "job", 0); err != nil || len(e) != 200 {
			b.Fatal(len(e), err)
		}
	}
}
