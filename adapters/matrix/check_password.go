package matrix

import (
	"context"
	"errors"
	"net/http"

	"maunium.net/go/mautrix"
)

// checkDevice is the device with which a password is tried. It is always the same,
// so that a check that dies half-way leaves one at most, which the next removes.
const checkDevice = "MILEPOSTCHECK"

// password tries the password: it logs in, asks what only that shows, and logs out
// at once, by which the device is gone again. It says whether it was taken.
func (c *checker) password(ctx context.Context, inside func(context.Context)) bool {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	resp, err := c.client.Login(limit, &mautrix.ReqLogin{
		Type:                     mautrix.AuthTypePassword,
		Identifier:               mautrix.UserIdentifier{Type: mautrix.IdentifierTypeUser, User: c.m.cfg.User},
		Password:                 c.m.cfg.Password,
		DeviceID:                 checkDevice,
		InitialDeviceDisplayName: c.m.cfg.DeviceName + " check",
	})
	if err == nil && (resp == nil || resp.AccessToken == "") {
		err = errEmpty
	}
	switch {
	case err == nil:
	case status(err) == http.StatusTooManyRequests || errors.Is(err, mautrix.MLimitExceeded):
		mend := "check again later"
		if wait := retryAfter(err); wait > 0 {
			mend = "check again in " + wait.String()
		}
		c.bad(mend, "the password was not tried: the homeserver takes no more logins just now")
		return false
	case transient(err) || errors.Is(err, errEmpty):
		c.bad("try again; if it stays, ask who runs the homeserver", "whether the password is right can't be seen: %v", brief(err))
		return false
	default:
		c.bad("correct user and password, or configure an access token", "the homeserver does not let %s in with this password: %v", c.m.cfg.User, brief(err))
		return false
	}
	c.client.AccessToken = resp.AccessToken
	defer c.logout(ctx, resp.DeviceID.String())
	if resp.UserID.String() != c.m.cfg.User {
		c.bad("correct the user", "with this user and password one is %.200q", resp.UserID)
		return false
	}
	c.ok("the password is that of %s", c.m.cfg.User)
	inside(ctx)
	return true
}

// logout removes the device with which a password was tried, though the check be
// broken off.
func (c *checker) logout(ctx context.Context, device string) {
	limit, cancel := context.WithTimeout(context.WithoutCancel(ctx), checkWait)
	defer cancel()
	_, err := c.client.Logout(limit)
	c.client.AccessToken = ""
	if err != nil {
		c.bad("check again, or remove the device in a client", "the device %.100q with which the password was tried is still there: %v", device, brief(err))
	}
}
