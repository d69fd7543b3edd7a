package matrix

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"
	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
)

var eventMessage = event.EventMessage

func TestHearsPlainRoom(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Say(room, "good morning")
	start := ann.Mention(room, "new tyres on the grey van", r.user())
	in := r.ear.text(t, "new tyres on the grey van")
	if !in.Loose || !in.Called || in.Thread != threadName(string(room), string(start)) || in.Delivery != string(start) || in.From != Identity(string(ann.ID)) {
		t.Errorf("heard %s", seen([]bot.Inbound{in}))
	}
	if err := r.m.Ready(); err != nil {
		t.Errorf("ready: %v", err)
	}
	card := r.card(room, start, `[{"label":"yes","send":"job1.1.yes"},{"label":"no","send":"job1.1.no"}]`)
	ann.SayInThread(room, card, "225/45 R17")
	if in := r.ear.text(t, "225/45 R17"); in.Loose || in.Thread != threadName(string(room), string(start)) {
		t.Errorf("in the thread: %s", seen([]bot.Inbound{in}))
	}
	ann.Reply(room, card, "a plain reply")
	if in := r.ear.text(t, "a plain reply"); in.Loose || in.Thread != threadName(string(room), string(start)) {
		t.Errorf("reply: %s", seen([]bot.Inbound{in}))
	}
	said := ann.SayInThread(room, card, "odd")
	r.ear.text(t, "odd")
	ann.Edit(room, said, "even")
	if in := r.ear.text(t, "even"); in.Edit != string(said) || in.Loose {
		t.Errorf("edit: %s", seen([]bot.Inbound{in}))
	}
	tap := ann.React(room, card, "1️⃣")
	in = r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Tap != "" })[0]
	if in.Tap != "job1.1.yes" || in.Job != "job1" || in.Loose {
		t.Errorf("tap: %s", seen([]bot.Inbound{in}))
	}
	ann.Redact(room, tap)
	r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Delete == string(tap) })
	ann.Redact(room, said)
	r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Delete == string(said) && !in.Loose })
	if n := r.ear.repeats; n != 0 {
		t.Errorf("%d handed over twice", n)
	}
}

// The server of the test keeps connections of its own, which look like ours: so
// ours are counted.
func TestRunLeavesNothing(t *testing.T) {
	r := newRig(t)
	before := goleak.IgnoreCurrent()
	var made, open atomic.Int64
	r.prepare = func(m *stint) {
		tr := m.client.Client.Transport.(*http.Transport)
		dial := tr.DialContext
		tr.DialContext = func(ctx context.Context, network, addr string) (net.Conn, error) {
			c, err := dial(ctx, network, addr)
			if err != nil {
				return nil, err
			}
			made.Add(1)
			open.Add(1)
			return &countedConn{Conn: c, closed: sync.OnceFunc(func() { open.Add(-1) })}, nil
		}
	}
	r.start().ready()
	r.stop()
	goleak.VerifyNone(t, before, goleak.IgnoreAnyFunction("net/http.(*persistConn).readLoop"), goleak.IgnoreAnyFunction("net/http.(*persistConn).writeLoop"),
		goleak.IgnoreAnyFunction("net/http.(*conn).serve"), goleak.IgnoreAnyFunction("net/http.(*connReader).backgroundRead"))
	for deadline := time.Now().Add(person.Patience); open.Load() > 0 && time.Now().Before(deadline); {
		time.Sleep(10 * time.Millisecond)
	}
	if made.Load() == 0 || open.Load() != 0 {
		t.Errorf("of %d connections %d are left", made.Load(), open.Load())
	}
}

type countedConn struct {
	net.Conn
	closed func()
}

func (c *countedConn) Close() error {
	c.closed()
	return c.Conn.Close()
}

func TestOnlyOne(t *testing.T) {
	r := newRig(t).start().ready()
	second, err := New(r.cfg)
	if err != nil {
		t.Fatal(err)
	}
	err = second.Run(t.Context(), newEar())
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Conflict {
		t.Errorf("a second one: %v, want a conflict", err)
	}
}

