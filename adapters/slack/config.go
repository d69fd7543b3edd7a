package slack

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"time"

	"milepost/bot"
)

// Config is what the adapter is made of. BotToken and Dir are needed, and either
// AppToken (Socket Mode) or EventsAddr with SigningSecret.
type Config struct {
	BotToken      string // xoxb-…
	AppToken      string // xapp-…, for Socket Mode
	SigningSecret string // for the Events API

	EventsAddr string // where requests are heard; "": Socket Mode
	APIURL     string // another server; "": Slack's own. https, or http on loopback
	Team       string // the only workspace served; "": that of the token

	Dir string // where inbox and marks are kept

	Patterns []string               // channels (C…, or TEAM/C…) that give their members a role; elsewhere the first counts that a person is in
	Posts    []string               // channels that alerts and digests go to; tried by Check
	May      func(user string) bool // named by the configuration: no channel gives them a role elsewhere; nil: nobody is
	Boards   Boards                 // the home view; nil: that of who hears, if it has one

	MaxFile int64     // bytes of an incoming file; 0: 64 MiB
	Blobs   bot.Blobs // where files that go out lie; nil: none go

	Every time.Duration // between two messages in a channel; 0: a second, as Slack asks; below 0: no pause

	Program string
	Log     *slog.Logger
}

// sound fills in the defaults and lists every fault at once. No token is ever
// part of a fault.
func (c Config) sound() (Config, error) {
	var faults []error
	if !strings.HasPrefix(c.BotToken, "xoxb-") {
		faults = append(faults, errors.New("the bot token is missing or of another kind: want one that begins with xoxb-"))
	}
	switch {
	case c.EventsAddr == "" && !strings.HasPrefix(c.AppToken, "xapp-"):
		faults = append(faults, errors.New("the app token is missing or of another kind: Socket Mode wants one that begins with xapp-"))
	case c.EventsAddr != "" && c.SigningSecret == "":
		faults = append(faults, errors.New("the signing secret is missing: without it requests can't be told from forged ones"))
	}
	if c.Dir == "" {
		faults = append(faults, errors.New("the state directory is missing"))
	}
	if c.APIURL != "" {
		u, err := url.Parse(c.APIURL)
		if err != nil || u.Host == "" {
			faults = append(faults, fmt.Errorf("api_url %.200q: want an address such as https://slack.example.org/api/", c.APIURL))
		} else {
			ip := net.ParseIP(u.Hostname())
			loopback := u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
			if u.Scheme != "https" && (u.Scheme != "http" || !loopback) {
				faults = append(faults, fmt.Errorf("api_url %.200q: want https; http only on loopback", c.APIURL))
			}
			if !strings.HasSuffix(c.APIURL, "/") {
				c.APIURL += "/"
			}
		}
	}
	if c.MaxFile == 0 {
		c.MaxFile = 64 << 20
	}
	if c.Every == 0 {
		c.Every = postEvery
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if len(faults) > 0 {
		return c, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("configure slack: %w", errors.Join(faults...))}
	}
	return c, nil
}
