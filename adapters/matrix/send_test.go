package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/flow"
)

const sendPath = "/send/"

// The same key is one message: again, after a restart of the assistant, of the
// homeserver, of both; its reactions and its card too.
func TestSameKeyOnce(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		card := j.out(1, flow.Card, "unit 14")
		ask := j.out(2, flow.Prompt, "Only in this module?", "yes", "no")
		for _, again := range []struct {
			name string
			do   func()
		}{
			{"at first", func() {}},
			{"at once", func() {}},
			{"assistant started again", func() { j.stop(); j.start() }},
			{"homeserver started again", func() { s.Restart(t) }},
			{"both", func() { j.stop(); s.Restart(t); j.start() }},
		} {
			again.do()
			j.insist(card)
			j.insist(ask)
			all := j.seen()
			if len(all) != 2 {
				t.Fatalf("%s: two messages are wanted:\n%s", again.name, person.Dump(all))
			}
			if r := all[1].Reactions; len(r) != 2 || r[0].Key != "1️⃣" || r[1].Key != "2️⃣" {
				t.Errorf("%s: reactions %v", again.name, r)
			}
			if all[0].Root != "" || all[0].ReplyTo != j.begins {
				t.Errorf("%s: the card is to answer the message that began the job, in the main line:\n%s", again.name, person.Dump(all))
			}
			if all[1].Root != all[0].ID {
				t.Errorf("%s: the thread is to hang on the card:\n%s", again.name, person.Dump(all))
			}
		}
	})
}

// Answers get lost: what the server has taken is found, and not sent again,
// whatever becomes of assistant and homeserver in between.
func TestLostAnswer(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		proxy := homeserver.NewProxy(t, s)
		j := newJob(t, s, proxy.URL(), "milepost", encrypted)
		lost := func(out bot.Outbound, between func()) {
			t.Helper()
			proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Lose: true})
			err := j.try(out)
			var e *bot.Error
			if !errors.As(err, &e) || e.Kind != bot.Unavailable {
				t.Fatalf("send with its answer lost: %v, want unavailable", err)
			}
			between()
			j.insist(out)
		}
		none := func() {}
		lost(j.out(1, flow.Card, "unit 14"), none)
		lost(j.out(2, flow.Notice, "lost at once"), none)
		lost(j.out(3, flow.Notice, "lost and started again"), func() { j.stop(); j.start() })
		lost(j.out(4, flow.Notice, "lost and homeserver started again"), func() { s.Restart(t) })
		lost(j.out(5, flow.Notice, "lost and all started again"), func() { j.stop(); s.Restart(t); j.start() })
		lost(j.out(6, flow.Card, "unit 14, backup"), none)
		loose := j.out(7, flow.Notice, "lost in the main line")
		loose.Thread, loose.Job = bot.Thread(j.room), ""
		lost(loose, func() { s.Restart(t) })
		all := j.seen()
		if len(all) != 6 {
			t.Fatalf("six messages are wanted, each once:\n%s", person.Dump(all))
		}
		if !all[0].Edited || all[0].Body != "unit 14, backup" {
			t.Errorf("the card reads %q", all[0].Body)
		}
	})
}

// A server goes on with what its caller has given up, and has lost its note of the
// transaction: the message is looked for until it can only be lost.
func TestGivenUpTooSoon(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		proxy := homeserver.NewProxy(t, s)
		j := newJob(t, s, proxy.URL(), "milepost", encrypted)
		j.insist(j.out(1, flow.Card, "unit 14"))
		late := func(out bot.Outbound, between func()) {
			t.Helper()
			proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Late: settleWait / 2})
			if err := j.try(out); err == nil {
				t.Fatal("a request that was cut has passed")
			}
			between()
			j.insist(out)
		}
		late(j.out(2, flow.Notice, "late"), func() {})
		late(j.out(3, flow.Notice, "late, and started again"), func() { j.stop(); j.start() })
		time.Sleep(settleWait) // what comes late is there by then
		j.insist(j.out(4, flow.Notice, "last"))
		if all := j.seen(); len(all) != 4 {
			t.Fatalf("four messages are wanted, each once:\n%s", person.Dump(all))
		}
	})
}

