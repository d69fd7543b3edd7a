package slack

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
)

// maxSkew is how far our clock may be from Slack's before requests over HTTP are
// refused as old (docs.slack.dev, Verifying requests from Slack).
const maxSkew = 5 * time.Minute

// Check tries the configuration and changes nothing: which tokens, which scopes,
// which channels, each with what to do about it.
func (s *Slack) Check(ctx context.Context) []bot.Finding {
	f := &findings{}
	granted, date, ok := s.checkBot(ctx, f)
	if ok {
		f.scopes(granted.scopes)
	}
	if s.cfg.EventsAddr == "" {
		s.checkApp(ctx, f)
	} else {
		f.ok("signing secret is there, requests are heard at %s", s.cfg.EventsAddr)
		f.clock(date)
	}
	if ok {
		s.checkChannels(ctx, f, granted.team)
	}
	return f.list
}

type findings struct{ list []bot.Finding }

func (f *findings) ok(what string, a ...any) {
	f.list = append(f.list, bot.Finding{Area: NetworkName, What: fmt.Sprintf(what, a...), OK: true})
}

func (f *findings) bad(mend, what string, a ...any) {
	f.list = append(f.list, bot.Finding{Area: NetworkName, What: fmt.Sprintf(what, a...), Mend: mend})
}

// grant is what the bot token is good for: in which workspace, with which scopes.
type grant struct {
	team   string
	scopes []string
}

// checkBot asks with the bot token who we are; the answer tells the scopes too.
func (s *Slack) checkBot(ctx context.Context, f *findings) (granted grant, date string, ok bool) {
	h, r, err := s.authTest(ctx, s.cfg.BotToken)
	switch c := code(err); {
	case slices.Contains(grave, c):
		f.bad("install the app again and put the new bot token (OAuth & Permissions, xoxb-…) in its place", "bot token refused: %s", c)
		return grant{}, "", false
	case err != nil:
		f.bad("see that this machine reaches Slack's address, then try again", "auth.test with the bot token: %s", plainly(err))
		return grant{}, "", false
	case r.BotID == "" || r.UserID == "":
		f.bad("use the bot token (xoxb-…) of OAuth & Permissions", "the token is of no bot")
		return grant{}, "", false
	}
	granted.team = r.TeamID
	f.ok("bot token is of %s (%s) in workspace %s (%s)", r.User, r.UserID, r.Team, r.TeamID)
	if s.cfg.Team != "" && s.cfg.Team != r.TeamID {
		f.bad("configure team = "+r.TeamID+", or the token of the other workspace", "the configured workspace is %s, the token is of %s", s.cfg.Team, r.TeamID)
	}
	for _, x := range strings.Split(h.Get("X-OAuth-Scopes"), ",") {
		if x = strings.TrimSpace(x); x != "" {
			granted.scopes = append(granted.scopes, x)
		}
	}
	return granted, h.Get("Date"), true
}

// checkApp does the same with the app token. Opening a connection would tell
// more, but it is an act.
func (s *Slack) checkApp(ctx context.Context, f *findings) {
	h, _, err := s.authTest(ctx, s.cfg.AppToken)
	switch granted := h.Get("X-OAuth-Scopes"); {
	case err != nil && code(err) != "" && code(err) != "not_allowed_token_type":
		f.bad("make an app-level token with the scope connections:write (Basic Information) and put it in the app token's place", "app token refused: %s", code(err))
	case err != nil && code(err) == "":
		f.bad("see that this machine reaches Slack's address, then try again", "auth.test with the app token: %s", plainly(err))
	case err == nil && granted != "" && !strings.Contains(granted, "connections:write"):
		f.bad("make an app-level token with the scope connections:write (Basic Information)", "app token lacks the scope connections:write; it has %s", granted)
	default:
		f.ok("app token is of the right kind; Socket Mode")
	}
}

