package bot_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/bot"
	"milepost/bot/journal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestMessageIsAnswered(t *testing.T) {
	r := start(t, newMem())
	got := r.say("tech", "new job unit 14")
	if !slices.Equal(got, []string{"echo new job unit 14"}) {
		t.Fatalf("said %q", got)
	}
	out := r.sent()[0]
	es := r.entries(out.Job)
	if len(es) != 3 || out.Key != out.Job+"/3" || out.Log != 3 {
		t.Errorf("%d entries, key %s, log %d", len(es), out.Key, out.Log)
	}
	if out.Thread != "dm-tech" || out.Network != "fake" {
		t.Errorf("sent to %s %s", out.Network, out.Thread)
	}
	if got := r.say("tech", "2438"); !slices.Equal(got, []string{"echo 2438"}) || r.job() != out.Job {
		t.Errorf("said %q in job %s, want %s", got, r.job(), out.Job)
	}
	for _, text := range []string{"echo new job unit 14", "fake:tech", "unit 14"} {
		if slices.ContainsFunc(r.entries(out.Job), func(s bot.Stored) bool { return strings.Contains(string(s.Bytes), text) }) {
			t.Errorf("%q stands in a leaf, which can't be erased", text)
		}
	}
}

// Step 2: the same delivery again changes nothing, in the same run and after a
// restart.
func TestRepeatedDelivery(t *testing.T) {
	r := start(t, newMem())
	in := r.in("tech", "new job unit 14")
	r.give(in)
	job, n := r.job(), len(r.entries(r.job()))
	if got := r.give(in); len(got) != 0 {
		t.Errorf("answered again: %q", got)
	}
	r.stop()
	r.again()
	if got := r.give(in); len(got) != 0 {
		t.Errorf("answered again after a restart: %q", got)
	}
	if len(r.entries(job)) != n {
		t.Error("a repeated delivery made entries")
	}
	if jobs, _ := r.store.Jobs(t.Context(), "oakroad"); len(jobs) != 2 {
		t.Errorf("jobs %v: a repeated delivery opened one", jobs)
	}
}

// Steps 3 and 5: another program has moved the job on; the turn is run again on
// what the log says now.
func TestJobMovedOn(t *testing.T) {
	store := newMem()
	a := start(t, store)
	a.say("tech", "new job unit 14")
	job := a.job()
	b := start(t, store)
	b.clock, b.n = a.clock, 1000
	in := b.in("tech", "by the other")
	in.Job = job
	b.give(in)
	in = a.in("tech", "by the first")
	in.Job = job
	if got := a.give(in); !slices.Contains(got, "echo by the first") {
		t.Errorf("said %q", got)
	}
	es := a.entries(job)
	prev := ""
	for i, e := range es {
		l, err := journal.Parse(e.Bytes)
		if err != nil || l.Seq != int64(i)+1 || l.Prev != prev {
			t.Fatalf("entry %d: %+v %v", i+1, l, err)
		}
		prev = journal.Hash(e.Bytes)
	}
	if len(es) != 3+2+2 {
		t.Errorf("%d entries", len(es))
	}
}

// Sequence conflicts without end are given up, not tried for ever.
func TestConflictWithoutEnd(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	tries := 0
	r.store.fail = func(b *bot.Batch) error { tries++; return bot.ErrSequence }
	err := r.bot.Handle(t.Context(), r.in("tech", "again"))
	r.store.fail = nil
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Conflict || tries > 20 {
		t.Errorf("err %v after %d tries", err, tries)
	}
	if got := r.say("tech", "go on"); !slices.Equal(got, []string{"echo go on"}) {
		t.Errorf("said %q", got)
	}
}

// Step 5: a full disk changes nothing, is said in words, and the same delivery
// works when there is room again.
func TestStoreFull(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	job := r.job()
	n := len(r.entries(job))
	r.store.fail = func(*bot.Batch) error { return fmt.Errorf("sqlite 13: %w", bot.ErrFull) }
	in := r.in("tech", "2438")
	err := r.bot.Handle(t.Context(), in)
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Unavailable || !errors.Is(err, bot.ErrFull) {
		t.Fatalf("err %v", err)
	}
	if s := bot.Sentence(err); strings.Contains(s, "sqlite") || !strings.Contains(s, "full") {
		t.Errorf("sentence %q", s)
	}
	if len(r.entries(job)) != n {
		t.Error("entries were made")
	}
	r.store.fail = nil
	if got := r.give(in); !slices.Equal(got, []string{"echo 2438"}) {
		t.Errorf("with room again: %q", got)
	}
}

