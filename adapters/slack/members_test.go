package slack

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// crew listens in a workspace in which the private channel bay gives a role.
func crew(t *testing.T, http bool, o workspace.Options, with ...func(*Config)) *rig {
	t.Helper()
	r := newRig(t, http, o)
	r.cfg.Patterns = []string{r.w.Channel("bay")}
	for _, f := range with {
		f(&r.cfg)
	}
	r.begin()
	return r
}

// A role that a channel gives holds in direct messages, for a shortcut and for a
// command in another channel; not for guests, not for people of another workspace,
// and not once somebody has left. Who is named is not looked for.
func TestRoleElsewhere(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		var named string
		o := workspace.Options{Channels: []workspace.Channel{{Name: "bay", Kind: workspace.Private, Members: []string{"kim", "alex", "gail", "strand"}, App: true},
			{Name: "shop", Members: []string{"kim", "sam"}, App: true}, {Name: "yard", Members: []string{"kim", "sam"}}}}
		r := crew(t, http, o, func(c *Config) { c.May = func(user string) bool { return user == named } })
		bay := r.w.Team() + "/" + r.w.Channel("bay")
		n := 0
		hears := func() bot.Inbound { t.Helper(); n++; return r.hears(n)[n-1] }
		kim, sam := r.w.User("kim"), r.w.User("sam")
		for what, do := range map[string]func(){
			"a direct message":         func() { kim.Say("@kim", "new job Harrow Drifter") },
			"a global shortcut":        func() { kim.GlobalShortcut("begin") },
			"a command elsewhere":      func() { kim.Command("shop", "/milepost", "Harrow Drifter") },
			"a command where we don't": func() { kim.Command("yard", "/milepost", "Harrow Drifter") },
			"a mention elsewhere":      func() { kim.Say("shop", "@milepost Harrow Drifter") },
		} {
			do()
			if in := hears(); in.Room != bay || !in.Called {
				t.Errorf("%s: heard in room %q", what, in.Room)
			}
		}
		if calls := len(r.w.Calls("conversations.members")); calls != 1 {
			t.Errorf("%d calls for who is in the channel", calls)
		}
		for _, who := range []string{"gail", "strand", "sam"} {
			r.w.User(who).Say("@"+who, "hello")
			if in := hears(); in.Room == bay {
				t.Errorf("%s has the channel's role", who)
			}
		}
		sam.GlobalShortcut("begin")
		if in := hears(); in.Room != "" {
			t.Errorf("nobody's shortcut is heard in room %q", in.Room)
		}
		// Who leaves has it no more, who comes has it at once.
		kim.Leave("bay")
		r.settled()
		kim.Say("@kim", "new job")
		if in := hears(); in.Room == bay {
			t.Error("the role outlasts the membership")
		}
		sam.Join("bay")
		r.settled()
		sam.Say("@sam", "new job")
		if in := hears(); in.Room != bay {
			t.Errorf("a new member is heard in room %q", in.Room)
		}
		named = r.w.User("alex").ID()
		calls := len(r.w.Calls("conversations.members"))
		r.w.User("alex").Say("@alex", "new job")
		if in := hears(); in.Room == bay || len(r.w.Calls("conversations.members")) != calls {
			t.Errorf("who is named was looked for: %+v", in)
		}
	})
}

// Of several channels the first counts; a long list of members is read page by
// page; a channel that Slack does not tell of gives its role to nobody elsewhere.
func TestMembersPaged(t *testing.T) {
	var many []string
	var people []workspace.Person
	for i := range 450 {
		people = append(people, workspace.Person{Name: fmt.Sprintf("p%03d", i)})
		many = append(many, people[i].Name)
	}
	o := workspace.Options{People: people, Channels: []workspace.Channel{{Name: "office", Kind: workspace.Private}, {Name: "bay", Members: many, App: true},
		{Name: "shop", Members: []string{"p449"}, App: true}}}
	r := crew(t, false, o, func(c *Config) { c.Patterns = []string{"C0OFFICE", "T0SHOP/C0BAY", "C0SHOP"} })
	last := r.w.User("p449")
	for range 2 {
		last.Say("@p449", "new job")
	}
	for _, in := range r.hears(2) {
		if in.Room != "T0SHOP/C0BAY" {
			t.Errorf("heard in room %q", in.Room)
		}
	}
	pages := map[string]int{}
	for _, c := range r.w.Calls("conversations.members") {
		pages[c.Args.Get("channel")]++
		if c.Args.Get("limit") != "200" {
			t.Errorf("asked for %s at a time", c.Args.Get("limit"))
		}
	}
	if pages["C0OFFICE"] != 1 || pages["C0BAY"] != 3 || pages["C0SHOP"] != 0 {
		t.Errorf("pages %v", pages)
	}
	if !strings.Contains(r.log.String(), "channel=C0OFFICE code=channel_not_found") {
		t.Error("the log does not say which channel can't be looked at")
	}
}

