package bot

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Bot takes what people say to what is answered. Make one with New, let Run run
// beside, and hand it every message with Handle.
type Bot struct {
	cfg    Config
	shops  map[string]*shop
	recent *recent
	lanes  *lanes
	out    *outbox
	wakes  *wakes
	owed   *owedHeads

	ticking sync.Mutex // held while what is due is done
}

// New makes a Bot. It reads and writes nothing yet; all faults of the
// configuration are listed at once.
func New(cfg Config) (*Bot, error) {
	cfg, err := cfg.sound()
	if err != nil {
		return nil, err
	}
	b := &Bot{
		cfg: cfg, shops: map[string]*shop{}, recent: newRecent(cfg.Limits.Recent),
		lanes: newLanes(cfg.Limits.Jobs, cfg.Limits.Waiting),
		out:   newOutbox(cfg), wakes: newWakes(), owed: &owedHeads{jobs: map[[2]string]bool{}},
	}
	for _, s := range cfg.Shops {
		b.shops[s.Name] = newShop(s)
	}
	return b, nil
}

// Handle takes one message through. When it returns nil the message is durably
// dealt with, may be acknowledged and need not come again: its entries, the
// messages it leads to and its delivery identifier are one transaction. After
// an error nothing was changed and it may be delivered again. The error is an
// *Error; its Sentence may be shown.
func (b *Bot) Handle(ctx context.Context, in Inbound) error {
	start := time.Now()
	t, err := b.handle(ctx, in)
	b.cfg.Measure.Turn(in.Network, t.outcome(err), time.Since(start))
	if err == nil && t.refused {
		b.cfg.Measure.Refused(in.Network, t.first)
	}
	return err
}

func (b *Bot) handle(ctx context.Context, in Inbound) (tally, error) {
	v, err := b.receive(ctx, in)
	if err != nil {
		return tally{}, err
	}
	if b.recent.has(v.shop.name, v.key) {
		return tally{repeat: true}, nil
	}
	if err := b.route(ctx, v); err != nil {
		return tally{}, err
	}
	if v.desk != nil {
		err = v.desk(ctx, v)
	} else {
		err = b.inJob(ctx, v)
	}
	if errors.Is(err, ErrDelivered) {
		v.tally, err = tally{repeat: true}, nil // dealt with before: nothing to add
	}
	if err != nil {
		return v.tally, failed("handle message", err)
	}
	b.recent.add(v.shop.name, v.key)
	return v.tally, nil // 6 acknowledge; what is to be sent is on its way
}

// internal makes an error of the program's own, with a reference. Whoever
// handles it logs it once.
func (b *Bot) internal(v *visit, cause error) *Error {
	ref, err := draw(b.cfg.Random, 6)
	if err != nil {
		ref = ""
	}
	return &Error{Kind: Internal, Ref: ref, Err: fmt.Errorf("job %s: %w", v.job, cause)}
}

// now is our time, in the grain in which it is logged.
func (b *Bot) now() time.Time { return b.cfg.Now().UTC().Truncate(time.Millisecond) }

// Run resumes what was left unsent, sends, wakes jobs whose time has come and
// keeps the shops' days, until ctx is done; then it waits for what it started.
// It must run for anything to be sent.
func (b *Bot) Run(ctx context.Context) error {
	for _, s := range b.shops {
		if err := b.openShop(ctx, s); err != nil {
			return err
		}
		if err := b.loadWakes(ctx, s); err != nil {
			return err
		}
	}
	stop := b.out.start(ctx)
	defer stop()
	b.watch(ctx)
	return nil
}

// Flush waits until everything queued has been sent.
func (b *Bot) Flush(ctx context.Context) error { return b.out.flush(ctx) }
