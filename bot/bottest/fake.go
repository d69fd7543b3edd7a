package bottest

import (
	"context"
	"slices"
	"sync"

	"milepost/bot"
)

// Fake is a network in memory: it shows what was sent, each key once, and can
// be told to fail. The zero Fake is named "fake". Safe for concurrent use.
type Fake struct {
	Named string

	// Fail decides before each try whether it fails; nil: never. Set it before
	// the network is used.
	Fail func(out bot.Outbound) error

	mu    sync.Mutex
	shown []bot.Outbound
	tries map[string]int
}

// Name is the network's name.
func (f *Fake) Name() string {
	if f.Named == "" {
		return "fake"
	}
	return f.Named
}

// Send shows a message; the same key again is the same message.
func (f *Fake) Send(ctx context.Context, out bot.Outbound) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	f.mu.Lock()
	if f.tries == nil {
		f.tries = map[string]int{}
	}
	f.tries[out.Key]++
	f.mu.Unlock()
	if f.Fail != nil {
		if err := f.Fail(out); err != nil {
			return err
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if !slices.ContainsFunc(f.shown, func(o bot.Outbound) bool { return o.Key == out.Key }) {
		f.shown = append(f.shown, out)
	}
	return nil
}

// Sent gives what is shown, oldest first.
func (f *Fake) Sent() []bot.Outbound {
	f.mu.Lock()
	defer f.mu.Unlock()
	return slices.Clone(f.shown)
}

// Texts gives the words of what is shown, oldest first.
func (f *Fake) Texts() []string {
	var ts []string
	for _, o := range f.Sent() {
		ts = append(ts, o.Reply.Text)
	}
	return ts
}

// Tries is how often a key was tried.
func (f *Fake) Tries(key string) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.tries[key]
}

// CardFake is a Fake that can change a job's card in place.
type CardFake struct{ Fake }

// EditCard puts the card in the place of the job's earlier one.
func (f *CardFake) EditCard(ctx context.Context, out bot.Outbound) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for i := range f.shown {
		if o := &f.shown[i]; o.Reply.Kind == out.Reply.Kind && o.Job == out.Job && o.Thread == out.Thread {
			*o = out
			return nil
		}
	}
	f.shown = append(f.shown, out)
	return nil
}
