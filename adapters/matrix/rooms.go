package matrix

import "maunium.net/go/mautrix"

// rooms is what is known of rooms and their members, as the library keeps it, in
// memory: it is asked for again after a start.
type rooms struct{ *mautrix.MemoryStateStore }