func TestLongGap(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	start := ann.Mention(room, "a job", r.user())
	r.ear.text(t, "a job")
	card := r.card(room, start, "[]")
	r.stop()
	var want []string
	for i := range 500 {
		want = append(want, fmt.Sprintf("no. %d", i))
		ann.SayInThread(room, card, want[i])
	}
	begin := time.Now()
	r.start()
	got := r.ear.wait(t, 500, func(in bot.Inbound) bool { return strings.HasPrefix(in.Text, "no. ") })
	t.Logf("500 messages in %v; %d requests for older ones; %d repeats", time.Since(begin).Round(time.Millisecond), r.proxy.Count("GET", "/messages"), r.ear.repeats)
	if r.proxy.Count("GET", "/messages") == 0 {
		t.Error("there was no gap to fill")
	}
	if g := texts(got); !slices.Equal(g, want) {
		t.Errorf("order: got %q", g)
	}
	for _, in := range got {
		if in.Thread != threadName(string(room), string(start)) || in.Loose {
			t.Fatalf("wrong place: %s", seen([]bot.Inbound{in}))
		}
	}
}

func texts(list []bot.Inbound) (all []string) {
	for _, in := range list {
		all = append(all, in.Text)
	}
	return all
}

func TestFaultsOfTheLine(t *testing.T) {
	r := newRig(t)
	r.prepare = func(m *stint) { m.health.lostFor = time.Millisecond }
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	say := func(words string) { ann.Mention(room, words, r.user()) }

	r.proxy.RepeatSync(3)
	say("one")
	say("two")
	r.ear.text(t, "one")
	r.ear.text(t, "two")

	r.proxy.Fail(2, "GET", "/sync", homeserver.Fault{Status: 429, RetryAfter: time.Second})
	say("three")
	r.ear.text(t, "three")
	say("four")
	r.ear.text(t, "four")

	r.proxy.Fail(1, "GET", "/sync", homeserver.Fault{Lose: true})
	r.proxy.Fail(1, "GET", "/sync", homeserver.Fault{Status: 502})
	say("five")
	r.ear.text(t, "five")

	r.proxy.Down()
	say("six")
	time.Sleep(2 * time.Second)
	if r.m.Ready() == nil {
		t.Error("ready without a line")
	}
	r.proxy.Up(t)
	r.ear.text(t, "six")

	r.server.Restart(t)
	say("seven")
	r.ear.text(t, "seven")
	if got, want := texts(r.ear.all()), []string{"one", "two", "three", "four", "five", "six", "seven"}; !slices.Equal(got, want) {
		t.Errorf("heard %q, want %q", got, want)
	}
	if r.ear.repeats != 0 {
		t.Errorf("%d handed over twice", r.ear.repeats)
	}
}

// While the disk is full nothing is taken, and nothing lost.
func TestDiskFull(t *testing.T) {
	r := newRig(t)
	r.prepare = func(m *stint) { m.health.lostFor = time.Millisecond }
	r.start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	ann.Mention(room, "one", r.user())
	r.ear.text(t, "one")
	var most int64
	if err := r.m.now().state.db.QueryRow("PRAGMA max_page_count = 1").Scan(&most); err != nil { // as few pages as there are
		t.Fatal(err)
	}
	want := []string{"one"}
	for i := range 5 {
		want = append(want, strings.Repeat("long ", 800)+fmt.Sprint(i))
		ann.Mention(room, want[i+1], r.user())
	}
	deadline := time.Now().Add(person.Patience)
	for r.m.Ready() == nil {
		if time.Now().After(deadline) {
			t.Fatal("ready with a full disk")
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Logf("while full: %v", r.m.Ready())
	if n := len(r.ear.all()); n == len(want) {
		t.Error("the disk was not full")
	}
	if err := r.m.now().state.db.QueryRow("PRAGMA max_page_count = 1000000").Scan(&most); err != nil {
		t.Fatal(err)
	}
	r.ear.wait(t, len(want), nil)
	if got := texts(r.ear.all()); !slices.Equal(got, want) {
		t.Errorf("heard %.300q", got)
	}
}

// A homeserver that is not there yet is no reason to give up.
func TestStartsWithoutLine(t *testing.T) {
	r := newRig(t)
	r.proxy.Down()
	r.start()
	time.Sleep(1500 * time.Millisecond)
	var e *bot.Error
	if err := r.m.Ready(); !errors.As(err, &e) || e.Kind != bot.Unavailable {
		t.Errorf("without a line: %v", err)
	}
	r.proxy.Up(t)
	r.ready()
	if n := r.proxy.Count("GET", "/sync"); n == 0 {
		t.Error("no sync")
	}
}

// The end comes soon also while it waits for an answer.
func TestStopsSoon(t *testing.T) {
	for name, down := range map[string]bool{"in the long poll": false, "without a line": true} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			if down {
				r.proxy.Down()
				r.start()
			} else {
				r.start().ready()
			}
			time.Sleep(300 * time.Millisecond)
			begin := time.Now()
			r.stop()
			if d := time.Since(begin); d > 10*time.Second {
				t.Errorf("took %v", d)
			}
		})
	}
}

