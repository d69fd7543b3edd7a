package slack

import (
	"encoding/json"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// A sign put on a question while we were away chooses when it is read back: once,
// though its event comes after all, and again once it was taken away and put anew.
func TestCatchUpSigns(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
		thread, _ := r.begins("kim")
		r.card(thread, "k7mw2pd")
		post := r.prompt(thread, "k7mw2pd", 7, "yes", "no", "not_known")
		kim, sam := r.w.User("kim"), r.w.User("sam")
		kim.React("shop", post, "one")
		r.hears(2)
		r.end()
		sam.React("shop", post, "two")
		sam.React("shop", post, "thumbsup") // means nothing
		at := tsOf(time.Now())
		time.Sleep(200 * time.Millisecond) // given up by Slack
		r.start()
		in := r.hears(3)[2]
		if in.Tap != "k7mw2pd.7.no" || in.Thread != thread || in.From != Identity(r.w.Team(), sam.ID()) {
			t.Errorf("heard %+v", in)
		}
		// Its event comes late, and it is read back again.
		r.w.Emit(map[string]any{"type": "reaction_added", "user": sam.ID(), "reaction": "two", "event_ts": at,
			"item": map[string]any{"type": "message", "channel": r.w.Channel("shop"), "ts": post}})
		r.hears(3)
		r.end()
		looks := r.looks()
		r.start()
		r.await("read back", func() bool { return r.looks() > looks })
		r.hears(3)
		// Of somebody who was erased it is not heard again.
		alex := r.w.User("alex")
		other := r.prompt(thread, "k7mw2pd", 8, "yes", "no")
		alex.React("shop", other, "one")
		r.hears(4)
		if err := r.Forget(t.Context(), bot.Forgotten{People: []bot.Identity{Identity(r.w.Team(), alex.ID())}}); err != nil {
			t.Fatal(err)
		}
		r.end()
		looks = r.looks()
		r.start()
		r.await("read back", func() bool { return r.looks() > looks })
		r.hears(4)
		if lies(t, r.cfg.Dir, alex.ID()) {
			t.Error("who was erased is named again")
		}
		// Taken away and put there anew.
		sam.Unreact("shop", post, "two")
		if un := r.hears(5)[4]; un.Delete != in.Delivery {
			t.Errorf("taken away: %+v", un)
		}
		r.end()
		sam.React("shop", post, "two")
		time.Sleep(200 * time.Millisecond)
		r.start()
		if again := r.hears(6)[5]; again.Tap != "k7mw2pd.7.no" || again.Delivery == in.Delivery {
			t.Errorf("heard %+v", again)
		}
	})
}

// Signs on a post of long ago are left alone: what is known of them is not kept so long.
func TestOldSigns(t *testing.T) {
	now := time.Now()
	for age, want := range map[time.Duration]int{signsFor - time.Minute: 1, signsFor + time.Minute: 0} {
		m := &inMessage{User: "U0MILE", TS: tsOf(now.Add(-age))}
		if err := json.Unmarshal([]byte(`[{"name":"one","users":["U0KIM","U0MILE"]},{"name":"thumbsup","users":["U0SAM"]}]`), &m.Signs); err != nil {
			t.Fatal(err)
		}
		if list, err := signsOn("T0SHOP", "C1", m, tsOf(now)); err != nil || len(list) != want {
			t.Errorf("%v old: %+v %v", age, list, err)
		}
	}
}
