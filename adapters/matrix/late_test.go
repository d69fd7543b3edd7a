package matrix

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"

	"milepost/bot"
)

// locked is encryption as far as these tests need it: it opens events whose body
// it may, and does as told otherwise.
type locked struct {
	cipher
	err   error
	sync  func() error
	keys  chan struct{}
	asked int
}

func (l *locked) Decrypt(_ context.Context, e *event.Event) (*event.Event, error) {
	if l.err != nil {
		return nil, l.err
	}
	body, _ := e.Content.Raw["ciphertext"].(string)
	return &event.Event{Type: event.EventMessage, Content: event.Content{VeryRaw: fmt.Appendf(nil, `{"msgtype":"m.text","body":%q}`, body)}}, nil
}

func (l *locked) AskKey(context.Context, *event.Event) error { l.asked++; return nil }
func (l *locked) NewKeys() <-chan struct{}                   { return l.keys }
func (l *locked) ProcessSync(context.Context, *mautrix.RespSync, string) error {
	return l.sync()
}

func secret(words, rel string) string {
	return fmt.Sprintf(`{"event_id":"$e","sender":"@ann:shop.example","type":"m.room.encrypted","origin_server_ts":1700000000000,"content":{"algorithm":"m.megolm.v1.aes-sha2","session_id":"s","ciphertext":%q%s}}`, words, rel)
}

// putRaw puts one event into the inbox.
func putRaw(t *testing.T, m *stint, raw string) {
	t.Helper()
	e := parse(t, raw)
	e.RoomID = "!work:shop.example"
	tx, err := m.state.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	if err := m.putEvent(context.Background(), tx, e, false, time.Now().UnixMilli()); err != nil {
		t.Fatal(err)
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
}

// What hangs on what may stand outside the encryption only.
func TestRelationInClear(t *testing.T) {
	m := quiet(t)
	m.cipher = &locked{}
	putRaw(t, m, secret("in the thread", threadR))
	e := newEar()
	stop := answering(t, m, e, lanesMost)
	in := e.text(t, "in the thread")
	stop()
	if in.Loose || in.Thread != inWork {
		t.Errorf("heard %s", seen([]bot.Inbound{in}))
	}
}

// What can't be decrypted, whatever the reason, ends in one word about it, and is
// kept; without encryption in none.
func TestUnreadable(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for real")
	}
	for _, c := range []struct {
		name string
		err  error
		none bool
		says []string
		left []int
	}{
		{"broken", errors.New("bad MAC"), false, []string{"$e/unread"}, []int{waitsSaid}},
		{"no encryption", nil, true, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := quiet(t)
			if !c.none {
				m.cipher = &locked{err: c.err}
			}
			putRaw(t, m, secret("x", threadR))
			putRaw(t, m, strings.Replace(text("behind it", threadR), `"$e"`, `"$f"`, 1))
			e := newEar()
			stop := answering(t, m, e, lanesMost)
			e.text(t, "behind it")
			stop()
			var says []string
			for _, in := range e.all() {
				if in.Fault != "" {
					says = append(says, in.Delivery)
					if in.Thread != inWork || in.Loose {
						t.Errorf("said %s", seen([]bot.Inbound{in}))
					}
				}
			}
			if !slices.Equal(says, c.says) || !slices.Equal(m.rows(t), c.left) {
				t.Errorf("said %v, rows %v", says, m.rows(t))
			}
		})
	}
}

// unlocking is encryption that opens everything from some moment on.
type unlocking struct {
	locked
	now atomic.Bool
}

func (u *unlocking) Decrypt(ctx context.Context, e *event.Event) (*event.Event, error) {
	if !u.now.Load() {
		return nil, errNoKey
	}
	return u.locked.Decrypt(ctx, e)
}

// A key that comes while it is being said that a message can't be read finds it
// put aside all the same: no other key needs to come.
func TestKeyWhileSaid(t *testing.T) {
	m := quiet(t)
	u := &unlocking{}
	m.cipher = u
	m.in.lost.add("s") // its key was waited for before
	putRaw(t, m, secret("words", threadR))
	e := newEar()
	e.refuse = func(in bot.Inbound) error {
		if in.Fault != "" {
			u.now.Store(true)
		}
		return nil
	}
	stop := answering(t, m, e, lanesMost)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); m.lateKeys(ctx) }()
	e.text(t, "words")
	cancel()
	<-done
	stop()
	if left := m.rows(t); len(left) != 0 {
		t.Errorf("rows left: %v", left)
	}
}

