package workspace_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/coder/websocket"

	"milepost/adapters/slack/workspace"
)

func TestSocketEnvelopes(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	ts := a.w.User("kim").Say("shop", "@milepost 60 < 65")
	m, mention := a.await("message", 1)[0], a.await("app_mention", 1)[0]
	if m.Type != "events_api" || m.Accepts || m.Attempt != 0 || m.eventID() == mention.eventID() || m.ID == mention.ID {
		t.Errorf("envelopes %+v %+v", m, mention)
	}
	for _, f := range []frame{m, mention} {
		if f.event()["ts"] != ts || f.event()["text"] != "<@U0MILE> 60 &lt; 65" {
			t.Errorf("event %v", f.event())
		}
	}
	if !a.w.Settle(workspace.Patience) {
		t.Error("not settled")
	}
	if acks := a.w.Acks(); len(acks) != 2 || !acks[0].OK || acks[0].Took <= 0 || acks[0].Took > time.Second {
		t.Errorf("acks %+v", acks)
	}
}

func TestSocketURLOnce(t *testing.T) {
	a := newApp(t, workspace.Options{TicketLife: 200 * time.Millisecond})
	link := a.callWith(a.w.AppToken(), "apps.connections.open", nil)["url"].(string)
	conn, _, err := websocket.Dial(context.Background(), link, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.CloseNow()
	if _, _, err := websocket.Dial(context.Background(), link, nil); err == nil {
		t.Error("a URL worked twice")
	}
	a.forgive("used twice", 1)
	link = a.callWith(a.w.AppToken(), "apps.connections.open", nil)["url"].(string)
	time.Sleep(220 * time.Millisecond)
	if _, _, err := websocket.Dial(context.Background(), link, nil); err == nil {
		t.Error("a stale URL worked")
	}
	a.forgive("too late", 1)
	if _, _, err := websocket.Dial(context.Background(), strings.Replace(link, "ticket=", "ticket=x", 1), nil); err == nil {
		t.Error("an invented URL worked")
	}
	a.forgive("unknown socket URL", 1)
}

func TestRedelivery(t *testing.T) {
	a := newApp(t, workspace.Options{AckTimeout: 60 * time.Millisecond, Retries: []time.Duration{0, 20 * time.Millisecond, 40 * time.Millisecond}})
	a.open()
	a.answer(func(f frame) (bool, any) { return false, nil })
	a.w.User("kim").Say("shop", "hello")
	all := a.await("message", 4)
	ids := map[string]bool{}
	for i, f := range all {
		ids[f.ID] = true
		if f.Attempt != i || f.eventID() != all[0].eventID() || i > 0 && f.Reason != "timeout" {
			t.Errorf("attempt %d: %+v", i, f)
		}
	}
	if len(ids) != 4 {
		t.Errorf("%d envelope ids for 4 attempts", len(ids))
	}
	if !a.w.Settle(workspace.Patience) || len(a.got("message")) != 4 {
		t.Errorf("never given up, or tried %d times", len(a.got("message")))
	}
	if l := a.w.LostDeliveries(); len(l) != 1 || l[0].Name != "message" {
		t.Errorf("lost %+v", l)
	}
	a.forgive("not acknowledged within", 4)
	a.ack(all[0], nil)
	a.w.Await(workspace.Patience, func() bool { return len(a.w.Broken()) > 0 })
	a.forgive("acknowledged after", 1)
}

func TestLostAcknowledgement(t *testing.T) {
	a := newApp(t, workspace.Options{AckTimeout: 200 * time.Millisecond})
	a.open()
	a.w.LoseAcks(1)
	a.w.User("kim").Say("shop", "hello")
	if all := a.await("message", 2); all[1].Attempt != 1 || all[0].eventID() != all[1].eventID() {
		t.Errorf("%+v", all)
	}
	a.w.Settle(workspace.Patience)
	if l := a.w.LostDeliveries(); len(l) != 0 {
		t.Errorf("lost %+v", l)
	}
}

func TestCutSocketDeliversAgain(t *testing.T) {
	a := newApp(t, workspace.Options{Retries: []time.Duration{50 * time.Millisecond, 50 * time.Millisecond}})
	a.open()
	a.answer(func(f frame) (bool, any) { return f.Attempt > 0, nil })
	a.w.User("kim").Say("shop", "hello")
	a.await("message", 1)
	a.w.CutSockets()
	a.open()
	if all := a.await("message", 2); all[1].Attempt == 0 || all[1].Reason != "connection_failed" {
		t.Errorf("%+v", all[1])
	}
	a.w.Settle(workspace.Patience)
}

func TestOutageLosesEvents(t *testing.T) {
	a := newApp(t, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
	a.w.User("kim").Say("shop", "hello")
	if !a.w.Settle(workspace.Patience) || len(a.w.LostDeliveries()) != 1 {
		t.Errorf("lost %+v", a.w.LostDeliveries())
	}
	r := a.fine(a.call("conversations.history", map[string]string{"channel": a.w.Channel("shop")}))
	if m := r["messages"].([]any); len(m) != 1 || m[0].(map[string]any)["text"] != "hello" {
		t.Errorf("history %v", m)
	}
}

func TestDeliveryFaults(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	kim := a.w.User("kim")
	texts := func() (list []string) {
		for _, f := range a.got("message") {
			list = append(list, fmt.Sprint(f.event()["text"]))
		}
		return list
	}
	a.w.Duplicate(1)
	kim.Say("shop", "1")
	if all := a.await("message", 2); all[0].eventID() != all[1].eventID() || all[0].ID == all[1].ID || all[1].Attempt != 0 {
		t.Errorf("duplicate %+v", all)
	}
	a.w.Reorder(3)
	for _, s := range []string{"2", "3", "4"} {
		kim.Say("shop", s)
	}
	a.await("message", 5)
	a.w.Hold(150 * time.Millisecond)
	kim.Say("shop", "5")
	kim.Say("shop", "6")
	a.await("message", 7)
	a.w.DropEvents(1)
	kim.Say("shop", "7")
	kim.Say("shop", "8")
	a.await("message", 8)
	if got := strings.Join(texts(), ""); got != "11432658" {
		t.Errorf("order %s", got)
	}
	a.w.Reorder(5)
	kim.Say("shop", "9")
	a.w.Heal()
	a.await("message", 9)
}

func TestManySockets(t *testing.T) {
	a := newApp(t, workspace.Options{NoRateLimit: true})
	for range 10 {
		a.open()
	}
	a.w.Await(workspace.Patience, func() bool { return a.w.Sockets() == 10 })
	for i := range 60 {
		a.w.User("kim").Say("shop", fmt.Sprint(i))
	}
	all := a.await("message", 60)
	used := map[*websocket.Conn]int{}
	seen := map[string]bool{}
	for _, f := range all {
		used[f.sock]++
		seen[f.eventID()] = true
	}
	if len(used) < 5 || len(seen) != 60 {
		t.Errorf("%d sockets used, %d events", len(used), len(seen))
	}
	link := a.callWith(a.w.AppToken(), "apps.connections.open", nil)["url"].(string)
	conn, _, err := websocket.Dial(context.Background(), link, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.CloseNow()
	if _, raw, _ := conn.Read(context.Background()); !strings.Contains(string(raw), "too_many_websockets") {
		t.Errorf("eleventh socket: %s", raw)
	}
	a.forgive("more than 10 sockets", 1)
}

func TestDisconnect(t *testing.T) {
	a := newApp(t, workspace.Options{})
	a.open()
	a.w.Disconnect("warning", true)
	a.w.User("kim").Say("shop", "still here")
	a.await("message", 1)
	a.open()
	a.w.Await(workspace.Patience, func() bool { return a.w.Sockets() == 2 })
	a.w.Disconnect("refresh_requested", false)
	a.w.User("kim").Say("shop", "on the other")
	a.await("message", 2)
	if !a.w.Await(workspace.Patience, func() bool { return a.w.Sockets() == 1 }) {
		t.Error("refreshed socket stayed open")
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	var why []string
	for _, f := range a.frames {
		if f.Type == "disconnect" {
			why = append(why, f.Why)
		}
	}
	if !slices.Equal(why, []string{"warning", "refresh_requested"}) {
		t.Errorf("reasons %v", why)
	}
}

func TestBadAcknowledgements(t *testing.T) {
	a := newApp(t, workspace.Options{})
	conn := a.open()
	write := func(s string) { conn.Write(context.Background(), websocket.MessageText, []byte(s)) }
	broken := func(words string, n int) {
		t.Helper()
		a.w.Await(workspace.Patience, func() bool { return len(a.w.Broken()) >= n })
		a.forgive(words, n)
	}
	write("hello")
	write(`{}`)
	broken("no acknowledgement", 2)
	write(`{"envelope_id":"none"}`)
	broken("unknown envelope", 1)
	write(`{"envelope_id":"none","payload":"` + strings.Repeat("x", 20*1024) + `"}`)
	broken("without a word", 1)
	a.answer(func(f frame) (bool, any) { return true, map[string]any{"text": "x"} })
	a.w.User("kim").Say("shop", "hello")
	a.await("message", 1)
	broken("with a payload", 1)
	a.ack(a.got("message")[0], nil)
	broken("acknowledged twice", 1)
}

func TestPings(t *testing.T) {
	pinged := make(chan bool, 100)
	w := workspace.New(t, workspace.Options{PingEvery: 10 * time.Millisecond})
	a := &app{t: t, w: w}
	link := a.callWith(w.AppToken(), "apps.connections.open", nil)["url"].(string)
	conn, _, err := websocket.Dial(context.Background(), link, &websocket.DialOptions{OnPingReceived: func(context.Context, []byte) bool {
		pinged <- true
		return true
	}})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.CloseNow()
	go func() {
		for {
			if _, _, err := conn.Read(context.Background()); err != nil {
				return
			}
		}
	}()
	for range 3 {
		select {
		case <-pinged:
		case <-time.After(workspace.Patience):
			t.Fatal("no ping")
		}
	}
	if w.Sockets() != 1 {
		t.Error("socket lost")
	}
}

func TestInteractionsAreNotRepeated(t *testing.T) {
	a := newApp(t, workspace.Options{AckTimeout: 150 * time.Millisecond, Retries: []time.Duration{0, 0, 0}})
	a.open()
	ts := a.post("shop", "", "Ready?", map[string]string{"blocks": button})
	a.w.Settle(workspace.Patience)
	a.answer(func(f frame) (bool, any) { return f.Type == "events_api", nil })
	if got := a.w.User("kim").Press("shop", ts, "Go on"); got.Err != "timeout" {
		t.Errorf("answer %+v", got)
	}
	if got := a.w.User("kim").Command("shop", "/milepost", "status"); got.Err != "timeout" {
		t.Errorf("answer %+v", got)
	}
	time.Sleep(180 * time.Millisecond)
	if len(a.got("block_actions")) != 1 || len(a.got("/milepost")) != 1 {
		t.Error("repeated")
	}
	a.forgive("not acknowledged within", 2)
}
