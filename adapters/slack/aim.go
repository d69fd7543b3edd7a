package slack

import (
	"context"
	"fmt"

	"milepost/bot"
)

// aim is where a message goes: the channel, and the post it hangs on, "" for the
// channel itself.
type aim struct {
	channel, root string
	thread        string // its name
	job           string
	card          bool // the post is the thread's card
}

// began is the message that began the thread, "" if a command did.
func (a *aim) began() string {
	if _, _, ts := splitThread(bot.Thread(a.thread)); isTS(ts) {
		return ts
	}
	return ""
}

// aim finds where a message goes.
func (s *Slack) aim(ctx context.Context, out *bot.Outbound) (aim, error) {
	team, channel, ts := splitThread(out.Thread)
	if channel == "" || team != s.me.Team {
		return aim{}, &bot.Error{Kind: bot.Invalid, Err: fmt.Errorf("send: thread is of no channel of workspace %s", s.me.Team)}
	}
	a := aim{channel: channel, root: ts, thread: string(out.Thread), job: out.Job}
	if ts == "" {
		return a, nil
	}
	root, err := s.state.rootOf(ctx, a.thread)
	if err != nil {
		return a, failed("find thread", err)
	}
	if root == "" && out.Job != "" {
		if root, err = s.findRoot(ctx, a); err != nil {
			return a, err
		}
	}
	switch {
	case root != "":
		a.root = root
	case !isTS(ts):
		a.root = "" // it began with a command, which is no message
	}
	return a, nil
}