// authTest is auth.test with a token, and the headers of its answer.
func (s *Slack) authTest(ctx context.Context, token string) (http.Header, *api.AuthTestResponse, error) {
	h := http.Header{}
	cfg := s.cfg
	cfg.BotToken = token
	c := newClient(cfg, api.OptionOnResponseHeaders(func(_ string, got http.Header) { h = got.Clone() }))
	r, err := c.AuthTestContext(ctx)
	return h, r, err
}

// scopes holds what was granted against what is needed.
func (f *findings) scopes(granted []string) {
	needed := scopesNeeded()
	if len(granted) == 0 {
		f.bad("compare OAuth & Permissions with the manifest by hand", "Slack does not say which scopes were granted")
		return
	}
	missing := 0
	for _, s := range needed {
		if !slices.Contains(granted, s) {
			missing++
			f.bad("add it under OAuth & Permissions, or paste the manifest again, then reinstall the app", "scope %s is missing: needed for %s", s, forWhat(s))
		}
	}
	if missing == 0 {
		f.ok("all %d scopes are granted", len(needed))
	}
}

// forWhat names the uses of a scope.
func forWhat(scope string) string {
	var uses []string
	for _, n := range slices.Concat(methods, events, others) {
		if slices.Contains(n.scopes, scope) {
			uses = append(uses, n.name)
		}
	}
	return strings.Join(uses, ", ")
}

// clock holds our clock against Slack's.
func (f *findings) clock(date string) {
	at, err := http.ParseTime(date)
	if err != nil {
		return
	}
	if d := time.Since(at).Abs(); d > maxSkew {
		f.bad("set this machine's clock", "our clock is %s from Slack's: requests would be refused", d.Round(time.Second))
	} else {
		f.ok("our clock is within %s of Slack's", max(time.Second, d.Round(time.Second)))
	}
}

// checkChannels looks at the channels of the configuration, each once: those that
// give a role, and those where something is said that nobody asked for.
func (s *Slack) checkChannels(ctx context.Context, f *findings, team string) {
	var channels []string
	uses := map[string][]string{}
	for _, x := range []struct {
		use  string
		list []string
	}{{"gives a role", s.cfg.Patterns}, {"is sent alerts or the digest", s.cfg.Posts}} {
		for _, c := range x.list {
			if !slices.Contains(channels, c) {
				channels = append(channels, c)
			}
			if !slices.Contains(uses[c], x.use) {
				uses[c] = append(uses[c], x.use)
			}
		}
	}
	for _, c := range channels {
		use := strings.Join(uses[c], ", ")
		if of, _, named := strings.Cut(c, "/"); named && of != team {
			f.bad("configure a channel of workspace "+team+", or the token of the other one", "channel %s, which %s, is of another workspace than the token", c, use)
			continue
		}
		s.checkChannel(ctx, f, channelOf(c), use)
	}
}

// checkChannel looks at a channel and what it is used for.
func (s *Slack) checkChannel(ctx context.Context, f *findings, id, use string) {
	if !isID(id) {
		f.bad("configure the channel's id (C…), which stands at the foot of the channel's details", "channel %.80q, which %s, is no id", id, use)
		return
	}
	c, err := s.api.GetConversationInfoContext(ctx, conversation(id))
	invite := "invite the app: /invite @milepost in that channel"
	switch {
	case code(err) == "channel_not_found":
		f.bad(invite+"; or mend its id", "channel %s, which %s, is not there, or private and without us", id, use)
	case code(err) == "missing_scope":
		f.bad("grant the missing scope, see above", "channel %s, which %s, can't be looked at: a scope is missing", id, use)
	case err != nil:
		f.bad("try again", "channel %s, which %s: %s", id, use, plainly(err))
	case c.IsArchived:
		f.bad("unarchive it, or take it out of the configuration", "channel %s (%s), which %s, is archived", id, c.Name, use)
	case !c.IsMember && !c.IsIM:
		f.bad(invite, "the app is not in channel %s (%s), which %s", id, c.Name, use)
	default:
		f.ok("the app is in channel %s (%s), which %s", id, c.Name, use)
	}
}
