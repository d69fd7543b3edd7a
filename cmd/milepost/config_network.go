package main

import (
	"errors"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"

	"milepost/flow"
)

// matrixConfig is [matrix].
type matrixConfig struct {
	homeserver string
	user       string // @user:server
	device     string
	encryption bool
	servers    []string             // whose people may invite
	rooms      map[string]flow.Role // with one shop; with [[shop]] they stand there

	tokenAt, passwordAt, pickleKeyAt, recoveryKeyAt secret
	token, password, pickleKey, recoveryKey         string
}

// makesRecoveryKey says whether the recovery key is still to be made: a file is
// named that is not there yet, and the account's password is at hand for it.
func (m *matrixConfig) makesRecoveryKey() bool {
	if !m.encryption || !m.passwordAt.set() || m.recoveryKeyAt.file == "" {
		return false
	}
	_, err := os.Lstat(m.recoveryKeyAt.file)
	return errors.Is(err, fs.ErrNotExist)
}

// saveRecoveryKey keeps a recovery key that was made.
func (m *matrixConfig) saveRecoveryKey(key string) error {
	return writeFile(m.recoveryKeyAt.file, []byte(key+"\n"), false)
}

// slackConfig is [slack].
type slackConfig struct {
	socketMode bool
	events     string // address that the workspace's events come to, without socket mode
	api        string // "" is the network's own
	team       string // "" is the token's
	rooms      map[string]flow.Role

	appTokenAt, botTokenAt, signingAt secret
	appToken, botToken, signing       string
}

// What identifiers of the networks are like. User names made long ago have signs
// that new ones may not; a server may be an address in brackets and have a port.
const (
	matrixServer = `(?:[A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?`
	slackTeam    = `[TE][A-Z0-9]{1,32}`
	slackChannel = `[CDG][A-Z0-9]{1,32}`
)

var (
	isMatrixUser   = regexp.MustCompile(`^@[!-9;-~]+:` + matrixServer + `$`).MatchString
	isMatrixServer = regexp.MustCompile(`^` + matrixServer + `$`).MatchString
	isMatrixRoom   = regexp.MustCompile(`^![!-9;-~]+(?::` + matrixServer + `)?$`).MatchString // new room versions have no server
	isMatrixAll    = regexp.MustCompile(`^@\*:` + matrixServer + `$`).MatchString
	isSlackTeam    = regexp.MustCompile(`^` + slackTeam + `$`).MatchString
	isSlackChannel = regexp.MustCompile(`^` + slackChannel + `$`).MatchString
	isSlackPlace   = regexp.MustCompile(`^` + slackTeam + `/` + slackChannel + `$`).MatchString
)

func (c *config) readMatrix(top *table) {
	t := top.sub("matrix", "[matrix]")
	if t == nil {
		return
	}
	defer t.done()
	m := &matrixConfig{
		homeserver:    strings.TrimRight(t.text("homeserver", "", wantBase, isBase), "/"),
		user:          t.text("user", "", `the assistant's own account, as "@milepost:example.org"`, isExactUser),
		device:        t.text("device_name", "Milepost", "1 to 60 letters", isShort),
		encryption:    t.truth("encryption", hasEncryption),
		servers:       t.texts("servers", `names of servers whose people may invite, as "example.org"`, isMatrixServer),
		tokenAt:       t.secret("access_token"),
		passwordAt:    t.secret("password"),
		pickleKeyAt:   t.secret("pickle_key"),
		recoveryKeyAt: t.secret("recovery_key"),
	}
	t.needs("homeserver", "user")
	if !m.tokenAt.set() && !m.passwordAt.set() && !t.hasSecret("access_token", "password") {
		t.fault("", "access_token_file or password_file is missing (or the same ending in _env)")
	}
	switch {
	case m.encryption && !hasEncryption:
		t.fault("encryption", "encrypted rooms are not in this build; want false")
	case m.encryption && !m.pickleKeyAt.set() && !t.hasSecret("pickle_key"):
		t.fault("", "pickle_key_file (or pickle_key_env) is missing: it encrypts the keys at rest; else want encryption = false")
	}
	m.rooms = readRooms(top, t, "rooms", "[matrix.rooms]", wantMatrixRoom, func(key string) string {
		if isMatrixRoom(key) || isMatrixAll(key) {
			return key
		}
		return ""
	})
	c.matrix = m
}

