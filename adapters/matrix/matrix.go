// Package matrix is the assistant on Matrix: a thread for each job, in plain and
// in end-to-end encrypted rooms.
//
// # A message's way in
//
//	sync ─▶ one transaction: inbox rows, position (sync.go)
//	        ─▶ lane of that thread (inbox.go) ─▶ decrypt (crypto_*.go)
//	        ─▶ what it means (hear.go) ─▶ bot.Handle ─▶ row deleted
//
// The position is stored with the messages it covers, never before: a crash
// brings the same response again, and rows are unique by event. What can't be
// decrypted yet stays in the inbox until its key comes.
//
// # A message's way out
//
//	bot's outbox ─▶ Send (send.go) ─▶ noted as tried ─▶ PUT with a transaction
//	        made of the key ─▶ noted as delivered
//
// A message whose fate is unknown, after a crash or a lost answer, is looked for
// first: our own events come back by sync with their transaction, and each
// carries its key inside.
//
// # Threads
//
// A bot.Thread is "!room/$event", where the event is the message that began the
// job. The job's card answers that message and is the root of the Matrix
// thread. Which root belongs to which thread is kept, and can be found again by
// the relation of the card.
package matrix

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"

	"milepost/bot"
)

// NetworkName is the network's name, and the prefix of its identities.
const NetworkName = "matrix"

// Identity is a user's full and exact identity.
func Identity(user string) bot.Identity { return bot.Identity(NetworkName + ":" + user) }

// threadName names the thread of a job that an event began.
func threadName(room, event string) bot.Thread { return bot.Thread(room + "/" + event) }

// splitThread takes a thread's name apart; event is "" for a room's main line.
func splitThread(t bot.Thread) (room, event string) {
	room, event, _ = strings.Cut(string(t), "/")
	return room, event
}

// Matrix is the network. Make one with New, let Run run; it may be run again when
// it has ended. What belongs to a run is in a value of its own (enter.go).
type Matrix struct {
	cfg Config
	on  current
	health

	prepare func(*stint) // for tests: sees a run before it begins; nil: nothing
}

// sound fills in the defaults and lists every fault at once.
func (c Config) sound() (Config, error) {
	var faults []error
	if err := soundAddress(c.Homeserver); err != nil {
		faults = append(faults, err)
	}
	if name, server, ok := strings.Cut(strings.TrimPrefix(c.User, "@"), ":"); !strings.HasPrefix(c.User, "@") || !ok || name == "" || server == "" {
		faults = append(faults, fmt.Errorf("user %.200q: want @name:server", c.User))
	}
	if c.Dir == "" {
		faults = append(faults, errors.New("the state directory is missing"))
	}
	if c.AccessToken == "" && c.Password == "" {
		faults = append(faults, errors.New("an access token or a password is needed"))
	}
	if c.Encryption && c.PickleKey == "" {
		faults = append(faults, errors.New("a pickle key is needed for encrypted rooms"))
	}
	if c.DeviceName == "" {
		c.DeviceName = "Milepost"
	}
	if c.MaxFile == 0 {
		c.MaxFile = 64 << 20
	}
	if len(faults) > 0 {
		return c, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("configure matrix: %w", errors.Join(faults...))}
	}
	return c, nil
}

// soundAddress lets words go out encrypted only, or not leave the machine.
func soundAddress(address string) error {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" {
		return fmt.Errorf("homeserver %.200q: want an address such as https://matrix.example.org", address)
	}
	ip := net.ParseIP(u.Hostname())
	loopback := u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
	if u.Scheme != "https" && (u.Scheme != "http" || !loopback) {
		return fmt.Errorf("homeserver %.200q: want https; http only on loopback", address)
	}
	return nil
}
