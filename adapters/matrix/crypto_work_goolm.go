//go:build goolm

package matrix

import (
	"context"
	"time"

	"maunium.net/go/mautrix/crypto"
	"maunium.net/go/mautrix/event"
	"maunium.net/go/mautrix/id"
)

// worker does what other devices ask for, one after the other, beside the sync.
func (c *olmCipher) worker(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case f := <-c.work:
			limit, cancel := context.WithTimeout(ctx, time.Minute)
			one, done := saving(limit)
			f(one)
			done(nil)
			cancel()
		}
	}
}

// later hands something to the worker; what doesn't fit is dropped, as whoever
// asked will ask again.
func (c *olmCipher) later(what string, f func(context.Context)) {
	select {
	case c.work <- f:
	default:
		c.log.Warn("matrix: too much asked of our keys, dropped", "what", what)
	}
}

// unwedge begins a new session with a device whose messages we can't read.
func (c *olmCipher) unwedge(_ context.Context, user id.UserID, key id.SenderKey) {
	if !c.asked.may("session with "+string(key), crypto.MinUnwedgeInterval) {
		return // the library would not begin another
	}
	c.later("new session", func(ctx context.Context) {
		if !c.knows(ctx, user, func() (*id.Device, error) { return c.store.FindDeviceByKey(ctx, user, key) }) {
			return
		}
		c.olm.RLock()
		defer c.olm.RUnlock()
		c.keys.RLock()
		defer c.keys.RUnlock()
		c.mach.UnwedgeDevice(ctx, user, key)
		// What could not be read may have been the key of a message that waits.
		for _, ask := range c.asked.of(user) {
			if err := ask(ctx); err != nil {
				c.log.Warn("matrix: a key could not be asked for again", "err", err)
			}
		}
	})
}

// answer gives a room key to a device that had a right to it and asks again.
func (c *olmCipher) answer(user id.UserID, req *event.RoomKeyRequestEventContent) {
	c.later("room key", func(ctx context.Context) {
		if !c.knows(ctx, user, func() (*id.Device, error) { return c.store.GetDevice(ctx, user, req.RequestingDeviceID) }) {
			return
		}
		c.olm.RLock()
		defer c.olm.RUnlock()
		c.keys.RLock()
		defer c.keys.RUnlock()
		c.mach.HandleRoomKeyRequest(ctx, user, req)
	})
}

// knows says whether a device is known, after asking the server if it is not:
// the machine would ask by itself, under the wrong lock.
func (c *olmCipher) knows(ctx context.Context, user id.UserID, find func() (*id.Device, error)) bool {
	d, err := find()
	if err == nil && d == nil && c.asked.may(devicesOf(user), time.Minute) {
		if err = c.fetch(ctx, []id.UserID{user}); err == nil {
			d, err = find()
		}
	}
	return err == nil && d != nil
}
