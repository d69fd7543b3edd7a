package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"github.com/cenkalti/backoff/v5"

	"milepost/bot"
)

// Pauses before a network is begun again, and how long it must have run for the
// next pause to be the first one again.
const (
	pauseFirst = time.Second
	pauseMost  = 2 * time.Minute
	steady     = 5 * time.Minute
)

// kept is a network that is kept running.
type kept struct {
	network
	hear  hearer
	log   *slog.Logger
	pause time.Duration // the first one; 0: pauseFirst

	mu   sync.Mutex
	lost error // why it does not run now
}

// keep runs the network until ctx is done. Whenever it ends before, it is begun
// again after a pause that grows. It gives an error, and is not begun again, only
// where what is configured is refused for good: a token that is none, say.
func (k *kept) keep(ctx context.Context) error {
	pauses := backoff.NewExponentialBackOff()
	pauses.InitialInterval, pauses.MaxInterval = pauseFirst, pauseMost
	if k.pause > 0 {
		pauses.InitialInterval = k.pause
	}
	_, err := backoff.Retry(ctx, func() (struct{}, error) {
		k.note(nil)
		began := time.Now()
		err := k.once(ctx)
		if ctx.Err() != nil {
			return struct{}{}, nil
		}
		if err == nil {
			err = errors.New("it has ended of itself")
		}
		k.note(err)
		if forGood(err) {
			return struct{}{}, backoff.Permanent(err)
		}
		if time.Since(began) > steady {
			pauses.Reset()
		}
		return struct{}{}, err
	}, backoff.WithBackOff(pauses), backoff.WithMaxElapsedTime(0), backoff.WithNotify(func(err error, d time.Duration) {
		k.log.Warn("network has ended and is begun again", "network", k.Name(), "in", d.Round(time.Millisecond).String(), "err", err)
	}))
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// once runs the network once. A panic ends it like an error.
func (k *kept) once(ctx context.Context) (err error) {
	defer contain(k.log, "network "+k.Name(), &err)
	return k.Run(ctx, k.hear)
}

// note keeps why the network does not run.
func (k *kept) note(err error) {
	k.mu.Lock()
	k.lost = err
	k.mu.Unlock()
}

// Ready is nil while the network runs and says so itself.
func (k *kept) Ready() (err error) {
	k.mu.Lock()
	lost := k.lost
	k.mu.Unlock()
	if lost != nil {
		return lost
	}
	defer contain(k.log, "network "+k.Name(), &err)
	return k.network.Ready()
}

// Inbox is of bot.Receiver. The error is errors.ErrUnsupported where the network
// does not tell.
func (k *kept) Inbox(ctx context.Context) (in bot.Inbox, err error) {
	r, ok := k.network.(bot.Receiver)
	if !ok {
		return in, errors.ErrUnsupported
	}
	defer contain(k.log, "network "+k.Name(), &err)
	return r.Inbox(ctx)
}

// forGood says whether an error is none that trying again could mend.
func forGood(err error) bool {
	var e *bot.Error
	return errors.As(err, &e) && (e.Kind == bot.Forbidden || e.Kind == bot.Invalid)
}

// contain makes a panic an error, and logs where it was.
func contain(log *slog.Logger, where string, err *error) {
	if p := recover(); p != nil {
		log.Error("panic", "where", where, "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
		*err = fmt.Errorf("%s: panic: %v", where, p)
	}
}

// guarded is the bot with its panics kept to the message that led to them: it is
// delivered again. What else the bot can do a network finds here too.
type guarded struct {
	*bot.Bot
	handle func(context.Context, bot.Inbound) error
	log    *slog.Logger
}

// Handle is of hearer.
func (g guarded) Handle(ctx context.Context, in bot.Inbound) (err error) {
	defer func() {
		if err != nil {
			err = asInternal(err)
		}
	}()
	defer contain(g.log, "message", &err)
	return g.handle(ctx, in)
}

// asInternal gives an error a kind where it has none.
func asInternal(err error) error {
	var e *bot.Error
	if errors.As(err, &e) {
		return err
	}
	return &bot.Error{Kind: bot.Internal, Err: err}
}
