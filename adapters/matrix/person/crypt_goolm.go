//go:build goolm

package person

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"go.mau.fi/util/dbutil"
	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/attachment"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
	_ "modernc.org/sqlite" // the driver of that name
)

// CanEncrypt says if people of this build can use encrypted rooms.
const CanEncrypt = true

// olm is a person's encryption. Its keys lie in a database, as the library's
// store in memory is not safe to use from two goroutines.
type olm struct {
	db      *dbutil.Database
	present func(id.RoomID) []id.UserID
	mach    *crypto.OlmMachine
	mu      sync.Mutex // one message is encrypted at a time: a second one needs no second session
}

// newCrypt makes a device's keys, gives the public ones to the server and has the
// syncer bring what concerns them.
func newCrypt(ctx context.Context, dir string, client *mautrix.Client, s *syncer) (_ crypt, err error) {
	state, ok := client.StateStore.(crypto.StateStore)
	if !ok {
		return nil, errors.New("the store of rooms is not one for encryption")
	}
	raw, err := sql.Open("sqlite", "file:"+filepath.ToSlash(filepath.Join(dir, "keys.db"))+
		"?_txlock=immediate&_pragma=foreign_keys(1)&_pragma=journal_mode(WAL)&_pragma=synchronous(OFF)&_pragma=busy_timeout(5000)")
	if err != nil {
		return nil, err
	}
	raw.SetMaxOpenConns(1)
	db, err := dbutil.NewWithDB(raw, "sqlite")
	if err != nil {
		return nil, errors.Join(err, raw.Close())
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.Close())
		}
	}()
	store := crypto.NewSQLCryptoStore(db, nil, "", client.DeviceID, []byte("key of a test"))
	if err := store.DB.Upgrade(ctx); err != nil {
		return nil, fmt.Errorf("make tables: %w", err)
	}
	o := &olm{db: db, present: s.p.present, mach: crypto.NewOlmMachine(client, nil, store, state)}
	if err := o.mach.Load(ctx); err != nil {
		return nil, fmt.Errorf("make keys: %w", err)
	}
	if err := o.mach.ShareKeys(ctx, -1); err != nil {
		return nil, fmt.Errorf("give keys to the server: %w", err)
	}
	s.OnSync(o.mach.ProcessSyncResponse)
	s.OnEventType(event.StateMember, o.mach.HandleMemberEvent)
	s.OnEventType(event.StateHistoryVisibility, o.mach.HandleHistoryVisibility)
	return o, nil
}

func (o *olm) Init(context.Context) error { return nil }

// Encrypt shares a new session with all members where there is none, or where it
// has served its time.
func (o *olm) Encrypt(ctx context.Context, room id.RoomID, kind event.Type, content any) (*event.EncryptedEventContent, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	sealed, err := o.mach.EncryptMegolmEvent(ctx, room, kind, content)
	if !errors.Is(err, crypto.ErrSessionExpired) && !errors.Is(err, crypto.ErrNoGroupSession) && !errors.Is(err, crypto.ErrSessionNotShared) {
		return sealed, err
	}
	// Not by the library's store in memory, which counts those who left.
	if err := o.mach.ShareGroupSession(ctx, room, o.present(room)); err != nil {
		return nil, fmt.Errorf("share session: %w", err)
	}
	return o.mach.EncryptMegolmEvent(ctx, room, kind, content)
}

// present are those a message is for.
func (p *Person) present(room id.RoomID) []id.UserID {
	p.mu.Lock()
	defer p.mu.Unlock()
	var users []id.UserID
	for user, m := range p.room(room).members {
		if m == event.MembershipJoin || m == event.MembershipInvite {
			users = append(users, user)
		}
	}
	return users
}

func (o *olm) Decrypt(ctx context.Context, e *event.Event) (*event.Event, error) {
	return o.mach.DecryptMegolmEvent(ctx, e)
}

func (o *olm) WaitForSession(ctx context.Context, room id.RoomID, sender id.SenderKey, session id.SessionID, timeout time.Duration) bool {
	return o.mach.WaitForSession(ctx, room, sender, session, timeout)
}

// RequestSession asks nobody: what the sender did not give at first is what a
// test wants to see.
func (o *olm) RequestSession(context.Context, id.RoomID, id.SenderKey, id.SessionID, id.UserID, id.DeviceID) {
}

func (o *olm) trust(ctx context.Context, user id.UserID) (map[id.DeviceID]string, error) {
	devices, err := o.mach.FetchKeys(ctx, []id.UserID{user}, true)
	if err != nil {
		return nil, err
	}
	found := map[id.DeviceID]string{}
	for name, device := range devices[user] {
		state, err := o.mach.ResolveTrustContext(ctx, device)
		if err != nil {
			return nil, err
		}
		found[name] = state.String()
	}
	return found, nil
}

func (o *olm) seal(content []byte) ([]byte, *event.EncryptedFileInfo) {
	key := attachment.NewEncryptedFile()
	sealed := bytes.Clone(content)
	key.EncryptInPlace(sealed)
	return sealed, &event.EncryptedFileInfo{EncryptedFile: *key}
}

func (o *olm) close() error {
	o.mach.Destroy()
	return o.db.Close()
}

// KeepKey keeps a person from beginning with a new key because of news of
// somebody's devices, from now on. People who come and go still bring one.
func (p *Person) KeepKey() {
	p.whole.Lock()
	defer p.whole.Unlock()
	p.crypt.(*olm).mach.DisableDeviceChangeKeyRotation = true
}
