//go:build goolm

package matrix

import (
	"context"
	"fmt"
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
	if dropped, err := s.dropped(ctx, key.ID()); err != nil || dropped {
		return s.note(err)
	}
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

// AddSession and UpdateSession stop what is being sent, too.
func (s *keyStore) AddSession(ctx context.Context, key id.SenderKey, o *crypto.OlmSession) error {
	return s.note(unsaved(ctx, s.SQLCryptoStore.AddSession(ctx, key, o)))
}

func (s *keyStore) UpdateSession(ctx context.Context, key id.SenderKey, o *crypto.OlmSession) error {
	return s.note(unsaved(ctx, s.SQLCryptoStore.UpdateSession(ctx, key, o)))
}

type savingKey struct{}

// saving is for whatever encrypts to devices: if a session can't be stored the
// context ends, so that nothing leaves that was encrypted with it. After a start
// the session would be where it was, its next message be taken for one that came
// before, and what is in it, a room's key, never be read.
func saving(ctx context.Context) (context.Context, context.CancelCauseFunc) {
	ctx, cancel := context.WithCancelCause(ctx)
	return context.WithValue(ctx, savingKey{}, cancel), cancel
}

func unsaved(ctx context.Context, err error) error {
	if cancel, ok := ctx.Value(savingKey{}).(context.CancelCauseFunc); ok && err != nil {
		cancel(fmt.Errorf("store session: %w", err))
	}
	return err
}

// RemoveOutboundGroupSession forgets a room's key: the next message begins a new one.
func (s *keyStore) RemoveOutboundGroupSession(ctx context.Context, room id.RoomID) error {
	s.c.room(room).gen.Add(1)
	return s.note(s.SQLCryptoStore.RemoveOutboundGroupSession(ctx, room))
}

// ForgetPeople implements cipher. The account's own user is never forgotten.
func (c *olmCipher) ForgetPeople(ctx context.Context, users []id.UserID) error {
	if users = others(users, c.client.UserID); len(users) == 0 {
		return nil
	}
	c.olm.Lock()
	defer c.olm.Unlock()
	c.keys.Lock()
	defer c.keys.Unlock()
	if err := forgetPeople(ctx, c.db.RawDB, users); err != nil {
		return err
	}
	c.store.InitFields() // sessions in memory must not be written back
	for _, u := range users {
		c.asked.forget(u)
	}
	return nil
}
