package bottest_test

import (
	"strconv"
	"sync/atomic"
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

func TestFakeIsANetwork(t *testing.T) {
	bottest.TestNetwork(t, func(_ *testing.T, handle bottest.Handler) bottest.Wire {
		f := &bottest.Fake{}
		return fakeWire(f, f, handle)
	})
}

func TestCardFakeIsANetwork(t *testing.T) {
	bottest.TestNetwork(t, func(_ *testing.T, handle bottest.Handler) bottest.Wire {
		f := &bottest.CardFake{}
		return fakeWire(f, &f.Fake, handle)
	})
}

func fakeWire(n bot.Network, f *bottest.Fake, handle bottest.Handler) bottest.Wire {
	var said atomic.Int64
	in := func(who string) bot.Inbound {
		return bot.Inbound{Network: n.Name(), Thread: "room", From: bot.Identity(n.Name() + ":" + who),
			Name: who, Delivery: strconv.FormatInt(said.Add(1), 10)}
	}
	return bottest.Wire{
		Network: n, Thread: "room",
		Shown: func() []bottest.Shown {
			var shown []bottest.Shown
			for _, o := range f.Sent() {
				s := bottest.Shown{Text: o.Reply.Text}
				for _, c := range o.Reply.Choices {
					s.Choices = append(s.Choices, c.Label)
				}
				shown = append(shown, s)
			}
			return shown
		},
		Say: func(t testing.TB, who, text string) {
			m := in(who)
			m.Text = text
			_ = handle(t.Context(), m) // the suite gives the error and looks on
		},
		Tap: func(t testing.TB, who string, c flow.Choice) {
			m := in(who)
			m.Tap = c.Send
			_ = handle(t.Context(), m)
		},
	}
}