// Told to stop while a message is on its way: its answer is waited for.
func TestStopWhileSending(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	j.insist(j.out(1, flow.Card, "unit 14"))
	proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Delay: 300 * time.Millisecond})
	ctx, stop := context.WithCancel(context.Background())
	time.AfterFunc(100*time.Millisecond, stop)
	if err := j.m.Send(ctx, j.out(2, flow.Notice, "on its way")); err != nil {
		t.Errorf("send: %v", err)
	}
	if n := proxy.Count(http.MethodPut, sendPath); n != 2 {
		t.Errorf("%d requests for two messages", n)
	}
}

// Lost reactions are not put twice, and hold nothing up: the message is out
// without them.
func TestLostReaction(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	j.send(j.out(1, flow.Card, "unit 14"))
	proxy.Fail(1, http.MethodPut, "m.reaction", homeserver.Fault{Lose: true})
	out := j.out(2, flow.Prompt, "Which?", "a", "b", "c", "d")
	j.send(out)
	if n := proxy.Count(http.MethodPut, "m.reaction"); n != 1 {
		t.Errorf("%d reactions tried, want none behind the one that failed", n)
	}
	j.stop()
	s.Restart(t)
	j.start()
	j.insist(out)
	e := j.only("Which?\n1. a\n2. b\n3. c\n4. d")
	if len(e.Reactions) != 3 {
		t.Errorf("reactions %v", e.Reactions)
	}
	// A room in which reactions are not allowed has the numbers.
	proxy.Rule(func(r homeserver.Request) homeserver.Fault {
		if strings.Contains(r.Path, "m.reaction") {
			return homeserver.Fault{Status: 403, Code: "M_FORBIDDEN"}
		}
		return homeserver.Fault{}
	})
	j.send(j.out(3, flow.Prompt, "And now?", "yes", "no"))
	if e := j.only("And now?\n1. yes\n2. no"); len(e.Reactions) != 0 {
		t.Errorf("reactions %v", e.Reactions)
	}
}

// What the server answers becomes what the outbox acts on.
func TestSendFaults(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	j.send(j.out(1, flow.Card, "unit 14"))
	for i, c := range []struct {
		name  string
		fault homeserver.Fault
		kind  bot.Kind
		after time.Duration
	}{
		{"429 with a wait", homeserver.Fault{Status: 429, RetryAfter: 3 * time.Second}, bot.Unavailable, 3 * time.Second},
		{"429 without", homeserver.Fault{Status: 429}, bot.Unavailable, 0},
		{"502", homeserver.Fault{Status: 502}, bot.Unavailable, 0},
		{"500", homeserver.Fault{Status: 500}, bot.Unavailable, 0},
		{"403 of a proxy", homeserver.Fault{Status: 403}, bot.Unavailable, 0},
		{"403", homeserver.Fault{Status: 403, Code: "M_FORBIDDEN"}, bot.Conflict, 0},
		{"400", homeserver.Fault{Status: 400, Code: "M_BAD_JSON"}, bot.Invalid, 0},
		{"token gone", homeserver.Fault{Status: 401, Code: "M_UNKNOWN_TOKEN"}, bot.Unavailable, 0},
		{"connection cut", homeserver.Fault{Cut: true}, bot.Unavailable, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := "after " + c.name
			out := j.out(10+i, flow.Notice, text)
			proxy.Fail(1, http.MethodPut, sendPath, c.fault)
			err := j.try(out)
			var e *bot.Error
			if !errors.As(err, &e) || e.Kind != c.kind {
				t.Fatalf("%v, want %s", err, c.kind)
			}
			var asked interface{ RetryAfter() time.Duration }
			if errors.As(err, &asked) != (c.fault.Status == 429) || asked != nil && asked.RetryAfter() != c.after {
				t.Errorf("asked to wait: %v", asked)
			}
			j.send(out)
			j.only(text)
		})
	}
	t.Run("kicked", func(t *testing.T) {
		j.kim.Kick(j.room, j.user())
		var e *bot.Error
		if err := j.try(j.out(30, flow.Notice, "to nobody")); !errors.As(err, &e) || e.Kind != bot.Conflict || !strings.Contains(err.Error(), "not in the room") {
			t.Errorf("%v, want conflict, and why", err)
		}
		if err := j.try(j.out(31, flow.Card, "to nobody")); !errors.As(err, &e) || e.Kind != bot.Conflict {
			t.Errorf("a card: %v, want conflict", err)
		}
	})
	t.Run("no thread of ours", func(t *testing.T) {
		for _, thread := range []bot.Thread{"", "C123/45", "room/$e", "!r/e"} {
			out := j.out(40, flow.Notice, "x")
			out.Thread = thread
			var e *bot.Error
			if err := j.try(out); !errors.As(err, &e) || e.Kind != bot.Invalid {
				t.Errorf("thread %q: %v, want invalid", thread, err)
			}
		}
	})
}

