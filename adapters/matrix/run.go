package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gofrs/flock"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// Hearer takes what is heard.
type Hearer interface {
	Handle(context.Context, bot.Inbound) error
}

// inward is what belongs to the messages on their way in.
type inward struct {
	poll     *http.Client // for the requests that the server holds
	hear     Hearer
	lanes    *lanes
	turns    *turns
	loading  sync.Mutex  // held while rows are taken into lanes
	behind   atomic.Bool // more rows wait than there is room for
	most     int         // of them in all
	handled  handled
	lost     lost
	reread   chan struct{} // something put aside can be read
	fetchFor time.Duration // how long a file is tried for
	fetch    func(ctx context.Context, room id.RoomID, evt id.EventID) (*event.Event, error)

	mu    sync.Mutex
	known map[string]*knowing // rooms whose members have been asked for
	dumb  map[string]bool     // encrypted rooms of which it was logged that they can't be read
	stale map[string]bool     // rooms of the configuration of which it was logged that they were replaced

	// Of the sync's goroutine: tries of the same response.
	tried   int // that ended at a gap
	keyless int // that ended in a panic at its keys
	// And events that it left out and that were fetched, and the most of them.
	older, olderMost int

	away []away // of the first sync of a new state; then of housekeep's goroutine
}

// New checks a configuration. Nothing is opened and nobody asked yet.
func New(cfg Config) (*Matrix, error) {
	cfg, err := cfg.sound()
	if err != nil {
		return nil, err
	}
	if cfg.Encryption && !hasEncryption {
		return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("configure matrix: %w", errNoEncryption)}
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	m := &Matrix{cfg: cfg}
	if _, err := newStint(cfg, &m.health, nil); err != nil {
		return nil, err
	}
	return m, nil
}

// Name is the network's name.
func (m *Matrix) Name() string { return NetworkName }

// Run hears until ctx is done. An error that is Forbidden or Invalid is for good:
// it needs a person. After any other it may be run again. What is done by way of
// it has ended when it returns.
func (m *Matrix) Run(ctx context.Context, hear Hearer) (err error) {
	unlock, err := m.lead()
	if err != nil {
		return err
	}
	defer unlock()
	defer func() {
		if err != nil && ctx.Err() == nil {
			m.ended(err)
		}
	}()
	r, err := newStint(m.cfg, &m.health, hear)
	if err != nil {
		return err
	}
	defer r.client.Client.CloseIdleConnections()
	if m.prepare != nil {
		m.prepare(r)
	}
	if r.state, err = openState(ctx, m.cfg.Dir); err != nil {
		return &bot.Error{Kind: bot.Unavailable, Err: err}
	}
	defer func() { err = errors.Join(err, r.state.close()) }()
	if err := r.clearTemp(); err != nil {
		return err
	}
	if err := r.insist(ctx, "log in", r.login); err != nil {
		return leaving(ctx, err)
	}
	if m.cfg.Encryption {
		err := r.insist(ctx, "open encryption", func(ctx context.Context) (err error) {
			r.cipher, err = openCipher(ctx, r.client, m.cfg)
			return err
		})
		if err != nil {
			return leaving(ctx, err)
		}
		defer func() { err = errors.Join(err, r.cipher.Close()) }()
	}
	defer m.begin(ctx, r)()
	return leaving(ctx, r.work(ctx))
}

// work runs the parts until one of them ends for good or ctx is done, and waits
// for all.
func (m *stint) work(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	if err := m.load(ctx); err != nil {
		return fmt.Errorf("read inbox: %w", err)
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() { m.answer(ctx) })
	}
	wg.Go(func() { m.sweep(ctx) })
	wg.Go(func() { m.lateKeys(ctx) })
	wg.Go(func() { m.housekeep(ctx) })
	wg.Go(func() {
		if err := m.syncLoop(ctx); err != nil {
			cancel(err)
		}
	})
	<-ctx.Done()
	m.in.lanes.close()
	wg.Wait()
	err := m.dropHandled(context.WithoutCancel(ctx))
	if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) && !errors.Is(cause, context.DeadlineExceeded) {
		err = errors.Join(cause, err)
	}
	return err
}

// leaving makes an end that was asked for no error.
func leaving(ctx context.Context, err error) error {
	if ctx.Err() != nil && (errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)) {
		return nil
	}
	return err
}

// lead makes this the only program that syncs with this directory: two would
// take each other's keys.
func (m *Matrix) lead() (func(), error) {
	if err := os.MkdirAll(m.cfg.Dir, 0o700); err != nil {
		return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("open state: %w", err)}
	}
	lock := flock.New(filepath.Join(m.cfg.Dir, "lock"), flock.SetPermissions(0o600))
	held, err := lock.TryLock()
	switch {
	case err != nil:
		return nil, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("lock %s: %w", m.cfg.Dir, err)}
	case !held:
		return nil, &bot.Error{Kind: bot.Conflict, Err: fmt.Errorf("another program is working with %s: stop it first, as two on one device lose each other's keys", m.cfg.Dir)}
	}
	return func() { _ = lock.Close() }, nil
}

// insist repeats what fails for want of an answer, until it works, ctx is done
// or it fails for good.
func (m *stint) insist(ctx context.Context, what string, do func(context.Context) error) error {
	var b backoff
	for {
		err := do(ctx)
		if err == nil || ctx.Err() != nil || !transient(err) {
			return err
		}
		wait := b.next(err)
		m.stands(&bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("matrix: %s: %w", what, brief(err))})
		m.cfg.Log.Warn("matrix: "+what, "err", brief(err), "again in", wait.Round(time.Millisecond))
		if err := sleep(ctx, wait); err != nil {
			return err
		}
	}
}
