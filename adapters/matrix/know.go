package matrix

import (
	"context"
	"errors"
	"fmt"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// knowing is a room whose state has been asked for, or is being.
type knowing struct {
	done chan struct{}
	err  error
	came []*event.Event // state that came by sync meanwhile, and is newer
}

// know asks for a room's state, members and encryption above all, before
// anything is sent there: once for each start and stay.
func (m *stint) know(ctx context.Context, room string) error {
	var k *knowing
	for {
		m.in.mu.Lock()
		if k = m.in.known[room]; k == nil {
			break
		}
		m.in.mu.Unlock()
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-k.done:
		}
		if !errors.Is(k.err, context.Canceled) && !errors.Is(k.err, context.DeadlineExceeded) {
			return k.err
		}
		// Whoever asked has gone away: we ask.
	}
	k = &knowing{done: make(chan struct{})}
	m.in.known[room] = k
	m.in.mu.Unlock()

	err := m.askState(ctx, room)
	m.in.mu.Lock()
	defer m.in.mu.Unlock()
	if k.err = err; err != nil {
		if m.in.known[room] == k {
			delete(m.in.known, room) // the next one asks again
		}
	} else {
		for _, e := range k.came {
			mautrix.UpdateStateStore(ctx, m.store, e)
		}
	}
	k.came = nil
	close(k.done)
	return k.err
}

func (m *stint) askState(ctx context.Context, room string) error {
	if !soundID(room, "!") {
		return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("%.100q is no room", room)}
	}
	state, err := m.client.State(ctx, id.RoomID(room))
	if err != nil {
		return fmt.Errorf("ask for a room's state: %w", err)
	}
	if _, ok := state[event.StateEncryption][""]; ok {
		return m.state.setEncrypted(ctx, room)
	}
	return nil
}

// learntMeanwhile keeps state that came while a room was being asked for: the
// answer may be older.
func (m *stint) learntMeanwhile(room string, e *event.Event) {
	m.in.mu.Lock()
	defer m.in.mu.Unlock()
	if k := m.in.known[room]; k != nil {
		select {
		case <-k.done:
		default:
			k.came = append(k.came, e)
		}
	}
}

// forgetMembers has a room asked for again.
func (m *stint) forgetMembers(room string) {
	m.in.mu.Lock()
	defer m.in.mu.Unlock()
	if k := m.in.known[room]; k != nil {
		select {
		case <-k.done:
			delete(m.in.known, room)
		default: // being asked just now
		}
	}
}

// knowEncrypted asks for the members of the encrypted rooms we are in, so that
// the first answer after a start need not wait for it.
func (m *stint) knowEncrypted(ctx context.Context) {
	list, err := m.state.encryptedRooms(ctx)
	for _, room := range list {
		if ctx.Err() != nil {
			return
		}
		if err := m.know(ctx, room); err != nil && ctx.Err() == nil {
			m.cfg.Log.Debug("matrix: members of a room", "room", room, "err", err)
		}
	}
	if err != nil && ctx.Err() == nil {
		m.cfg.Log.Warn("matrix: read rooms", "err", err)
	}
}

func (s *state) encryptedRooms(ctx context.Context) (list []string, err error) {
	rows, err := s.db.QueryContext(ctx, "SELECT id FROM room WHERE encrypted = 1 AND joined <> 0")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var room string
		if err := rows.Scan(&room); err != nil {
			return nil, err
		}
		list = append(list, room)
	}
	return list, rows.Err()
}
