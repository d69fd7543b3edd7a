package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"milepost/adapters/sqlite"
	"milepost/cmd/milepost/demo"
)

func demoCommand(s *streams) *cobra.Command {
	var o demoOptions
	c := &cobra.Command{Use: "demo [--fast] [--seed N]", Short: "a whole job played in this terminal", Args: takesNone}
	c.Flags().BoolVar(&o.fast, "fast", false, "without pauses")
	c.Flags().Uint64Var(&o.seed, "seed", 0, "the vehicle and job of `number` N; another number, another job (default: a new one)")
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		if !cmd.Flags().Changed("seed") {
			o.seed = 1 + rand.Uint64N(9999)
		}
		return runDemo(cmd.Context(), s, o)
	}
	return c
}

type demoOptions struct {
	fast bool
	seed uint64
}

// runDemo plays a job in a data directory of its own, which is gone afterwards,
// however the play ends.
func runDemo(ctx context.Context, s *streams, o demoOptions) (err error) {
	signal.Ignore(syscall.SIGPIPE) // a reader who went away is an error of writing
	dir, err := os.MkdirTemp("", "milepost-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	store, err := sqlite.Open(ctx, sqlite.Config{Dir: dir})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()

	if err := s.say("A job with an invented vehicle (seed %d), as people would have it with the assistant. Lines of people begin with a name; Ctrl-C ends.", o.seed); err != nil {
		return err
	}
	sum, err := demo.Play(ctx, demo.Config{Store: store, Blobs: store, Out: s.out, Width: width(s.out), Colour: colour(s.out),
		Seed: o.seed, Fast: o.fast, Program: program(), Log: s.log(slog.LevelError)})
	if ctx.Err() != nil {
		return errors.New("demo: ended before the job was; nothing of it is kept")
	}
	if err != nil {
		return fmt.Errorf("demo, seed %d: %w", o.seed, err)
	}
	if err := s.say(""); err != nil {
		return err
	}
	for _, l := range sum.Lines() {
		if err := s.say("%s", l); err != nil {
			return err
		}
	}
	return nil
}