func TestRefusedToken(t *testing.T) {
	r := newRig(t).start().ready()
	r.server.Logout(t, homeserver.Account{AccessToken: r.cfg.AccessToken})
	select {
	case err := <-r.ends:
		var e *bot.Error
		if !errors.As(err, &e) || e.Kind != bot.Forbidden || !strings.Contains(err.Error(), "new access token") {
			t.Errorf("ended with %v", err)
		}
		r.ends <- nil
	case <-time.After(person.Patience):
		t.Error("goes on without a token")
	}
	if r.m.Ready() == nil {
		t.Error("ready without a token")
	}
}

func TestPasswordOnce(t *testing.T) {
	r := newRig(t)
	r.cfg.AccessToken, r.cfg.Password = "", "password of milepost"
	r.start().ready()
	first := r.m.now().client.DeviceID
	r.again()
	if second := r.m.now().client.DeviceID; second != first || first == "" {
		t.Errorf("devices %q and %q", first, second)
	}
	if n := r.proxy.Count("POST", "/login"); n != 1 {
		t.Errorf("%d logins", n)
	}
	r.stop()
	r.cfg.Dir, r.cfg.Password = t.TempDir(), "wrong"
	m, err := New(r.cfg)
	if err != nil {
		t.Fatal(err)
	}
	err = m.Run(context.Background(), r.ear)
	var e *bot.Error
	if !errors.As(err, &e) || e.Kind != bot.Forbidden {
		t.Errorf("wrong password: %v", err)
	}
}

// Where the homeserver has ended the login and keeps the device, the password
// makes a new login of it: nobody is called, and the keys go on.
func TestSoftLogout(t *testing.T) {
	for name, token := range map[string]bool{"password": false, "token and password": true} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			if r.cfg.Password = "password of milepost"; !token {
				r.cfg.AccessToken = ""
			}
			r.start().ready()
			ann := person.New(t, person.Config{Server: r.server, Name: "ann", Encrypted: person.CanEncrypt})
			room := r.room(ann, person.CanEncrypt)
			ann.Mention(room, "before", r.user())
			r.ear.text(t, "before")
			device, old := r.m.now().client.DeviceID, r.m.now().client.AccessToken
			end := func() {
				t.Helper()
				r.proxy.Rule(func(q homeserver.Request) homeserver.Fault {
					if q.Token != old {
						return homeserver.Fault{}
					}
					return homeserver.Fault{Status: http.StatusUnauthorized, Code: "M_UNKNOWN_TOKEN", Soft: true}
				})
				ann.Mention(room, "meanwhile", r.user()) // ends the long poll
			}
			end()
			select {
			case err := <-r.ends:
				var e *bot.Error
				if !errors.As(err, &e) || e.Kind != bot.Unavailable {
					t.Fatalf("ended with %v", err)
				}
				r.ends <- nil
			case <-time.After(person.Patience):
				t.Fatal("goes on with a login that has ended")
			}
			r.again()
			r.ear.text(t, "meanwhile")
			if got := r.m.now().client; got.DeviceID != device || got.AccessToken == old {
				t.Errorf("device %q, want %q; a new token: %t", got.DeviceID, device, got.AccessToken != old)
			}
			r.again() // with the new login
			ann.Mention(room, "after", r.user())
			r.ear.text(t, "after")
			if n := r.proxy.Count("POST", "/login"); n != map[bool]int{false: 2, true: 1}[token] {
				t.Errorf("%d logins", n)
			}
			for _, in := range r.ear.all() {
				if in.Fault != "" {
					t.Errorf("not read: %s", seen([]bot.Inbound{in}))
				}
			}
		})
	}
	t.Run("no password", func(t *testing.T) {
		r := newRig(t).start().ready()
		r.stop()
		r.proxy.Fail(1000, "", "", homeserver.Fault{Status: http.StatusUnauthorized, Code: "M_UNKNOWN_TOKEN", Soft: true})
		m, err := New(r.cfg)
		if err != nil {
			t.Fatal(err)
		}
		err = m.Run(context.Background(), r.ear)
		var e *bot.Error
		if !errors.As(err, &e) || e.Kind != bot.Forbidden || !strings.Contains(err.Error(), "where it is") {
			t.Errorf("ended with %v", err)
		}
	})
}
