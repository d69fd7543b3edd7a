package bottest

import (
	"context"
	"strings"
	"testing"
	"time"

	"milepost/bot"
)

var boardTests = []storeTest{
	{"index", storeIndex},
	{"reindex", storeReindex},
	{"current job", storeCurrent},
	{"threads", storeThreads},
	{"known", storeKnown},
	{"evidence", storeEvidence},
	{"backup", storeBackup},
}

func rowJobs(rows []bot.IndexRow) []string {
	var jobs []string
	for _, r := range rows {
		jobs = append(jobs, r.Job)
	}
	return jobs
}

func storeIndex(t *testing.T, s bot.Store) {
	ctx := context.Background()
	put := func(job string, open bool, since time.Time) *Log {
		l := NewLog("north", job)
		b := l.full(1)
		b.Index.Open, b.Index.Since = open, since
		commit(t, s, l, b)
		return l
	}
	put("late", true, day(9))
	early := put("early", true, day(1))
	put("closed", false, day(4))
	put("none", true, time.Time{})
	equal(t, "all", rowJobs(get(s.Index(ctx, "north", false))(t)), []string{"none", "early", "closed", "late"})
	equal(t, "open", rowJobs(get(s.Index(ctx, "north", true))(t)), []string{"none", "early", "late"})
	equal(t, "another shop's", get(s.Index(ctx, "south", false))(t), nil)

	b := early.full(1)
	want := bot.IndexRow{Job: "early", Open: true, Since: day(20), Data: []byte(`{"x":1}`), Seq: 2, Prev: "feed"}
	b.Index = &want
	commit(t, s, early, b)
	rows := get(s.Index(ctx, "north", true))(t)
	equal(t, "open", rowJobs(rows), []string{"none", "late", "early"})
	equal(t, "row", rows[2:], []bot.IndexRow{want})
	if !rows[0].Since.IsZero() || !rows[2].Wake.IsZero() || !rows[1].Wake.Equal(day(100)) {
		t.Errorf("times: %v %v %v", rows[0].Since, rows[2].Wake, rows[1].Wake)
	}
	b = early.full(1)
	b.Index = nil // unchanged
	commit(t, s, early, b)
	equal(t, "row", get(s.Index(ctx, "north", true))(t)[2:], []bot.IndexRow{want})

	want.Wake = day(30)
	other := NewLog("north", "shop")
	b = other.full(1)
	b.Index = &want // another job's
	commit(t, s, other, b)
	rows = get(s.Index(ctx, "north", false))(t)
	equal(t, "all", rowJobs(rows), []string{"none", "closed", "late", "early"})
	equal(t, "row", rows[3:], []bot.IndexRow{want})
}

func storeReindex(t *testing.T, s bot.Store) {
	ctx := context.Background()
	a, b, o := NewLog("north", "aaa"), NewLog("north", "bbb"), NewLog("south", "ccc")
	for _, l := range []*Log{a, b, o} {
		commit(t, s, l, l.full(1))
	}
	before := dump(t, s, o)
	rows := []bot.IndexRow{
		{Job: "bbb", Open: true, Since: day(1), Seq: 1, Prev: "x", Keys: []string{"vin:new", "code:1"}, Evidence: []string{sum("new")}},
		{Job: "aaa", Since: day(2), Seq: 1, Prev: "y", Data: []byte("{}"), Keys: []string{"vin:new"}},
	}
	must(t, s.Reindex(ctx, "north", rows))
	got := get(s.Index(ctx, "north", false))(t)
	equal(t, "jobs", rowJobs(got), []string{"bbb", "aaa"})
	if string(got[1].Data) != "{}" || got[0].Prev != "x" || got[0].Open == got[1].Open {
		t.Errorf("rows: %+v", got)
	}
	equal(t, "old key", get(s.Known(ctx, "north", "vin:aaa"))(t), nil)
	equal(t, "new key", get(s.Known(ctx, "north", "vin:new"))(t), []string{"bbb", "aaa"})
	equal(t, "old evidence", get(s.EvidenceJobs(ctx, "north", sum("evidence of aaa")))(t), nil)
	equal(t, "new evidence", get(s.EvidenceJobs(ctx, "north", sum("new")))(t), []string{"bbb"})
	must(t, s.Reindex(ctx, "north", nil))
	equal(t, "emptied", get(s.Index(ctx, "north", false))(t), nil)
	if after := dump(t, s, o); rest(after) != rest(before) {
		t.Errorf("the other shop has changed:\n%s\nwant\n%s", after, before)
	}
}

// rest cuts what a dump says of shop north off.
func rest(dump string) string {
	a, b, _ := strings.Cut(dump, "shop north")
	_, b, _ = strings.Cut(b, "shop south")
	return a + b
}

