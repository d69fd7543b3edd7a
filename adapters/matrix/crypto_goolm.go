//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"go.mau.fi/util/dbutil"
	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/id"

	"milepost/adapters/own"
	"milepost/bot"
)

// hasEncryption says whether this build can serve encrypted rooms.
const hasEncryption = true

// olmCipher is encryption by the library's machine. The machine has locks of its
// own for most of what it does at once, but not for all, and it holds some of
// them while it waits for the database, which has one connection. Hence two more
// locks, always taken in this order, neither twice by the same call:
//
//	olm   alone: to-device messages in one transaction, which holds the connection
//	      shared: whatever uses Olm sessions (giving out a room's key)
//	keys  alone: our own public keys or the account are replaced
//	      shared: every other use of the machine
type olmCipher struct {
	client *mautrix.Client
	mach   *crypto.OlmMachine
	store  *keyStore
	db     *dbutil.Database
	log    *slog.Logger

	syncing sync.Mutex // one response after the other
	olm     sync.RWMutex
	keys    sync.RWMutex

	arrived  atomic.Bool // a room key came in this response
	newKeys  chan struct{}
	stale    atomic.Bool  // some device list is known to be out of date
	again    atomic.Int64 // when to ask once more for lists that did not come, Unix ms; 0: never
	fetching sync.Mutex   // one renewal of device lists after the other
	otkAsked time.Time    // when one-time keys were last counted; under syncing

	rooms sync.Map // id.RoomID to *outRoom
	asked askedKeys

	work chan func(context.Context) // what other devices ask of us
	stop context.CancelFunc
	done sync.WaitGroup
}

// openCipher opens the keys of the client's device, or makes them for a new one.
// It refuses, with what the operator must do, where keys and device don't
// belong together: going on would make messages unreadable for good.
func openCipher(ctx context.Context, client *mautrix.Client, cfg Config) (cipher, error) {
	c, err := openOlm(ctx, client, cfg)
	if err != nil {
		return nil, err // not a nil *olmCipher in an interface
	}
	return c, nil
}

func openOlm(ctx context.Context, client *mautrix.Client, cfg Config) (_ *olmCipher, err error) {
	state, ok := client.StateStore.(crypto.StateStore)
	switch {
	case client.DeviceID == "" || client.UserID == "":
		return nil, errors.New("open keys: the client is not logged in")
	case !ok:
		return nil, errors.New("open keys: the client has no store of rooms")
	case cfg.PickleKey == "":
		return nil, refuse("a pickle key is needed for encrypted rooms")
	}
	if err := os.MkdirAll(cfg.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("open keys: %w", err)
	}
	raw, err := own.Open(ctx, filepath.Join(cfg.Dir, cryptoFile))
	if err != nil {
		return nil, fmt.Errorf("open keys: %w", err)
	}
	db, err := dbutil.NewWithDB(raw, "sqlite")
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open keys: %w", err), raw.Close())
	}
	c := &olmCipher{
		client: client, db: db, log: cfg.Log,
		newKeys: make(chan struct{}, 1),
		work:    make(chan func(context.Context), 64),
	}
	if c.log == nil {
		c.log = slog.New(slog.DiscardHandler)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.Close())
		}
	}()
	c.store = newKeyStore(c, db, cfg.PickleKey)
	if err := c.store.DB.Upgrade(ctx); err != nil {
		return nil, fmt.Errorf("open keys: %w", err)
	}
	if err := c.checkStored(ctx, cfg); err != nil {
		return nil, err
	}
	c.mach = crypto.NewOlmMachine(client, &client.Log, c.store, state)
	c.mach.SessionReceived = func(context.Context, id.RoomID, id.SessionID, uint32) { c.arrived.Store(true) }
	c.mach.NeedsUnwedgeCallback = c.unwedge
	// Keys are read in the database at each use and never moved on, so that an
	// event can be decrypted again; there is nothing to lock.
	c.mach.DisableRatchetTracking = true
	c.mach.SetMegolmDecryptLock(func(ctx context.Context, _ id.SessionID, _ bool, f func(context.Context) error) error { return f(ctx) })
	c.mach.DisableDecryptKeyFetching = true       // we fetch, outside any transaction
	c.mach.IgnorePostDecryptionParseErrors = true // we read what is inside ourselves
	if err := c.mach.Load(ctx); err != nil {
		return nil, refuse("the keys in %s can't be read: the pickle key is not the one they were stored with, or the file is damaged (%v)", cfg.Dir, err)
	}
	c.mach.GetAccount().Keys() // computed at first use otherwise, by whoever comes first
	if err := c.begin(ctx, cfg); err != nil {
		return nil, err
	}
	work, stop := context.WithCancel(context.Background())
	c.stop = stop
	c.mach.SetBackgroundCtx(work)
	c.done.Go(func() { c.worker(work) })
	c.done.Go(func() { c.prune(work) })
	return c, nil
}

