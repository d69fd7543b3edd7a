package matrix

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// Messages whose key comes late go in where there is room, and no other is passed
// over for them.
func TestLateKeysWhileBehind(t *testing.T) {
	m := quiet(t)
	m.cipher = &locked{}
	var want []string
	for i := range 9 {
		want = append(want, fmt.Sprintf("no. %d", i))
	}
	fill(t, m, nil, want)
	putRaw(t, m, strings.Replace(secret("late", ""), `"$e"`, `"$late"`, 1))
	if _, err := m.state.db.Exec("UPDATE inbox SET waits = ? WHERE event = '$late'", waitsSaid); err != nil {
		t.Fatal(err)
	}
	putRaw(t, m, strings.Replace(text("the last", ""), `"$e"`, `"$last"`, 1))
	want = append(want, "late", "the last")

	e, going := newEar(), make(chan struct{})
	e.refuse = func(bot.Inbound) error { <-going; return nil }
	const most = 2
	stop := answering(t, m, e, most)
	late := make(chan error, 1)
	go func() { late <- m.retrySaid(context.Background()) }()
	for range 50 {
		if free, _ := m.in.lanes.room(); free < 0 {
			t.Errorf("%d rows more than there is room for", -free)
			break
		}
		time.Sleep(time.Millisecond)
	}
	close(going)
	if err := <-late; err != nil {
		t.Error(err)
	}
	got := texts(e.wait(t, len(want), nil))
	stop()
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("heard %q, want %q", got, want)
	}
}

// While too much waits to be handled the homeserver keeps what comes, and gives
// it later.
func TestNoMoreThanCanWait(t *testing.T) {
	r := newRig(t)
	r.prepare = func(m *stint) { m.in.most, m.in.lanes = 3, newLanes(2) }
	away := false
	r.ear.refuse = func(bot.Inbound) error {
		if away {
			return &bot.Error{Kind: bot.Unavailable}
		}
		return nil
	}
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Mention(room, "zero", r.user()) // behind what else the room begins with
	r.ear.wait(t, 1, nil)
	r.inbox("nothing waits", func(in bot.Inbox) bool { return in.Waiting == 0 })
	r.ear.mu.Lock()
	away = true
	r.ear.mu.Unlock()
	want := []string{"zero", "one", "two", "three"}
	for i, words := range want[1:] {
		ann.Mention(room, words, r.user())
		r.inbox("it waits", func(in bot.Inbox) bool { return in.Waiting == i+1 })
	}
	for end := time.Now().Add(person.Patience); ; time.Sleep(5 * time.Millisecond) {
		r.m.mu.Lock()
		fault := r.m.fault
		r.m.mu.Unlock()
		if fault != nil && strings.Contains(fault.Error(), "3 messages wait to be handled") {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("it goes on taking: %v", fault)
		}
	}
	for _, words := range []string{"four", "five"} {
		want = append(want, words)
		ann.Mention(room, words, r.user())
	}
	time.Sleep(time.Second)
	if in, err := r.m.Inbox(t.Context()); err != nil || in.Waiting != 3 {
		t.Errorf("%+v, %v", in, err)
	}
	r.ear.mu.Lock()
	away = false
	r.ear.mu.Unlock()
	r.ear.wait(t, len(want), nil)
	if got := texts(r.ear.all()); !slices.Equal(got, want) {
		t.Errorf("heard %q", got)
	}
}

// What is fetched at once that a sync left out is bounded over all rooms; the
// rest comes later.
func TestGapsTogetherAreBounded(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	rooms := []id.RoomID{r.room(ann, false), r.room(ann, false), r.room(ann, false)}
	for i, room := range rooms {
		ann.Mention(room, fmt.Sprintf("before %d", i), r.user())
	}
	r.ear.wait(t, len(rooms), nil)
	r.stop()
	var want []string
	for i, room := range rooms {
		for n := range timeline + 10 {
			want = append(want, fmt.Sprintf("%d: no. %d", i, n))
			ann.Say(room, want[len(want)-1])
		}
	}
	r.prepare = func(m *stint) { m.in.olderMost = 1 }
	later := make(chan struct{})
	held := homeserver.Fault{Status: 500}
	asked := map[string]bool{}
	r.proxy.Rule(func(q homeserver.Request) homeserver.Fault {
		if q.Method != "GET" || !strings.Contains(q.Path, "/messages") {
			return homeserver.Fault{}
		}
		select {
		case <-later:
			return homeserver.Fault{}
		default:
		}
		if asked[q.Path] = true; len(asked) > 1 { // at once there is one room's only
			return held
		}
		return homeserver.Fault{}
	})
	r.start().ready()
	r.inbox("others are kept for later", func(bot.Inbox) bool {
		gaps, err := r.m.now().state.gaps(t.Context())
		return err == nil && len(gaps) == len(rooms)-1
	})
	close(later)
	r.m.now().fillLater(t.Context())
	got := texts(r.ear.wait(t, len(want), func(in bot.Inbound) bool { return strings.Contains(in.Text, ": no. ") }))
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("heard %d of %d: %q", len(got), len(want), got)
	}
}

// Of what is put aside the oldest are given up when they are too many.
func TestAsideIsBounded(t *testing.T) {
	m := quiet(t)
	tx, err := m.state.db.Begin()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now().UnixMilli()
	for i := range asideMost + 5 {
		waits := waitsSaid
		if i%1000 == 1 {
			waits = waitsPoisoned
		}
		if i == 0 {
			waits = waitsNot // is to be handled: never given up
		}
		if _, err := tx.Exec("INSERT INTO inbox (event, room, lane, sender, raw, came, waits) VALUES (?, '!r:x', '!r:x', '@a:x', x'7b7d', ?, ?)", fmt.Sprint(i), now, waits); err != nil {
			t.Fatal(err)
		}
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	gone, err := m.state.prune(t.Context(), time.Now().Add(-keptFor))
	left := m.rows(t)
	if err != nil || gone != 4 || len(left) != asideMost+1 || left[0] != waitsNot || left[1] != waitsSaid {
		t.Errorf("%d gone, %d left, %v", gone, len(left), err)
	}
}
