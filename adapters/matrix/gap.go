package matrix

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// Bounds of what is fetched where a sync left messages out.
const (
	gapPage  = 100
	gapMost  = 10_000 // events of one room at once
	gapTries = 6      // then the rest goes on without

	olderMost = 50_000 // events of all rooms in one response: they are held in memory together
)

// errNoEnd says that the bound came before an event we know.
var errNoEnd = errors.New("the gap goes on beyond the bound")

// gapFilter asks for words, and for who came and went.
var gapFilter = &mautrix.FilterPart{Types: []event.Type{event.EventMessage, event.EventEncrypted, event.EventReaction, event.EventRedaction,
	event.StateMember, event.StateTombstone}}

// fillGap puts before a room's new events those that the response left out.
// They are stored in the same transaction: a crash in the middle fetches them
// again. A room whose history the server will not give must not stop all
// others: after some tries it goes on without, and the gap is kept for later.
func (m *stint) fillGap(ctx context.Context, r *roomNews, from string) error {
	if r.joined == 0 && slices.ContainsFunc(r.events, func(e *event.Event) bool { return m.ownMembership(e) == event.MembershipJoin }) {
		return nil // nothing of before we came in is for us
	}
	if m.in.older >= m.in.olderMost {
		r.gap = from
		m.cfg.Log.Warn("matrix: too much was missed to be fetched at once; a room's is fetched later and comes out of order", "room", r.id)
		return nil
	}
	older, err := m.pageBack(ctx, r.id, from)
	m.in.older += len(older)
	switch {
	case err == nil:
		m.in.tried = 0
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, mautrix.MUnknownToken):
		return err
	case errors.Is(err, errNoEnd):
		m.cfg.Log.Error("matrix: more was missed in a room than is fetched at once; the oldest is left out", "room", r.id, "fetched", len(older))
	case !final(err) && m.in.tried < gapTries:
		m.in.tried++
		return err
	case !final(err):
		m.in.tried, r.gap = 0, from
		m.cfg.Log.Error("matrix: messages of a room can't be fetched; tried again later, they will come out of order", "room", r.id, "err", err)
		return nil
	default:
		m.cfg.Log.Error("matrix: messages of a room were missed and are not given to us", "room", r.id, "err", err)
		return nil
	}
	if len(older) > 0 {
		m.cfg.Log.Info("matrix: fetched what a sync left out", "room", r.id, "events", len(older))
	}
	r.events = append(older, r.events...)
	return nil
}

// pageBack fetches older events until one that was seen or our coming into the
// room, and gives them oldest first.
func (m *stint) pageBack(ctx context.Context, room id.RoomID, from string) ([]*event.Event, error) {
	var found []*event.Event // newest first
	done := func(err error) ([]*event.Event, error) {
		slices.Reverse(found)
		return found, err
	}
	for len(found) < gapMost {
		page, err := m.client.Messages(ctx, room, from, "", mautrix.DirectionBackward, gapFilter, gapPage)
		if err != nil {
			return nil, err
		}
		for _, e := range ofRoom(room, page.Chunk) {
			seen, err := m.state.isSeen(ctx, string(e.ID))
			if err != nil {
				return nil, err
			}
			if seen {
				return done(nil)
			}
			found = append(found, slim(e))
			if m.ownMembership(e) == event.MembershipJoin && !wasIn(e) {
				return done(nil)
			}
		}
		if page.End == "" || page.End == from {
			return done(nil)
		}
		from = page.End
	}
	return done(errNoEnd)
}

// slim drops the parsed copy of what is long, as many are held at once.
func slim(e *event.Event) *event.Event {
	if e.StateKey == nil && e.Type.Type != event.EventRedaction.Type {
		e.Content.Raw = nil
	}
	return e
}

// fillLater tries the gaps that are kept.
func (m *stint) fillLater(ctx context.Context) {
	gaps, err := m.state.gaps(ctx)
	if err != nil {
		if ctx.Err() == nil {
			m.cfg.Log.Warn("matrix: read gaps", "err", err)
		}
		return
	}
	for room, from := range gaps {
		events, err := m.pageBack(ctx, id.RoomID(room), from)
		if err != nil && !errors.Is(err, errNoEnd) && !final(err) {
			continue
		}
		now := time.Now().UnixMilli()
		err = m.state.tx(ctx, func(tx *sql.Tx) error {
			for _, e := range events {
				if err := m.putEvent(ctx, tx, e, false, now); err != nil {
					return err
				}
			}
			_, err := tx.ExecContext(ctx, "UPDATE room SET gap = '' WHERE id = ? AND gap = ?", room, from)
			return err
		})
		if err != nil {
			m.cfg.Log.Warn("matrix: store fetched messages", "room", room, "err", err)
			continue
		}
		m.cfg.Log.Info("matrix: fetched what was missed", "room", room, "events", len(events))
	}
	if len(gaps) > 0 {
		if err := m.load(ctx); err != nil {
			m.cfg.Log.Warn("matrix: read inbox", "err", err)
		}
	}
}

func (s *state) isSeen(ctx context.Context, evt string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, "SELECT count(*) FROM seen WHERE event = ?", evt).Scan(&n)
	return n > 0, err
}

// gaps gives the rooms of which older messages are still to be fetched.
func (s *state) gaps(ctx context.Context) (map[string]string, error) {
	rows, err := s.db.QueryContext(ctx, "SELECT id, gap FROM room WHERE gap <> ''")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	gaps := map[string]string{}
	for rows.Next() {
		var room, from string
		if err := rows.Scan(&room, &from); err != nil {
			return nil, err
		}
		gaps[room] = from
	}
	return gaps, rows.Err()
}
