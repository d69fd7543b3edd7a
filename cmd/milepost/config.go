package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"
)

// config is a configuration of serve, read and found right. Its sections:
//
//	[store]           sqlite = "DIR"
//	[log]             level, format, metrics_addr, log_key_file or _env
//	[matrix] [slack]  a chat network each; at least one (config_network.go)
//	[people]          who is who, by full and exact identity (config_people.go)
//	[policy]          what the shop has decided (config_policy.go)
//	[[shop]]          one for each of several shops, with all of the above that is its own
//
// Without [[shop]] there is one shop, "main". With it, [people] and the rooms
// belong to the shops and are refused outside them, since nobody and no room may
// belong to two; [policy] holds for every shop, key by key, unless the shop's own
// says otherwise.
type config struct {
	file   string
	store  string // data directory
	log    logConfig
	matrix *matrixConfig // nil: not used
	slack  *slackConfig  // nil: not used
	shops  []shopConfig
}

type logConfig struct {
	level   slog.Level
	json    bool
	metrics string // address of health and figures
	key     secret // of the one shop, where there is no [[shop]]
}

// maxConfig bounds the file, in bytes.
const maxConfig = 1 << 20

// readConfig reads a configuration. The error names every fault in it. Secrets
// are only located: secrets reads them.
func readConfig(file string) (*config, error) {
	fi, err := os.Stat(file)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	if !fi.Mode().IsRegular() || fi.Size() > maxConfig {
		return nil, fmt.Errorf("read configuration: %s is not a plain file of at most %d bytes", file, maxConfig)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	return parseConfig(file, string(b))
}

// parseConfig reads the text of a configuration. The file's name stands in
// errors, and names in the text are relative to its folder.
func parseConfig(file, text string) (*config, error) {
	r := &reader{file: file}
	if !utf8.ValidString(text) {
		return nil, fmt.Errorf("%s:1: this is not UTF-8", file)
	}
	top := r.parse(text)
	if top == nil {
		return nil, r.err()
	}
	c := &config{file: file}
	c.readStore(top)
	c.readLog(top)
	c.readMatrix(top)
	c.readSlack(top)
	if c.matrix == nil && c.slack == nil && !top.has("matrix") && !top.has("slack") {
		top.fault("", "there is no chat network to serve; add [matrix] with homeserver and user, or [slack] with socket_mode = true")
	}
	c.readShops(top)
	top.done()
	if err := r.err(); err != nil {
		return nil, err
	}
	return c, nil
}

func (c *config) readStore(top *table) {
	t := top.sub("store", "[store]")
	if t == nil {
		if !top.has("store") {
			top.fault("", `[store] is missing; want sqlite = "DIR", the data directory`)
		}
		return
	}
	defer t.done()
	c.store = t.text("sqlite", "", "the name of the data directory", notEmpty)
	for _, key := range []string{"postgres_file", "postgres_env"} {
		if _, there := t.get(key); there {
			t.fault(key, `PostgreSQL is not in this build; want sqlite = "DIR"`)
		}
	}
	switch {
	case c.store == "" && !t.has("sqlite") && !t.has("postgres_file") && !t.has("postgres_env"):
		t.fault("", `sqlite is missing; want sqlite = "DIR", the data directory`)
	case c.store != "" && !filepath.IsAbs(c.store):
		c.store = filepath.Join(filepath.Dir(c.file), c.store)
	}
}

func notEmpty(s string) bool { return s != "" && !strings.ContainsRune(s, 0) }

// metricsDefault is where health and figures are served.
const metricsDefault = "127.0.0.1:9464"

func (c *config) readLog(top *table) {
	t := top.sub("log", "[log]")
	defer t.done()
	levels := map[string]slog.Level{"debug": slog.LevelDebug, "info": slog.LevelInfo, "warn": slog.LevelWarn, "error": slog.LevelError}
	c.log.level = levels[t.oneOf("level", "info", "debug", "info", "warn", "error")]
	c.log.json = t.oneOf("format", "text", "text", "json") == "json"
	beyond := t.truth("metrics_beyond_loopback", false)
	c.log.metrics = t.text("metrics_addr", metricsDefault, `an address and port, as "`+metricsDefault+`"`, isAddress)
	if !beyond && !isLoopback(hostOf(c.log.metrics)) {
		t.fault("metrics_addr", "%s can be reached by others; want a loopback address, or metrics_beyond_loopback = true beside it", shown(c.log.metrics))
	}
	if c.log.key = t.secret("log_key"); c.log.key.set() && top.has("shop") {
		t.fault(keyOf(t, "log_key"), "with [[shop]] each shop has a key of its own; want it in its [[shop]]")
	}
}

// keyOf is the name under which a secret was given.
func keyOf(t *table, key string) string {
	if t.has(key + "_file") {
		return key + "_file"
	}
	return key + "_env"
}

// isAddress says whether a text is an address and port to listen at.
func isAddress(s string) bool {
	host, port, err := net.SplitHostPort(s)
	if err != nil || port == "" || strings.ContainsAny(host, " /") {
		return false
	}
	_, err = netip.ParseAddrPort("127.0.0.1:" + port)
	return err == nil
}

func hostOf(addr string) string {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return addr
	}
	return host
}

// isLoopback says whether a host is this machine only.
func isLoopback(host string) bool {
	if host == "localhost" {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}

// isBase says whether a text is the address of a server that may be talked to:
// https, or http on this machine.
func isBase(s string) bool {
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Host == "" || u.Hostname() == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" || u.Opaque != "":
		return false
	case u.Scheme == "https":
		return true
	}
	return u.Scheme == "http" && isLoopback(u.Hostname())
}

const wantBase = "an address that begins with https://, or http:// on loopback"

// readSecrets reads every secret that the configuration names, and puts it in
// its place. The error names all that can't be read.
func (c *config) readSecrets() error {
	var faults []error
	take := func(s secret, to *string) {
		var err error
		if *to, err = s.read(); err != nil {
			faults = append(faults, err)
		}
	}
	if m := c.matrix; m != nil {
		take(m.tokenAt, &m.token)
		take(m.passwordAt, &m.password)
		if m.encryption {
			take(m.pickleKeyAt, &m.pickleKey)
		}
		if m.encryption && !m.makesRecoveryKey() {
			take(m.recoveryKeyAt, &m.recoveryKey)
		}
	}
	if s := c.slack; s != nil {
		take(s.appTokenAt, &s.appToken)
		take(s.botTokenAt, &s.botToken)
		take(s.signingAt, &s.signing)
	}
	return errors.Join(faults...)
}

// shopNames are the shops' names in the order of the file.
func (c *config) shopNames() (names []string) {
	for i := range c.shops {
		names = append(names, c.shops[i].name)
	}
	return slices.Clip(names)
}