// begin brings device, server and cross-signing together.
func (c *olmCipher) begin(ctx context.Context, cfg Config) error {
	theirs, err := c.checkServer(ctx)
	if err != nil {
		return err
	}
	// Who is in a room may have changed while we were away: each room gets a new
	// key with the first message after a start.
	if _, err := c.db.Exec(ctx, "DELETE FROM crypto_megolm_outbound_session"); err != nil {
		return fmt.Errorf("open keys: %w", err)
	}
	if _, has := theirs.MasterKeys[c.client.UserID]; !has {
		// Stored before they were published, which then failed: they are nothing.
		if err := c.forgetIdentity(ctx); err != nil {
			return fmt.Errorf("open keys: %w", err)
		}
	}
	if err := c.fetch(ctx, []id.UserID{c.client.UserID}); err != nil {
		return unreachable(err)
	}
	if err := c.sign(ctx, cfg, theirs); err != nil {
		return err
	}
	c.stale.Store(true) // what was out of date when we stopped still is
	return nil
}

// checkStored compares the device of the keys with that of the access token.
func (c *olmCipher) checkStored(ctx context.Context, cfg Config) error {
	device, err := c.store.FindDeviceID(ctx)
	if err != nil {
		return fmt.Errorf("open keys: %w", err)
	}
	if device != "" && device != c.client.DeviceID {
		return refuse("the keys in %s are those of device %s, but the access token is that of device %s: "+
			"give the token of the first, or begin with a new one: move %s away and log in anew", cfg.Dir, device, c.client.DeviceID, cryptoFile)
	}
	return nil
}

// checkServer compares our keys with those the server has of this device, and
// gives what it has of the account.
func (c *olmCipher) checkServer(ctx context.Context) (*mautrix.RespQueryKeys, error) {
	user, device := c.client.UserID, c.client.DeviceID
	resp, err := c.client.QueryKeys(ctx, &mautrix.ReqQueryKeys{DeviceKeys: mautrix.DeviceKeysRequest{user: {device}}})
	if err != nil {
		return nil, unreachable(err)
	}
	account := c.mach.GetAccount()
	theirs := resp.DeviceKeys[user][device].Keys
	there := len(theirs) > 0
	same := there && theirs.GetEd25519(device) == account.SigningKey() && theirs.GetCurve25519(device) == account.IdentityKey()
	const anew = "log in anew to begin with a new device (with a password: move matrix.db and crypto.db away; with an access token: make a new one and move crypto.db away), " +
		"then remove device %s in a client; encrypted messages of before stay unreadable here"
	switch {
	case !there && !account.Shared:
		if err := c.mach.ShareKeys(ctx, -1); err != nil {
			return nil, unreachable(err)
		}
	case !there:
		return nil, refuse("the homeserver no longer has the keys of device %s: it was logged out, or the server was put back to an earlier state: "+anew, device, device)
	case same && !account.Shared:
		// A crash between upload and note: the keys were stored before.
		account.Shared = true
		if err := c.store.PutAccount(ctx, account); err != nil {
			return nil, fmt.Errorf("open keys: %w", err)
		}
	case !account.Shared:
		return nil, refuse("the keys of device %s are lost: the homeserver has keys of it that are not here: "+anew, device, device)
	case !same:
		return nil, refuse("the keys here are not those the homeserver has of device %s: they were restored from an older copy, or another machine uses the device: "+anew, device, device)
	}
	return resp, nil
}

func refuse(format string, args ...any) error {
	return &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("open keys: "+format, args...)}
}

func unreachable(err error) error {
	return &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("open keys: %w", err)}
}

// NewKeys implements cipher.
func (c *olmCipher) NewKeys() <-chan struct{} { return c.newKeys }

// Close implements cipher. Nothing else may be called afterwards.
func (c *olmCipher) Close() error {
	c.stop()
	c.done.Wait()
	c.mach.Destroy()
	return c.db.Close()
}
