package matrix

import (
	"context"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// rooms is what is known of rooms and their members, as the library keeps it, in
// memory: it is asked for again after a start.
type rooms struct{ *mautrix.MemoryStateStore }

func newRooms() *rooms { return &rooms{mautrix.NewMemoryStateStore().(*mautrix.MemoryStateStore)} }

// SetMembership puts a changed copy in the place of what is known: others may be
// reading that just now, which the library does not see to.
func (r *rooms) SetMembership(ctx context.Context, room id.RoomID, user id.UserID, now event.Membership) error {
	c := event.MemberEventContent{}
	if old, err := r.TryGetMember(ctx, room, user); err != nil {
		return err
	} else if old != nil {
		c = *old
	}
	c.Membership = now
	return r.SetMember(ctx, room, user, &c)
}

// GetRoomJoinedOrInvitedMembers leaves out who has left: keys are not for them.
func (r *rooms) GetRoomJoinedOrInvitedMembers(ctx context.Context, room id.RoomID) ([]id.UserID, error) {
	members, err := r.GetAllMembers(ctx, room)
	var users []id.UserID
	for u, c := range members {
		if c != nil && c.Membership.IsInviteOrJoin() {
			users = append(users, u)
		}
	}
	return users, err
}

// joined counts who is in a room.
func (r *rooms) joined(ctx context.Context, room id.RoomID) (n int) {
	members, _ := r.GetAllMembers(ctx, room) // in memory: no error
	for _, c := range members {
		if c != nil && c.Membership == event.MembershipJoin {
			n++
		}
	}
	return n
}

// calledIn gives what a user is called in a room, "" if nothing is known.
func (r *rooms) calledIn(ctx context.Context, room id.RoomID, user id.UserID) string {
	if c, _ := r.TryGetMember(ctx, room, user); c != nil {
		return c.Displayname
	}
	return ""
}
