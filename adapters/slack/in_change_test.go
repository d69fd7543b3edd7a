package slack

import (
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// Check 13: edits and deletions by people, and nothing else that looks like one.
func TestHearChanges(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		kim := r.w.User("kim")
		base := func(ts string) string { return r.w.Team() + "/" + r.w.Channel("shop") + "/" + ts }

		a := kim.SayInThread("shop", card, "265/70R17")
		r.hears(2)
		kim.Edit("shop", a, "265/75R17 & <wide>")
		in := r.hears(3)[2]
		if in.Edit != base(a) || in.Text != "265/75R17 & <wide>" || in.Thread != thread || in.Delivery == base(a) || in.Delete != "" {
			t.Errorf("edit: %+v", in)
		}
		kim.Edit("shop", a, "285/75R17")
		r.hears(4)
		// A preview is no edit, and our own posts and their changes are not heard.
		kim.SayInThread("shop", card, "see https://example.org/x")
		r.hears(5)
		time.Sleep(100 * time.Millisecond)
		r.card(thread, "k7mw2pd")
		if in := r.hears(5)[4]; in.Text != "see https://example.org/x" {
			t.Errorf("heard %q", in.Text)
		}
		kim.Delete("shop", a)
		if in := r.hears(6)[5]; in.Delete != base(a) || in.From != Identity(r.w.Team(), kim.ID()) || in.Text != "" {
			t.Errorf("deletion: %+v", in)
		}
		// A root with answers leaves a tombstone.
		thread2, root := r.begins("sam")
		kim.SayInThread("shop", root, "below")
		r.hears(8)
		r.w.User("sam").Delete("shop", root)
		if in := r.hears(9)[8]; in.Delete != base(root) || in.From != Identity(r.w.Team(), r.w.User("sam").ID()) || in.Thread != thread2 {
			t.Errorf("tombstone: %+v", in)
		}
		// An edit that overtakes its message.
		r.w.Reorder(2)
		b := kim.SayInThread("shop", card, "60 63")
		kim.Edit("shop", b, "60 64")
		list := r.hears(11)
		if list[9].Delivery != base(b) || list[9].Text != "60 63" || list[10].Edit != base(b) || list[10].Text != "60 64" {
			t.Errorf("overtaken: %+v and %+v", list[9], list[10])
		}
	})
}

func TestHearReactions(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		thread, begin := r.begins("kim")
		r.card(thread, "k7mw2pd")
		post := r.prompt(thread, "k7mw2pd", 7, "yes", "no", "not_known")
		kim := r.w.User("kim")
		kim.React("shop", post, "two")
		in := r.hears(2)[1]
		if in.Tap != "k7mw2pd.7.no" || in.Thread != thread || in.From != Identity(r.w.Team(), kim.ID()) {
			t.Errorf("two: %+v", in)
		}
		kim.Unreact("shop", post, "two")
		if un := r.hears(3)[2]; un.Delete != in.Delivery || un.Tap != "" || un.Delivery == in.Delivery {
			t.Errorf("taken back: %+v", un)
		}
		kim.React("shop", post, "two")
		if again := r.hears(4)[3]; again.Tap != "k7mw2pd.7.no" || again.Delivery == in.Delivery {
			t.Errorf("again: %+v", again)
		}
		r.w.User("sam").React("shop", post, "white_check_mark")
		if in := r.hears(5)[4]; in.Tap != "k7mw2pd.7.yes" || in.From != Identity(r.w.Team(), r.w.User("sam").ID()) {
			t.Errorf("tick: %+v", in)
		}
		r.w.User("sam").React("shop", post, "x")
		if in := r.hears(6)[5]; in.Tap != "k7mw2pd.7.no" {
			t.Errorf("cross: %+v", in)
		}
		// Signs that mean nothing, or stand on somebody else's words.
		kim.React("shop", post, "nine")
		kim.React("shop", post, "thumbsup")
		kim.React("shop", begin, "one")
		r.hears(6)
	})
}

// Check 9: what a button brings is heard as what it is, and who pressed it.
func TestHearButtons(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		thread, _ := r.begins("kim")
		r.card(thread, "k7mw2pd")
		post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
		kim, sam := r.w.User("kim"), r.w.User("sam")
		if a := kim.Press("shop", post, "k7mw2pd.7.yes"); a.Err != "" {
			t.Fatal(a.Err)
		}
		in := r.hears(2)[1]
		if in.Tap != "k7mw2pd.7.yes" || in.Thread != thread || in.From != Identity(r.w.Team(), kim.ID()) || in.Room == "" || in.Name != "kim" {
			t.Errorf("heard %+v", in)
		}
		// Twice is two deliveries: that the second is stale, the core knows.
		kim.Press("shop", post, "k7mw2pd.7.yes")
		sam.Press("shop", post, "k7mw2pd.7.no")
		list := r.hears(4)
		if list[2].Delivery == in.Delivery || list[3].From != Identity(r.w.Team(), sam.ID()) {
			t.Errorf("heard %+v and %+v", list[2], list[3])
		}
		// A client that lies about the value changes nothing by it.
		for n, value := range []string{"other01.3.yes", strings.Repeat("x", 1900)} {
			sam.PressWith(workspace.Press{Channel: "shop", TS: post, Choice: "k7mw2pd.7.no", Value: value})
			if in := r.hears(5 + n)[4+n]; in.Tap != "k7mw2pd.7.no" || in.Job != "k7mw2pd" || in.Thread != thread {
				t.Errorf("heard %+v", in)
			}
		}
		// On a card at the root itself.
		root := r.prompt(bot.Thread(r.w.Team()+"/"+r.w.Channel("shop")), "k7mw2pe", 3, "yes")
		sam.Press("shop", root, "k7mw2pe.3.yes")
		if in := r.hears(7)[6]; in.Tap != "k7mw2pe.3.yes" {
			t.Errorf("heard %+v", in)
		}
	})
}
