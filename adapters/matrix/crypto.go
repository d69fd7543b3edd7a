package matrix

import (
	"context"
	"errors"
	"io"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// errNoKey says that an event can't be decrypted because its key is not here
// (yet).
var errNoKey = errors.New("the key of this message is not here")

// errUnknownRoom says that nothing can be encrypted for a room yet: who is in it
// has not been asked for since the start.
var errUnknownRoom = errors.New("who is in this room is not known yet")

// errNoEncryption says that this program has no encryption.
var errNoEncryption = errors.New("encrypted rooms are not in this build: it was made without the tag goolm")

// cipher is end-to-end encryption: one device's keys. The one implementation is
// crypto_goolm.go; a build without it has none.
type cipher interface {
	// ProcessSync takes the keys, device lists and members of a sync response; on
	// return they are stored. It comes before the response's messages are looked
	// at. The same response again does no harm. After an error it must come again.
	ProcessSync(ctx context.Context, resp *mautrix.RespSync, since string) error

	// Decrypt gives what is inside an encrypted event: errNoKey where the key
	// is not here. The same event can be decrypted again.
	Decrypt(ctx context.Context, evt *event.Event) (*event.Event, error)

	// AskKey asks the sender's and our own devices for an event's key.
	AskKey(ctx context.Context, evt *event.Event) error

	// NewKeys tells that keys have come, for whatever events wait.
	NewKeys() <-chan struct{}

	// Encrypt encrypts for all who are in a room, or invited where they may read
	// what was written before they joined: errUnknownRoom if these have not been
	// asked for. It may be called for many rooms at once.
	Encrypt(ctx context.Context, room id.RoomID, typ event.Type, content any) (*event.EncryptedEventContent, error)

	// OpenFile decrypts a file; its hash is checked by the time Close returns
	// nil. SealFile encrypts one and gives what the message must say of it.
	OpenFile(r io.ReadCloser, file *event.EncryptedFileInfo) (io.ReadCloser, error)
	SealFile(plain []byte) (sealed []byte, file *event.EncryptedFileInfo, err error)

	// Findings says how the device stands: its keys, its signature.
	Findings(ctx context.Context) []bot.Finding

	// ForgetPeople removes all that names these people: who they are, their
	// devices, the keys they sent. Whoever writes again, or still is in a room
	// that is written to, is looked up again.
	ForgetPeople(ctx context.Context, users []id.UserID) error

	Close() error
}
