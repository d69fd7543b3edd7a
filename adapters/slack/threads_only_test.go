package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// threadsOnlyIn is a workspace whose channel takes nothing from us but in threads.
func threadsOnlyIn() workspace.Options {
	return workspace.Options{Channels: []workspace.Channel{{Name: "shop", Members: []string{"kim", "sam"}, App: true, Threads: true}}}
}

// Where only threads are open to us a job hangs on the message that began it: its card
// stands below that, once, and is changed in place.
func TestThreadsOnly(t *testing.T) {
	for name, fault := range map[string]workspace.Fault{
		"":                   {},
		"card not answered":  {Cut: true, After: true, Skip: 1},
		"card not taken":     {Cut: true, Skip: 1},
		"refusal not heard":  {Cut: true, After: true},
		"refusal in trouble": {Status: 500},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := listen(t, false, threadsOnlyIn())
			thread, began := r.begins("kim")
			if fault.Method = "chat.postMessage"; name != "" {
				r.w.Fault(fault)
			}
			card := bot.Outbound{Key: "k7mw2pd/1", Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 1,
				Reply: flow.Reply{Kind: flow.Card, Text: "Card of the job", Phase: flow.PhaseBackup}}
			r.await("the card", func() bool { return r.EditCard(t.Context(), card) == nil })
			ask := r.prompt(thread, "k7mw2pd", 2, "yes", "no")
			card.Key, card.Log, card.Reply.Text = "k7mw2pd/3", 3, "Card as it is now"
			if err := r.EditCard(t.Context(), card); err != nil {
				t.Fatal(err)
			}
			r.await("the card's change", func() bool {
				list := r.w.Messages("shop", began)
				return len(list) > 1 && strings.Contains(list[1].Shown, "Card as it is now")
			})
			if list := r.w.Messages("shop", began); len(list) != 3 || list[2].TS != ask {
				t.Errorf("%d messages in the thread", len(list))
			}
			r.w.User("kim").SayInThread("shop", began, "265/70R17")
			if in := r.hears(2)[1]; in.Thread != thread || in.Loose {
				t.Errorf("an answer is heard in %s", in.Thread)
			}
		})
	}
}

// A command is no message to hang on: then it goes on in direct messages.
func TestThreadsOnlyCommand(t *testing.T) {
	r := listen(t, false, threadsOnlyIn())
	kim := r.w.User("kim")
	kim.Command("shop", "/milepost", "Harrow Drifter")
	in := r.hears(1)[0]
	out := bot.Outbound{Key: "k7mw2pd/1", Shop: bot.DefaultShop, Network: NetworkName, Thread: in.Thread, Job: "k7mw2pd", Log: 1,
		Users: map[flow.Who]bot.Identity{"w1": in.From},
		Reply: flow.Reply{Kind: flow.Card, Text: "Card of the job", Phase: flow.PhaseBackup}}
	err := r.EditCard(t.Context(), out)
	if k, _ := kindOf(err); k != bot.Forbidden {
		t.Errorf("card: %v", err)
	}
	out.Key, out.Log, out.Reply = "k7mw2pd/2", 2, promptReply("Never changed?", "k7mw2pd.1.yes", "k7mw2pd.1.no")
	out.Reply.To = []flow.Who{"w1"}
	if err := r.Send(t.Context(), out); err != nil {
		t.Errorf("question: %v", err)
	}
	if _, ok := r.w.AwaitShown(workspace.Patience, "@kim", "", "Never changed?"); !ok {
		t.Error("it is not asked directly")
	}
}
