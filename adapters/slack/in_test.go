package slack

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

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

// Every place a message can be written in.
func TestHearWhere(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		kim, shop := r.w.User("kim"), r.w.Channel("shop")
		thread, begin := r.begins("kim")
		last := func(what string, n int) bot.Inbound {
			t.Helper()
			list := r.hears(n)
			in := list[n-1]
			if strings.Contains(in.Text, what) {
				return in
			}
			t.Fatalf("%s: heard %+v", what, in)
			return in
		}

		// Below the message that began the job, before there is a card.
		kim.SayInThread("shop", begin, "early words")
		if in := last("early", 2); in.Thread != thread || in.Loose || in.Called {
			t.Errorf("below the beginning: %+v", in)
		}
		card := r.card(thread, "k7mw2pd")
		kim.SayInThread("shop", card, "below the card")
		if in := last("below the card", 3); in.Thread != thread || in.Loose {
			t.Errorf("below the card: %+v", in)
		}
		// The channel's main line.
		ts := kim.Say("shop", "loose words")
		if in := last("loose", 4); in.Thread != threadName(r.w.Team(), shop, ts) || !in.Loose || in.Called {
			t.Errorf("loose: %+v", in)
		}
		// A thread of others is none of ours, until we are called there.
		other := r.w.User("sam").Say("shop", "lunch?")
		last("lunch", 5)
		kim.SayInThread("shop", other, "at noon")
		r.settled()
		kim.SayInThread("shop", other, "@milepost help me")
		if in := last("help me", 6); !in.Loose || !in.Called || !strings.HasPrefix(string(in.Thread), r.w.Team()+"/"+shop+"/c") {
			t.Errorf("in a thread of others: %+v", in)
		}
		// A direct message always calls us, and gives no role.
		d := r.w.Direct("kim")
		ts = kim.Say(d, "265/70R17")
		if in := last("265", 7); in.Thread != threadName(r.w.Team(), d, ts) || !in.Loose || !in.Called || in.Room != r.w.Team()+"/"+d {
			t.Errorf("direct: %+v", in)
		}
		// An answer to an alert of a job means that job.
		if err := r.Send(t.Context(), bot.Outbound{Key: "k7mw2pd/40", Network: NetworkName, Thread: bot.Thread(r.w.Team() + "/" + shop), Job: "k7mw2pd", Log: 40,
			Reply: promptReply("Alert?", "k7mw2pd.40.yes")}); err != nil {
			t.Fatal(err)
		}
		alert, _, _, err := r.state.sentAs(t.Context(), "k7mw2pd/40")
		if err != nil {
			t.Fatal(err)
		}
		kim.SayInThread("shop", alert, "seen it")
		if in := last("seen it", 8); in.Job != "k7mw2pd" || !in.Loose {
			t.Errorf("below an alert: %+v", in)
		}
		if in := r.ear.all()[0]; in.Called != true {
			t.Errorf("the beginning: %+v", in)
		}
	})
}

func TestHearWho(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		o := workspace.Options{Channels: []workspace.Channel{{Name: "shop", Members: []string{"kim", "sam", "gail", "strand", "robo"}, App: true}},
			People: []workspace.Person{{Name: "kim"}, {Name: "sam", Real: "Sam Orr"}, {Name: "gail", Guest: true}, {Name: "strand", Team: "T0FAR"}, {Name: "robo", Bot: true}}}
		r := listen(t, http, o)
		for i, who := range []string{"kim", "gail", "strand"} {
			r.w.User(who).Say("shop", "@milepost hello")
			in := r.hears(i + 1)[i]
			team, room := r.w.Team(), r.w.Team()+"/"+r.w.Channel("shop")
			if who == "strand" {
				team = "T0FAR"
			}
			if who != "kim" {
				room = ""
			}
			if in.Room != room || in.From != Identity(team, r.w.User(who).ID()) || in.Name != who {
				t.Errorf("%s: room %q, from %q, name %q", who, in.Room, in.From, in.Name)
			}
		}
		r.w.User("robo").Say("shop", "@milepost a machine speaks")
		r.w.User("kim").Say("shop", "@milepost ask @sam")
		if in := r.hears(4)[3]; in.Text != "ask sam" {
			t.Errorf("heard %q", in.Text)
		}
	})
}

