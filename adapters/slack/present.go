package slack

import (
	"context"
	"fmt"

	"milepost/bot"
)

// Present gives those of some people who are members of the channel of a thread,
// and what they are called. (bot.Roster)
func (s *Slack) Present(ctx context.Context, thread bot.Thread, of []bot.Identity) (map[bot.Identity]string, error) {
	ctx, leave, err := s.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	team, channel, _ := splitThread(thread)
	if channel == "" || team != s.me.Team {
		return nil, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("ask who is in a channel: thread is of no channel of workspace %s", s.me.Team)}
	}
	names := map[bot.Identity]string{}
	for _, p := range of {
		team, user, ok := splitIdentity(p)
		if !ok || team != s.me.Team {
			continue
		}
		in, err := s.member(ctx, channel, user)
		if err != nil {
			return nil, err
		}
		if in {
			names[p] = s.called(ctx, user, "")
		}
	}
	return names, nil
}