// Between our invitation and our coming: its key is waited for as any other, what
// has none is said once, and is kept in case it still comes.
func TestUnreadableBefore(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for real")
	}
	before := func(t *testing.T, u *unlocking) (m *stint, e *ear, end func()) {
		m = quiet(t)
		m.cipher = u
		if _, err := m.state.db.Exec("INSERT INTO room (id, joined) VALUES ('!work:shop.example', 1700000000001)"); err != nil {
			t.Fatal(err)
		}
		for i := range 3 {
			putRaw(t, m, strings.Replace(secret(fmt.Sprintf("words %d", i), ""), `"$e"`, fmt.Sprintf(`"$e%d"`, i), 1))
		}
		putRaw(t, m, text("now", ""))
		e = newEar()
		stop := answering(t, m, e, lanesMost)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); m.lateKeys(ctx) }()
		return m, e, func() { cancel(); <-done; stop() }
	}
	all := []string{"words 0", "words 1", "words 2"}
	t.Run("a moment late", func(t *testing.T) {
		t.Parallel()
		u := &unlocking{locked: locked{keys: make(chan struct{}, 1)}}
		m, e, end := before(t, u)
		time.Sleep(askKeyAfter / 2)
		u.now.Store(true)
		u.keys <- struct{}{}
		e.text(t, "now")
		end()
		if got := texts(e.all()); !slices.Equal(got, append(all, "now")) {
			t.Errorf("heard %q", got)
		}
		if left := m.rows(t); len(left) != 0 {
			t.Errorf("rows left: %v", left)
		}
	})
	t.Run("late", func(t *testing.T) {
		t.Parallel()
		u := &unlocking{locked: locked{keys: make(chan struct{}, 1)}}
		m, e, end := before(t, u)
		e.text(t, "now")
		list := e.all()
		if len(list) != 2 || list[0].Delivery != "!work:shop.example/before/1700000000001" || list[0].Fault != bot.FaultBefore {
			t.Errorf("heard %s", seen(list))
		}
		if kept := m.rows(t); !slices.Equal(kept[:min(3, len(kept))], []int{waitsSaid, waitsSaid, waitsSaid}) {
			t.Errorf("rows %v", kept)
		}
		u.now.Store(true)
		u.keys <- struct{}{}
		e.text(t, all[2])
		end()
		if got := texts(e.all()); !slices.Equal(got[2:], all) {
			t.Errorf("heard %q", got)
		}
	})
}

// Old ones are given up.
func TestKeptForAWeek(t *testing.T) {
	m := quiet(t)
	for i, c := range []struct {
		waits int
		age   time.Duration
	}{{waitsSaid, keptFor + time.Hour}, {waitsPoisoned, keptFor + time.Hour}, {waitsSaid, keptFor - time.Hour}, {waitsNot, keptFor + time.Hour}} {
		if _, err := m.state.db.Exec("INSERT INTO inbox (event, room, lane, sender, raw, came, waits) VALUES (?, '!r:x', '!r:x', '@a:x', x'7b7d', ?, ?)",
			fmt.Sprint(i), time.Now().Add(-c.age).UnixMilli(), c.waits); err != nil {
			t.Fatal(err)
		}
	}
	gone, err := m.state.prune(context.Background(), time.Now().Add(-keptFor))
	if err != nil || gone != 2 || !slices.Equal(m.rows(t), []int{waitsSaid, waitsNot}) {
		t.Errorf("%d gone, %v left, %v", gone, m.rows(t), err)
	}
}

// Seen events are forgotten beyond a bound, but for a room's last.
func TestSeenIsBounded(t *testing.T) {
	m := quiet(t)
	ctx := context.Background()
	if _, err := m.state.db.Exec("INSERT INTO seen (n, event, room, lane, sender) VALUES (?, '$far', '!busy:x', '!busy:x', '@a:x')", seenMost+3); err != nil {
		t.Fatal(err)
	}
	if _, err := m.state.prune(ctx, time.Now()); err != nil {
		t.Fatal(err)
	}
	var n int
	if err := m.state.db.QueryRow("SELECT count(*) FROM seen").Scan(&n); err != nil {
		t.Fatal(err)
	}
	// Of the six known: numbers up to 3 go, but for the last of a room.
	if n != 4 {
		t.Errorf("%d seen", n)
	}
	for evt, want := range map[string]bool{"$start": false, "$elsewhere": true, "$foreign": true, "$far": true} {
		if got, err := m.state.isSeen(ctx, evt); err != nil || got != want {
			t.Errorf("%s: seen %t, %v", evt, got, err)
		}
	}
}

// Keys that make encryption panic hold up the messages for some tries only.
func TestKeysThatPanic(t *testing.T) {
	m := quiet(t)
	m.in.lanes = newLanes(lanesMost)
	tries := 0
	m.cipher = &locked{sync: func() error { tries++; panic("words") }}
	resp := &mautrix.RespSync{NextBatch: "s2"}
	ctx := context.Background()
	for range keylessTries {
		if err := m.take(ctx, resp, "s1"); err == nil {
			t.Fatal("taken without keys at once")
		}
		if since, err := m.state.get(ctx, metaSince); err != nil || since != "" {
			t.Fatalf("the position went on to %q, %v", since, err)
		}
	}
	if err := m.take(ctx, resp, "s1"); err != nil {
		t.Fatal(err)
	}
	if since, err := m.state.get(ctx, metaSince); err != nil || since != "s2" {
		t.Errorf("position %q, %v", since, err)
	}
	// Another fault is not one of these: it must come again, however often.
	m.cipher = &locked{sync: func() error { return errors.New("disk is full") }}
	for range keylessTries + 3 {
		if err := m.take(ctx, &mautrix.RespSync{NextBatch: "s3"}, "s2"); err == nil {
			t.Fatal("taken without keys")
		}
	}
}
