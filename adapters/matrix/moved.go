package matrix

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/own"
	"milepost/bot"
)

// mostMoves bounds how often a room is followed: rooms move one after the other,
// and never in a circle but by malice.
const mostMoves = 20

// named gives the identifier by which the configuration names a room in one of
// some lists: its own, or that of a room which it has replaced; "" if none does.
func (m *stint) named(ctx context.Context, room string, lists ...[]string) (string, error) {
	chain, err := m.state.replaced(ctx, room)
	if err != nil {
		return "", err
	}
	for _, at := range chain {
		if slices.ContainsFunc(lists, func(l []string) bool { return slices.Contains(l, at) }) {
			if at != room {
				m.sayStale(at, room)
			}
			return at, nil
		}
	}
	return "", nil
}

// sayStale logs, once for each run, that the configuration names a room that was
// replaced.
func (m *stint) sayStale(named, room string) {
	m.in.mu.Lock()
	said := m.in.stale[named]
	keep(&m.in.stale, named, true)
	m.in.mu.Unlock()
	if !said {
		m.cfg.Log.Warn("matrix: a room of the configuration was replaced: name the new one there", "room", named, "new", room)
	}
}

// rootAnew begins the thread of a job in the room that replaced its own, where it
// has none yet: with a message that the card takes the place of when it changes
// next.
func (m *stint) rootAnew(ctx context.Context, out *bot.Outbound, p *place) error {
	r := rendered{body: "Job " + out.Job + " goes on here: this room has taken the place of the one it was in."}
	begin := bot.Outbound{Thread: out.Thread, Job: out.Job}
	ev, err := m.post(ctx, &item{key: fmt.Sprintf("%s/moved/%s/%s", out.Shop, out.Thread, p.room), room: p.room, typ: event.EventMessage,
		content: r.content(event.MsgText), root: true, offer: offer(&begin)})
	if err != nil {
		return err
	}
	p.root, p.last = ev, ev
	// If we crash before this, the same key finds the same event.
	return storeFault(m.state.setRoot(ctx, string(out.Thread), ev.String(), p.room.String(), out.Job))
}

// moveRoom lets the threads of a room go on in another. Their names stay; what
// they hang on is made anew when something is said there next.
func (s *state) moveRoom(ctx context.Context, from, to string) error {
	return s.tx(ctx, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO moved (room, successor) VALUES (?, ?) ON CONFLICT (room) DO UPDATE SET successor = excluded.successor", from, to)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "DELETE FROM root WHERE room = ?", from)
		return err
	})
}

// homeOf gives the room in which what is for a room is said now.
func (s *state) homeOf(ctx context.Context, room string) (string, error) {
	for range mostMoves {
		var next string
		err := s.db.QueryRowContext(ctx, "SELECT successor FROM moved WHERE room = ?", room).Scan(&next)
		if err := own.IgnoreNone(err); err != nil {
			return "", err
		}
		if next == "" || strings.EqualFold(next, room) {
			return room, nil
		}
		room = next
	}
	return room, nil
}

// replaced gives a room, and the rooms that it has replaced, the latest first.
func (s *state) replaced(ctx context.Context, room string) (chain []string, err error) {
	rows, err := s.db.QueryContext(ctx, "WITH RECURSIVE old (room, n) AS (SELECT ?, 0 UNION SELECT moved.room, n + 1 FROM moved JOIN old ON moved.successor = old.room "+
		"WHERE n < ?) SELECT room FROM old ORDER BY n, room", room, mostMoves)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var at string
		if err := rows.Scan(&at); err != nil {
			return nil, err
		}
		chain = append(chain, at)
	}
	return chain, rows.Err()
}