func storeCurrent(t *testing.T, s bot.Store) {
	ctx := context.Background()
	const ann bot.Identity = "matrix:@ann:example.org"
	if got := get(s.Current(ctx, "north", ann))(t); got != "" {
		t.Errorf("current of nobody: %q", got)
	}
	a, b := NewLog("north", "aaa"), NewLog("north", "bbb")
	for _, l := range []*Log{a, b, a} {
		batch := l.Batch(1)
		batch.Current = ann
		commit(t, s, l, batch)
		if got := get(s.Current(ctx, "north", ann))(t); got != l.Job {
			t.Errorf("current: %q, want %q", got, l.Job)
		}
	}
	commit(t, s, b, b.Batch(1))
	if got := get(s.Current(ctx, "north", ann))(t); got != "aaa" {
		t.Errorf("current: %q, want aaa: another's message does not change it", got)
	}
	if got := get(s.Current(ctx, "south", ann))(t); got != "" {
		t.Errorf("current in the other shop: %q", got)
	}
}

func storeThreads(t *testing.T, s bot.Store) {
	ctx := context.Background()
	l, m := NewLog("north", "aaa"), NewLog("north", "bbb")
	want := []bot.JobThread{{Network: "slack", Thread: "z", For: "customer"}, {Network: "matrix", Thread: "a"}, {Network: "matrix", Thread: "z", For: "helper"}}
	for _, th := range want {
		b := l.Batch(1)
		b.Thread = &th
		commit(t, s, l, b)
	}
	equal(t, "threads", get(s.Threads(ctx, "north", "aaa"))(t), want)
	equal(t, "of another job", get(s.Threads(ctx, "north", "bbb"))(t), nil)
	for _, c := range []struct {
		shop, network string
		thread        bot.Thread
		job           string
	}{{"north", "slack", "z", "aaa"}, {"north", "matrix", "z", "aaa"}, {"north", "slack", "a", ""}, {"south", "slack", "z", ""}} {
		if got := get(s.ThreadJob(ctx, c.shop, c.network, c.thread))(t); got != c.job {
			t.Errorf("job of %s/%s/%s: %q, want %q", c.shop, c.network, c.thread, got, c.job)
		}
	}
	b := l.Batch(1)
	b.Thread = &bot.JobThread{Network: "slack", Thread: "z", For: "technician"} // again, for others
	commit(t, s, l, b)
	want[0].For = "technician"
	equal(t, "joined again", get(s.Threads(ctx, "north", "aaa"))(t), want)
	b = m.Batch(1)
	b.Thread = &bot.JobThread{Network: "slack", Thread: "z"} // another job takes the thread over
	commit(t, s, m, b)
	if got := get(s.ThreadJob(ctx, "north", "slack", "z"))(t); got != "bbb" {
		t.Errorf("job of a thread taken over: %q, want bbb", got)
	}
}

func storeKnown(t *testing.T, s bot.Store) {
	ctx := context.Background()
	logs := []*Log{NewLog("north", "zzz"), NewLog("north", "mmm"), NewLog("north", "aaa")}
	for _, l := range logs {
		b := l.Batch(1)
		b.Vehicles = []string{"vin:x", "name:" + l.Job}
		commit(t, s, l, b)
	}
	b := logs[0].Batch(1)
	b.Vehicles = []string{"vin:x", "name:other"} // once more
	commit(t, s, logs[0], b)
	equal(t, "newest first", get(s.Known(ctx, "north", "vin:x"))(t), []string{"aaa", "mmm", "zzz"})
	equal(t, "by another key", get(s.Known(ctx, "north", "name:other"))(t), []string{"zzz"})
	equal(t, "unknown", get(s.Known(ctx, "north", "vin:y"))(t), nil)
	equal(t, "other shop", get(s.Known(ctx, "south", "vin:x"))(t), nil)
}

func storeEvidence(t *testing.T, s bot.Store) {
	ctx := context.Background()
	for _, job := range []string{"zzz", "aaa"} {
		l := NewLog("north", job)
		for range 2 {
			b := l.Batch(1)
			b.Evidence = []string{sum("shared"), sum(job)}
			commit(t, s, l, b)
		}
	}
	equal(t, "shared", get(s.EvidenceJobs(ctx, "north", sum("shared")))(t), []string{"zzz", "aaa"})
	equal(t, "own", get(s.EvidenceJobs(ctx, "north", sum("aaa")))(t), []string{"aaa"})
	equal(t, "nobody's", get(s.EvidenceJobs(ctx, "north", sum("x")))(t), nil)
	equal(t, "other shop", get(s.EvidenceJobs(ctx, "south", sum("shared")))(t), nil)
}