// Nobody gets a channel's role on a doubt: while Slack does not say who it is, the
// message waits; if Slack refuses to say, it is heard without a room.
func TestHearWhoUnknown(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.w.Fault(workspace.Fault{Method: "users.info", Times: 3, Status: 500})
	r.w.User("kim").Say("shop", "@milepost first")
	if in := r.hears(1)[0]; in.Room == "" {
		t.Errorf("heard %+v", in)
	}
	r.w.DropScope("users:read")
	r.w.User("sam").Say("shop", "@milepost second")
	if in := r.hears(2)[1]; in.Room != "" || in.From != Identity(r.w.Team(), r.w.User("sam").ID()) {
		t.Errorf("heard %+v", in)
	}
}

// Check 2: three times the same, over two sockets, after a restart, and as both
// message and app_mention.
func TestHearOnce(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		kim := r.w.User("kim")
		r.w.Duplicate(4)
		kim.Say("shop", "@milepost one") // message and app_mention, each twice
		r.hears(1)
		r.w.LoseAcks(2)
		kim.Say("shop", "two")
		r.hears(2)
		// Acknowledged, but not handled before the end: handled after the restart.
		r.ear.failing(func(bot.Inbound) error { return &bot.Error{Kind: bot.Unavailable, Err: errors.New("away")} })
		kim.Say("shop", "three")
		if !r.w.Settle(workspace.Patience) {
			t.Fatal("not acknowledged")
		}
		r.w.LoseAcks(1)
		kim.Say("shop", "four")
		time.Sleep(100 * time.Millisecond)
		r.end()
		r.ear.failing(nil)
		r.start()
		r.hears(4)
		if r.http {
			if status, body, err := r.w.Replay(); status != 200 || body != "" || err != nil {
				t.Errorf("replay: %d %q %v", status, body, err)
			}
			r.hears(4)
		}
		if got := r.ear.texts(); got != "one|two|three|four" {
			t.Errorf("heard %s", got)
		}
		if r.ear.repeat > 1 {
			t.Errorf("%d messages were handed over more than once", r.ear.repeat)
		}
	})
}

// Check 3: the second answer comes before the first.
func TestHearOutOfOrder(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		r.end() // a machine under load is slower than Slack
		r.start(func(s *Slack) { s.times.settle, s.times.unsure = 150*time.Millisecond, 400*time.Millisecond })
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		r.settled()
		for i := range 5 {
			r.w.Reorder(2)
			r.w.User("kim").SayInThread("shop", card, fmt.Sprintf("answer %da", i))
			r.w.User("kim").SayInThread("shop", card, fmt.Sprintf("answer %db", i))
			r.hears(1 + 2*(i+1))
		}
		r.w.Hold(60 * time.Millisecond)
		r.w.User("kim").SayInThread("shop", card, "held back")
		r.w.User("kim").SayInThread("shop", card, "not held")
		r.w.User("kim").SayInThread("shop", card, "nor this")
		r.hears(14)
		if got, want := r.ear.texts(), "Harrow Drifter|answer 0a|answer 0b|answer 1a|answer 1b|answer 2a|answer 2b|answer 3a|answer 3b|answer 4a|answer 4b|held back|not held|nor this"; got != want {
			t.Errorf("heard %s\nwant  %s", got, want)
		}
	})
}

// What can't be handled now holds up its own thread only, and keeps its order;
// what can never be handled is kept aside.
func TestHearTrouble(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		a, _ := r.begins("kim")
		b := threadName(r.w.Team(), r.w.Channel("shop"), r.w.User("sam").Say("shop", "@milepost Harrow Drifter"))
		r.hears(2)
		ca, cb := r.card(a, "k7mw2pd"), r.card(b, "k7mw2pe")
		r.ear.failing(func(in bot.Inbound) error {
			switch {
			case in.Thread == a:
				return &bot.Error{Kind: bot.Unavailable, Err: errors.New("disk full")}
			case in.Text == "Harrow poison":
				return &bot.Error{Kind: bot.Internal, Err: errors.New("Harrow poison")}
			case in.Text == "Harrow panic":
				return &bot.Error{Kind: bot.Invalid, Err: errors.New("Harrow panic")}
			}
			return nil
		})
		kim, sam := r.w.User("kim"), r.w.User("sam")
		kim.SayInThread("shop", ca, "a1")
		kim.SayInThread("shop", ca, "a2")
		sam.SayInThread("shop", cb, "Harrow poison")
		sam.SayInThread("shop", cb, "Harrow panic")
		sam.SayInThread("shop", cb, "b1")
		r.await("the other thread", func() bool { return len(r.ear.all()) == 3 })
		r.ear.failing(nil)
		r.hears(5)
		if got := r.ear.texts(); got != "Harrow Drifter|Harrow Drifter|b1|a1|a2" {
			t.Errorf("heard %s", got)
		}
		var poison int
		if err := r.state.db.QueryRowContext(t.Context(), "SELECT count(*) FROM inbox WHERE state = 2").Scan(&poison); err != nil || poison != 2 {
			t.Errorf("%d messages are kept aside, want 2 (%v)", poison, err)
		}
		if n := strings.Count(r.log.String(), "kept aside"); n != 2 {
			t.Errorf("said %d times, want 2", n)
		}
	})
}

