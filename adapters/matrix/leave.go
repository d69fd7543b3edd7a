package matrix

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// TurnedAway leaves a room of strangers, to whom it has been said today that
// they are. (bot.Leaver)
func (m *Matrix) TurnedAway(ctx context.Context, thread bot.Thread) {
	r, leave := m.on.held()
	defer leave()
	if r != nil {
		r.turnedAway(ctx, thread)
	}
}

func (m *stint) turnedAway(ctx context.Context, thread bot.Thread) {
	room, _ := splitThread(thread)
	if !soundID(room, "!") {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, sendWait)
	defer cancel()
	if err := m.leaveStrangers(ctx, id.RoomID(room)); err != nil && ctx.Err() == nil {
		m.cfg.Log.Warn("matrix: leave a room of strangers", "room", room, "err", brief(err))
	}
}

// leaveStrangers leaves a room in which nobody has anything to do with us, once
// that has been said. What can't be found out keeps us in: it is asked again
// with the next stranger, or the next word of the same.
func (m *stint) leaveStrangers(ctx context.Context, room id.RoomID) error {
	why, err := m.stays(ctx, room)
	if err != nil {
		m.cfg.Log.Warn("matrix: stay or leave", "room", room, "err", err)
		return nil
	}
	if why != "" {
		return nil
	}
	if _, err := m.client.LeaveRoom(ctx, room); err != nil && status(err) != 403 && status(err) != 404 {
		return sendFault(ctx, "leave", err)
	}
	if _, err := m.client.ForgetRoom(ctx, room); err != nil {
		m.cfg.Log.Warn("matrix: forget a room that was left", "room", room, "err", err)
	}
	m.cfg.Log.Info("matrix: left a room of strangers", "room", room)
	return nil
}

// stays gives why a room is not to be left, "" if there is nothing.
func (m *stint) stays(ctx context.Context, room id.RoomID) (string, error) {
	if named, err := m.named(ctx, room.String(), m.cfg.Patterns, m.cfg.Posts); err != nil || named != "" {
		return "it is configured", err
	}
	jobs, err := m.state.hasRoots(ctx, room.String())
	if err != nil {
		return "", err
	}
	if jobs {
		return "it holds a job", nil
	}
	const known = "someone in it is known"
	seen, _ := m.store.GetAllMembers(ctx, room) // in memory: no error
	for user, c := range seen {
		if c != nil && c.Membership == event.MembershipJoin && m.knows(user) {
			return known, nil // for this the server need not be asked at each word
		}
	}
	members, err := m.client.JoinedMembers(ctx, room)
	switch s := status(err); {
	case s == 403 || s == 404:
		return "the assistant is not in it", nil
	case err != nil:
		return "", fmt.Errorf("ask who is in the room: %w", err)
	}
	for user := range members.Joined {
		if m.knows(user) {
			return known, nil
		}
	}
	return "", nil
}

// knows says whether somebody else may.
func (m *stint) knows(user id.UserID) bool { return user != m.client.UserID && m.may(user.String()) }

// may says whether a user is named in the configuration, or of a server that
// gives a role.
func (m *stint) may(user string) bool {
	if m.cfg.May != nil && m.cfg.May(user) {
		return true
	}
	_, server, ok := strings.Cut(user, ":")
	return ok && slices.Contains(m.cfg.Patterns, "@*:"+server)
}
