package person

import "maunium.net/go/mautrix/id"

// RoomID, EventID and UserID name rooms, messages and people, for tests that have
// nothing else to do with the library.
type (
	RoomID  = id.RoomID
	EventID = id.EventID
	UserID  = id.UserID
)
