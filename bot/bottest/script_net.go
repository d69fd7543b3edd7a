package bottest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"milepost/bot"
	"milepost/bot/journal"
	"milepost/flow"
)

// A Party is the people of a script on a real network, all of them in one job's
// thread. Each method returns once the network has taken it, with a handle by
// which it can be edited or deleted.
type Party interface {
	Identity(who ScriptPerson) bot.Identity
	Say(who ScriptPerson, text string) string
	File(who ScriptPerson, name string, content []byte) string
	Edit(who ScriptPerson, handle, text string) string
	Delete(who ScriptPerson, handle string) string
	Tap(who ScriptPerson, choice flow.Choice) string
}

// Late is the ability of a party to write what the assistant hears of long after
// it was written.
type Late interface {
	SayLate(who ScriptPerson, text string, ago time.Duration) string
}

// NetWay takes a script through a network as people use it: what they write goes
// over the network, and so does what is answered.
type NetWay struct {
	*BotWay
	party Party
	done  map[string]deed // by message of the script

	mu      sync.Mutex
	heard   []bot.Inbound // dealt with
	changed chan struct{} // closed and replaced when something was dealt with
}

// deed is what somebody did over the network, and what the assistant heard of it.
type deed struct {
	handle string
	heard  bot.Inbound
}

// NewNetWay starts a bot on a network that has a party at its other end. The
// network is to be told to hand what it hears to the way, which is a Handler by
// its method Handle.
func NewNetWay(t testing.TB, s *Script, network bot.Network, party Party) *NetWay {
	t.Helper()
	var seed [32]byte
	copy(seed[:], s.Name)
	key, err := journal.NewKey(bot.DefaultShop, rand.NewChaCha8(seed))
	if err != nil {
		t.Fatal(err)
	}
	w := &NetWay{BotWay: &BotWay{t: t, s: s, store: NewMemory(), key: key, now: s.Start}, party: party,
		done: map[string]deed{}, changed: make(chan struct{})}
	w.net = &Fake{Named: network.Name(), Fail: w.stored}
	w.nets, w.who, w.hand = &relay{Fake: w.net, next: network}, party.Identity, w.overNetwork
	w.start()
	t.Cleanup(func() { w.stop() })
	return w
}

// Store gives the store the bot works on: the network's files come from there.
func (w *NetWay) Store() *Memory { return w.store }

// Handle hands to the bot what the network has heard. Times are the script's: a
// message that was written just now has none, one that is late is as old as it is.
func (w *NetWay) Handle(ctx context.Context, in bot.Inbound) error {
	if age := time.Since(in.SentAt); in.SentAt.IsZero() || age < time.Minute {
		in.SentAt = time.Time{}
	} else {
		w.mu.Lock()
		in.SentAt = w.now.Add(-age)
		w.mu.Unlock()
	}
	err := w.at().Handle(ctx, in)
	if err == nil {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.heard = append(w.heard, in)
		close(w.changed)
		w.changed = make(chan struct{})
	}
	return err
}

// overNetwork lets somebody do something and waits until it is dealt with. What
// was done before is delivered again.
func (w *NetWay) overNetwork(m ScriptMessage) error {
	if d, ok := w.done[m.ID]; ok {
		return w.at().Handle(context.Background(), d.heard)
	}
	w.pass(pace)
	before, _ := w.heardOf(m.Who, 0)
	var d deed
	switch {
	case m.Edit != "":
		d.handle = w.party.Edit(m.Who, w.done[m.Edit].handle, m.Text)
	case m.Delete != "":
		d.handle = w.party.Delete(m.Who, w.done[m.Delete].handle)
	case m.File != "":
		d.handle = w.party.File(m.Who, m.File, m.Bytes)
	case m.Tap != "":
		d.handle = w.party.Tap(m.Who, flow.Choice{Send: m.Tap})
	case m.Ago > 0:
		late, can := w.party.(Late)
		if !can {
			return fmt.Errorf("nothing can be late on this network")
		}
		d.handle = late.SayLate(m.Who, m.Text, m.Ago)
	default:
		d.handle = w.party.Say(m.Who, m.Text)
	}
	end := time.After(30 * time.Second)
	for {
		heard, changed := w.heardOf(m.Who, len(before))
		if len(heard) > 0 {
			d.heard = heard[0]
			w.done[m.ID] = d
			return nil
		}
		select {
		case <-changed:
		case <-end:
			return fmt.Errorf("it was not heard of")
		}
	}
}

// heardOf gives what was heard of somebody, without so many of the first.
func (w *NetWay) heardOf(who ScriptPerson, but int) ([]bot.Inbound, <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var heard []bot.Inbound
	for _, in := range w.heard {
		if in.From == w.party.Identity(who) {
			heard = append(heard, in)
		}
	}
	return heard[but:], w.changed
}

// Said gives everything that was said, oldest first.
func (w *NetWay) Said() []bot.Outbound { return w.net.Sent() }

// relay says on a network what it is told, and remembers it once the network has
// it.
type relay struct {
	*Fake
	next bot.Network
}

func (r *relay) Send(ctx context.Context, out bot.Outbound) error {
	if err := r.next.Send(ctx, out); err != nil {
		return err
	}
	return r.Fake.Send(ctx, out)
}

// EditCard shows a card; networks that have none in place are given it anew.
func (r *relay) EditCard(ctx context.Context, out bot.Outbound) error {
	if c, ok := r.next.(bot.CardEditor); ok {
		return c.EditCard(ctx, out)
	}
	return r.next.Send(ctx, out)
}
