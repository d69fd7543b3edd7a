package demo

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"math/rand/v2"

	"milepost/adapters/terminal"
	"milepost/bot"
	"milepost/bot/journal"
)

// Config is what a play is made of. Store, Blobs and Out are needed.
type Config struct {
	Store   bot.Store // a store of its own, thrown away afterwards
	Blobs   bot.Blobs
	Out     io.Writer
	Width   func() int // columns; nil: nothing is wrapped
	Colour  bool
	Seed    uint64 // another seed gives another vehicle and another job
	Fast    bool   // without pauses
	Program string
	Log     *slog.Logger
}

// Play plays a job from the open to the close and gives what came of it. What
// somebody does not know to answer, or a job without an end, is an error, and
// the summary tells how far it went. Cancelling ctx ends it between two lines.
func Play(ctx context.Context, c Config) (Summary, error) {
	s, err := invent(c.Seed)
	if err != nil {
		return Summary{}, err
	}
	return playOut(ctx, c, s)
}

// playOut plays a scenario.
func playOut(ctx context.Context, c Config, s *scenario) (_ Summary, err error) {
	term, err := terminal.New(terminal.Config{Out: c.Out, Name: s.worker.name, Role: s.worker.role, Width: c.Width, Colour: c.Colour})
	if err != nil {
		return Summary{}, err
	}
	p := &player{scenario: s, rand: rand.New(rand.NewPCG(c.Seed, 3)), hearing: map[string]int{}, mistakes: map[string]string{},
		stage: &stage{term: term, out: c.Out, width: c.Width, colour: c.Colour, fast: c.Fast}}
	random := newChance(c.Seed)
	key, err := journal.NewKey(bot.DefaultShop, random)
	if err != nil {
		return Summary{}, err
	}
	p.bot, err = bot.New(bot.Config{Store: c.Store, Blobs: c.Blobs, Networks: []bot.Network{p.stage}, Program: c.Program,
		Shops: []bot.Shop{{Name: bot.DefaultShop, Policy: s.policy, Key: key}}, Single: true, Log: c.Log,
		Now: p.clock.now, Elapsed: p.clock.elapsed, Random: random})
	if err != nil {
		return Summary{}, err
	}
	ctx, cancel := context.WithCancelCause(ctx)
	ran := make(chan error, 1)
	go func() {
		err := p.bot.Run(ctx)
		if err != nil {
			cancel(err)
		}
		ran <- err
	}()
	defer func() {
		cancel(nil)
		err = errors.Join(err, <-ran)
	}()
	err = p.play(ctx)
	return p.summary(), err
}
