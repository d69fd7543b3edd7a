package bot

import (
	"context"
	"slices"
	"strings"

	"milepost/flow"
)

// loose routes a message that was written outside any thread of ours. If the
// assistant was called by it, whoever has one open job means that one, whoever
// has several the one gone to by "job" and its number; else it is asked which: a
// figure must not end in another vehicle's job. With none it begins a job. If it
// was not called it is other people's talk, which must not pass a gate: figures
// of somebody who has a job are told where to go, everything else is left alone.
func (b *Bot) loose(ctx context.Context, v *visit) error {
	figures := v.in.File != nil || strings.ContainsAny(v.text, "0123456789")
	nobody := v.role == "" || v.role == flow.Stranger
	if !v.in.Called && (nobody || !figures && v.in.Fault == "") {
		v.desk = ignore
		return nil
	}
	if nobody {
		job, err := b.cfg.Store.Current(ctx, v.shop.name, v.in.From)
		if err != nil {
			return failed("current job", err)
		}
		if v.job = job; job == "" { // a guest is known to his job by the code
			v.desk = b.turnAway
		}
		return nil
	}
	rows, err := b.Board(ctx, v.shop.name)
	if err != nil {
		return err
	}
	mine := rowsOf(rows, v.in.From)
	switch {
	case !v.in.Called && v.in.Fault == "":
		v.desk = ignore
		if len(mine) > 0 {
			v.desk = func(ctx context.Context, v *visit) error {
				return b.deskSay(ctx, v, "beside", "", flow.Notice, say("bot.beside", v.role, nil))
			}
		}
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
	case flow.May(v.role, flow.ActOpen):
		return b.newJob(v)
	default:
		v.desk = b.deskHelp
	}
	return nil
}
