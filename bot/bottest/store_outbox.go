package bottest

import (
	"context"
	"testing"

	"milepost/bot"
)

var outboxTests = []storeTest{
	{"order", storeOutboxOrder},
	{"sent", storeSent},
	{"sent with the next commit", storeSentInBatch},
}

func outKeys(rows []bot.OutRow) []string {
	var keys []string
	for _, r := range rows {
		keys = append(keys, r.Key)
	}
	return keys
}

func storeOutboxOrder(t *testing.T, s bot.Store) {
	ctx := context.Background()
	a, b := NewLog("north", "aaa"), NewLog("south", "bbb")
	var want []string
	var rows []bot.OutRow
	for range 3 {
		for _, l := range []*Log{b, a} {
			batch := l.full(1)
			batch.Outbox = append(batch.Outbox, bot.OutRow{Key: batch.Outbox[0].Key + "/card", Shop: l.Shop, Job: l.Job, Network: "slack", Payload: []byte("{}")})
			rows = append(rows, batch.Outbox...)
			want = append(want, outKeys(batch.Outbox)...)
			commit(t, s, l, batch)
		}
	}
	equal(t, "unsent", get(s.Unsent(ctx, 100))(t), rows)
	equal(t, "the first 5", outKeys(get(s.Unsent(ctx, 5))(t)), want[:5])
	equal(t, "none", get(s.Unsent(ctx, 0))(t), nil)
}

func storeSent(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l := NewLog("north", "job")
	for range 4 {
		commit(t, s, l, l.full(1))
	}
	must(t, s.MarkSent(ctx, []string{"job/3", "job/1", "never/1"}))
	equal(t, "left", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"job/2", "job/4"})
	must(t, s.MarkSent(ctx, []string{"job/3"})) // once more
	must(t, s.MarkSent(ctx, nil))
	must(t, s.MarkSent(ctx, []string{"job/2", "job/4"}))
	equal(t, "left", get(s.Unsent(ctx, 10))(t), nil)
	commit(t, s, l, l.full(1))
	equal(t, "after all were sent", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"job/5"})
}

func storeSentInBatch(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l, m := NewLog("north", "job"), NewLog("north", "other")
	commit(t, s, l, l.full(1))
	commit(t, s, m, m.full(1))
	b := l.full(1)
	b.Sent = []string{"job/1", "other/1", "never/1"}
	commit(t, s, l, b)
	equal(t, "left", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"job/2"})
	// A batch that is refused marks nothing.
	must(t, s.Commit(ctx, &bot.Batch{Shop: "north", Job: "job", Expect: 2, Delivery: "d"}))
	if err := s.Commit(ctx, &bot.Batch{Shop: "north", Job: "job", Expect: 2, Delivery: "d", Sent: []string{"job/2"}}); err == nil {
		t.Error("a repeat was taken")
	}
	equal(t, "still left", outKeys(get(s.Unsent(ctx, 10))(t)), []string{"job/2"})
}
