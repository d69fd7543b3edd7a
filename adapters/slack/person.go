package slack

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"milepost/bot"
)

const (
	maxPeople = 5000
	personFor = time.Hour        // what is known of a person, until it is asked again
	doubtFor  = 5 * time.Minute  // where Slack tells nothing of them
	placeFor  = 15 * time.Minute // of a channel
)

// person is what Slack says of a user.
type person struct {
	Name  string
	Team  string
	Guest bool // or of another workspace, or not to be asked about: no channel gives them a role
	Bot   bool
	until time.Time
}

// place is what Slack says of a channel.
type place struct {
	group  bool // a direct message of several people
	member bool // we may write there
	until  time.Time
}

// people remembers users and channels: a bounded number, for a while.
type people struct {
	mu      sync.Mutex
	known   map[string]person
	places  map[string]place
	rosters map[string]*roster // of the configuration's channels
}

func (p *people) init() {
	p.known, p.places, p.rosters = map[string]person{}, map[string]place{}, map[string]*roster{}
}

// forget drops what is known of a user; "" is everyone, channels included.
func (p *people) forget(user string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if delete(p.known, user); user == "" {
		clear(p.known)
		clear(p.places)
		clear(p.rosters)
	}
}

func (p *people) person(user string) (person, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	x, ok := p.known[user]
	return x, ok && time.Now().Before(x.until)
}

func (p *people) place(channel string) (place, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	x, ok := p.places[channel]
	return x, ok && time.Now().Before(x.until)
}

func keepIn[T any](p *people, m map[string]T, key string, x T) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(m) >= maxPeople {
		clear(m)
	}
	m[key] = x
}

// person asks who a user is. team is what the event says of where they belong.
// Where Slack refuses to tell, they are nobody in particular; where it can't be
// reached the error is Unavailable: who is a guest must be known.
func (s *Slack) person(ctx context.Context, user, team string) (person, error) {
	p, ok := s.people.person(user)
	if !ok {
		u, err := s.user(ctx, user)
		switch {
		case err == nil:
			p = person{Name: u.Profile.Name, Team: u.workspace(s.me.Team), Guest: u.Guest || u.GuestOfOne || u.Stranger ||
				isOrg(u.Team) && len(u.Enterprise.Teams) == 0, Bot: u.Bot, until: time.Now().Add(personFor)}
			if p.Name == "" {
				p.Name = u.RealName
			}
			if p.Name == "" {
				p.Name = u.Name
			}
		case refusedFor(err):
			s.log.Warn("slack does not say who a user is: no channel gives them a role", "user", user, "code", code(err))
			p = person{Guest: true, until: time.Now().Add(doubtFor)}
		default:
			return p, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("users.info: %s", plainly(err))}
		}
		keepIn(&s.people, s.people.known, user, p)
	}
	if p.Team != "" {
		p.Guest = p.Guest || p.Team != s.me.Team
		return p, nil
	}
	// Of an organisation's member the event names that, which is no workspace.
	if p.Team = team; team == "" || isOrg(team) {
		p.Team = s.me.Team
	}
	p.Guest = p.Guest || team != "" && team != s.me.Team
	return p, nil
}

// isOrg says whether a team is an organisation of workspaces (Enterprise).
func isOrg(team string) bool { return strings.HasPrefix(team, "E") }

// aUser is what users.info says of a user, and of it only what is used here: the
// library gives up the whole answer for one field of another kind.
type aUser struct {
	Team       string `json:"team_id"`
	Name       string `json:"name"`
	RealName   string `json:"real_name"`
	Bot        bool   `json:"is_bot"`
	Guest      bool   `json:"is_restricted"`
	GuestOfOne bool   `json:"is_ultra_restricted"` // in one channel only
	Stranger   bool   `json:"is_stranger"`
	Profile    struct {
		Name string `json:"display_name"`
	} `json:"profile"`
	Enterprise struct {
		Teams []string `json:"teams"`
	} `json:"enterprise_user"`
}

// workspace is the one a user is of: ours, if they are in it, and "" where it names
// none. In an organisation a user may be of several, and team_id its id
// (docs.slack.dev, User object).
func (u *aUser) workspace(ours string) string {
	switch {
	case slices.Contains(u.Enterprise.Teams, ours):
		return ours
	case isOrg(u.Team) && len(u.Enterprise.Teams) > 0:
		return u.Enterprise.Teams[0]
	case isOrg(u.Team):
		return ""
	}
	return u.Team
}

// user asks Slack who a user is.
func (s *Slack) user(ctx context.Context, id string) (aUser, error) {
	var out struct {
		User aUser `json:"user"`
	}
	err := s.read(ctx, "users.info", args("user", id), &out)
	return out.User, err
}

// called is what a mentioned user is called, as well as it can be known.
func (s *Slack) called(ctx context.Context, user, label string) string {
	if p, err := s.person(ctx, user, ""); err == nil && p.Name != "" {
		return p.Name
	}
	if label != "" {
		return label
	}
	return user
}

// channel asks what a channel is. One that Slack does not show us we have no part
// in; a mention from there is one from a group of people.
func (s *Slack) channel(ctx context.Context, id string) (place, error) {
	if p, ok := s.people.place(id); ok {
		return p, nil
	}
	c, err := s.api.GetConversationInfoContext(ctx, conversation(id))
	p := place{until: time.Now().Add(placeFor)}
	switch {
	case err == nil:
		p.group, p.member = c.IsMpIM, c.IsMember && !c.IsArchived || c.IsIM
	case code(err) == "channel_not_found" || code(err) == "missing_scope":
		p.group = true
	case refusedFor(err):
	default:
		return p, &bot.Error{Kind: bot.Unavailable, Err: fmt.Errorf("conversations.info: %s", plainly(err))}
	}
	keepIn(&s.people, s.people.places, id, p)
	return p, nil
}
