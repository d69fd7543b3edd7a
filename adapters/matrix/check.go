package matrix

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"maunium.net/go/mautrix"
	"maunium.net/go/mautrix/id"

	"milepost/bot"
)

// checkWait is how long a check waits for each answer.
const checkWait = 20 * time.Second

// oldest is the version of the specification that we need: threads came with
// it. (Client-Server API v1.4, module threading; from memory.)
var oldest = mautrix.SpecV14

// Check looks whether the configuration can work, and changes nothing, here or
// on the homeserver; a password that has made no device yet is tried with one that
// is gone again. It may be called while the program runs.
func (m *Matrix) Check(ctx context.Context) []bot.Finding {
	c := &checker{m: m}
	if !c.server(ctx) {
		return c.found
	}
	tokens, err := c.tokens(ctx)
	switch {
	case err != nil:
		c.bad("see that "+m.cfg.Dir+" can be read", "the state can't be read: %v", err)
	case len(tokens) == 0:
		c.before(ctx)
	case c.account(ctx, tokens):
		c.media(ctx)
		c.encryption(ctx)
		c.rooms(ctx)
	}
	return c.found
}

// errEmpty is an answer with nothing in it.
var errEmpty = errors.New("the answer is empty")

type checker struct {
	m      *Matrix
	client *mautrix.Client // ours, with its own token
	joined []id.RoomID     // rooms that we are in, sorted; nil before they were asked for
	found  []bot.Finding
}

func (c *checker) ok(format string, args ...any) {
	c.found = append(c.found, bot.Finding{Area: NetworkName, What: fmt.Sprintf(format, args...), OK: true})
}

func (c *checker) bad(mend, format string, args ...any) {
	c.found = append(c.found, bot.Finding{Area: NetworkName, What: fmt.Sprintf(format, args...), Mend: mend})
}

// server asks which versions it speaks: the one request that needs no account.
func (c *checker) server(ctx context.Context) bool {
	copied, err := newClient(c.m.cfg)
	if err != nil {
		c.bad("correct the address", "homeserver %s: %v", c.m.cfg.Homeserver, err)
		return false
	}
	c.client = copied
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	versions, err := c.client.Versions(limit)
	if err != nil {
		c.bad("check address, network and certificate; the address is the one clients use, not the name behind the colon of a user",
			"homeserver %s does not answer: %v", c.m.cfg.Homeserver, err)
		return false
	}
	latest := versions.GetLatest()
	c.ok("homeserver %s answers, specification up to %s", c.m.cfg.Homeserver, latest.String())
	if latest.LessThan(oldest) {
		c.found = append(c.found, bot.Finding{Area: NetworkName, OK: true,
			What: fmt.Sprintf("specification before %s: threads may be shown as replies", oldest.String())})
	}
	return true
}

// account asks whose token this is: the first that has not ended.
func (c *checker) account(ctx context.Context, tokens []string) bool {
	c.client.AccessToken = tokens[0]
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	who, err := c.client.Whoami(limit)
	switch {
	case softLogout(err) && len(tokens) > 1:
		return c.account(ctx, tokens[1:])
	case errors.Is(err, mautrix.MUnknownToken):
		c.bad(mendToken(c.m.cfg, err), "the access token is not valid (any more)")
		return false
	case err != nil:
		c.bad("try again; if it stays, ask who runs the homeserver", "the homeserver does not say whose the access token is: %v", err)
		return false
	case who.UserID.String() != c.m.cfg.User:
		c.bad("give the token of "+c.m.cfg.User+", or correct the user", "the access token is that of %s", who.UserID)
		return false
	}
	c.client.DeviceID = who.DeviceID
	c.ok("logged in as %s, device %s", who.UserID, who.DeviceID)
	return true
}

// tokens gives the configured token and that of the device we made, as far as
// there are.
func (c *checker) tokens(ctx context.Context) ([]string, error) {
	s, done, err := c.m.ownState(ctx)
	switch {
	case err != nil && c.m.cfg.AccessToken == "":
		return nil, err
	case s == nil && c.m.cfg.AccessToken == "":
		return nil, nil
	case s == nil || err != nil:
		return []string{c.m.cfg.AccessToken}, nil
	}
	defer done()
	return s.tokens(ctx, c.m.cfg)
}

// media asks how large a file may be.
func (c *checker) media(ctx context.Context) {
	limit, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	conf, err := c.client.GetMediaConfig(limit)
	if err == nil && conf == nil {
		err = errEmpty
	}
	if err != nil {
		c.bad("try again; without it files are tried and may be refused", "the homeserver does not say how large files may be: %v", err)
		return
	}
	c.largest(conf)
}

// largest says how large a file may be.
func (c *checker) largest(conf *mautrix.RespMediaConfig) {
	switch {
	case conf.UploadSize <= 0:
		c.ok("files: the homeserver names no limit")
	case conf.UploadSize < smallLimit:
		c.bad("have it raised (max upload size)", "files up to %d bytes only: sheets and pictures may not fit", conf.UploadSize)
	default:
		c.ok("files up to %.1f MiB", float64(conf.UploadSize)/(1<<20))
	}
}

// smallLimit is what a sheet with its picture takes.
const smallLimit = 1 << 20

func (c *checker) encryption(ctx context.Context) {
	switch {
	case !hasEncryption && c.m.cfg.Encryption:
		c.bad("build with -tags goolm, or switch encryption off", "%v", errNoEncryption)
	case !hasEncryption:
		c.ok("encrypted rooms are not served: this build has no encryption")
	case !c.m.cfg.Encryption:
		c.ok("encrypted rooms are not served: encryption is off in the configuration")
	default:
		c.found = append(c.found, keyFindings(ctx, c.client, c.m.cfg)...)
	}
}

// ownState gives the state: that of the run that is on, or opened from its
// directory; nil where there is none yet. It stays open until done is called.
func (m *Matrix) ownState(ctx context.Context) (s *state, done func(), err error) {
	if r, leave := m.on.held(); r != nil {
		return r.state, leave, nil
	}
	return storedState(ctx, m.cfg.Dir)
}

// storedState opens the state of a directory, nil where there is none.
func storedState(ctx context.Context, dir string) (s *state, done func(), err error) {
	if _, err := os.Stat(filepath.Join(dir, stateFile)); errors.Is(err, fs.ErrNotExist) {
		return nil, func() {}, nil
	} else if err != nil {
		return nil, func() {}, err
	}
	if s, err = openState(ctx, dir); err != nil {
		return nil, func() {}, err
	}
	return s, func() { _ = s.close() }, nil
}

// stateFile is the name of the state's database.
const stateFile = "matrix.db"
