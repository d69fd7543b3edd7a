package slack

import (
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// In an organisation of workspaces events name that, and users.info may: who is of our
// workspace keeps name and role, and nobody else has them.
func TestOrganisation(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		t.Parallel()
		o := workspace.Options{Org: "E0ORG", Channels: []workspace.Channel{{Name: "shop", Members: []string{"kim", "sam", "pat", "jo", "strand"}, App: true}},
			People: []workspace.Person{{Name: "kim"}, {Name: "sam", Teams: []string{"T0YARD", "T0SHOP"}}, {Name: "pat", Teams: []string{"T0YARD"}},
				{Name: "jo", Teams: []string{}}, {Name: "strand", Team: "T0FAR"}}}
		r := newRig(t, http, o)
		r.cfg.Patterns = []string{r.w.Channel("shop")}
		r.begin()
		shop := r.w.Team() + "/" + r.w.Channel("shop")
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		n := 1
		hears := func() bot.Inbound { t.Helper(); n++; return r.hears(n)[n-1] }
		for i, c := range []struct {
			who, team string
			room      string
		}{
			{"kim", "T0SHOP", shop},
			{"sam", "T0SHOP", shop},
			{"pat", "T0YARD", ""}, // of another workspace of it
			{"jo", "T0SHOP", ""},  // of no workspace that is known
			{"strand", "T0FAR", ""},
		} {
			who := r.w.User(c.who)
			is := func(what string, in bot.Inbound) {
				t.Helper()
				if in.From != Identity(c.team, who.ID()) || in.Room != c.room {
					t.Errorf("%s of %s: heard from %s in room %q", what, c.who, in.From, in.Room)
				}
			}
			who.SayInThread("shop", card, "265/70R17")
			is("message", hears())
			ask := r.prompt(thread, "k7mw2pd", 2+i, "yes", "no")
			if a := who.Press("shop", ask, "Choose yes"); a.Err != "" {
				t.Fatalf("press of %s: %s", c.who, a.Err)
			}
			is("press", hears())
			who.Command("shop", "/milepost", "board")
			is("command", hears())
		}
	})
}