// Between 5 and 7: the program dies after the commit. The next one sends what
// is stored under the same key, and does not handle the message again.
func TestCrashBeforeSending(t *testing.T) {
	store := newMem()
	r := start(t, store)
	r.stop() // nothing runs: what is committed stays unsent, as in a crash
	in := r.in("tech", "new job unit 14")
	if err := r.bot.Handle(t.Context(), in); err != nil {
		t.Fatal(err)
	}
	rows, _ := store.Unsent(t.Context(), 10)
	rows = slices.DeleteFunc(rows, func(o bot.OutRow) bool { return strings.HasSuffix(o.Key, "/card") })
	if len(r.sent()) != 0 || len(rows) != 1 {
		t.Fatalf("sent %d, unsent %d", len(r.sent()), len(rows))
	}
	r.again()
	r.flush()
	sent := r.sent()
	if len(sent) != 1 || sent[0].Key != rows[0].Key || sent[0].Reply.Text != "echo new job unit 14" {
		t.Fatalf("sent %+v", sent)
	}
	if got := r.give(in); len(got) != 0 || len(r.entries(sent[0].Job)) != 3 {
		t.Errorf("handled again: %q", got)
	}
	r.stop()
	if rows, _ := store.Unsent(t.Context(), 10); len(rows) != 0 {
		t.Errorf("still unsent: %v", rows)
	}
}

// The commit was made, but its success never reached us: the message comes
// again and is known.
func TestCommitAnswerLost(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	job := r.job()
	r.store.lost = func(*bot.Batch) error { return errors.New("connection lost") }
	in := r.in("tech", "2438")
	if err := r.bot.Handle(t.Context(), in); err == nil {
		t.Fatal("no error")
	}
	r.store.lost = nil
	n := len(r.entries(job))
	if err := r.bot.Handle(t.Context(), in); err != nil {
		t.Fatal(err)
	}
	if len(r.entries(job)) != n {
		t.Error("acted on twice")
	}
	// What the lost commit stored is sent at the next start.
	r.stop()
	r.again()
	r.flush()
	if !slices.Contains(r.texts(), "echo 2438") {
		t.Errorf("said %q", r.texts())
	}
}

// Step 7: a network that fails is tried again, in order; one thread's trouble
// does not hold up another's.
func TestSendFailsThenWorks(t *testing.T) {
	r := start(t, newMem())
	var mu sync.Mutex
	down := true
	r.stop()
	r.net.Fail = func(out bot.Outbound) error {
		mu.Lock()
		defer mu.Unlock()
		if down && out.Thread == "dm-tech" {
			return errors.New("network down")
		}
		return nil
	}
	r.again()
	for _, text := range []string{"new job unit 14", "two", "three"} {
		if err := r.bot.Handle(t.Context(), r.in("tech", text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.bot.Handle(t.Context(), r.in("boss", "new job unit 15")); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(time.Minute)
	for !slices.Contains(r.texts(), "echo new job unit 15") {
		if time.Now().After(deadline) {
			t.Fatal("the other thread was held up")
		}
		time.Sleep(5 * time.Millisecond)
	}
	mu.Lock()
	down = false
	mu.Unlock()
	r.flush()
	var got []string
	for _, o := range r.sent() {
		if o.Thread == "dm-tech" {
			got = append(got, o.Reply.Text)
		}
	}
	if !slices.Equal(got, []string{"echo new job unit 14", "echo two", "echo three"}) {
		t.Errorf("said %q", got)
	}
	if n := r.net.Tries(r.sent()[0].Key); n < 1 {
		t.Error("not tried")
	}
}

// A message the network refuses for good is dropped and logged; the next goes
// out.
func TestSendRefusedForGood(t *testing.T) {
	r := start(t, newMem())
	r.stop()
	r.net.Fail = func(out bot.Outbound) error {
		if strings.Contains(out.Reply.Text, "unit 14") {
			return &bot.Error{Kind: bot.Invalid, Err: errors.New("too long for this network")}
		}
		return nil
	}
	r.again()
	r.say("tech", "new job unit 14")
	if got := r.say("tech", "two"); !slices.Equal(got, []string{"echo two"}) {
		t.Errorf("said %q", got)
	}
	if !strings.Contains(r.log.String(), "refused for good") {
		t.Error("not logged")
	}
}

// More than the outbox holds waits in the store, in order, and goes out.
func TestOutboxOverflow(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) { c.Limits.Queue = 4 })
	hold := make(chan struct{})
	r.stop()
	r.net.Fail = func(bot.Outbound) error { <-hold; return nil }
	r.again(func(c *bot.Config) { c.Limits.Queue = 4 })
	var want []string
	for i := range 40 {
		text := fmt.Sprintf("new job unit %d", i)
		if i > 0 {
			text = fmt.Sprintf("line %d", i)
		}
		want = append(want, "echo "+text)
		if err := r.bot.Handle(t.Context(), r.in("tech", text)); err != nil {
			t.Fatal(err)
		}
	}
	close(hold)
	r.flush()
	if got := r.texts(); !slices.Equal(got, want) {
		t.Errorf("said %q", got)
	}
}

// A turn costs one commit and no read while the job is at hand.
func TestTurnIsOneCommit(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	c0, r0 := r.store.count()
	for range 5 {
		r.say("tech", "2438")
	}
	if c, rd := r.store.count(); c-c0 != 5 || rd != r0 {
		t.Errorf("5 messages: %d commits, %d reads", c-c0, rd-r0)
	}
}

func TestPanicIsContained(t *testing.T) {
	for _, text := range []string{"panic now", "fail now"} {
		r := start(t, newMem())
		r.say("tech", "new job unit 14")
		job := r.job()
		n := len(r.entries(job))
		in := r.in("tech", text)
		got := r.give(in)
		if len(got) != 1 || strings.Contains(got[0], "secret") || !strings.Contains(got[0], "reference") {
			t.Errorf("%s: said %q", text, got)
		}
		if len(r.entries(job)) != n {
			t.Errorf("%s: the job has new entries", text)
		}
		log := r.log.String()
		ref := strings.TrimSuffix(strings.Fields(got[0][strings.Index(got[0], "reference ")+10:])[0], ".")
		if !strings.Contains(log, ref) || !strings.Contains(log, "secret detail") {
			t.Errorf("%s: the log does not tell cause and reference %s:\n%s", text, ref, log)
		}
		if got := r.give(in); len(got) != 0 {
			t.Errorf("%s: the same delivery again: %q", text, got)
		}
		if got := r.say("tech", "go on"); !slices.Equal(got, []string{"echo go on"}) {
			t.Errorf("%s: then said %q", text, got)
		}
	}
}

// Many jobs at once keep to themselves and in order.
func TestManyJobsAtOnce(t *testing.T) {
	r := start(t, newMem(), func(c *bot.Config) { c.Limits.Jobs = 8 })
	const jobs, lines = 40, 12
	var wg sync.WaitGroup
	for j := range jobs {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range lines {
				text := fmt.Sprintf("line %d", i)
				if i == 0 {
					text = "new job unit"
				}
				in := bot.Inbound{Network: "fake", Thread: bot.Thread(fmt.Sprintf("room-%d", j)), From: "fake:tech",
					Delivery: fmt.Sprintf("%d-%d", j, i), Text: text}
				if err := r.bot.Handle(context.Background(), in); err != nil {
					t.Error(err)
				}
			}
		}()
	}
	wg.Wait()
	r.flush()
	said := map[bot.Thread][]string{}
	byThread := map[bot.Thread]string{}
	for _, o := range r.sent() {
		said[o.Thread] = append(said[o.Thread], o.Reply.Text)
		if was, ok := byThread[o.Thread]; ok && was != o.Job {
			t.Errorf("thread %s has jobs %s and %s", o.Thread, was, o.Job)
		}
		byThread[o.Thread] = o.Job
	}
	if len(said) != jobs {
		t.Fatalf("%d threads", len(said))
	}
	for th, texts := range said {
		for i, text := range texts {
			if want := fmt.Sprintf("echo line %d", i); i > 0 && text != want {
				t.Errorf("%s: %q in place of %q", th, text, want)
			}
		}
	}
	if n := r.bot.Lanes(); n > 8 {
		t.Errorf("%d jobs kept in memory", n)
	}
}

