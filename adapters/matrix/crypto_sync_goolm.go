//go:build goolm

package matrix

import (
	"context"
	"errors"
	"fmt"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

const (
	otkEnough = 50 // half of what a device may have on the server
	otkEvery  = 20 * time.Second

	devicesAgain = 30 * time.Second
)

// ProcessSync implements cipher.
func (c *olmCipher) ProcessSync(ctx context.Context, resp *mautrix.RespSync, since string) error {
	c.syncing.Lock()
	defer c.syncing.Unlock()
	if err := c.takeKeys(ctx, resp.ToDevice.Events); err != nil {
		return fmt.Errorf("take keys: %w", err)
	}
	if err := c.takeMembers(ctx, resp); err != nil {
		return fmt.Errorf("take members: %w", err)
	}
	if err := c.takeDevices(ctx, resp.DeviceLists.Changed, since); err != nil {
		return fmt.Errorf("take device lists: %w", err)
	}
	c.fillKeys(ctx, resp.DeviceOTKCount.SignedCurve25519)
	c.mach.MarkOlmHashSavePoint(ctx)
	return nil
}

// takeKeys takes to-device messages in one transaction: an Olm message can be
// read once only, so the room key inside must be stored with the note that it
// was. If we crash before the commit, all of it comes again.
func (c *olmCipher) takeKeys(ctx context.Context, events []*event.Event) error {
	if len(events) == 0 {
		return nil
	}
	c.arrived.Store(false)
	if err := c.takeInTxn(ctx, events); err != nil {
		return err
	}
	if c.arrived.Load() {
		select {
		case c.newKeys <- struct{}{}:
		default: // told already
		}
	}
	return nil
}

func (c *olmCipher) takeInTxn(ctx context.Context, events []*event.Event) error {
	c.olm.Lock()
	defer c.olm.Unlock()
	c.store.takeFault()
	c.keys.RLock()
	err := c.db.DoTxn(ctx, nil, func(ctx context.Context) error {
		for _, e := range events {
			c.takeOne(ctx, *e)
		}
		return c.store.takeFault()
	})
	c.keys.RUnlock()
	if err == nil {
		return nil
	}
	// What the machine holds in memory has moved on, what is stored has not: both
	// begin again from what is stored.
	c.keys.Lock()
	defer c.keys.Unlock()
	c.store.InitFields()
	c.store.Account = nil
	if again := c.mach.Load(context.WithoutCancel(ctx)); again != nil {
		return errors.Join(err, again)
	}
	c.mach.GetAccount().Keys()
	return err
}

// takeOne takes one to-device message, of which it gets a copy: the response is
// read again by others. Messages are anybody's bytes: one that makes the library
// panic is skipped.
func (c *olmCipher) takeOne(ctx context.Context, e event.Event) {
	defer func() {
		if r := recover(); r != nil {
			c.log.Error("matrix: a to-device message can't be read", "type", e.Type.Type, "fault", fmt.Sprint(r))
		}
	}()
	e.Type.Class = event.ToDeviceEventType
	if err := e.Content.ParseRaw(e.Type); err != nil && !errors.Is(err, event.ErrContentAlreadyParsed) {
		return // not a type we know, or not of its form
	}
	switch content := e.Content.Parsed.(type) {
	case *event.EncryptedEventContent, *event.RoomKeyWithheldEventContent:
		c.mach.HandleToDeviceEvent(ctx, &e)
	case *event.RoomKeyRequestEventContent:
		if content.Action == event.KeyRequestActionRequest {
			c.answer(e.Sender, content) // takes a while, and is of no later use
		}
	}
	// All else is left: secrets are given to nobody, and verification needs a person.
}

// takeMembers brings what is known of rooms up to date before anything more is
// encrypted for them, and forgets the key of a room whose members changed.
func (c *olmCipher) takeMembers(ctx context.Context, resp *mautrix.RespSync) error {
	for room, r := range resp.Rooms.Join {
		lists := []*mautrix.SyncEventsList{&r.State, &r.Timeline.SyncEventsList}
		if r.StateAfter != nil {
			lists = append(lists, r.StateAfter)
		}
		for _, list := range lists {
			for _, e := range list.Events {
				if err := c.takeState(ctx, room, *e); err != nil {
					return err
				}
			}
		}
	}
	for room := range resp.Rooms.Leave {
		if err := c.newKey(ctx, room); err != nil {
			return err
		}
	}
	return nil
}

// newKey lets the next message in a room begin a new key. Rooms that nothing was
// written to since the start have none.
func (c *olmCipher) newKey(ctx context.Context, room id.RoomID) error {
	if _, written := c.rooms.Load(room); !written {
		return nil
	}
	return c.store.RemoveOutboundGroupSession(ctx, room)
}

func (c *olmCipher) takeState(ctx context.Context, room id.RoomID, e event.Event) error {
	if e.StateKey == nil {
		return nil
	}
	switch e.Type.Type {
	case event.StateMember.Type, event.StateEncryption.Type, event.StateHistoryVisibility.Type:
	default:
		return nil
	}
	e.Type.Class, e.RoomID = event.StateEventType, room
	if err := e.Content.ParseRaw(e.Type); err != nil && !errors.Is(err, event.ErrContentAlreadyParsed) {
		return nil
	}
	mautrix.UpdateStateStore(ctx, c.client.StateStore, &e)
	if e.Type == event.StateMember && sameMembership(e) {
		return nil // a new name or picture
	}
	return c.newKey(ctx, room)
}

func sameMembership(e event.Event) bool {
	if e.Unsigned.PrevContent == nil {
		return false
	}
	prev, _ := e.Unsigned.PrevContent.Raw["membership"].(string)
	return prev != "" && event.Membership(prev) == e.Content.AsMember().Membership
}

// takeDevices notes whose devices changed, then asks for them. The note is
// stored: if the server can't be asked now, it is before the next message.
func (c *olmCipher) takeDevices(ctx context.Context, changed []id.UserID, since string) error {
	switch {
	case since == "":
		// A first sync tells no changes: whatever we have may be old.
		if _, err := c.db.Exec(ctx, "UPDATE crypto_tracked_user SET devices_outdated = true"); err != nil {
			return err
		}
	case len(changed) == 0:
		return nil
	default:
		if err := c.store.MarkTrackedUsersOutdated(ctx, changed); err != nil {
			return err
		}
	}
	c.stale.Store(true)
	if err := c.refresh(ctx); err != nil {
		c.log.Warn("matrix: device lists could not be fetched, later again", "err", err)
	}
	return nil
}

// refresh fetches the device lists that are out of date. A user whose server
// does not answer is tried again after a while, then less and less often.
func (c *olmCipher) refresh(ctx context.Context) error {
	again := c.again.Load()
	if !c.stale.Load() && (again == 0 || time.Now().UnixMilli() < again) {
		return nil
	}
	c.fetching.Lock()
	defer c.fetching.Unlock()
	c.stale.Store(false) // a change from here on sets it again
	users, err := c.store.GetOutdatedTrackedUsers(ctx)
	if err == nil && len(users) > 0 {
		if err = c.fetch(ctx, users); err == nil {
			users, err = c.store.GetOutdatedTrackedUsers(ctx)
		}
	}
	switch {
	case err != nil:
		c.stale.Store(true)
	case len(users) > 0:
		c.again.Store(time.Now().Add(devicesAgain).UnixMilli())
	default:
		c.again.Store(0)
	}
	return err
}

// fetch asks the server for users' devices.
func (c *olmCipher) fetch(ctx context.Context, users []id.UserID) error {
	own := false
	for _, u := range users {
		own = own || u == c.client.UserID
	}
	if !own {
		c.keys.RLock()
		defer c.keys.RUnlock()
		_, err := c.mach.FetchKeys(ctx, users, true)
		return err
	}
	c.keys.Lock()
	defer c.keys.Unlock()
	if _, err := c.mach.FetchKeys(ctx, users, true); err != nil {
		return err
	}
	_, err := c.mach.GetOwnCrossSigningPublicKeys(ctx) // kept by the machine: nobody sets it later
	return err
}

// fillKeys uploads one-time keys where the server has few. Some servers leave
// the count out, and the machine would take that for none: so it is asked for.
func (c *olmCipher) fillKeys(ctx context.Context, count int) {
	if count >= otkEnough || time.Since(c.otkAsked) < otkEvery {
		return
	}
	c.otkAsked = time.Now()
	c.keys.RLock()
	defer c.keys.RUnlock()
	if err := c.mach.ShareKeys(ctx, -1); err != nil {
		c.log.Warn("matrix: one-time keys could not be uploaded, later again", "err", err)
	}
}
