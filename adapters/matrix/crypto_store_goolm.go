//go:build goolm

package matrix

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"go.mau.fi/util/dbutil"
	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/id"
)

// keyStore is the library's store with three things changed. The machine only
// logs what can't be written, so the first such error is kept. A key that is
// forwarded is taken only if we asked for it. And who forgets a room's key is
// noticed by whoever is giving it out just then.
type keyStore struct {
	*crypto.SQLCryptoStore
	c *olmCipher

	mu    sync.Mutex
	fault error
}

func newKeyStore(c *olmCipher, db *dbutil.Database, pickle string) *keyStore {
	return &keyStore{c: c, SQLCryptoStore: crypto.NewSQLCryptoStore(db, dbutil.ZeroLogger(c.client.Log),
		string(c.client.UserID), c.client.DeviceID, []byte(pickle))}
}

func (s *keyStore) note(err error) error {
	if err != nil {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.fault == nil {
			s.fault = err
		}
	}
	return err
}

// takeFault gives the first error since it was last called.
func (s *keyStore) takeFault() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	err := s.fault
	s.fault = nil
	return err
}

// PutGroupSession stores a room key. A member could forward a bad key under the
// name of a good one and make messages unreadable: so a key that comes by others
// than its maker, or would take the place of one we have, must be one we asked for.
func (s *keyStore) PutGroupSession(ctx context.Context, key *crypto.InboundGroupSession) error {
	if !s.c.asked.has(string(key.ID())) {
		had, err := s.GetGroupSession(ctx, key.RoomID, key.ID())
		replaces := err == nil && had != nil && key.Internal.FirstKnownIndex() < had.Internal.FirstKnownIndex()
		if replaces || key.KeySource == id.KeySourceForward {
			return nil
		}
	}
	return s.note(s.SQLCryptoStore.PutGroupSession(ctx, key))
}

// PutAccount and the following keep the error.
func (s *keyStore) PutAccount(ctx context.Context, a *crypto.OlmAccount) error {
	return s.note(s.SQLCryptoStore.PutAccount(ctx, a))
}

func (s *keyStore) PutOlmHash(ctx context.Context, hash [32]byte, at time.Time) error {
	return s.note(s.SQLCryptoStore.PutOlmHash(ctx, hash, at))
}

func (s *keyStore) AddSession(ctx context.Context, key id.SenderKey, o *crypto.OlmSession) error {
	return s.note(s.SQLCryptoStore.AddSession(ctx, key, o))
}

func (s *keyStore) UpdateSession(ctx context.Context, key id.SenderKey, o *crypto.OlmSession) error {
	return s.note(s.SQLCryptoStore.UpdateSession(ctx, key, o))
}

// RemoveOutboundGroupSession forgets a room's key: the next message begins a new one.
func (s *keyStore) RemoveOutboundGroupSession(ctx context.Context, room id.RoomID) error {
	s.c.room(room).gen.Add(1)
	return s.note(s.SQLCryptoStore.RemoveOutboundGroupSession(ctx, room))
}

// ForgetPeople implements cipher. The account's own user is never forgotten.
func (c *olmCipher) ForgetPeople(ctx context.Context, users []id.UserID) error {
	users = slices.DeleteFunc(slices.Clone(users), func(u id.UserID) bool { return u == "" || u == c.client.UserID })
	if len(users) == 0 {
		return nil
	}
	c.olm.Lock()
	defer c.olm.Unlock()
	c.keys.Lock()
	defer c.keys.Unlock()
	err := c.db.DoTxn(ctx, nil, func(ctx context.Context) error {
		for _, u := range users {
			for _, stmt := range forget {
				if _, err := c.db.Exec(ctx, stmt, u); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("forget people's keys: %w", err)
	}
	c.store.InitFields() // sessions in memory must not be written back
	for _, u := range users {
		c.asked.forget(u)
	}
	// Deleted bytes are overwritten; VACUUM rebuilds what is left of the pages, and
	// the log beside the database still has the old ones.
	for _, stmt := range []string{"VACUUM", "PRAGMA wal_checkpoint(TRUNCATE)"} {
		if _, err := c.db.Exec(ctx, stmt); err != nil {
			return fmt.Errorf("forget people's keys: %s: %w", strings.ToLower(stmt), err)
		}
	}
	return nil
}

// forget removes one user, $1, table by table. Sessions are kept by the key of
// the device they belong to, so devices go last.
var forget = []string{
	`DELETE FROM crypto_olm_session WHERE sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = $1)`,
	`DELETE FROM crypto_message_index WHERE session_id IN (SELECT session_id FROM crypto_megolm_inbound_session
	   WHERE source_user = $1 OR sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = $1))`,
	`DELETE FROM crypto_megolm_inbound_session WHERE source_user = $1 OR sender_key IN (SELECT identity_key FROM crypto_device WHERE user_id = $1)`,
	`DELETE FROM crypto_megolm_outbound_session_shared WHERE user_id = $1`,
	`DELETE FROM crypto_cross_signing_signatures WHERE signed_user_id = $1 OR signer_user_id = $1`,
	`DELETE FROM crypto_cross_signing_keys WHERE user_id = $1`,
	`DELETE FROM crypto_tracked_user WHERE user_id = $1`,
	`DELETE FROM crypto_device WHERE user_id = $1`,
}