// Oversized and dirty text is cut and cleaned before anything else sees it.
func TestHugeText(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	got := r.say("tech", strings.Repeat("x\x00\u202e ", 1<<18))
	if len(got) != 1 || len(got[0]) > 20_000 || strings.ContainsAny(got[0], "\x00\u202e") {
		t.Errorf("%d answers, %d bytes", len(got), len(got[0]))
	}
	for _, in := range []bot.Inbound{
		{Network: "fake", From: bot.Identity(strings.Repeat("x", 1<<20))},
		{Network: "fake", From: "fake:tech", Tap: strings.Repeat("x", 1<<20)},
		{Network: "fake"}, {From: "fake:tech"}, {Network: "fake", From: "fake:tech", Shop: "elsewhere"},
	} {
		var e *bot.Error
		if err := r.bot.Handle(t.Context(), in); !errors.As(err, &e) || e.Kind != bot.Invalid {
			t.Errorf("%.40q: %v", in.From, err)
		}
	}
}

func TestClockGoesBack(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	r.clock.set(-48 * time.Hour)
	r.say("tech", "2438")
	es := r.entries(r.job())
	l, err := journal.Parse(es[3].Bytes)
	if err != nil || !l.Clock {
		t.Errorf("the entry does not say that the clock went back: %s", es[3].Bytes)
	}
	rows, err := r.bot.Board(t.Context(), "")
	if err != nil || len(rows) != 1 || !slices.Contains(rows[0].Flags, "clock") {
		t.Errorf("board %+v %v", rows, err)
	}
}

func TestReadBackIsChecked(t *testing.T) {
	r := start(t, newMem())
	r.say("tech", "new job unit 14")
	job := r.job()
	r.stop()
	es := r.store.jobs["oakroad/"+job]
	es[1].Items = slices.Clone(es[1].Items)
	es[1].Items[0].Content = []byte("something else")
	r.again()
	got := r.say("tech", "2438")
	if len(got) != 1 || !strings.Contains(got[0], "reference") {
		t.Errorf("said %q", got)
	}
	if !strings.Contains(r.log.String(), "not what was hashed") {
		t.Error("not logged")
	}
}
