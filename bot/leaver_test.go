package bot_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
)

// leaver is a network that goes from where only strangers are.
type leaver struct {
	*bottest.Fake
	mu   sync.Mutex
	from []bot.Thread
}

func (l *leaver) TurnedAway(_ context.Context, t bot.Thread) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.from = append(l.from, t)
}

// A network hears of those who are turned away without a word, and not before
// what they were told is out.
func TestTurnedAwaySilently(t *testing.T) {
	var down atomic.Bool
	r := start(t, newMem())
	r.stop()
	net := &leaver{Fake: &bottest.Fake{Fail: func(bot.Outbound) error {
		if down.Load() {
			return errors.New("no line")
		}
		return nil
	}}}
	r.net = net.Fake
	r.again(func(c *bot.Config) { c.Networks, c.Limits.Strangers = []bot.Network{net}, 3 })
	r.flush()
	hears := func(what string, want ...bot.Thread) {
		t.Helper()
		net.mu.Lock()
		defer net.mu.Unlock()
		if !slices.Equal(net.from, want) {
			t.Errorf("%s: the network was told of %q, want %q", what, net.from, want)
		}
		net.from = nil
	}
	say := func(who, text string) {
		t.Helper()
		if err := r.bot.Handle(t.Context(), r.in(who, text)); err != nil {
			t.Fatal(err)
		}
	}
	r.say("eve", "hello")
	hears("a refusal")
	say("eve", "hello again")
	hears("a second word", "dm-eve")
	r.say("mallory", "7QKM-4TXN-R2HD-9WPC")
	r.say("mallory", "7QKM-4TXN-R2HD-9WPD")
	hears("mistyped codes")
	r.say("tech", "new job unit 14")
	r.say("tech", "2438")
	hears("somebody who is known")

	down.Store(true)
	say("bob", "hello")
	say("bob", "anybody here?")
	hears("the refusal is on its way")
	down.Store(false)
	r.flush()
	say("bob", "well?")
	hears("the refusal is out", "dm-bob")

	say("one too many", "hello")
	hears("beyond the cap", "dm-one too many")
}
