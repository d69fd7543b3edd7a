package bot_test

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/bot"
)

// bar is a conversation of the fake network that can be closed and opened.
type bar struct {
	mu    sync.Mutex
	again chan struct{} // nil: open
	tries int
}

type barredErr struct{ again chan struct{} }

func (e barredErr) Error() string          { return "muted" }
func (e barredErr) Again() <-chan struct{} { return e.again }

func (b *bar) fail(out bot.Outbound) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.again == nil || out.Thread != "dm-tech" {
		return nil
	}
	b.tries++
	return &bot.Error{Kind: bot.Conflict, Err: fmt.Errorf("send: %w", barredErr{b.again})}
}

func (b *bar) close() { b.mu.Lock(); defer b.mu.Unlock(); b.again = make(chan struct{}) }

func (b *bar) open() { b.mu.Lock(); defer b.mu.Unlock(); close(b.again); b.again = nil }

// newBarred is a bot whose one conversation is closed.
func newBarred(t *testing.T, change ...func(*bot.Config)) (*rig, *bar) {
	r := start(t, newMem())
	r.stop()
	b := &bar{}
	b.close()
	r.net.Fail = b.fail
	return r.again(change...), b
}

func (r *rig) handle(who, text string) {
	r.t.Helper()
	if err := r.bot.Handle(r.t.Context(), r.in(who, text)); err != nil {
		r.t.Fatal(err)
	}
}

func (r *rig) until(what string, is func() bool) {
	r.t.Helper()
	for end := time.Now().Add(time.Minute); !is(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			r.t.Fatalf("%s: not within 30 s; said %q; log %s", what, r.texts(), r.log)
		}
	}
}

func (r *rig) saidIn(thread bot.Thread) (texts []string) {
	for _, o := range r.sent() {
		if o.Thread == thread {
			texts = append(texts, o.Reply.Text)
		}
	}
	return texts
}

// What is said while the assistant may not write there waits, holds up no other
// conversation, and goes out once and in order when it is told that it may.
func TestSendBarred(t *testing.T) {
	r, b := newBarred(t)
	for _, text := range []string{"new job unit 14", "two", "three"} {
		r.handle("tech", text)
	}
	r.handle("boss", "new job unit 15")
	r.until("the other conversation", func() bool { return slices.Contains(r.texts(), "echo new job unit 15") })
	r.flush() // what is held does not count
	r.until("a try", func() bool { b.mu.Lock(); defer b.mu.Unlock(); return b.tries > 0 })
	if got := r.saidIn("dm-tech"); got != nil {
		t.Fatalf("said %q", got)
	}
	b.open()
	want := []string{"echo new job unit 14", "echo two", "echo three"}
	r.until("what waited", func() bool { return len(r.saidIn("dm-tech")) >= len(want) })
	r.flush()
	if got := r.saidIn("dm-tech"); !slices.Equal(got, want) {
		t.Errorf("said %q", got)
	}
	r.stop()
	if rows, _ := r.store.Unsent(t.Context(), 10); len(rows) != 0 {
		t.Errorf("still unsent: %v", rows)
	}
}

// What waits is bounded by time and in number, and what is given up is logged.
func TestSendBarredBounds(t *testing.T) {
	t.Run("time", func(t *testing.T) {
		r, _ := newBarred(t)
		r.bot.HoldFor(time.Second)
		r.handle("tech", "new job unit 14")
		r.until("given up", func() bool { return strings.Contains(r.log.String(), "given up") })
		r.until("marked", func() bool { return r.bot.Depths().Queued == 0 })
	})
	t.Run("number", func(t *testing.T) {
		small := func(c *bot.Config) { c.Limits.Queue = 40 }
		r, b := newBarred(t, small)
		for i := range 60 {
			text := fmt.Sprintf("line %d", i)
			if i == 0 {
				text = "new job unit 14"
			}
			r.handle("tech", text)
		}
		r.until("bounded", func() bool { d := r.bot.Depths(); return !d.Behind && d.Queued <= 10 })
		r.handle("boss", "new job unit 15")
		r.until("the other conversation", func() bool { return slices.Contains(r.texts(), "echo new job unit 15") })
		b.open()
		r.until("the newest", func() bool { return slices.Contains(r.texts(), "echo line 59") })
		if got := r.saidIn("dm-tech"); len(got) > 10 || !strings.Contains(r.log.String(), "too many wait") {
			t.Errorf("said %d: %q", len(got), got)
		}
	})
}

// What waits is tried at once at the next start, whoever tells.
func TestSendBarredNextStart(t *testing.T) {
	r, b := newBarred(t)
	r.handle("tech", "new job unit 14")
	r.until("a try", func() bool { b.mu.Lock(); defer b.mu.Unlock(); return b.tries > 0 })
	r.stop()
	b.open()
	r.again()
	r.until("after a start", func() bool { return slices.Contains(r.texts(), "echo new job unit 14") })
}

// What was erased while it waited is never said.
func TestSendBarredErased(t *testing.T) {
	r, b := newBarred(t)
	r.handle("tech", "new job unit 14")
	r.handle("tech", "two")
	r.handle("boss", "new job unit 15")
	r.until("a try", func() bool { b.mu.Lock(); defer b.mu.Unlock(); return b.tries > 0 })
	r.until("the other conversation", func() bool { return slices.Contains(r.texts(), "echo new job unit 15") })
	rows, err := r.store.Unsent(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	job := ""
	for _, row := range rows {
		if row.Thread == "dm-tech" {
			job = row.Job
		}
	}
	if _, err := r.bot.Erase(t.Context(), "oakroad", job); err != nil {
		t.Fatal(err)
	}
	b.open()
	r.until("nothing waits", func() bool { return r.bot.Depths().Lines == 0 })
	r.handle("tech", "new job unit 16")
	r.until("what comes after", func() bool { return slices.Contains(r.texts(), "echo new job unit 16") })
	if got := r.saidIn("dm-tech"); slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "unit 14") || strings.Contains(s, "two") }) {
		t.Errorf("said %q", got)
	}
}
