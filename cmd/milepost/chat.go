package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os/signal"
	"path/filepath"
	"syscall"

	"github.com/spf13/cobra"

	"milepost/adapters/terminal"
	"milepost/bot"
	"milepost/flow"
)

func chatCommand(s *streams) *cobra.Command {
	var o chatOptions
	c := &cobra.Command{
		Use: "chat [--data DIR] [--as NAME] [--role ROLE] [--json]", Short: "the assistant in this terminal", Args: takesNone,
	}
	data := onlyData(c)
	c.Flags().StringVar(&o.as, "as", terminal.DefaultName, "`name` of who writes")
	c.Flags().StringVar(&o.role, "role", string(flow.Technician), "`role` of who writes: technician, customer, helper, supervisor or stranger")
	c.Flags().BoolVar(&o.json, "json", false, "lines of JSON, for programs")
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		from, err := data.source()
		if err != nil {
			return err
		}
		o.dir = from.dir
		return runChat(cmd.Context(), s, o)
	}
	return c
}

type chatOptions struct {
	dir, as, role string
	json          bool
}

// runChat runs the assistant until its input ends, ctx is done or nothing can be
// written any more.
func runChat(ctx context.Context, s *streams, o chatOptions) (err error) {
	if o.dir, err = filepath.Abs(o.dir); err != nil {
		return err
	}
	if err := checkOwner(o.dir, ownerChat); err != nil {
		return err
	}
	signal.Ignore(syscall.SIGPIPE) // a reader who went away is an error of writing
	edited := !o.json && isTerminal(s.in) && isTerminal(s.out)
	seen := &seen{}
	t, err := terminal.New(terminal.Config{
		Out: s.out, JSON: o.json, Name: o.as, Role: flow.Role(o.role), Width: width(s.out), Colour: !o.json && colour(s.out),
		Path: func(sum string) string { return evidencePath(o.dir, sum) }, Log: seen.last,
	})
	if err != nil {
		return wrongCall{err}
	}
	level := slog.LevelWarn
	if edited {
		level = slog.LevelError // what is tried again need not stand between the lines
	}
	h, err := openToWrite(ctx, s, source{dir: o.dir}, equipment{log: s.log(level), networks: func(*house) ([]bot.Network, error) { return []bot.Network{t}, nil }})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, h.close()) }()
	seen.house = h
	if err := markOwner(o.dir, ownerChat); err != nil {
		return err
	}
	door, err := h.listen(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, door.close()) }()

	ctx, cancel := context.WithCancelCause(ctx)
	ran := make(chan struct{})
	go func() {
		defer close(ran)
		if err := h.bot.Run(ctx); err != nil {
			cancel(err)
		}
	}()
	defer func() {
		cancel(nil)
		<-ran
		if cause := context.Cause(ctx); err == nil && !errors.Is(cause, context.Canceled) {
			err = cause
		}
	}()
	return h.converse(ctx, s, t, edited, o)
}

// converse sends what an earlier run left unsent, shows where the job stands and
// hears until the input ends.
func (h *house) converse(ctx context.Context, s *streams, t *terminal.Terminal, edited bool, o chatOptions) error {
	if err := h.bot.Flush(ctx); err != nil {
		return ignoreDone(ctx, err)
	}
	if !o.json {
		if err := h.resume(ctx, t, o); err != nil {
			return err
		}
	}
	if !edited {
		return t.Run(ctx, terminal.NewPlain(s.in), h.bot)
	}
	e := terminal.NewEditor()
	return errors.Join(t.Run(ctx, e, h.bot), e.Close())
}

// ignoreDone is nil where an error is only that somebody ended the program.
func ignoreDone(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// resume shows again the card and the open question of the job that somebody is
// in. They are in the log already: nothing is entered.
func (h *house) resume(ctx context.Context, t *terminal.Terminal, o chatOptions) error {
	id := terminal.Identity(o.as)
	job, err := h.store.Current(ctx, bot.DefaultShop, id)
	if err != nil {
		return err
	}
	var replies []flow.Reply
	var names map[flow.Who]string
	if job != "" {
		state, err := bot.ReadState(ctx, h.store, bot.DefaultShop, job)
		if err != nil {
			return err
		}
		if state.Phase != flow.PhaseClosed {
			if replies, names, err = standing(state, id, flow.Role(o.role)); err != nil {
				return fmt.Errorf("show job %s: %w", job, err)
			}
		}
	}
	if len(replies) == 0 {
		return t.Show(bot.Outbound{Reply: flow.Reply{Kind: flow.Notice,
			Text: `"new job" and the vehicle begins one, "help" says what else there is, Ctrl-D ends.`}})
	}
	for _, r := range replies {
		if err := t.Show(bot.Outbound{Job: job, Log: seqOf(replies), Reply: r, Names: names}); err != nil {
			return err
		}
	}
	return nil
}

func seqOf(rs []flow.Reply) int64 { return rs[len(rs)-1].Seq }

// evidencePath is where the store keeps a file.
func evidencePath(dir, sum string) string {
	if len(sum) < 2 {
		return ""
	}
	return filepath.Join(dir, "evidence", sum[:2], sum)
}
