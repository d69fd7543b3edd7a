package bot_test

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
)

// counted counts how often a card was put in its place.
type counted struct {
	bottest.CardFake
	edits atomic.Int64
}

func (c *counted) EditCard(ctx context.Context, out bot.Outbound) error {
	c.edits.Add(1)
	return c.CardFake.EditCard(ctx, out)
}

// Where the network is slow, a card that a later one replaces is left out; the
// first and the last are shown, and every other message.
func TestOutdatedCards(t *testing.T) {
	net, busy := &counted{}, make(chan struct{})
	net.Named = "fake"
	net.Fail = func(out bot.Outbound) error {
		if strings.Contains(out.Reply.Text, "hold it") {
			<-busy
		}
		return nil
	}
	r := start(t, newMem(), func(c *bot.Config) { c.Networks = []bot.Network{net} })
	r.net = &net.Fake
	r.say("tech", "new job unit 14")
	first := net.edits.Load()
	if first == 0 {
		t.Fatal("no card")
	}
	for _, text := range []string{"hold it", "vehicle one", "vehicle two", "vehicle three", "vehicle the blue van"} {
		if err := r.bot.Handle(t.Context(), r.in("tech", text)); err != nil {
			t.Fatal(err)
		}
	}
	close(busy)
	r.flush()
	if n := net.edits.Load() - first; n != 1 {
		t.Errorf("the card was changed %d times", n)
	}
	card := ""
	for _, o := range r.net.Sent() {
		if o.Reply.Kind == "card" {
			card = o.Reply.Text
		}
	}
	if !strings.Contains(card, "the blue van") {
		t.Errorf("the card says %q", card)
	}
	if n := len(r.texts()); n < 6 {
		t.Errorf("only %d messages: %q", n, r.texts())
	}
}
