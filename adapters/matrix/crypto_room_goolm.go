//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/crypto/olm"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// outRoom is a room that was written to since the start.
type outRoom struct {
	turn chan struct{} // holds one: who may encrypt
	gen  atomic.Int64  // counts how often the room's key was forgotten

	readers map[id.UserID]bool // who was given the key; under turn
}

func (c *olmCipher) room(room id.RoomID) *outRoom {
	if r, ok := c.rooms.Load(room); ok {
		return r.(*outRoom)
	}
	r, _ := c.rooms.LoadOrStore(room, &outRoom{turn: make(chan struct{}, 1)})
	return r.(*outRoom)
}

// Encrypt implements cipher. The room's key goes out anew whenever those who are
// to read differ from those it was given to: a member who came or went, a device
// that was added or removed, too many messages or too old.
func (c *olmCipher) Encrypt(ctx context.Context, room id.RoomID, typ event.Type, content any) (*event.EncryptedEventContent, error) {
	r := c.room(room)
	select {
	case r.turn <- struct{}{}:
		defer func() { <-r.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	for range 5 {
		if err := c.refresh(ctx); err != nil {
			return nil, fmt.Errorf("encrypt: device lists: %w", err)
		}
		readers, err := c.readers(ctx, room)
		if err != nil {
			return nil, err
		}
		if !sameReaders(r.readers, readers) {
			if err := c.store.RemoveOutboundGroupSession(ctx, room); err != nil {
				return nil, fmt.Errorf("encrypt: %w", err)
			}
			r.readers = nil
		}
		out, err := c.encrypt(ctx, room, typ, content)
		switch {
		case err == nil:
			return out, nil
		case !crypto.IsShareError(err):
			return nil, fmt.Errorf("encrypt: %w", err)
		}
		if err := c.share(ctx, r, room, readers); err != nil {
			return nil, fmt.Errorf("encrypt: %w", err)
		}
	}
	return nil, errors.New("encrypt: the members of the room change faster than its key can be given out")
}

func (c *olmCipher) encrypt(ctx context.Context, room id.RoomID, typ event.Type, content any) (*event.EncryptedEventContent, error) {
	c.keys.RLock()
	defer c.keys.RUnlock()
	return c.mach.EncryptMegolmEvent(ctx, room, typ, content)
}

// share gives the room's key to all devices of its readers. If it is forgotten
// meanwhile, because a member or device changed, it is not used.
func (c *olmCipher) share(ctx context.Context, r *outRoom, room id.RoomID, readers map[id.UserID]bool) error {
	users := make([]id.UserID, 0, len(readers))
	for u := range readers {
		users = append(users, u)
	}
	// Devices that were never looked up first: finding one forgets the key.
	tracked, err := c.store.FilterTrackedUsers(ctx, users)
	if err != nil {
		return err
	}
	fresh := make(map[id.UserID]bool, len(tracked))
	for _, u := range tracked {
		fresh[u] = true
	}
	var unknown []id.UserID
	for _, u := range users {
		if !fresh[u] {
			unknown = append(unknown, u)
		}
	}
	if len(unknown) > 0 {
		if err := c.fetch(ctx, unknown); err != nil {
			return err
		}
	}
	gen := r.gen.Load()
	if err := c.giveOut(ctx, room, users); err != nil {
		return err
	}
	if r.gen.Load() != gen {
		return c.store.RemoveOutboundGroupSession(ctx, room) // giving it out had stored it again
	}
	r.readers = readers
	return nil
}

func (c *olmCipher) giveOut(ctx context.Context, room id.RoomID, users []id.UserID) error {
	c.olm.RLock()
	defer c.olm.RUnlock()
	c.keys.RLock()
	defer c.keys.RUnlock()
	ctx, cancel := saving(ctx)
	defer cancel(nil)
	if err := c.mach.ShareGroupSession(ctx, room, users); err != nil {
		if ctx.Err() != nil {
			err = context.Cause(ctx)
		}
		return err
	}
	return nil
}

// readers are those who may read what is written now: members, and who is
// invited unless the room shows nothing from before one joined.
func (c *olmCipher) readers(ctx context.Context, room id.RoomID) (map[id.UserID]bool, error) {
	s := c.client.StateStore
	fetched, err := s.HasFetchedMembers(ctx, room)
	if err != nil {
		return nil, fmt.Errorf("encrypt: %w", err)
	}
	encrypted, err := s.IsEncrypted(ctx, room)
	if err != nil {
		return nil, fmt.Errorf("encrypt: %w", err)
	}
	if !fetched || !encrypted {
		return nil, errUnknownRoom
	}
	shown, err := s.GetHistoryVisibility(ctx, room)
	if err != nil {
		return nil, fmt.Errorf("encrypt: %w", err)
	}
	members, err := s.GetAllMembers(ctx, room)
	if err != nil {
		return nil, fmt.Errorf("encrypt: %w", err)
	}
	invited := shown == nil || shown.HistoryVisibility != event.HistoryVisibilityJoined
	all := map[id.UserID]bool{c.client.UserID: true} // our other devices
	for user, m := range members {
		if user == c.client.UserID {
			continue // the library changes its entry in place
		}
		if m != nil && (m.Membership == event.MembershipJoin || invited && m.Membership == event.MembershipInvite) {
			all[user] = true
		}
	}
	return all, nil
}

func sameReaders(a, b map[id.UserID]bool) bool {
	if len(a) != len(b) {
		return false
	}
	for u := range a {
		if !b[u] {
			return false
		}
	}
	return true
}

// Decrypt implements cipher.
func (c *olmCipher) Decrypt(ctx context.Context, evt *event.Event) (*event.Event, error) {
	e := *evt
	if err := e.Content.ParseRaw(event.EventEncrypted); err != nil && !errors.Is(err, event.ErrContentAlreadyParsed) {
		return nil, fmt.Errorf("decrypt: %w", err)
	}
	e.Type = event.EventEncrypted
	content, ok := e.Content.Parsed.(*event.EncryptedEventContent)
	if !ok {
		return nil, fmt.Errorf("decrypt: %w", crypto.ErrIncorrectEncryptedContentType)
	}
	if err := c.checkSender(ctx, &e, content.SessionID); err != nil {
		return nil, err
	}
	out, err := c.decrypt(ctx, &e)
	if err == nil && out.Mautrix.TrustState == id.TrustStateUnknownDevice &&
		c.asked.may(devicesOf(e.Sender), time.Minute) {
		// A device we never heard of: once its list is here the state is known.
		if c.fetch(ctx, []id.UserID{e.Sender}) == nil {
			out, err = c.decrypt(ctx, &e)
		}
	}
	switch {
	case errors.Is(err, crypto.ErrNoSessionFound), errors.Is(err, olm.ErrUnknownMessageIndex), errors.Is(err, crypto.ErrGroupSessionWithheld):
		return nil, fmt.Errorf("decrypt: %w: %w", errNoKey, err)
	case err != nil:
		return nil, fmt.Errorf("decrypt: %w", err)
	}
	return out, nil
}

func (c *olmCipher) decrypt(ctx context.Context, e *event.Event) (*event.Event, error) {
	c.keys.RLock()
	defer c.keys.RUnlock()
	return c.mach.DecryptMegolmEvent(ctx, e)
}

var errOtherSender = errors.New("the key of this message was sent by somebody else")

// checkSender refuses a message whose key did not come from its sender (or from
// another device of ours): the server could put anybody's name on it. The machine
// itself only lowers the trust state.
func (c *olmCipher) checkSender(ctx context.Context, e *event.Event, session id.SessionID) error {
	key, err := c.store.GetGroupSession(ctx, e.RoomID, session)
	switch {
	case errors.Is(err, crypto.ErrGroupSessionWithheld) || err == nil && key == nil:
		return nil // decrypting says so
	case err != nil:
		return fmt.Errorf("decrypt: %w", err)
	case key.SourceUser != e.Sender && (key.SourceUser != c.client.UserID || key.KeySource != id.KeySourceForward):
		return fmt.Errorf("decrypt: %w", errOtherSender)
	}
	return nil
}