// Nothing is sent before it is known what the server has.
func TestSendWaitsForSync(t *testing.T) {
	m, err := New(Config{Homeserver: "http://127.0.0.1:1", User: "@m:localhost", AccessToken: "x", Dir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	var e *bot.Error
	if err := m.Send(ctx, said(flow.Notice, "x")); !errors.As(err, &e) || e.Kind != bot.Unavailable {
		t.Errorf("%v, want unavailable", err)
	}
}

// Threads: where each message stands, and what it says of that in clear.
func TestThreads(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		desk := j.out(1, flow.Notice, "said before there is a job")
		desk.Job = ""
		j.send(desk)
		if e := j.only("said before there is a job"); e.Root != "" || e.ReplyTo != j.begins {
			t.Errorf("without a root it is an answer in the main line: %+v", e)
		}
		alert := j.out(2, flow.Notice, "said to the room")
		alert.Thread = bot.Thread(j.room)
		j.send(alert)
		if e := j.only("said to the room"); e.Root != "" || e.ReplyTo != "" {
			t.Errorf("a room's main line: %+v", e)
		}
		j.send(j.out(3, flow.Card, "unit 14 · open"))
		root := j.only("unit 14 · open")
		j.send(j.out(4, flow.Notice, "first"))
		answer := j.kim.SayInThread(j.room, root.ID, "an answer")
		for d := range j.heard {
			if d == answer.String() {
				break
			}
		}
		j.send(j.out(5, flow.Notice, "second"))
		rel, _ := j.only("second").Content["m.relates_to"].(map[string]any)
		to, _ := rel["m.in_reply_to"].(map[string]any)
		if rel["rel_type"] != "m.thread" || rel["event_id"] != root.ID.String() || rel["is_falling_back"] != true || to["event_id"] != answer.String() {
			t.Errorf("relation %v, want the thread %s, and %s for clients without", rel, root.ID, answer)
		}
		j.send(j.out(6, flow.Card, "unit 14 · backup"))
		if e := j.only("unit 14 · backup"); e.ID != root.ID || !e.Edited {
			t.Errorf("the card is to be changed in place: %+v", e)
		}
		raw := j.raw(j.only("second").ID)
		if encrypted != (raw.Type.Type == "m.room.encrypted") {
			t.Errorf("the message is a %s", raw.Type.Type)
		}
		if rel := relation(raw); rel.GetThreadParent() != root.ID || rel.GetReplyTo() != answer {
			t.Errorf("in clear it says of its thread %+v", rel)
		}
		if e := j.raw(root.ID); relation(e).GetReplyTo() != j.begins || encrypted && strings.Contains(string(e.Content.VeryRaw), "unit 14") {
			t.Errorf("the card in clear: %s", e.Content.VeryRaw)
		}
	})
}

// raw gives an event as the server has it.
func (j *job) raw(ev id.EventID) *event.Event {
	j.t.Helper()
	e, err := j.kim.Client.GetEvent(context.Background(), j.room, ev)
	if err != nil {
		j.t.Fatal(err)
	}
	return e
}