const wantMatrixRoom = `"!room:server" or, for everyone of a server, "@*:server"`

func isExactUser(s string) bool { return isMatrixUser(s) && !strings.ContainsAny(s, "*?") }

func isShort(s string) bool {
	return notEmpty(s) && len([]rune(s)) <= 60 && !strings.ContainsAny(s, "\r\n")
}

func (c *config) readSlack(top *table) {
	t := top.sub("slack", "[slack]")
	if t == nil {
		return
	}
	defer t.done()
	s := &slackConfig{
		socketMode: t.truth("socket_mode", false),
		events:     t.text("events_addr", "", `an address and port, as "127.0.0.1:8080"`, isAddress),
		api:        t.text("api_url", "", wantBase, isBase),
		team:       t.text("team", "", "the workspace's identifier, as T0MILEPOST", isSlackTeam),
		appTokenAt: t.secret("app_token"),
		botTokenAt: t.secret("bot_token"),
		signingAt:  t.secret("signing_secret"),
	}
	if s.api != "" {
		s.api = strings.TrimRight(s.api, "/") + "/"
	}
	switch {
	case s.socketMode && t.has("events_addr"):
		t.fault("events_addr", "with socket_mode = true nothing is listened to; want one of the two")
	case s.socketMode && !s.appTokenAt.set() && !t.hasSecret("app_token"):
		t.fault("", "app_token_file (or app_token_env) is missing: socket mode needs it")
	case !s.socketMode && !t.has("events_addr") && !t.has("socket_mode"):
		t.fault("", "socket_mode = true or events_addr is missing")
	case !s.socketMode && !t.has("events_addr"):
		t.fault("socket_mode", "without it events_addr is needed")
	case !s.socketMode && !s.signingAt.set() && !t.hasSecret("signing_secret"):
		t.fault("", "signing_secret_file (or signing_secret_env) is missing: events are checked by it")
	}
	if !s.botTokenAt.set() && !t.hasSecret("bot_token") {
		t.fault("", "bot_token_file (or bot_token_env) is missing")
	}
	s.rooms = readRooms(top, t, "channels", "[slack.channels]", `"TEAM/CHANNEL", or "CHANNEL" with team = "TEAM" in [slack]`, func(key string) string {
		switch {
		case isSlackPlace(key):
			return key
		case s.team != "" && isSlackChannel(key):
			return s.team + "/" + key
		}
		return ""
	})
	c.slack = s
}

// needs complains of texts that are not there; of wrong ones it has been said.
func (t *table) needs(keys ...string) {
	for _, k := range keys {
		if !t.has(k) {
			t.fault("", "%s is missing", k)
		}
	}
}

// hasSecret says whether any of some secrets was named, rightly or not, or put
// into the file itself, which is said elsewhere.
func (t *table) hasSecret(keys ...string) bool {
	return slices.ContainsFunc(keys, func(k string) bool { return t.has(k) || t.has(k+"_file") || t.has(k+"_env") })
}

// readRooms reads which rooms give a role. With [[shop]] they stand in the shops.
func readRooms(top, t *table, key, name, want string, canonical func(string) string) map[string]flow.Role {
	rooms := t.sub(key, name)
	if rooms == nil {
		return nil
	}
	if top.has("shop") {
		t.fault(key, "with [[shop]] rooms belong to one shop; want them in its [shop.rooms]")
		return nil
	}
	return rooms.roles(want, canonical)
}

// roles reads a table from rooms to the role of all in it. canonical gives the
// room as the network names it, "" if it is none.
func (t *table) roles(want string, canonical func(string) string) map[string]flow.Role {
	roles := map[string]flow.Role{}
	for _, key := range t.keys() {
		room := canonical(key)
		if room == "" {
			t.fault(key, "this is no room; want %s", want)
			continue
		}
		role := t.oneOf(key, "", string(flow.Technician), string(flow.Customer))
		if role != "" {
			roles[room] = flow.Role(role)
		}
	}
	return roles
}
