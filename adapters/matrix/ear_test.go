package matrix

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// ear takes what is heard, as the bot would: a delivery that is known is no new
// message.
type ear struct {
	mu      sync.Mutex
	list    []bot.Inbound
	known   map[string]bool
	repeats int
	refuse  func(bot.Inbound) error // nil: takes everything
	changed chan struct{}
}

func newEar() *ear { return &ear{known: map[string]bool{}, changed: make(chan struct{})} }

func (e *ear) Handle(_ context.Context, in bot.Inbound) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.refuse != nil {
		if err := e.refuse(in); err != nil {
			return err
		}
	}
	if e.known[in.Delivery] {
		e.repeats++
		return nil
	}
	if in.File != nil && in.File.Open != nil { // as the bot does, while it handles
		r, err := in.File.Open()
		if err != nil {
			in.Text = "open: " + err.Error()
		} else {
			b, err := io.ReadAll(r)
			in.Text = fmt.Sprintf("%s %v %v", b, err, r.Close())
		}
	}
	e.known[in.Delivery] = true
	e.list = append(e.list, in)
	close(e.changed)
	e.changed = make(chan struct{})
	return nil
}

func (e *ear) all() []bot.Inbound {
	e.mu.Lock()
	defer e.mu.Unlock()
	return append([]bot.Inbound(nil), e.list...)
}

// wait waits until enough was heard that fulfils the condition.
func (e *ear) wait(t testing.TB, n int, is func(bot.Inbound) bool) []bot.Inbound {
	t.Helper()
	limit := time.After(person.Patience)
	for {
		e.mu.Lock()
		changed := e.changed
		var got []bot.Inbound
		for _, in := range e.list {
			if is == nil || is(in) {
				got = append(got, in)
			}
		}
		e.mu.Unlock()
		if len(got) >= n {
			return got
		}
		select {
		case <-changed:
		case <-limit:
			t.Fatalf("heard %d of %d within %v: %s", len(got), n, person.Patience, seen(e.all()))
		}
	}
}

// text waits for a message with these words.
func (e *ear) text(t testing.TB, words string) bot.Inbound {
	t.Helper()
	return e.wait(t, 1, func(in bot.Inbound) bool { return in.Text == words })[0]
}

func seen(list []bot.Inbound) string {
	var b strings.Builder
	for _, in := range list {
		fmt.Fprintf(&b, "\n%s %s thread=%s loose=%t called=%t text=%q tap=%q edit=%s delete=%s fault=%s", in.Delivery, in.From, in.Thread, in.Loose, in.Called, in.Text, in.Tap, in.Edit, in.Delete, in.Fault)
	}
	return b.String()
}

// rig is an assistant that only listens, at a server of its own.
type rig struct {
	t      *testing.T
	server *homeserver.Server
	proxy  *homeserver.Proxy
	cfg    Config
	ear    *ear
	m      *Matrix

	prepare func(*stint) // before it runs; nil: nothing

	stop func() // waits for its end
	ends chan error
}

func newRig(t *testing.T) *rig {
	t.Helper()
	s := homeserver.Start(t, homeserver.Options{})
	a := s.Register(t, "milepost", "password of milepost")
	p := homeserver.NewProxy(t, s)
	r := &rig{t: t, server: s, proxy: p, ear: newEar()}
	r.cfg = Config{Homeserver: p.URL(), User: a.UserID, AccessToken: a.AccessToken, Dir: t.TempDir(), Servers: []string{homeserver.ServerName},
		Encryption: person.CanEncrypt, PickleKey: "only for tests", Log: slog.New(slog.NewTextHandler(testLog{t}, nil))}
	return r
}

// testLog shows the log of a test that failed.
type testLog struct{ t *testing.T }

func (l testLog) Write(p []byte) (int, error) {
	defer func() { _ = recover() }() // the test has ended
	l.t.Log(strings.TrimRight(string(p), "\n"))
	return len(p), nil
}

// start lets it listen until the test ends or stop is called.
func (r *rig) start() *rig {
	r.t.Helper()
	m, err := New(r.cfg)
	if err != nil {
		r.t.Fatal(err)
	}
	r.m, r.ends, m.prepare = m, make(chan error, 1), r.prepare
	ctx, cancel := context.WithCancel(context.Background())
	go func() { r.ends <- m.Run(ctx, r.ear) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-r.ends:
			if err != nil {
				r.t.Errorf("run: %v", err)
			}
		case <-time.After(10 * time.Second):
			r.t.Errorf("still there 10 s after it was told to stop")
		}
	})
	r.t.Cleanup(func() { r.stop() })
	return r
}

// ready waits for the first sync.
func (r *rig) ready() *rig {
	r.t.Helper()
	waitSynced(r.t, r.m, r.ends)
	return r
}

// again ends it, and starts another on the same directory.
func (r *rig) again() {
	r.t.Helper()
	r.stop()
	r.start().ready()
}

func (r *rig) user() id.UserID { return id.UserID(r.cfg.User) }

// room makes a room with the assistant in it.
func (r *rig) room(p *person.Person, encrypted bool) id.RoomID {
	r.t.Helper()
	room := p.CreateRoom("workshop", encrypted, r.user())
	p.WaitJoined(room, r.user())
	return room
}

// ours puts an event into the room that the assistant wrote, and notes it as
// what the thread of start hangs on.
func (r *rig) card(room id.RoomID, start id.EventID, choices string) id.EventID {
	r.t.Helper()
	ctx := context.Background()
	res, err := r.m.now().client.SendMessageEvent(ctx, room, eventMessage, map[string]any{"msgtype": "m.notice", "body": "card",
		"m.relates_to": map[string]any{"m.in_reply_to": map[string]any{"event_id": start}}})
	if err != nil {
		r.t.Fatal(err)
	}
	thread := string(threadName(string(room), string(start)))
	if err := r.m.now().state.setRoot(ctx, thread, string(res.EventID), string(room), "job1"); err != nil {
		r.t.Fatal(err)
	}
	if err := r.m.now().state.shownAs(ctx, string(res.EventID), thread, "job1", choices); err != nil {
		r.t.Fatal(err)
	}
	return res.EventID
}
