package slack

import (
	"errors"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// What waits, what can't be read, what is put aside and when Slack was last heard
// can be seen from outside.
func TestInboxFigures(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := newRig(t, http, workspace.Options{})
		now := func(what string, is func(bot.Inbox) bool) {
			t.Helper()
			r.await(what, func() bool { in, err := r.Slack.Inbox(t.Context()); return err == nil && is(in) })
		}
		begin := time.Now()
		r.ear.failing(func(in bot.Inbound) error {
			switch in.Text {
			case "not now":
				return &bot.Error{Kind: bot.Unavailable, Err: errors.New("the disk is full")}
			case "never":
				return &bot.Error{Kind: bot.Internal, Err: errors.New("broken")}
			}
			return nil
		})
		r.begin()
		now("nothing yet", func(in bot.Inbox) bool {
			return in == bot.Inbox{Contact: in.Contact} && in.Contact.After(begin) && !in.Contact.After(time.Now())
		})
		before, err := r.Slack.Inbox(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		kim := r.w.User("kim")
		kim.Say("shop", "@milepost not now")
		kim.Say("shop", "@milepost not now")
		r.w.User("sam").Say("shop", "@milepost never")
		now("two wait, one is put aside", func(in bot.Inbox) bool {
			return in.Waiting == 2 && in.Aside == 1 && in.Unread == 0 && in.Contact.After(before.Contact)
		})
		if http {
			if status, _, err := r.w.Forge(workspace.Forgery{URL: "http://" + r.addr() + PathEvents, Body: []byte("[]")}); status != 200 || err != nil {
				t.Fatal(status, err)
			}
			now("one can't be read", func(in bot.Inbox) bool { return in.Unread == 1 && in.Waiting == 2 })
		}
		r.end()
		ended := time.Now()
		in, err := r.Slack.Inbox(t.Context())
		var e *bot.Error
		if !errors.As(err, &e) || e.Kind != bot.Unavailable || in.Contact.Before(before.Contact) || in.Contact.After(ended) {
			t.Errorf("when it has ended: %+v, %v", in, err)
		}
	})
}

// Without a connection the last contact is what was before it.
func TestContactStandsWhileCutOff(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.w.Down()
	r.await("not connected", func() bool { return r.Slack.Ready() != nil })
	first, err := r.Slack.Inbox(t.Context())
	if err != nil || first.Contact.IsZero() || first.Contact.After(time.Now()) {
		t.Fatalf("%+v, %v", first, err)
	}
	time.Sleep(10 * time.Millisecond)
	if second, err := r.Slack.Inbox(t.Context()); err != nil || second.Contact != first.Contact {
		t.Errorf("last heard %v, then %v, %v", first.Contact, second.Contact, err)
	}
	r.w.Up()
	r.await("connected", func() bool {
		in, err := r.Slack.Inbox(t.Context())
		return err == nil && in.Contact.After(first.Contact)
	})
}