func TestOneProcess(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	s, err := New(r.cfg)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), time.Second)
	defer stop()
	var e *bot.Error
	if err := s.Run(ctx, r.ear); !errors.As(err, &e) || e.Kind != bot.Conflict {
		t.Errorf("a second process: %v", err)
	}
	if s.Ready() == nil {
		t.Error("it is ready all the same")
	}
}

func TestStartCommands(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		kim, shop := r.w.User("kim"), r.w.Channel("shop")
		if a := kim.Command("shop", "/milepost", "Harrow Drifter"); a.Err != "" {
			t.Fatal(a.Err)
		}
		in := r.hears(1)[0]
		if in.Text != "new job Harrow Drifter" || !in.Called || !in.Loose || !strings.HasPrefix(string(in.Thread), r.w.Team()+"/"+shop+"/c") || in.Room == "" {
			t.Errorf("heard %+v", in)
		}
		if a := kim.Command("shop", "/milepost", ""); a.Err != "" {
			t.Fatal(a.Err)
		}
		if in := r.hears(2)[1]; in.Text != "new job" || in.Thread == r.ear.all()[0].Thread {
			t.Errorf("heard %+v", in)
		}
		if a := kim.Command("shop", "/milepost", "board"); a.Err != "" {
			t.Fatal(a.Err)
		}
		if in := r.hears(3)[2]; in.Text != "board" {
			t.Errorf("heard %+v", in)
		}
		// Where we may not speak it begins in the person's direct messages.
		if a := kim.Command("office", "/milepost", ""); a.Err != "" {
			t.Fatal(a.Err)
		}
		if in := r.hears(4)[3]; !strings.HasPrefix(string(in.Thread), r.w.Team()+"/"+r.w.Direct("kim")+"/c") {
			t.Errorf("heard %+v", in)
		}
		// A shortcut on a message takes its words, whatever they mean elsewhere; on one of
		// ours, or on none, it takes none.
		said := []string{"somebody's words", "@milepost help with unit 7,\n265/70R17 & <b>", "New Job unit 8"}
		for n, words := range said {
			ts := r.w.User("sam").Say("bay", words)
			if a := kim.Shortcut("bay", ts, "begin_here"); a.Err != "" {
				t.Fatal(a.Err)
			}
			r.await("a job begun", func() bool { return r.began() == 5+n })
		}
		post := r.prompt(in.Thread, "k7mw2pd", 7, "yes")
		kim.Shortcut("shop", post, "begin_here")
		r.await("another", func() bool { return r.began() == 8 })
		if a := kim.GlobalShortcut("start"); a.Err != "" {
			t.Fatal(a.Err)
		}
		r.await("the last", func() bool { return r.began() == 9 })
		var got []string
		for _, in := range r.ear.all() {
			if in.Alone {
				got = append(got, in.Text)
			}
		}
		want := []string{"new job Harrow Drifter", "new job", "board", "new job", "new job somebody's words", "new job help with unit 7,\n265/70R17 & <b>", "New Job unit 8", "new job", "new job"}
		if !slices.Equal(got, want) {
			t.Errorf("heard %q, want %q", got, want)
		}
	})
}

// began counts what commands and shortcuts have begun.
func (r *rig) began() (n int) {
	for _, in := range r.ear.all() {
		if in.Alone {
			n++
		}
	}
	return n
}
