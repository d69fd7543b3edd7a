package slack

import (
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

func TestHearMessage(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		ts := r.w.User("kim").Say("shop", "@milepost Harrow Drifter, 60 < 65 & rising")
		in := r.hears(1)[0]
		c := r.w.Channel("shop")
		if want := bot.Thread(r.w.Team() + "/" + c + "/" + ts); in.Thread != want || !in.Loose || !in.Called {
			t.Errorf("thread %q, loose %v, called %v; want %q and both", in.Thread, in.Loose, in.Called, want)
		}
		if in.Text != "Harrow Drifter, 60 < 65 & rising" || in.Name != "kim" || in.From != Identity(r.w.Team(), "U0KIM") || in.Room != r.w.Team()+"/"+c ||
			in.Delivery != r.w.Team()+"/"+c+"/"+ts || in.SentAt.IsZero() {
			t.Errorf("heard %+v", in)
		}
	})
}
