package matrix

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"

	"milepost/bot"
)

// timeline is how many events of a room a sync brings; more are paged for.
const timeline = 50

// keylessTries is how often keys may end in a panic before it goes on without.
const keylessTries = 3

// syncFilter asks for what is used only. It is sent with each request, not kept
// at the server, so that a later version needs no care.
var syncFilter = func() string {
	none := &mautrix.FilterPart{NotTypes: []event.Type{{Type: "*"}}}
	f, err := json.Marshal(mautrix.Filter{
		Presence:    none,
		AccountData: &mautrix.FilterPart{Types: []event.Type{event.AccountDataDirectChats}},
		Room: &mautrix.RoomFilter{
			AccountData: none,
			Ephemeral:   none,
			Timeline:    &mautrix.FilterPart{Limit: timeline},
		},
	})
	if err != nil {
		panic(err) // of constants
	}
	return string(f)
}()

// syncLoop takes one response after the other. It returns an error only where
// trying again is no use.
func (m *stint) syncLoop(ctx context.Context) error {
	since, err := m.state.get(ctx, metaSince)
	if err != nil {
		return fmt.Errorf("read sync position: %w", err)
	}
	var b backoff
	var hold time.Duration // the first answer shall come at once
	for ctx.Err() == nil {
		err := m.syncOnce(ctx, &since, hold)
		switch {
		case ctx.Err() != nil:
			return nil
		case softLogout(err) && m.cfg.Password != "": // the next run logs in again
			return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("the homeserver wants a new login: %w", err)}
		case errors.Is(err, mautrix.MUnknownToken):
			return m.tokenGone(err)
		case err == nil:
			b, hold = backoff{}, pollFor
			m.stands(nil)
			continue
		}
		hold = 0
		wait := b.next(err)
		m.stands(&bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("matrix: sync: %w", brief(err))})
		m.cfg.Log.Warn("matrix: sync", "err", brief(err), "again in", wait.Round(time.Millisecond))
		if sleep(ctx, wait) != nil {
			return nil
		}
	}
	return nil
}

func (m *stint) syncOnce(ctx context.Context, since *string, hold time.Duration) error {
	if err := m.full(ctx); err != nil {
		return err
	}
	req := mautrix.ReqSync{Timeout: int(hold.Milliseconds()), Since: *since, FilterID: syncFilter, SetPresence: event.PresenceOffline, Client: m.in.poll}
	if *since == "" {
		req.Client = nil // the first answer can take its time
	}
	resp, err := m.client.FullSyncRequest(ctx, req)
	if err != nil {
		return err
	}
	if resp == nil || resp.NextBatch == "" {
		return errors.New("the answer has no position")
	}
	if err := m.take(ctx, resp, *since); err != nil {
		return err
	}
	*since = resp.NextBatch
	select {
	case <-m.synced:
	default:
		close(m.synced)
	}
	return nil
}

// take stores a response. Keys come first and are durable before the messages
// they are for; then all that was read, with the position, in one transaction.
// A crash anywhere before its commit brings the same response again.
func (m *stint) take(ctx context.Context, resp *mautrix.RespSync, since string) error {
	if err := m.takeKeys(ctx, resp, since); err != nil {
		return err
	}
	news, err := m.read(ctx, resp, since)
	if err != nil {
		return err
	}
	now := time.Now().UnixMilli()
	err = m.state.tx(ctx, func(tx *sql.Tx) error {
		for _, r := range news {
			if err := m.putRoom(ctx, tx, r, now); err != nil {
				return err
			}
		}
		if err := m.putInvites(ctx, tx, resp, since, now); err != nil {
			return err
		}
		if err := putDirect(ctx, tx, resp.AccountData.Events); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO meta (k, v) VALUES (?, ?)", metaSince, resp.NextBatch)
		return err
	})
	if err != nil {
		return fmt.Errorf("store messages: %w", err)
	}
	for _, r := range news {
		if r.rights {
			m.out.changed(r.id)
		}
	}
	return m.load(ctx)
}

// takeKeys stores the keys of a response. If that can't be done without a panic,
// after some tries the messages go on without: they are kept for their keys.
func (m *stint) takeKeys(ctx context.Context, resp *mautrix.RespSync, since string) error {
	if m.cipher == nil {
		return nil
	}
	err := m.contain("keys of a sync", func() error { return m.cipher.ProcessSync(ctx, resp, since) })
	var e *bot.Error
	if errors.As(err, &e) && e.Kind == bot.Internal {
		if m.in.keyless++; m.in.keyless > keylessTries {
			m.cfg.Log.Error("matrix: the keys of a sync can't be taken; going on without", "err", err)
			err = nil
		}
	}
	if err != nil {
		return fmt.Errorf("take keys: %w", err)
	}
	m.in.keyless = 0
	return nil
}

// contain makes a panic an error, and logs it: one event must not stop all others.
func (m *stint) contain(what string, f func() error) error { return contain(m.cfg.Log, what, f) }

func contain(log *slog.Logger, what string, f func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			log.Error("matrix: panic in "+what, "type", fmt.Sprintf("%T", r), "stack", string(debug.Stack()))
			err = &bot.Error{Kind: bot.Internal, Err: fmt.Errorf("panic in %s", what)}
		}
	}()
	return f()
}
