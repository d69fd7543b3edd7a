package bot

import (
	"context"
	"time"

	"milepost/flow"
)

// Step is the flow as a test may put another in its place.
type Step = func(*flow.State, flow.Message, flow.Env) (flow.Outcome, error)

// WithStep is a configuration with another flow.
func WithStep(c Config, s Step) Config {
	c.step = s
	return c
}

// Tick does what is due now, once; what the bot itself was about to do is done
// when it returns.
func (b *Bot) Tick(ctx context.Context) time.Duration { return b.tick(ctx) }

// Lanes is how many jobs are kept in memory.
func (b *Bot) Lanes() int { return b.lanes.kept() }

// Opens says when a shop of these hours opens next; the zero time: it is open.
func Opens(h Hours, zone *time.Location, now time.Time) time.Time {
	return newShop(Shop{Name: "x", Hours: h, Zone: zone}).opens(now)
}

// HoldFor sets how long a message waits for a conversation that takes nothing.
func (b *Bot) HoldFor(d time.Duration) {
	b.out.mu.Lock()
	defer b.out.mu.Unlock()
	b.out.heldFor = d
}
