package matrix

import (
	"context"
	"testing"
	"time"

	"milepost/adapters/matrix/person"
	"milepost/bot"
)

// The server has our question, and we have not had its answer: a reaction to it
// waits until it is noted what the question offers.
func TestTapBeforeNoted(t *testing.T) {
	m := quiet(t)
	spoken(t, m)
	hear := func(to, key string) ([]bot.Inbound, error) {
		evt := parse(t, react(to, key))
		evt.RoomID = "!work:shop.example"
		return m.hear(context.Background(), evt, relation(evt))
	}
	for _, to := range []string{"$hint", "$fresh"} {
		for _, key := range []string{"1️⃣", "👍🏽", "❌"} {
			if ins, err := hear(to, key); err == nil || !transient(err) {
				t.Errorf("%s to %s: %v, %v; want an error that passes", key, to, ins, err)
			}
		}
	}
	for _, c := range [][2]string{{"$hint", "🎉"}, {"$hint", "0"}, {"$his", "1"}, {"$farhint", "1"}, {"$nothing", "1"}} {
		if ins, err := hear(c[0], c[1]); err != nil || len(ins) != 0 {
			t.Errorf("%s to %s: %v, %v", c[1], c[0], ins, err)
		}
	}
	if err := m.state.shownAs(context.Background(), "$hint", inWork, "j1", `[{"label":"Yes","send":"j1.3.yes"}]`); err != nil {
		t.Fatal(err)
	}
	if ins, err := hear("$hint", "1"); err != nil || len(ins) != 1 || ins[0].Tap != "j1.3.yes" || ins[0].Job != "j1" {
		t.Errorf("once noted: %v, %v", ins, err)
	}
	m.out.since = time.Now().Add(-2 * tapWait)
	if ins, err := hear("$fresh", "1"); err != nil || len(ins) != 0 {
		t.Errorf("after a while: %v, %v", ins, err)
	}
}

func TestTapBeforeNotedIsTriedAgain(t *testing.T) {
	r := newRig(t).start().ready()
	anna := person.New(t, person.Config{Server: r.server, Name: "anna"})
	room := r.room(anna, false)
	now, ctx := r.m.now(), context.Background()
	res, err := now.client.SendMessageEvent(ctx, room, eventMessage, map[string]any{"msgtype": "m.text", "body": "1 Yes"})
	if err != nil {
		t.Fatal(err)
	}
	at := anna.React(room, res.EventID, "1️⃣")
	for limit := time.Now().Add(person.Patience); ; time.Sleep(10 * time.Millisecond) {
		sender, _, err := now.state.senderOf(ctx, string(at))
		if err != nil || time.Now().After(limit) {
			t.Fatalf("the reaction did not come: %v", err)
		}
		if sender != "" {
			break
		}
	}
	anna.Say(room, "beside it")
	time.Sleep(300 * time.Millisecond) // for a first try
	if err := now.state.shownAs(ctx, string(res.EventID), string(threadName(string(room), "$x")), "j1", `[{"label":"Yes","send":"j1.3.yes"}]`); err != nil {
		t.Fatal(err)
	}
	r.ear.wait(t, 1, func(in bot.Inbound) bool { return in.Tap == "j1.3.yes" })
	r.ear.text(t, "beside it")
}