// A room is encrypted between two tries: the message stands there once, and what
// had not come is encrypted.
func TestTurnsEncrypted(t *testing.T) {
	if !hasEncryption {
		t.Skip("needs the build tag goolm")
	}
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	st := newStation(t, s, proxy.URL(), "milepost", true)
	j := &job{station: st, kim: person.JoinEncrypted(t, s, "kim")}
	j.room = j.kim.CreateRoom("bay", false, j.user())
	j.joined()
	j.begin("new job unit 14")
	j.send(j.out(1, flow.Card, "unit 14"))
	taken, cut := j.out(2, flow.Notice, "taken in clear"), j.out(3, flow.Notice, "never came in clear")
	proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Lose: true})
	if j.try(taken) == nil {
		t.Fatal("the answer was lost")
	}
	proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Cut: true})
	if j.try(cut) == nil {
		t.Fatal("the request was cut")
	}
	j.kim.TurnEncrypted(j.room)
	for end := time.Now().Add(person.Patience); ; time.Sleep(10 * time.Millisecond) {
		if yes, err := j.m.now().state.isEncrypted(t.Context(), j.room.String()); err != nil || yes {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the assistant does not notice that the room is encrypted")
		}
	}
	j.insist(taken)
	j.insist(cut)
	if e := j.only("taken in clear"); e.Encrypted {
		t.Error("it was out before the room was encrypted")
	}
	if e := j.only("never came in clear"); !e.Encrypted {
		t.Error("a plain message in an encrypted room")
	}
	j.insist(j.out(4, flow.Card, "unit 14, later"))
	if e := j.seen()[0]; e.Body != "unit 14, later" {
		t.Errorf("the card reads %q", e.Body)
	}
}

// No plain word goes into an encrypted room, whatever is lost.
func TestNeverPlain(t *testing.T) {
	if !hasEncryption {
		t.Skip("needs the build tag goolm")
	}
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", true)
	j.send(j.out(1, flow.Card, "unit 14"))
	j.send(j.out(2, flow.Prompt, "before", "yes"))

	lose := func() {
		j.stop()
		files, err := filepath.Glob(filepath.Join(j.cfg.Dir, stateFile+"*"))
		if err != nil || len(files) == 0 {
			t.Fatal("no state to lose")
		}
		for _, f := range files {
			if err := os.Remove(f); err != nil {
				t.Fatal(err)
			}
		}
		j.start()
	}
	lose()
	// The first sync has told of it; as if it had not.
	if err := j.m.now().know(t.Context(), j.room.String()); err != nil {
		t.Fatal(err)
	}
	if _, err := j.m.now().state.db.Exec("UPDATE room SET encrypted = 0"); err != nil {
		t.Fatal(err)
	}
	proxy.Rule(homeserver.Times(1, http.MethodGet, "/state/m.room.encryption", homeserver.Fault{Status: 500}))
	if err := j.try(j.out(3, flow.Notice, "while nobody knows")); err == nil {
		t.Fatal("sent without knowing whether the room is encrypted")
	}
	j.insist(j.out(3, flow.Notice, "while nobody knows"))
	j.insist(j.out(2, flow.Prompt, "before", "yes"))
	j.insist(j.out(4, flow.Card, "unit 14, later"))
	lose()
	j.insist(j.out(5, flow.Notice, "after all was lost"))

	j.stop()
	j.cfg.Encryption = false
	j.start()
	var e *bot.Error
	if err := j.try(j.out(6, flow.Notice, "without encryption")); !errors.As(err, &e) || e.Kind != bot.Invalid {
		t.Errorf("without encryption: %v, want invalid", err)
	}
	all := j.seen()
	for _, e := range all {
		if !e.Encrypted {
			t.Errorf("a plain message in an encrypted room: %q", e.Body)
		}
	}
	if len(all) != 4 || all[0].Body != "unit 14, later" || all[2].Root != all[0].ID || all[3].Root != all[0].ID {
		t.Errorf("four messages are wanted, one thread:\n%s", person.Dump(all))
	}
}

// Who is in a room was forgotten in between: they are asked for, and all can read.
func TestMembersForgotten(t *testing.T) {
	if !hasEncryption {
		t.Skip("needs the build tag goolm")
	}
	s := homeserver.Start(t, homeserver.Options{})
	j := newJob(t, s, s.URL(), "milepost", true)
	j.send(j.out(1, flow.Card, "unit 14"))
	if err := j.m.now().store.ClearCachedMembers(t.Context(), j.room); err != nil {
		t.Fatal(err)
	}
	j.send(j.out(2, flow.Notice, "to all who are there"))
	j.only("to all who are there")
}

