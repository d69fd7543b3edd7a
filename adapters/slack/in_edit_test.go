package slack

import (
	"errors"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// Who forgot to mention us and edits it in has called us. Slack says it twice: as an
// edit, and as a mention that was edited (github.com/soxtoby/SlackNet, 69).
func TestEditCalls(t *testing.T) {
	for name, order := range map[string][]string{"edit first": {typeMessage, typeMention}, "mention first": {typeMention, typeMessage}, "edit alone": {typeMessage}} {
		t.Run(name, func(t *testing.T) {
			r := listen(t, false, workspace.Options{})
			kim, shop, us := r.w.User("kim").ID(), r.w.Channel("shop"), "<@"+r.w.App()+"> "
			const ts = "1600000001.000100" // before we were there, so that it is not read back
			base, failed := r.w.Team()+"/"+shop+"/"+ts, false
			r.ear.failing(func(in bot.Inbound) error { // a call that can't be heard is one when it is tried again
				if first := in.Edit == "" && in.Called && !failed; first {
					failed = true
					return &bot.Error{Kind: bot.Unavailable, Err: errors.New("not now")}
				}
				return nil
			})
			edit := func(was, text, at string, order ...string) {
				m := map[string]any{"type": "message", "user": kim, "text": text, "ts": ts, "edited": map[string]any{"user": kim, "ts": at}}
				for _, kind := range order {
					e := map[string]any{"type": typeMention, "channel": shop, "user": kim, "text": text, "ts": ts, "event_ts": at, "edited": m["edited"]}
					if kind == typeMessage {
						e = map[string]any{"type": typeMessage, "subtype": subChanged, "hidden": true, "channel": shop, "channel_type": "channel", "ts": at, "event_ts": at,
							"message": m, "previous_message": map[string]any{"type": "message", "user": kim, "text": was, "ts": ts}}
					}
					r.w.Emit(e)
					r.settled()
				}
			}
			r.w.Emit(map[string]any{"type": typeMessage, "channel": shop, "channel_type": "channel", "user": kim, "text": "new job Harrow", "ts": ts, "event_ts": ts})
			if in := r.hears(1)[0]; in.Called {
				t.Errorf("heard %+v", in)
			}
			edit("new job Harrow", us+"new job Harrow", "1600000002.000100", order...)
			call := r.hears(2)[1]
			if !call.Called || !call.Loose || call.Edit != "" || call.Text != "new job Harrow" || call.Delivery == base ||
				call.Begins != threadName(r.w.Team(), shop, ts) {
				t.Errorf("called by an edit: %+v", call)
			}
			if !failed {
				t.Error("it was not tried again")
			}
			// From then on its words are those of the call.
			edit(us+"new job Harrow", us+"new job Harrow Drifter", "1600000003.000100", order...)
			if in := r.hears(3)[2]; in.Edit != call.Delivery || in.Called || in.Text != "new job Harrow Drifter" {
				t.Errorf("edited again: %+v", in)
			}
			r.w.Emit(map[string]any{"type": typeMessage, "subtype": subDeleted, "channel": shop, "channel_type": "channel", "ts": "1600000004.000100", "deleted_ts": ts,
				"previous_message": map[string]any{"type": "message", "user": kim, "text": us + "new job Harrow Drifter", "ts": ts}})
			gone := r.hears(5)[3:]
			if gone[0].Delete != base || gone[1].Delete != call.Delivery {
				t.Errorf("deleted: %+v", gone)
			}
		})
	}
}

// An edit that was missed calls too; one of a message that had called does not again.
func TestEditCallsReadBack(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	kim := r.w.User("kim")
	quiet, called := kim.Say("shop", "new job Harrow"), kim.Say("shop", "@milepost new job Harrow")
	r.hears(2)
	r.end()
	kim.Edit("shop", quiet, "@milepost new job Harrow")
	kim.Edit("shop", called, "@milepost new job Harrow Drifter")
	r.again()
	base := r.w.Team() + "/" + r.w.Channel("shop") + "/"
	for _, in := range r.hears(4)[2:] {
		if call := in.Called && in.Edit == "" && in.Text == "new job Harrow"; !call && (in.Edit != base+called || in.Called) {
			t.Errorf("heard %+v", in)
		}
	}
	looks := r.looks()
	r.end()
	r.again() // it is no deletion, nor a lost file, when it is read back once more
	r.await("read back", func() bool { return r.looks() > looks })
	r.hears(4)
}
