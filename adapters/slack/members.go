package slack

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
)

// A channel of the configuration gives its members a role wherever they speak to
// us: in direct messages, and where they give a command or use a shortcut. Whoever
// is named by the configuration has the role that stands there.

const (
	membersFor  = 5 * time.Minute // what is known of a channel's members, until it is asked again
	membersOld  = time.Hour       // and while Slack can't be asked
	membersPage = 200             // at most so many at a time (docs.slack.dev, conversations.members)
	maxMembers  = 5000            // of a channel; those beyond get no role by it elsewhere
)

// roster is who is in a channel, as far as it is known.
type roster struct {
	turn chan struct{} // holds one while nobody asks

	// Guarded by people.mu:
	users map[string]bool // nil: not known
	asked time.Time
	until time.Time
	moves int // members came and went so often
}

func (p *people) roster(channel string) *roster {
	p.mu.Lock()
	defer p.mu.Unlock()
	r := p.rosters[channel]
	if r == nil {
		r = &roster{turn: make(chan struct{}, 1)}
		r.turn <- struct{}{}
		p.rosters[channel] = r
	}
	return r
}

// in says whether a user is among those of a roster, if that is known; old: what
// was known a while ago will do.
func (p *people) in(r *roster, user string, old bool) (yes, known bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	return r.users[user], r.users != nil && (now.Before(r.until) || old && now.Before(r.asked.Add(membersOld)))
}

// moved notes that somebody came into a channel or left it: who is in it is asked
// anew. News may overtake each other, so they are not believed themselves.
func (p *people) moved(channel string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if r := p.rosters[channel]; r != nil {
		r.users = nil
		r.moves++
	}
}

func (p *people) moves(r *roster) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return r.moves
}

// enrol keeps who is in a channel, unless that has changed since it was asked.
func (p *people) enrol(r *roster, users map[string]bool, moves int, lasts time.Duration) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if r.moves != moves {
		return false
	}
	r.users, r.asked = users, time.Now()
	r.until = r.asked.Add(lasts)
	return true
}

// room is the channel of the configuration whose role a person has who speaks in
// channel, "" for none: that one, if it is of the configuration; else the first
// one they are a member of, unless they are named there themselves.
func (s *Slack) room(ctx context.Context, channel, user string) (string, error) {
	if channel != "" && slices.ContainsFunc(s.cfg.Patterns, func(p string) bool { return channelOf(p) == channel }) {
		return channel, nil
	}
	if s.cfg.May != nil && s.cfg.May(user) {
		return channel, nil
	}
	for _, p := range s.cfg.Patterns {
		if of, _, named := strings.Cut(p, "/"); named && of != s.me.Team {
			continue
		}
		in, err := s.member(ctx, channelOf(p), user)
		if err != nil {
			return "", err
		}
		if in {
			return channelOf(p), nil
		}
	}
	return channel, nil
}

// channelOf is a channel's id of a pattern, which may name the workspace too.
func channelOf(pattern string) string { return pattern[strings.LastIndex(pattern, "/")+1:] }

// member says whether a user is in a channel. Where Slack refuses to tell, nobody
// is known to be; where it can't be reached the error is Unavailable.
func (s *Slack) member(ctx context.Context, channel, user string) (bool, error) {
	r := s.people.roster(channel)
	if in, known := s.people.in(r, user, false); known {
		return in, nil
	}
	select {
	case <-r.turn:
	case <-ctx.Done():
		return false, &bot.Error{Kind: bot.Unavailable, Err: ctx.Err()}
	}
	defer func() { r.turn <- struct{}{} }()
	for {
		if in, known := s.people.in(r, user, false); known {
			return in, nil // somebody else has asked meanwhile
		}
		moves, lasts := s.people.moves(r), membersFor
		users, err := s.members(ctx, channel)
		switch c := code(err); {
		case err == nil:
		case c != "fetch_members_failed" && refusedFor(err):
			s.log.Warn("slack does not say who is in a channel: it gives a role to nobody elsewhere", "channel", channel, "code", c)
			lasts = doubtFor
		default:
			if in, known := s.people.in(r, user, true); known {
				return in, nil
			}
			return false, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("conversations.members: %s", plainly(err))}
		}
		if s.people.enrol(r, users, moves, lasts) {
			return users[user], nil
		}
	}
}

// members asks who is in a channel.
func (s *Slack) members(ctx context.Context, channel string) (map[string]bool, error) {
	users, cursor := map[string]bool{}, ""
	for {
		list, next, err := s.api.GetUsersInConversationContext(ctx, &api.GetUsersInConversationParameters{ChannelID: channel, Cursor: cursor, Limit: membersPage})
		if err != nil {
			return map[string]bool{}, err
		}
		for _, u := range list {
			users[u] = true
		}
		switch {
		case next == "":
			return users, nil
		case len(users) >= maxMembers || next == cursor:
			s.log.Warn("a channel has too many members to know them all: name those who need a role elsewhere", "channel", channel, "known", len(users))
			return users, nil
		}
		cursor = next
	}
}
