package sqlite_test

import (
	"context"
	"database/sql"
	"fmt"
	"testing"
	"time"

	"milepost/adapters/sqlite"
	"milepost/bot"
	"milepost/bot/journal"
	"milepost/flow"
)

// spoken is a whole job in the bay as a technician types it.
var spoken = []string{
	"new job unit %d, in the bay, 48210 mi", "no", "all yes 13.4",
	"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000", "yes",
	"on the shop laptop under this unit", "LT285/75R17 121/118S 12/12, placard pressure, gears unchanged",
	"drive first", "go", "61/65 56/60 47/50 58/62 51/55", "parked, no lamps, no codes", "took", "2609", "none",
	"go", "65/65 60/60 62/62", "parked none", "close", "all yes", "no",
}

// nowhere is a network that takes everything at once.
type nowhere struct{}

func (nowhere) Name() string                             { return "terminal" }
func (nowhere) Send(context.Context, bot.Outbound) error { return nil }

// keeping is a store that remembers what was committed.
type keeping struct {
	*sqlite.Store
	batches []*bot.Batch
	in      time.Duration
}

func (k *keeping) Commit(ctx context.Context, b *bot.Batch) error {
	k.batches = append(k.batches, b)
	start := time.Now()
	err := k.Store.Commit(ctx, b)
	k.in += time.Since(start)
	return err
}

// BenchmarkTurn is a durable turn: message in, authorised, folded, answered by
// the flow, committed, replies out; and beside it a bare commit of the very rows
// it wrote. It may cost at most 1.5 times that; the ratio is printed. Turns and
// bare commits are measured in the same run, a job of the one after a job of
// the other, so that a disk in a bad mood spoils both.
func BenchmarkTurn(b *testing.B) {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	store := &keeping{Store: open(b, b.TempDir())}
	bt, err := bot.New(bot.Config{Store: store, Networks: []bot.Network{nowhere{}}, Single: true, Program: "bench"})
	must(b, err)
	done := make(chan error, 1)
	go func() { done <- bt.Run(ctx) }()
	db := bareDB(b, b.TempDir())
	prepared := map[string]*sql.Stmt{}
	edges := map[string]*journal.Edge{}

	var turns, bare time.Duration
	n := 0
	for job := 0; n < b.N; job++ {
		from := len(store.batches)
		for i, text := range spoken {
			if i == 0 {
				text = fmt.Sprintf(text, job)
			}
			in := bot.Inbound{Network: "terminal", From: "terminal:tech", Name: "tech", Stated: flow.Technician,
				Text: text, Delivery: fmt.Sprintf("%d.%d", job, i)}
			start := time.Now()
			must(b, bt.Handle(ctx, in))
			turns += time.Since(start)
			n++
		}
		for _, batch := range store.batches[from:] {
			e := edges[batch.Shop]
			if e == nil {
				e = new(journal.Edge)
				edges[batch.Shop] = e
			}
			rows := turnRows(b, e, batch)
			for _, r := range rows {
				if prepared[r.query] == nil {
					prepared[r.query], err = db.Prepare(r.query)
					must(b, err)
				}
			}
			start := time.Now()
			tx, err := db.Begin()
			must(b, err)
			for _, r := range rows {
				_, err := tx.Stmt(prepared[r.query]).Exec(r.args...)
				must(b, err)
			}
			must(b, tx.Commit())
			bare += time.Since(start)
		}
	}
	stop()
	<-done
	b.ReportMetric(float64(turns.Microseconds())/float64(n), "µs/turn")
	b.ReportMetric(float64(store.in.Microseconds())/float64(n), "µs/store")
	b.ReportMetric(float64(bare.Microseconds())/float64(n), "µs/bare")
	b.ReportMetric(float64(turns)/float64(bare), "ratio")
	b.ReportMetric(0, "ns/op")
}

// turnRows are the rows of a batch, those that not every batch has left out.
func turnRows(b *testing.B, edge *journal.Edge, batch *bot.Batch) []bareRow {
	var rows []bareRow
	whole := *batch
	if whole.Index == nil {
		whole.Index = &bot.IndexRow{Job: batch.Job}
	}
	for _, r := range bareRows(b, edge, &whole) {
		if batch.Delivery == "" && r.query == "INSERT INTO delivery (shop, key, job) VALUES (?, ?, ?)" {
			continue
		}
		rows = append(rows, r)
	}
	if batch.Index == nil {
		rows = rows[:len(rows)-1]
	}
	return rows
}
