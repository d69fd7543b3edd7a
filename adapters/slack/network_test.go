package slack

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// handler makes a hearer of a function.
type handler func(context.Context, bot.Inbound) error

func (h handler) Handle(ctx context.Context, in bot.Inbound) error { return h(ctx, in) }

// The suite that every network runs, over both transports. People speak in a job's
// thread; what begins it is none of the suite's business.
func TestNetwork(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		bottest.TestNetwork(t, func(t *testing.T, handle bottest.Handler) bottest.Wire {
			w := workspace.New(t, workspace.Options{NoRateLimit: true})
			r := &rig{t: t, w: w, http: http, log: &logged{}, cfg: speakConfig(t, w)}
			r.cfg.SigningSecret, r.cfg.Every = w.SigningSecret(), -1
			if http {
				r.cfg.EventsAddr = "127.0.0.1:0"
			}
			thread := threadName(w.Team(), w.Channel("shop"), "c1764000000") // begun by a command
			r.hearer = handler(handle)
			r.start()
			t.Cleanup(r.end)
			if err := r.EditCard(t.Context(), bot.Outbound{Key: "k7mw2pd/0/card", Network: NetworkName, Thread: thread, Job: "k7mw2pd",
				Reply: flow.Reply{Kind: flow.Card, Phase: flow.PhaseBackup, Text: "Unit 14"}}); err != nil {
				t.Fatal(err)
			}
			begin, err := r.state.rootOf(t.Context(), string(thread))
			if err != nil {
				t.Fatal(err)
			}
			shown := func() (list []bottest.Shown) {
				for _, m := range w.Messages("shop", begin) {
					if m.App {
						list = append(list, bottest.Shown{Text: inBlocks(t, m), Choices: m.Buttons()})
					}
				}
				return list
			}
			return bottest.Wire{Network: r.Slack, Thread: thread, Shown: shown,
				Say: func(t testing.TB, who, text string) {
					if who == "noor" {
						who = "sam"
					}
					w.User(who).SayInThread("shop", begin, text)
				},
				Tap: func(t testing.TB, who string, c flow.Choice) {
					all := w.Messages("shop", begin)
					slices.Reverse(all)
					i := slices.IndexFunc(all, func(m workspace.Message) bool { return slices.Contains(m.Buttons(), c.Label) })
					w.User(who).Press("shop", all[i].TS, c.Label)
				}}
		})
	})
}

// inBlocks is what of a message is read where blocks are shown; its text where
// there are none.
func inBlocks(t testing.TB, m workspace.Message) string {
	t.Helper()
	if m.Blocks == nil {
		return m.Shown
	}
	var blocks []any
	if err := json.Unmarshal(m.Blocks, &blocks); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	var walk func(any)
	walk = func(v any) {
		switch x := v.(type) {
		case []any:
			for _, e := range x {
				walk(e)
			}
		case map[string]any:
			if x["type"] == "actions" {
				return
			}
			if s, ok := x["text"].(string); ok {
				b.WriteString(s)
			} else {
				walk(x["text"])
			}
			walk(x["elements"])
		}
	}
	for _, e := range blocks {
		walk(e)
		b.WriteByte('\n')
	}
	return b.String()
}
