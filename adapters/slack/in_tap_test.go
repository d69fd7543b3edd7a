package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// What has given way is pressed on an old screen, or by a client of its own: it is
// handed on as stale, never by the value it brings.
func TestHearStaleButton(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
	sam := r.w.User("sam")
	next := bot.Outbound{Key: "k7mw2pd/9", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 9,
		Reply: promptReply("Next?", "k7mw2pd.8.yes"), Asked: bot.Asked{Ask: 8, Question: flow.QOnly}}
	if err := r.Send(t.Context(), next); err != nil {
		t.Fatal(err)
	}
	r.await("the post forgotten", func() bool {
		_, ok, err := r.state.shownAt(t.Context(), r.w.Channel("shop"), post)
		return err == nil && !ok
	})
	long := "k7mw2pd.8." + strings.Repeat("x", 1900)
	for n, value := range []string{"", "k7mw2pd.8.yes", "other01.3.yes", "rubbish", long} {
		sam.PressWith(workspace.Press{Channel: "shop", TS: post, Choice: "k7mw2pd.7.no", Stale: true, Value: value})
		if in := r.hears(2 + n)[1+n]; in.Thread != thread || in.Loose || in.Tap == "" || flow.TapJob(in.Tap) != "" || len(in.Tap) > maxTap+8 {
			t.Errorf("%q: heard %+v", value, in)
		}
	}
}

// Where nothing is noted any more the thread is found by its card, and what the
// button sends is read back.
func TestHearButtonOfALostPost(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
	for _, q := range []string{"DELETE FROM shown", "DELETE FROM sent", "DELETE FROM root"} {
		if _, err := r.state.db.ExecContext(t.Context(), q); err != nil {
			t.Fatal(err)
		}
	}
	r.w.User("sam").PressWith(workspace.Press{Channel: "shop", TS: post, Choice: "k7mw2pd.7.no", Value: "other01.3.yes"})
	if in := r.hears(2)[1]; in.Thread != thread || in.Loose || in.Tap != "k7mw2pd.7.no" || in.Job != "k7mw2pd" {
		t.Errorf("heard %+v", in)
	}
}

// A choice is taken by the number of its button, whatever a client makes of that.
func TestNumberedChoice(t *testing.T) {
	p := &post{Choices: []flow.Choice{{Send: "j.1.a"}, {Send: "j.1.b"}}}
	for action, want := range map[string]string{"choose:1": "j.1.a", "choose:2": "j.1.b", "choose:3": "", "choose:0": "", "choose:-1": "", "choose:": "",
		"choose": "", "choose:99999999999999999999": "", "form": "", "": "", "choose:1:2": "", "j.1.a": ""} {
		if c, ok := p.numbered(action); c.Send != want || ok != (want != "") {
			t.Errorf("%q is %q", action, c.Send)
		}
	}
}

// A button that is pressed before its post is noted waits for that.
func TestHearButtonBeforeItsNote(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
	p, ok, err := r.state.shownAt(t.Context(), r.w.Channel("shop"), post)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	for _, q := range []string{"DELETE FROM shown WHERE ts = ?", "UPDATE sent SET ts = '' WHERE ts = ?"} {
		if _, err := r.state.db.ExecContext(t.Context(), q, post); err != nil {
			t.Fatal(err)
		}
	}
	r.w.User("sam").Press("shop", post, "k7mw2pd.7.no")
	r.await("a try in vain", func() bool { return strings.Contains(r.log.String(), "tried again") })
	if err := r.state.outcome(t.Context(), "k7mw2pd/7", p, true); err != nil {
		t.Fatal(err)
	}
	if in := r.hears(2)[1]; in.Tap != "k7mw2pd.7.no" || in.Thread != thread {
		t.Errorf("heard %+v", in)
	}
}
