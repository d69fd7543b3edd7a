package bot

import (
	"context"
	"slices"

	"milepost/flow"
)

// loose routes a message that was written outside any thread of ours. Whoever
// has one open job means that one, whoever has several the one gone to by "job"
// and its number; else it is asked which: a figure must not end in another
// vehicle's job. With none it begins a job if the assistant was called, and is
// somebody else's talk if not.
func (b *Bot) loose(ctx context.Context, v *visit) error {
	if v.role == "" || v.role == flow.Stranger {
		if v.in.Called {
			v.desk = b.turnAway
			return nil
		}
		v.desk = ignore
		return nil
	}
	rows, err := b.Board(ctx, v.shop.name)
	if err != nil {
		return err
	}
	mine := slices.DeleteFunc(rows, func(r Row) bool { return !slices.Contains(r.identities, string(v.in.From)) })
	switch {
	case len(mine) == 1:
		v.job = mine[0].Job
	case len(mine) > 1:
		gone := v.shop.goneTo.get(string(v.in.From))
		if slices.ContainsFunc(mine, func(r Row) bool { return r.Job == gone }) {
			v.job = gone
			return nil
		}
		v.desk = func(ctx context.Context, v *visit) error {
			return b.deskSay(ctx, v, "which", "", flow.Notice, say("bot.which", v.role, nil)+"\n"+b.list(v, mine))
		}
	case v.in.Fault != "":
		v.desk = b.unread
	case !v.in.Called:
		v.desk = ignore
	case flow.May(v.role, flow.ActOpen):
		return b.newJob(v)
	default:
		v.desk = b.deskHelp
	}
	return nil
}
