package matrix

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"maunium.net/go/mautrix"
)

// before looks at what can be looked at before the first start, without a
// device of ours.
func (c *checker) before(ctx context.Context) {
	media := false
	if c.flows(ctx) {
		c.password(ctx, func(ctx context.Context) { media = c.mediaBefore(ctx) })
	}
	c.keysBefore()
	later := "the device and its signature, rooms and rights"
	if !media && !c.mediaBefore(ctx) {
		later += ", how large files may be"
	}
	c.ok("no device yet: the first start makes one. Check again after it: only then can be seen %s", later)
}

// flows asks by what one may log in, and says whether by a password.
func (c *checker) flows(ctx context.Context) bool {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	resp, err := c.client.GetLoginFlows(limit)
	if err == nil && resp == nil {
		err = errEmpty
	}
	switch {
	case err != nil:
		c.bad("try again; if it stays, ask who runs the homeserver", "the homeserver does not say how to log in: %v", brief(err))
	case resp.HasFlow(mautrix.AuthTypePassword):
		c.ok("the homeserver takes a password at login")
		return true
	default:
		var types []string
		for _, f := range resp.Flows[:min(len(resp.Flows), 10)] {
			types = append(types, cut(string(f.Type), 60))
		}
		c.bad("have an access token made for "+c.m.cfg.User+" and name its file with access_token_file",
			"the homeserver takes no password at login, but %q", strings.Join(types, ", "))
	}
	return false
}

// mediaBefore says how large a file may be, if the server tells who is not logged
// in.
func (c *checker) mediaBefore(ctx context.Context) bool {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	conf, err := c.client.GetMediaConfig(limit)
	if err != nil || conf == nil {
		return false
	}
	c.largest(conf)
	return true
}

// keysBefore looks at what lies here for encryption.
func (c *checker) keysBefore() {
	switch _, err := os.Lstat(filepath.Join(c.m.cfg.Dir, cryptoFile)); {
	case !c.m.cfg.Encryption:
		c.ok("encrypted rooms are not served")
		return
	case err == nil:
		c.bad("move "+filepath.Join(c.m.cfg.Dir, cryptoFile)+" away too: the keys in it are of a device whose access token is gone",
			"there are keys of an earlier device, and no device")
	case !errors.Is(err, fs.ErrNotExist):
		c.bad("see that "+c.m.cfg.Dir+" can be read", "whether there are keys can't be seen: %v", err)
	}
	c.found = append(c.found, recoveryFinding(c.m.cfg))
}
