package matrix

import (
	"log/slog"

	"milepost/bot"
)

// Config is what the adapter is made of. Homeserver, User, Dir and one of
// AccessToken and Password are needed.
type Config struct {
	Homeserver string // base address: https, or http on loopback
	User       string // @user:server
	DeviceName string // what people see in the list of devices; "Milepost" if empty

	AccessToken string // of a device of ours; else a device is made with Password at the first start and kept
	Password    string
	PickleKey   string // encrypts the keys at rest; needed with Encryption
	RecoveryKey string // signs our device as the account's own; "" leaves it unsigned

	// SaveRecoveryKey keeps a recovery key that is made at the first start, with
	// Password, for an account that has none and with RecoveryKey "". It is called
	// before the key is in force: an error leaves the account as it was. nil: none
	// is made.
	SaveRecoveryKey func(key string) error

	Dir        string // where sync position, inbox and keys are kept
	Encryption bool   // encrypted rooms are served; needs a build with them

	Servers  []string               // whose people may invite
	May      func(user string) bool // who is named in the configuration, and may
	Patterns []string               // rooms (!id:server) and servers (@*:server) that give a role
	Posts    []string               // rooms (!id:server) that alerts and digests go to

	MaxFile int64     // bytes of an incoming file; 0: 64 MiB
	Blobs   bot.Blobs // where files that go out lie; nil: none go

	Program string // version, for the user agent
	Log     *slog.Logger
}
