package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// A question that was answered by a button shows at once what was chosen and by
// whom: after the card, which comes before the next question, and where that goes
// to another network.
func TestTapShownAtOnce(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, alone := range []bool{false, true} {
			r := listen(t, http, workspace.Options{})
			thread, _ := r.begins("kim")
			root := r.card(thread, "k7mw2pd")
			post := r.prompt(thread, "k7mw2pd", 7, "yes", "no")
			kim := r.w.User("kim")
			if a := kim.Press("shop", post, "k7mw2pd.7.yes"); a.Err != "" {
				t.Fatal(a.Err)
			}
			tap := r.hears(2)[1]
			out := bot.Outbound{Key: "k7mw2pd/9/card", Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 9, After: tap.Delivery, Took: "yes",
				Asked: bot.Asked{Ask: 8}, Reply: flow.Reply{Kind: flow.Card, Text: "Card of k7mw2pd\nfitted", Phase: flow.PhaseFitted}}
			if err := r.EditCard(t.Context(), out); err != nil {
				t.Fatal(err)
			}
			if !alone {
				out.Key, out.Reply = "k7mw2pd/10", promptReply("And then?", "k7mw2pd.8.yes")
				if err := r.Send(t.Context(), out); err != nil {
					t.Fatal(err)
				}
			}
			if !r.w.Await(workspace.Patience, func() bool {
				m, _ := r.w.Message("shop", post)
				return len(m.Buttons()) == 0 && m.Shown == "Question 7?\n✔ Choose yes · kim"
			}) {
				m, _ := r.w.Message("shop", post)
				t.Errorf("without the next question %v: it reads %q, with buttons %q", alone, m.Shown, m.Buttons())
			}
			if !r.w.Await(workspace.Patience, func() bool { m, _ := r.w.Message("shop", root); return strings.Contains(m.Shown, "fitted") }) {
				t.Error("the card is not changed")
			}
		}
	})
}