// The state is lost: what is out is not said again, and the thread is found,
// near and far back.
func TestStateLost(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	j := newJob(t, s, s.URL(), "milepost", false)
	j.send(j.out(1, flow.Card, "unit 14"))
	j.send(j.out(2, flow.Notice, "once"))
	lose := func() {
		j.stop()
		j.cfg.Dir = t.TempDir()
		s.Restart(t) // it knows transactions only while it runs
		j.start()
	}
	lose()
	j.send(j.out(3, flow.Notice, "after it"))
	j.send(j.out(2, flow.Notice, "once"))
	j.send(j.out(1, flow.Card, "unit 14"))
	root := j.only("unit 14")
	if e := j.only("after it"); e.Root != root.ID {
		t.Errorf("the thread was not found: %+v", e)
	}
	j.only("once")
	for i := range 2 * pageSize {
		j.kim.Say(j.room, fmt.Sprint("chatter ", i))
	}
	lose()
	j.send(j.out(3, flow.Notice, "after it"))
	j.send(j.out(2, flow.Notice, "once"))
	j.send(j.out(4, flow.Notice, "long after it"))
	j.send(j.out(5, flow.Card, "unit 14, later"))
	j.only("after it")
	j.only("once")
	if e := j.only("long after it"); e.Root != root.ID {
		t.Errorf("the thread was not found far back: %+v", e)
	}
	if e := j.only("unit 14, later"); e.ID != root.ID {
		t.Errorf("a second card: %+v", e)
	}
}

// Long words come as a file, with their beginning; so does what the server finds
// too long.
func TestLongWords(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		proxy := homeserver.NewProxy(t, s)
		j := newJob(t, s, proxy.URL(), "milepost", encrypted)
		j.send(j.out(1, flow.Card, "unit 14"))
		long := "The first paragraph.\n\n" + strings.Repeat("a line of <many> & more\n", 3000) + "end"
		j.send(j.out(2, flow.Result, long))
		j.send(j.out(2, flow.Result, long))
		just := strings.Repeat("x", maxWords-10) + " it fits"
		j.send(j.out(3, flow.Result, just))
		proxy.Fail(1, http.MethodPut, sendPath, homeserver.Fault{Status: 413, Code: "M_BAD_JSON"})
		j.send(j.out(4, flow.Result, "short, and refused all the same"))
		all := j.seen()
		if len(all) != 6 {
			t.Fatalf("six messages are wanted:\n%s", person.Dump(all))
		}
		if all[1].Body != "The first paragraph.\nk7mw2pd-2.txt" || all[2].File == nil || all[2].File.Name != "k7mw2pd-2.txt" {
			t.Fatalf("got\n%s", person.Dump(all[1:3]))
		}
		if got, err := all[2].File.Download(); err != nil || string(got) != long {
			t.Errorf("the file holds %d bytes, %v; want the %d of the text", len(got), err, len(long))
		}
		if all[3].Body != just {
			t.Errorf("%d bytes in words, want %d", len(all[3].Body), len(just))
		}
		if all[4].Body != "short, and refused all the same\nk7mw2pd-4.txt" || all[5].File == nil {
			t.Errorf("got\n%s", person.Dump(all[4:]))
		}
		for _, e := range all {
			if e.File != nil && (e.Root != all[0].ID || e.File.Encrypted != encrypted) {
				t.Errorf("the file stands in %q, encrypted %v", e.Root, e.File.Encrypted)
			}
		}
	})
}

// The first answer in an encrypted room goes to devices to which there is no way
// yet: nothing to warn of.
func TestFirstAnswerWarnsOfNothing(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	j := newJob(t, s, s.URL(), "milepost", true)
	sam := person.JoinEncrypted(t, s, "sam") // who has not written yet
	j.kim.Invite(j.room, sam.ID)
	j.kim.WaitJoined(j.room, sam.ID)
	j.stop()
	log := &lines{}
	j.cfg.Log = slog.New(slog.NewTextHandler(log, nil))
	j.start()
	j.send(j.out(1, flow.Notice, "the first"))
	sam.WaitFor(j.room, j.user(), "the first")
	if n := log.count("level=WARN"); n != 0 {
		t.Errorf("%d warnings:\n%s", n, log.b.String())
	}
}
