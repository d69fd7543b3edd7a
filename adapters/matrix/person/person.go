// Package person has people for tests of the Matrix adapter: clients of their
// own, with nothing in common with the adapter but the library's requests. Where
// the adapter uses the library's crypto helper, these use its Olm machine. Nothing
// of the program imports the package.
//
// Encryption needs the build tag goolm; without it JoinEncrypted skips the test.
package person

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"testing"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/matrix/homeserver"
)

const perSync = 500 // events of a room in one answer, so that none has a gap

// Config says who joins, and how.
type Config struct {
	Server    *homeserver.Server
	URL       string // where the server is reached, such as by a proxy; "": directly
	Name      string // local part of the user ID, lower case
	Encrypted bool   // can read and write in encrypted rooms
	Waits     bool   // does not join by itself when invited: see Enter
}

// Person is someone with one device, who joins rooms when invited and takes in
// all that happens there. The methods end the test when something goes wrong, so
// they are for the test's own goroutine.
type Person struct {
	ID     id.UserID
	Device id.DeviceID
	Token  string // access token
	Client *mautrix.Client

	t         testing.TB
	waits     bool
	crypt     crypt // nil without encryption
	transport *http.Transport
	direct    map[id.UserID][]id.RoomID // account data m.direct

	cancel context.CancelFunc // ends the sync; nil while away
	synced chan error         // how it ended

	whole   sync.Mutex // held while an answer is taken in: who is a member, and who gets keys, change together
	mu      sync.Mutex
	rooms   map[id.RoomID]*room
	changed chan struct{} // closed and made anew at each change
}

// crypt is what encryption adds to a person.
type crypt interface {
	mautrix.CryptoHelper
	trust(ctx context.Context, user id.UserID) (map[id.DeviceID]string, error)
	seal(content []byte) ([]byte, *event.EncryptedFileInfo)
	close() error
}

// Join registers someone who knows nothing of encryption, and starts to sync.
func Join(t testing.TB, s *homeserver.Server, name string) *Person {
	t.Helper()
	return New(t, Config{Server: s, Name: name})
}

// JoinEncrypted registers someone who can also use encrypted rooms.
func JoinEncrypted(t testing.TB, s *homeserver.Server, name string) *Person {
	t.Helper()
	return New(t, Config{Server: s, Name: name, Encrypted: true})
}

// New registers a person and starts to sync, until the test ends.
func New(t testing.TB, c Config) *Person {
	t.Helper()
	if c.Encrypted && !CanEncrypt {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	a := c.Server.Register(t, c.Name, Password(c.Name))
	if c.URL == "" {
		c.URL = c.Server.URL()
	}
	client, err := mautrix.NewClient(c.URL, id.UserID(a.UserID), a.AccessToken)
	if err != nil {
		t.Fatalf("join %s: %v", c.Name, err)
	}
	client.DeviceID = id.DeviceID(a.DeviceID)
	p := &Person{ID: client.UserID, Device: client.DeviceID, Token: a.AccessToken, Client: client, t: t, waits: c.Waits,
		transport: &http.Transport{}, direct: map[id.UserID][]id.RoomID{}, rooms: map[id.RoomID]*room{}, changed: make(chan struct{})}
	client.Client = &http.Client{Transport: p.transport, Timeout: 2 * time.Minute} // a sync waits for 30 s
	client.DefaultHTTPRetries, client.DefaultHTTPBackoff = 4, 100*time.Millisecond // servers are restarted in tests
	client.StateStore = mautrix.NewMemoryStateStore()
	s := p.newSyncer()
	client.Syncer = s
	if c.Encrypted {
		ctx, cancel := context.WithTimeout(context.Background(), Patience)
		defer cancel()
		if p.crypt, err = newCrypt(ctx, t.TempDir(), client, s); err != nil {
			t.Fatalf("join %s: %v", c.Name, err)
		}
		client.Crypto = p.crypt
	}
	t.Cleanup(p.Stop)
	p.Back()
	return p
}

// Password is that of the person with this name.
func Password(name string) string { return "password of " + name }

// Away stops taking in what happens, until Back. What is sent still goes out.
func (p *Person) Away() {
	p.t.Helper()
	if p.cancel == nil {
		return
	}
	p.cancel()
	p.cancel = nil
	if err := <-p.synced; !errors.Is(err, context.Canceled) {
		p.t.Errorf("%s: sync ended: %v", p.ID, err)
	}
}

// Back takes in what happened while away, and goes on.
func (p *Person) Back() {
	ctx, cancel := context.WithCancel(context.Background())
	p.cancel, p.synced = cancel, make(chan error, 1)
	go func() { p.synced <- p.Client.SyncWithContext(ctx) }()
}

// Stop ends all that runs for the person. The end of the test does, too.
func (p *Person) Stop() {
	p.Away()
	if p.crypt != nil {
		if err := p.crypt.close(); err != nil {
			p.t.Errorf("%s: close keys: %v", p.ID, err)
		}
	}
	p.transport.CloseIdleConnections()
}

// Trust is how far each device of someone is trusted, as this person's client
// judges: "unverified" where it isn't signed by its owner, "cross-signed-tofu"
// where it is. Only for people with encryption.
func (p *Person) Trust(user id.UserID) map[id.DeviceID]string {
	p.t.Helper()
	if p.crypt == nil {
		p.t.Fatalf("%s has no encryption", p.ID)
	}
	return do(p, "trust of "+string(user), func(ctx context.Context) (map[id.DeviceID]string, error) { return p.crypt.trust(ctx, user) })
}

// do makes one call and ends the test if it fails.
func do[T any](p *Person, what string, call func(context.Context) (T, error)) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), Patience)
	defer cancel()
	v, err := call(ctx)
	if err != nil {
		p.t.Fatalf("%s: %s: %v", p.ID, what, err)
	}
	return v
}