// While Slack can't be asked a message waits, unless who is in the channel was
// known a while ago: then that counts.
func TestMembersAway(t *testing.T) {
	r := crew(t, false, workspace.Options{})
	bay := r.w.Team() + "/" + r.w.Channel("bay")
	r.w.Fault(workspace.Fault{Method: "conversations.members", Times: 3, Status: 500})
	r.w.User("kim").Say("@kim", "one")
	if in := r.hears(1)[0]; in.Room != bay || len(r.w.Calls("conversations.members")) != 4 {
		t.Errorf("heard in room %q", in.Room)
	}
	r.w.Fault(workspace.Fault{Method: "conversations.members", Times: -1, Error: "fetch_members_failed"})
	r.people.mu.Lock()
	for _, x := range r.people.rosters {
		x.until = time.Now()
	}
	r.people.mu.Unlock()
	r.w.User("kim").Say("@kim", "two")
	if in := r.hears(2)[1]; in.Room != bay {
		t.Errorf("with an old list heard in room %q", in.Room)
	}
}

// Who may do nothing is told so each time a command is given or a shortcut used,
// and nobody else sees it: where it was given, else in direct messages.
func TestRefusedAlone(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := newRig(t, http, workspace.Options{})
		var n atomic.Int64
		r.hearer = handler(func(ctx context.Context, in bot.Inbound) error {
			if !in.Alone {
				return nil // what kim says in the channel
			}
			out := bot.Outbound{Key: fmt.Sprintf("shop/0/%d", n.Add(1)), Network: NetworkName, Thread: in.Thread, After: in.Delivery, Alone: true,
				Users: map[flow.Who]bot.Identity{"": in.From}, Reply: flow.Reply{Kind: flow.Refusal, Text: "Sorry, I can't help you here."}}
			return r.Send(ctx, out)
		})
		r.begin()
		sam, kim := r.w.User("sam"), r.w.User("kim")
		quiet := func(channel string) int { return len(r.w.Messages(channel, "")) }
		before := quiet("shop") + quiet("yard")
		for i := range 3 {
			for _, channel := range []string{"shop", "yard"} { // in the second we are not
				if a := sam.Command(channel, "/milepost", "Harrow Drifter"); a.Err != "" {
					t.Fatal(a.Err)
				}
			}
			r.await("answers", func() bool { return len(r.w.Ephemerals("sam")) == 2*(i+1) })
		}
		ts := kim.Say("shop", "somebody's words")
		sam.Shortcut("shop", ts, "begin_here")
		r.await("an answer to the shortcut", func() bool { return len(r.w.Ephemerals("sam")) == 7 })
		for _, m := range r.w.Ephemerals("sam") {
			if m.Shown != "⛔ Sorry, I can't help you here." {
				t.Errorf("it reads %q", m.Shown)
			}
		}
		if k := quiet("shop") + quiet("yard"); k != before+1 || len(r.w.Ephemerals("kim")) != 0 || quiet("@sam") != 0 {
			t.Error("others see it")
		}
		for i := range 2 { // no address comes with this one
			sam.GlobalShortcut("begin")
			r.await("a direct message", func() bool { return quiet("@sam") == i+1 })
		}
		// An address that does not serve any more: in direct messages.
		r.w.Fault(workspace.Fault{Method: "response_url", Status: 404})
		sam.Command("shop", "/milepost", "")
		r.await("a direct message", func() bool { return quiet("@sam") == 3 })
		// One whose fate is not known is tried again.
		r.w.Fault(workspace.Fault{Method: "response_url", Status: 500})
		sam.Command("shop", "/milepost", "")
		r.await("an answer", func() bool { return len(r.w.Ephemerals("sam")) == 8 })
		if len(r.w.Views("sam")) != 0 || quiet("@sam") != 3 {
			t.Error("it came twice")
		}
	})
}

// Where there is no way to write at all, that is said at once.
func TestNoWay(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.w.DropScope("im:write")
	r.w.User("kim").Command("yard", "/milepost", "Harrow Drifter")
	r.await("an answer", func() bool { return len(r.w.Ephemerals("kim")) == 1 })
	if m := r.w.Ephemerals("kim")[0]; m.Shown != "⛔ "+sayNoWay {
		t.Errorf("it reads %q", m.Shown)
	}
	r.hears(0)
}

// Only addresses of Slack's are answered at.
func TestAnswerAddress(t *testing.T) {
	s := &Slack{}
	for at, want := range map[string]bool{"https://hooks.slack.com/commands/T1/2/x": true, "https://hooks.slack-gov.com/app/1": true, "": false,
		"http://hooks.slack.com/x": false, "https://slack.com.example.org/x": false, "https://user@hooks.slack.com/x": false, "https://example.org/slack.com": false,
		"https://hooks.slack.com/" + strings.Repeat("x", 2000): false, "file:///etc/passwd": false} {
		if s.isAnswerURL(at) != want {
			t.Errorf("%.60q: %v", at, !want)
		}
	}
	s.cfg.APIURL = "http://127.0.0.1:9/api/"
	if !s.isAnswerURL("http://127.0.0.1:9/respond/1") || s.isAnswerURL("http://127.0.0.1:8/respond/1") {
		t.Error("the server that stands for Slack is not told from another")
	}
}
