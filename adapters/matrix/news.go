package matrix

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
)

// roomNews is what a response says of a room, older events fetched already.
type roomNews struct {
	id        id.RoomID
	events    []*event.Event // oldest first
	floor     int            // events before this one are not answered
	joined    int64          // since when we are in it by the server's clock, 0 if we are not
	encrypted bool
	tombstone *event.Event // the state says that the room was replaced; nil: it does not
	rights    bool         // what we may do there may have changed
	gap       string       // from where older ones could not be fetched
}

// read looks through the rooms of a response, in an order that is always the
// same, and fetches what the response left out.
func (m *stint) read(ctx context.Context, resp *mautrix.RespSync, since string) ([]*roomNews, error) {
	var news []*roomNews
	if m.in.older = 0; since == "" {
		m.in.away = nil // another try
	}
	for _, room := range slices.Sorted(maps.Keys(resp.Rooms.Join)) {
		j := resp.Rooms.Join[room]
		if j == nil {
			continue
		}
		state := j.State.Events
		if j.StateAfter != nil {
			state = j.StateAfter.Events
		}
		r := &roomNews{id: room, events: ofRoom(room, j.Timeline.Events)}
		r.encrypted = m.learn(ctx, room, state, r.events)
		was, err := m.state.joinedAt(ctx, string(room))
		if err != nil {
			return nil, err
		}
		if r.joined = was; was == 0 {
			m.forgetMembers(string(room)) // those of an earlier stay
		}
		if since != "" && j.Timeline.Limited {
			if err := m.fillGap(ctx, r, j.Timeline.PrevBatch); err != nil {
				return nil, err
			}
		}
		m.since(r, state, was, since == "")
		if since == "" {
			m.in.away = append(m.in.away, away{room, r.events, j.Timeline.PrevBatch})
		}
		r.tombstone = tombstoneOf(room, state)
		r.rights = was == 0 || m.ourRights(state, r.events)
		news = append(news, r)
	}
	for _, room := range slices.Sorted(maps.Keys(resp.Rooms.Leave)) {
		l := resp.Rooms.Leave[room]
		was, err := m.state.joinedAt(ctx, string(room))
		if err != nil {
			return nil, err
		}
		if l == nil || was == 0 {
			continue // an invitation declined, or known already
		}
		r := &roomNews{id: room, events: ofRoom(room, l.Timeline.Events)}
		m.noteLeft(room, slices.Concat(l.State.Events, r.events))
		news = append(news, r)
	}
	return news, nil
}

// tombstoneOf gives the event of a room's state by which it was replaced, nil if
// there is none. It tells so to us who know nothing of that time, or were not
// given the events of it.
func tombstoneOf(room id.RoomID, state []*event.Event) *event.Event {
	for _, e := range ofRoom(room, state) {
		if isTombstone(e) {
			return e
		}
	}
	return nil
}

func isTombstone(e *event.Event) bool {
	return e.Type.Type == event.StateTombstone.Type && e.StateKey != nil && *e.StateKey == ""
}

// ofRoom drops what is no event and puts the room into the rest: it is not in a
// sync's events.
func ofRoom(room id.RoomID, events []*event.Event) []*event.Event {
	events = slices.DeleteFunc(slices.Clone(events), func(e *event.Event) bool { return e == nil || e.ID == "" })
	for _, e := range events {
		e.RoomID = room
	}
	return events
}

// learn keeps the state of a room: members, encryption, power. It says whether
// the room has been found to be encrypted.
func (m *stint) learn(ctx context.Context, room id.RoomID, lists ...[]*event.Event) (encrypted bool) {
	for _, events := range lists {
		for _, e := range events {
			if e == nil || e.StateKey == nil {
				continue
			}
			e.RoomID, e.Type.Class = room, event.StateEventType
			_ = m.contain("state of a room", func() error {
				if err := e.Content.ParseRaw(e.Type); err == nil || errors.Is(err, event.ErrContentAlreadyParsed) {
					mautrix.UpdateStateStore(ctx, m.store, e)
					m.learntMeanwhile(string(room), e)
				}
				return nil
			})
			encrypted = encrypted || e.Type == event.StateEncryption && *e.StateKey == ""
		}
	}
	return encrypted
}

// since finds from which event on a room's messages are for us: where we have
// just come in, from the invitation on; at the very first sync, none.
func (m *stint) since(r *roomNews, state []*event.Event, was int64, first bool) {
	if was != 0 && !first {
		return
	}
	invited, came := -1, -1
	for i, e := range r.events {
		switch m.ownMembership(e) {
		case event.MembershipInvite:
			invited = i
		case event.MembershipJoin:
			if !wasIn(e) && (came < 0 || invited > came) {
				came = i
			}
		case event.MembershipLeave, event.MembershipBan:
			invited, came = -1, -1
		}
	}
	if came >= 0 {
		r.joined, r.floor = r.events[came].Timestamp, came
		if invited >= 0 && invited < came {
			r.floor = invited // whoever writes to the invited means them
		}
	}
	for _, e := range state {
		if r.joined == 0 && m.ownMembership(e) == event.MembershipJoin {
			r.joined = e.Timestamp
		}
	}
	if r.joined == 0 {
		r.joined = time.Now().UnixMilli()
	}
	if first {
		r.floor = len(r.events)
	}
}

// ownMembership gives what a member event makes of us, "" if it is none of ours.
func (m *stint) ownMembership(e *event.Event) event.Membership {
	if e == nil || e.Type.Type != event.StateMember.Type || e.StateKey == nil || *e.StateKey != m.cfg.User {
		return ""
	}
	s, _ := e.Content.Raw["membership"].(string)
	return event.Membership(s)
}

// joinedAt gives since when we are in a room, 0 if we are not or don't know it.
func (s *state) joinedAt(ctx context.Context, room string) (at int64, err error) {
	err = s.db.QueryRowContext(ctx, "SELECT joined FROM room WHERE id = ?", room).Scan(&at)
	return at, own.IgnoreNone(err)
}

// wasIn says whether somebody was in the room already who joins: a new name is
// the same event.
func wasIn(e *event.Event) bool {
	if e.Unsigned.PrevContent == nil {
		return false
	}
	s, _ := e.Unsigned.PrevContent.Raw["membership"].(string)
	return s == string(event.MembershipJoin)
}

// putDirect notes which rooms our account has listed for talk with one person.
func putDirect(ctx context.Context, tx *sql.Tx, events []*event.Event) error {
	for _, e := range events {
		if e == nil || e.Type.Type != event.AccountDataDirectChats.Type {
			continue
		}
		var list map[string][]string
		if json.Unmarshal(e.Content.VeryRaw, &list) != nil {
			continue
		}
		for _, rooms := range list {
			for _, room := range rooms {
				if _, err := tx.ExecContext(ctx, "INSERT INTO room (id, direct) VALUES (?, 1) ON CONFLICT (id) DO UPDATE SET direct = 1", room); err != nil {
					return err
				}
			}
		}
	}
	return nil
}
