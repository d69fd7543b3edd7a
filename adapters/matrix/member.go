package matrix

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// Reasons that whoever invited us can read. They tell nothing of the workshop.
const (
	whyNotYou   = "This assistant takes invitations from its own workshop only."
	whyNoCipher = "This assistant has no encryption here: please invite it to a room without."
)

// putInvites puts invitations into the inbox. Only those of the section for them
// count: the same comes again in the timeline once we are in.
func (m *stint) putInvites(ctx context.Context, tx *sql.Tx, resp *mautrix.RespSync, since string, now int64) error {
	for _, room := range slices.Sorted(maps.Keys(resp.Rooms.Invite)) {
		inv := resp.Rooms.Invite[room]
		if inv == nil || !soundID(string(room), "!") {
			continue
		}
		var e *event.Event
		secret := false
		for _, s := range inv.BestState() {
			if m.ownMembership(s) == event.MembershipInvite {
				e = s
			}
			secret = secret || s != nil && s.Type.Type == event.StateEncryption.Type
		}
		if e == nil || !soundID(string(e.Sender), "@") {
			continue
		}
		direct, _ := e.Content.Raw["is_direct"].(bool)
		raw, err := json.Marshal(invitation{Direct: direct, Secret: secret})
		if err != nil {
			return err
		}
		// The events of an invitation need have no identifier.
		row := &event.Event{ID: id.EventID(fmt.Sprintf("%s/invite/%s", room, since)), RoomID: room, Sender: e.Sender, Type: invited, Content: event.Content{VeryRaw: raw}}
		if _, err := tx.ExecContext(ctx, "UPDATE room SET joined = 0 WHERE id = ?", room); err != nil {
			return err // whatever was before is over
		}
		if err := putInbox(ctx, tx, row, string(room), now); err != nil {
			return err
		}
	}
	return nil
}

// invited is the type of the inbox's rows that are invitations. No event of a
// room gets there under it.
var invited = event.Type{Type: "invitation"}

type invitation struct {
	Direct bool `json:"direct"`
	Secret bool `json:"secret"` // encrypted
}

// moves does what is no word of anybody: invitations, and rooms that move. It is
// true if the event was one.
func (m *stint) moves(ctx context.Context, evt *event.Event) (bool, error) {
	switch evt.Type.Type {
	case invited.Type:
		return true, m.answerInvite(ctx, evt)
	case event.StateTombstone.Type:
		return true, m.follow(ctx, evt)
	}
	return false, nil
}

func (m *stint) answerInvite(ctx context.Context, evt *event.Event) error {
	var inv invitation
	if err := json.Unmarshal(evt.Content.VeryRaw, &inv); err != nil {
		return nil
	}
	switch {
	case !m.mayInvite(string(evt.Sender)):
		return m.decline(ctx, evt, whyNotYou)
	case inv.Secret && m.cipher == nil:
		return m.decline(ctx, evt, whyNoCipher)
	}
	if inv.Direct {
		if err := m.state.setDirect(ctx, string(evt.RoomID)); err != nil {
			return err
		}
	}
	if _, err := m.client.JoinRoomByID(ctx, evt.RoomID); err != nil {
		if !final(err) {
			return fmt.Errorf("join room: %w", err)
		}
		m.cfg.Log.Warn("matrix: invitation can't be followed", "room", evt.RoomID, "by", evt.Sender, "err", err)
		return nil
	}
	m.cfg.Log.Info("matrix: joined", "room", evt.RoomID, "by", evt.Sender)
	m.forgetMembers(string(evt.RoomID))
	return m.arrived(ctx, evt.RoomID)
}

// mayInvite says whether somebody may bring us into a room.
func (m *stint) mayInvite(user string) bool {
	return m.cfg.May != nil && m.cfg.May(user) || slices.Contains(m.cfg.Servers, serverOf(user))
}

func (m *stint) decline(ctx context.Context, evt *event.Event, why string) error {
	m.cfg.Log.Info("matrix: invitation declined", "room", evt.RoomID, "by", evt.Sender, "reason", why)
	_, err := m.client.LeaveRoom(ctx, evt.RoomID, &mautrix.ReqLeave{Reason: why})
	if err != nil && !final(err) {
		return fmt.Errorf("decline invitation: %w", err)
	}
	return nil // withdrawn, or declined before a crash
}

// follow goes after a room that was replaced.
func (m *stint) follow(ctx context.Context, evt *event.Event) error {
	var c event.TombstoneEventContent
	if json.Unmarshal(evt.Content.VeryRaw, &c) != nil || !soundID(string(c.ReplacementRoom), "!") || c.ReplacementRoom == evt.RoomID {
		return nil
	}
	req := &mautrix.ReqJoinRoom{}
	if server := serverOf(string(evt.Sender)); server != "" {
		req.Via = []string{server}
	}
	if _, err := m.client.JoinRoom(ctx, string(c.ReplacementRoom), req); err != nil {
		if !final(err) {
			return fmt.Errorf("follow a room: %w", err)
		}
		m.cfg.Log.Warn("matrix: a room was replaced; the new one takes an invitation", "room", evt.RoomID, "new", c.ReplacementRoom)
		return nil
	}
	m.forgetMembers(string(c.ReplacementRoom))
	return m.arrived(ctx, c.ReplacementRoom)
}

// arrived learns about a room we have come into, and whether it is the new one
// of another. The threads of that are then in it, for what we say; what is said
// in the old is still heard.
func (m *stint) arrived(ctx context.Context, room id.RoomID) error {
	if err := m.know(ctx, string(room)); err != nil {
		if !final(err) {
			return err
		}
		return nil
	}
	create, _ := m.store.GetCreate(ctx, room) // in memory: no error
	if create == nil || create.Content.AsCreate().Predecessor == nil {
		return nil
	}
	old := create.Content.AsCreate().Predecessor.RoomID
	if at, err := m.state.joinedAt(ctx, string(old)); err != nil || at == 0 {
		return err
	}
	// Both must name each other: whoever makes a room could otherwise take over
	// the jobs of another.
	var c event.TombstoneEventContent
	switch err := m.client.StateEvent(ctx, old, event.StateTombstone, "", &c); {
	case err == nil && c.ReplacementRoom == room:
	case err != nil && !final(err):
		return fmt.Errorf("ask what replaced a room: %w", err)
	default:
		m.cfg.Log.Warn("matrix: a room says it replaces one that does not say so", "room", room, "old", old)
		return nil
	}
	m.cfg.Log.Info("matrix: followed a room", "room", old, "new", room)
	defer m.out.changed(old)
	return m.state.moveRoom(ctx, string(old), string(room))
}

// noteLeft logs how we came out of a room.
func (m *stint) noteLeft(room id.RoomID, events []*event.Event) {
	how, by := event.MembershipLeave, id.UserID("")
	for _, e := range events {
		if ms := m.ownMembership(e); ms == event.MembershipLeave || ms == event.MembershipBan {
			how, by = ms, e.Sender
		}
	}
	switch {
	case how == event.MembershipBan:
		m.cfg.Log.Warn("matrix: banned from a room", "room", room, "by", by)
	case string(by) == m.cfg.User || by == "":
		m.cfg.Log.Info("matrix: left a room", "room", room)
	default:
		m.cfg.Log.Warn("matrix: removed from a room", "room", room, "by", by)
	}
	m.forgetMembers(string(room))
}

func (s *state) setDirect(ctx context.Context, room string) error {
	_, err := s.db.ExecContext(ctx, "INSERT INTO room (id, direct) VALUES (?, 1) ON CONFLICT (id) DO UPDATE SET direct = 1", room)
	return err
}
