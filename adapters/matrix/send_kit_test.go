package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/flow"
)

// station is the assistant's side of a test: an account with one device, and the
// adapter on it, started and stopped as often as a test wants.
type station struct {
	t     testing.TB
	cfg   Config
	m     *Matrix
	heard chan string // deliveries, while nobody else listens

	mu     sync.Mutex
	handle func(context.Context, bot.Inbound) error
	cancel context.CancelFunc
	ended  chan error
}

type ears func(context.Context, bot.Inbound) error

func (e ears) Handle(ctx context.Context, in bot.Inbound) error { return e(ctx, in) }

// newStation makes an account and starts on it.
func newStation(t testing.TB, s *homeserver.Server, url, name string, encrypted bool) *station {
	t.Helper()
	if encrypted && !hasEncryption {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	a := s.Register(t, name, person.Password(name))
	st := &station{t: t, heard: make(chan string, 1000), cfg: Config{Homeserver: url, User: a.UserID, AccessToken: a.AccessToken,
		Dir: t.TempDir(), Encryption: encrypted, PickleKey: "for tests only", Servers: []string{homeserver.ServerName},
		May: func(user string) bool { return user == "@kim:"+homeserver.ServerName }, Program: "test",
		Log: slog.New(slog.NewTextHandler(logTo{t}, &slog.HandlerOptions{Level: slog.LevelWarn}))}}
	t.Cleanup(st.stop)
	st.start()
	return st
}

// logTo shows log lines with the test.
type logTo struct{ t testing.TB }

func (l logTo) Write(p []byte) (int, error) { l.t.Logf("log: %s", p); return len(p), nil }

func (st *station) start() {
	st.t.Helper()
	m, err := New(st.cfg)
	if err != nil {
		st.t.Fatal(err)
	}
	st.m = m
	st.goOn()
}

// goOn lets it run, for the first time or again.
func (st *station) goOn() {
	st.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	st.cancel, st.ended = cancel, make(chan error, 1)
	go func() { st.ended <- st.m.Run(ctx, ears(st.hear)) }()
	waitSynced(st.t, st.m, st.ended)
}

// now is the run that is on.
func (m *Matrix) now() *stint {
	r, _ := m.on.get()
	return r
}

// waitSynced waits for a run that has taken a sync response.
func waitSynced(t testing.TB, m *Matrix, ended <-chan error) {
	t.Helper()
	for limit := time.After(person.Patience); ; {
		r, changed := m.on.get()
		var synced <-chan struct{}
		if r != nil {
			synced = r.synced
		}
		select {
		case <-synced:
			return
		case <-changed:
		case err := <-ended:
			t.Fatalf("run ended: %v", err)
		case <-limit:
			t.Fatalf("no sync: %v", m.Ready())
		}
	}
}

func (st *station) hear(ctx context.Context, in bot.Inbound) error {
	st.mu.Lock()
	handle := st.handle
	st.mu.Unlock()
	if handle != nil {
		return handle(ctx, in)
	}
	st.heard <- in.Delivery
	return nil
}

// listen hands what is heard from now on to a handler.
func (st *station) listen(handle func(context.Context, bot.Inbound) error) {
	st.mu.Lock()
	defer st.mu.Unlock()
	st.handle = handle
}

// stop ends it in order.
func (st *station) stop() {
	if st.cancel == nil {
		return
	}
	st.cancel()
	st.cancel = nil
	select {
	case err := <-st.ended:
		if err != nil {
			st.t.Errorf("Run: %v", err)
		}
	case <-time.After(10 * time.Second):
		st.t.Error("Run does not end")
	}
}

func (st *station) user() id.UserID { return id.UserID(st.cfg.User) }

// job is a room with a job's thread in it, and somebody who reads along.
type job struct {
	*station
	kim    *person.Person
	room   id.RoomID
	begins id.EventID
	thread bot.Thread
	marks  int
}

// newJob lets kim invite the assistant into a room and begin a job there.
func newJob(t testing.TB, s *homeserver.Server, url, name string, encrypted bool) *job {
	t.Helper()
	j := &job{station: newStation(t, s, url, name, encrypted)}
	j.kim = person.New(t, person.Config{Server: s, Name: "kim", Encrypted: encrypted})
	j.room = j.kim.CreateRoom("bay", encrypted, j.user())
	j.joined()
	j.begin("new job unit 14")
	return j
}

// joined waits until the assistant is in the room and knows it.
func (j *job) joined() {
	j.t.Helper()
	for end := time.Now().Add(person.Patience); ; time.Sleep(5 * time.Millisecond) {
		at, err := j.m.now().state.joinedAt(context.Background(), j.room.String())
		if err != nil {
			j.t.Fatal(err)
		}
		if at != 0 {
			return
		}
		if time.Now().After(end) {
			j.t.Fatal("the assistant does not come when invited")
		}
	}
}

func (j *job) begin(words string) {
	j.t.Helper()
	j.begins = j.kim.Say(j.room, words)
	j.thread = threadName(j.room.String(), j.begins.String())
	for limit := time.After(person.Patience); ; {
		select {
		case d := <-j.heard:
			if d == j.begins.String() {
				return
			}
		case <-limit:
			j.t.Fatal("the message that begins the job is not heard")
		}
	}
}

// out makes an outgoing message of the job.
func (j *job) out(n int, kind flow.ReplyKind, text string, choices ...string) bot.Outbound {
	out := said(kind, text, choices...)
	out.Key, out.Thread = fmt.Sprintf("k7mw2pd/%d", n), j.thread
	if kind == flow.Card {
		out.Key += "/card"
	}
	return out
}

func (j *job) send(out bot.Outbound) {
	j.t.Helper()
	if err := j.try(out); err != nil {
		j.t.Fatalf("send %s: %v", out.Key, err)
	}
}

func (j *job) try(out bot.Outbound) error {
	ctx, cancel := context.WithTimeout(context.Background(), person.Patience)
	defer cancel()
	if out.Reply.Kind == flow.Card {
		return j.m.EditCard(ctx, out)
	}
	return j.m.Send(ctx, out)
}

// insist sends as the outbox does: until it is taken or refused for good.
func (j *job) insist(out bot.Outbound) {
	j.t.Helper()
	for range 50 {
		err := j.try(out)
		var e *bot.Error
		switch {
		case err == nil:
			return
		case errors.As(err, &e) && e.Kind != bot.Unavailable:
			j.t.Fatalf("send %s: %v", out.Key, err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	j.t.Fatalf("send %s: not taken", out.Key)
}

// seen gives what the assistant said in the room, as kim reads it by now: all
// that the server has.
func (j *job) seen() []person.Event {
	j.t.Helper()
	j.marks++
	mark := fmt.Sprintf("mark %d", j.marks)
	j.kim.React(j.room, j.begins, mark)
	all := j.kim.Wait(j.room, mark, func(all []person.Event) bool {
		e, _ := person.Find(all, j.begins)
		return slices.ContainsFunc(e.Reactions, func(r person.Reaction) bool { return r.Key == mark }) &&
			!slices.ContainsFunc(all, func(e person.Event) bool { return e.Sender == j.user() && e.Err != "" })
	})
	return slices.DeleteFunc(all, func(e person.Event) bool { return e.Sender != j.user() })
}

// only gives the one message with this text, and fails unless there is just one.
func (j *job) only(text string) person.Event {
	j.t.Helper()
	var found []person.Event
	all := j.seen()
	for _, e := range all {
		if e.Body == text {
			found = append(found, e)
		}
	}
	if len(found) != 1 {
		j.t.Fatalf("%q stands there %d times:\n%s", text, len(found), person.Dump(all))
	}
	return found[0]
}

// both runs a test in a plain and in an encrypted room.
func both(t *testing.T, f func(t *testing.T, encrypted bool)) {
	for name, encrypted := range map[string]bool{"plain": false, "encrypted": true} {
		t.Run(name, func(t *testing.T) { f(t, encrypted) })
	}
}
