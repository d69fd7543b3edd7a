package bot

import (
	"context"
	"slices"

	"milepost/flow"
	"milepost/flow/words"
)

// tapped routes a tap: to the job it was offered by, if that job lives where the
// tap was made. What it sends came back from a person's screen, so it never leads
// to a job of another thread, and never joins a thread to a job: then the tap goes
// to the thread's own job, whose flow knows it for one that means nothing there.
func (b *Bot) tapped(ctx context.Context, v *visit) error {
	job := flow.TapJob(v.in.Tap)
	if c := flow.TapChoice(v.in.Tap); c != "" && !words.Default().Has("choice."+c) {
		v.in.Tap = job + ".0." // no choice that there is: a person's words, which can't be erased once they are in an entry
	}
	own := v.in.Job // as the adapter has kept it of what was offered
	if own == "" && shopName.MatchString(job) {
		here, err := b.offeredHere(ctx, v, job)
		if err != nil {
			return err
		}
		if here {
			own = job
		}
	}
	if own == "" {
		current, err := b.place(ctx, v)
		if err != nil {
			return err
		}
		here := false
		if current != "" {
			if here, err = b.lives(ctx, v, current); err != nil {
				return err
			}
		}
		if !here {
			v.desk = ignore // nothing was ever offered there
			return nil
		}
		own = current
	}
	v.job = own
	return nil
}

// offeredHere says whether a job's questions are put where a tap was made: in a
// thread of its own, or in a room of alerts, which has those of all jobs.
func (b *Bot) offeredHere(ctx context.Context, v *visit, job string) (bool, error) {
	alerts := func(t JobThread) bool { return t.Network == v.in.Network && t.Thread == v.in.Thread }
	if v.in.Thread != "" && slices.ContainsFunc(v.shop.cfg.Alerts, alerts) {
		return true, nil
	}
	return b.lives(ctx, v, job)
}

// lives says whether a job lives in the thread a message was written in.
func (b *Bot) lives(ctx context.Context, v *visit, job string) (bool, error) {
	s := v.shop
	got, err := s.threads.ask(livesKey(v.in.Network, v.in.Thread, job), func() (string, error) {
		ts, err := b.cfg.Store.Threads(ctx, s.name, job)
		for _, t := range ts {
			if t.Network == v.in.Network && t.Thread == v.in.Thread {
				return job, err
			}
		}
		return "", err
	})
	if err != nil {
		return false, failed("threads of a job", err)
	}
	return got != "", nil
}
