package slack

import (
	"context"
	"slices"
)

// Only what is of our workspace is acted on: a user's id means somebody there. The
// outer part of an event says so. Of a channel that is shared with another workspace
// team_id can be that one's, and it is authorizations that says for whose installation
// the event is; so too between the workspaces of an organisation (docs.slack.dev,
// Events API; github.com/slackapi/java-slack-sdk, 629). Members of other workspaces
// have a team of their own within the event, which is not looked at here.

// install is an installation of the app that an event is for.
type install struct {
	Team string `json:"team_id"`
}

// isOf says whether an event is for a workspace.
func (o *inOuter) isOf(team string) bool {
	if o.Team == "" || o.Team == team {
		return true
	}
	between := o.Shared || o.Enterprise != "" || o.ContextEnterprise != ""
	return between && slices.ContainsFunc(o.For, func(i install) bool { return i.Team == team })
}

// isOurs says whether an interaction is of our workspace. That of a member of
// another one, in a channel that is shared with it, may name theirs: but then Slack
// knows them for no member of ours.
func (s *Slack) isOurs(ctx context.Context, i *inInteraction) (bool, error) {
	if i.Team.ID == "" || i.Team.ID == s.self().Team {
		return true, nil
	}
	if i.User.Team != i.Team.ID {
		return false, nil
	}
	p, err := s.person(ctx, i.User.ID, i.User.Team)
	return p.Team != s.self().Team, err
}

// foreign says that something was dropped, as it is of another workspace.
func (s *Slack) foreign(kind, team string) {
	s.log.Error("what came of another workspace is not acted on", "kind", kind, "team", clip(team, 40))
}
