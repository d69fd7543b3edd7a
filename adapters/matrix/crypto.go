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

// errNoEncryption says that this program has no encryption.
var errNoEncryption = errors.New("encrypted rooms are not in this build: it was made without the tag goolm")

// cipher is end-to-end encryption: one device's keys. The one implementation is
// crypto_goolm.go; a build without it has none.
type cipher interface {
	// ProcessSync takes the keys and device lists of a sync response; on return
	// they are stored. It comes before the response's messages are looked at.
	ProcessSync(ctx context.Context, resp *mautrix.RespSync, since string) error

	// Decrypt gives what is inside an encrypted event: errNoKey where the key
	// is not here. The same event can be decrypted again.
	Decrypt(ctx context.Context, evt *event.Event) (*event.Event, error)

	// AskKey asks the sender's and our own devices for an event's key.
	AskKey(ctx context.Context, evt *event.Event) error

	// NewKeys tells that keys have come, for whatever events wait.
	NewKeys() <-chan struct{}

	// Encrypt encrypts for all who are in a room.
	Encrypt(ctx context.Context, room id.RoomID, typ event.Type, content any) (*event.EncryptedEventContent, error)

	// OpenFile decrypts a file; its hash is checked by the time Close returns
	// nil. SealFile encrypts one and gives what the message must say of it.
	OpenFile(r io.ReadCloser, file *event.EncryptedFileInfo) (io.ReadCloser, error)
	SealFile(plain []byte) (sealed []byte, file *event.EncryptedFileInfo, err error)

	// Findings says how the device stands: its keys, its signature.
	Findings(ctx context.Context) []bot.Finding

	// ForgetPeople removes what is kept of what people are called.
	ForgetPeople(ctx context.Context, users []id.UserID) error

	Close() error
}
