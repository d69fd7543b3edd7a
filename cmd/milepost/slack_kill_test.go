package main

import (
	"net/url"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot/bottest"
	"milepost/flow"
)

// A whole job over Slack, by buttons and by words, in which the program is killed
// at random moments and started again: the log is that of a bot undisturbed, and
// every message is read once and in order. What is written while it is down Slack
// has given up before it is back, so that it must be read back.
func TestSlackKilled(t *testing.T) {
	bothTransports(t, func(t *testing.T, http bool) {
		s := script(t, "bay")
		kills := 50
		if testing.Short() {
			kills = 8
		}
		w := newSlackWay(t, s, http, workspace.Options{NoRateLimit: true, NoPreviews: true, Retries: []time.Duration{0, 100 * time.Millisecond}})
		k := newReaper(w.process, len(s.Inputs), kills)
		k.down = 400 * time.Millisecond
		w.w.Fault(workspace.Fault{Method: "chat.postMessage", Times: -1, Cut: true, Only: func(url.Values) bool { return k.sees() }})
		w.disturb = k.disturb
		began := time.Now()
		p := s.Play(t, w)
		n := w.tally(p.Logs)
		n.holds(t)
		goldenSaid(t, s, p, s.Play(t, &presser{BotWay: bottest.NewBotWay(t, s), given: map[string]bottest.ScriptMessage{}}))
		w.stop()
		missed := map[string]int{}
		for _, l := range w.w.LostDeliveries() {
			missed[l.Kind]++
		}
		t.Logf("%d kills (%d before it was ready, %d as it sent), %d starts; %d typed, %d pressed, %d of them again; Slack gave up %v of %d deliveries; %d posts, %d calls; %v; %v in all",
			w.kills, w.early, k.sending, w.starts, w.typed, w.pressed, w.again, missed, len(w.w.Acks()), len(w.w.Posts("")), len(w.w.Calls("")), n,
			time.Since(began).Round(time.Millisecond))
		if w.kills != kills || w.typed == 0 || w.pressed == 0 {
			t.Errorf("%d kills, wanted %d, among words and buttons", w.kills, kills)
		}
		if !testing.Short() && (w.early == w.kills || k.sending == 0 || missed["events_api"] == 0) {
			t.Error("the kills were not at all sorts of moments")
		}
	})
}

// presser is a bot in memory whose people press a choice where there is one, as
// those of slackWay do.
type presser struct {
	*bottest.BotWay
	offered []flow.Choice
	given   map[string]bottest.ScriptMessage
}

func (p *presser) Give(m bottest.ScriptMessage) ([]bottest.ScriptSaid, map[string]int64, error) {
	if _, again := p.given[m.ID]; !again {
		for _, c := range p.offered {
			if m.File == "" && c.Label == m.Text {
				m.Tap, m.Text = c.Send, ""
				break
			}
		}
		p.given[m.ID] = m
	}
	said, after, err := p.BotWay.Give(p.given[m.ID])
	for _, x := range said {
		if len(x.Choices) > 0 {
			p.offered = x.Choices
		}
	}
	return said, after, err
}
