package bot

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"milepost/flow"
	"milepost/flow/words"
)

// loose routes a message that was written outside any thread of ours. If the
// assistant was called by it, whoever has gone to an open job by "job" and its number
// means that one, whoever has one open job means it, and whoever has several, in a
// direct message, the one that asked him last; else it is asked which: a figure must
// not end in another vehicle's job. With none it begins a job, unless it only means
// something in one.
// If it was not called it is other people's talk, which must not pass a gate: figures
// of somebody who has a job, and what looks like an answer to what he was just asked,
// are told where to go, once for each question; everything else is left alone.
// A file that came with words which began a job is of that job.
func (b *Bot) loose(ctx context.Context, v *visit) error {
	if job, err := b.begunBy(ctx, v); err != nil || job != "" {
		v.job = job
		return err
	}
	figures := v.in.File != nil || strings.ContainsAny(v.text, "0123456789")
	nobody := v.role == "" || v.role == flow.Stranger
	if !v.in.Called && (v.in.Fault == "" || nobody) {
		return b.beside(ctx, v, figures && !nobody)
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
	mine := meantBy(rows, v.in.From)
	gone := v.shop.goneTo.get(string(v.in.From))
	switch {
	case slices.ContainsFunc(rows, func(r Row) bool { return r.Job == gone }):
		v.job = gone
	case len(mine) == 1:
		v.job = mine[0].Job
	case len(mine) > 1:
		if asked := lastAsked(mine, v.in.From); v.in.Direct && asked != "" {
			v.job = asked
			return nil
		}
		v.desk = func(ctx context.Context, v *visit) error {
			return b.deskSay(ctx, v, "which", "", flow.Notice, say("bot.which", v.role, nil)+b.lines(v, mine))
		}
	case v.in.Fault != "":
		v.desk = b.unread
	case v.in.File == nil && ofAJob(v.text):
		v.desk = func(ctx context.Context, v *visit) error {
			return b.deskSay(ctx, v, "whose", "", flow.Notice, say("bot.whose", v.role, words.Args{"Board": flow.May(v.role, flow.ActBoard)}))
		}
	case flow.May(v.role, flow.ActOpen):
		return b.newJob(v)
	default:
		v.desk = b.deskHelp
	}
	return nil
}

// begunBy gives the job that the words of a file's message have begun: it lives
// where one would begin with the file.
func (b *Bot) begunBy(ctx context.Context, v *visit) (string, error) {
	if v.in.File == nil {
		return "", nil
	}
	for _, t := range []Thread{v.in.Begins, v.in.Thread} {
		if t == "" {
			continue
		}
		job, err := b.cfg.Store.ThreadJob(ctx, v.shop.name, v.in.Network, t)
		if err != nil || job != "" {
			return job, failed("job of a thread", err)
		}
	}
	return "", nil
}

// maxWords bounds what beside the threads can look like an answer, in bytes.
const maxWords = 40

// beside deals with what was written beside all threads without calling us.
func (b *Bot) beside(ctx context.Context, v *visit, figures bool) error {
	v.desk = ignore
	if !figures && (v.text == "" || len(v.text) > maxWords) {
		return nil
	}
	rows, err := b.Board(ctx, v.shop.name)
	if err != nil {
		return err
	}
	mine := meantBy(rows, v.in.From)
	for i := len(mine) - 1; i >= 0; i-- { // asked last first
		r := &mine[i]
		key, asked := string(v.in.From)+"\x00"+r.Job, strconv.Itoa(r.asks+1)
		if v.shop.hinted.get(key) == asked {
			if figures {
				return nil
			}
			continue
		}
		if !figures {
			if is, err := b.looksMeant(ctx, v, r); err != nil {
				return err
			} else if !is {
				continue
			}
		}
		v.desk = func(ctx context.Context, v *visit) error {
			err := b.deskSay(ctx, v, "beside", "", flow.Notice, say("bot.beside", v.role, nil))
			if err == nil {
				v.shop.hinted.set(key, asked)
			}
			return err
		}
		return nil
	}
	return nil
}

// looksMeant says whether a text is on its face an answer to what a job asks its
// author.
func (b *Bot) looksMeant(ctx context.Context, v *visit, r *Row) (bool, error) {
	if r.Phase != flow.PhaseDrive && b.now().Sub(r.Since) > time.Hour {
		return false, nil // whatever it asks was asked long ago: it need not be read
	}
	f, err := readJob(ctx, b.cfg.Store, v.shop.name, r.Job)
	if err != nil {
		return false, err
	}
	p, _ := personOf(f.state, v.in.From)
	return flow.Plainly(f.state, p.Who, v.text, b.now()), nil
}
