package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"milepost/adapters/web"
	"milepost/bot"
)

func serveCommand(s *streams) *cobra.Command {
	return configCommand("serve", "the assistant on chat networks", func(ctx context.Context, c *config) error { return serve(ctx, s, c) })
}

// configCommand is a command that works on a configuration and on nothing else.
func configCommand(name, short string, work func(context.Context, *config) error) *cobra.Command {
	var file string
	c := &cobra.Command{Use: name + " --config FILE", Short: short, Args: takesNone}
	c.Flags().StringVar(&file, "config", "", "configuration `file`")
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		if file == "" {
			return wrongCall{errors.New("--config FILE is missing")}
		}
		c, err := readConfig(file)
		if err != nil {
			return err
		}
		return work(cmd.Context(), c)
	}
	return c
}

// How long a stop may take, ten seconds in all: the networks to put down what
// they hold, the bot to end its day, the rest to close.
const (
	networksFor = 5 * time.Second
	botFor      = 3500 * time.Millisecond
)

// serve runs the assistant until ctx is done.
//
// A network that ends is begun again. One whose configuration is refused for good
// is not: the others go on without it, /readyz says so, and when none is left
// serve ends with that error. Nothing is lost by any end: what was acknowledged is
// stored, what is stored and not sent is sent at the next start.
func serve(ctx context.Context, s *streams, c *config) (err error) {
	log := s.structured(c.log)
	if err := checkOwner(c.store, ownerServe); err != nil {
		return err
	}
	if err := c.readSecrets(); err != nil {
		return err
	}
	v := &service{s: s, cfg: c, log: log}
	var names []string
	if c.matrix != nil {
		names = append(names, "matrix")
	}
	if c.slack != nil {
		names = append(names, "slack")
	}
	v.web, err = web.Listen(ctx, web.Config{Addr: c.log.metrics, Networks: names, Parts: v.parts(names), Depths: v.depths, Inbox: v.inbox, Log: log})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, v.web.Close()) }()
	v.house, err = openToWrite(ctx, s, source{dir: c.store, cfg: c}, equipment{log: log, measure: v.web, networks: v.makeNetworks})
	if err != nil {
		return ignoreDone(ctx, err)
	}
	defer func() { err = errors.Join(err, v.house.close()) }()
	if err := markOwner(c.store, ownerServe); err != nil {
		return err
	}
	door, err := v.house.listen(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, door.close()) }()
	return v.run(ctx)
}

// service is a serve at work.
type service struct {
	s     *streams
	cfg   *config
	log   *slog.Logger
	web   *web.Server
	house *house
	nets  []*kept // nil until they are made, set before anything runs
}

func (v *service) makeNetworks(h *house) ([]bot.Network, error) {
	nets, err := makeNetworks(v.s.wires(), v.cfg, kit{dir: h.dir, blobs: h.store, log: v.log})
	if err != nil {
		return nil, err
	}
	for _, n := range nets {
		v.nets = append(v.nets, &kept{network: n, log: v.log})
	}
	return asBot(nets), nil
}

// parts is what readiness hangs on.
func (v *service) parts(names []string) []web.Part {
	parts := []web.Part{{Name: "store", Ready: func(ctx context.Context) error {
		_, err := v.house.store.Unsent(ctx, 1)
		return err
	}}}
	for _, name := range names {
		parts = append(parts, web.Part{Name: name, Ready: func(context.Context) error {
			for _, k := range v.nets {
				if k.Name() == name {
					return k.Ready()
				}
			}
			return errors.New("not in this build")
		}})
	}
	return parts
}

func (v *service) depths() bot.Depths { return v.house.bot.Depths() }

// inbox is what waits of a network.
func (v *service) inbox(ctx context.Context, name string) (bot.Inbox, error) {
	for _, k := range v.nets {
		if k.Name() == name {
			return k.Inbox(ctx)
		}
	}
	return bot.Inbox{}, errors.ErrUnsupported
}

// end says which of the parts that run has ended, and how.
type end struct {
	what string
	net  bool // a network, refused for good
	err  error
}

// run runs all parts until ctx is done or one that can't be done without ends,
// and stops them: the networks first, so that nothing more is heard, then the bot.
func (v *service) run(ctx context.Context) error {
	ends := make(chan end, len(v.nets)+2)
	hearing, stopHearing := context.WithCancel(context.WithoutCancel(ctx))
	working, stopWorking := context.WithCancel(context.WithoutCancel(ctx))
	defer stopHearing()
	defer stopWorking()
	var nets, others sync.WaitGroup
	begin := func(wait *sync.WaitGroup, ctx context.Context, what string, net bool, run func(context.Context) error) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			var err error
			defer func() { ends <- end{what, net, err} }()
			defer contain(v.log, what, &err)
			err = run(ctx)
		}()
	}
	begin(&others, working, "the bot", false, v.house.bot.Run)
	begin(&others, working, "health and metrics", false, v.web.Run)
	for _, k := range v.nets {
		k.hear = guarded{v.house.bot, v.house.bot.Handle, v.log}
		begin(&nets, hearing, k.Name(), true, k.keep)
	}
	v.log.Info("started", "program", program(), "shops", strings.Join(v.house.shops, " "), "health", "http://"+v.web.Addr()+"/readyz")
	err := v.attend(ctx, ends)
	v.log.Info("stopping")
	stopHearing()
	late := waitFor(&nets, networksFor, "the networks")
	stopWorking()
	err = errors.Join(err, late, waitFor(&others, botFor, "the bot"))
	v.log.Info("stopped")
	return err
}

// attend says when all is ready, and waits for the end.
func (v *service) attend(ctx context.Context, ends <-chan end) error {
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	left, said := len(v.nets), false
	slow := time.After(30 * time.Second)
	for {
		select {
		case <-ctx.Done():
			return nil
		case e := <-ends:
			if !e.net {
				return fmt.Errorf("%s has ended: %w", e.what, orEnded(e.err))
			}
			v.log.Error("network is refused for good and not tried again; mend the configuration and restart", "network", e.what, "err", e.err)
			if left--; left == 0 {
				return fmt.Errorf("%s: %w", e.what, orEnded(e.err))
			}
		case <-slow:
			if why := v.unready(); why != "" {
				v.log.Warn("not ready yet", "because", why)
			}
		case <-look.C:
			if said || v.unready() != "" {
				continue
			}
			said = true
			look.Stop()
			if err := v.s.say("ready: %s; shops %s; health and metrics at http://%s", v.names(), strings.Join(v.cfg.shopNames(), ", "), v.web.Addr()); err != nil {
				return err
			}
		}
	}
}

func orEnded(err error) error {
	if err == nil {
		return errors.New("of itself")
	}
	return err
}

// unready says which networks can't be used, and why; "" if all can.
func (v *service) unready() string {
	var why []string
	for _, k := range v.nets {
		if err := k.Ready(); err != nil {
			why = append(why, k.Name()+": "+err.Error())
		}
	}
	return strings.Join(why, "; ")
}

func (v *service) names() string {
	var names []string
	for _, k := range v.nets {
		names = append(names, k.Name())
	}
	return strings.Join(names, ", ")
}

// waitFor waits for what runs, but not for ever: what hangs is left, and has
// stored all that it has acknowledged.
func waitFor(wait *sync.WaitGroup, most time.Duration, what string) error {
	done := make(chan struct{})
	go func() { wait.Wait(); close(done) }()
	select {
	case <-done:
		return nil
	case <-time.After(most):
		return fmt.Errorf("%s did not stop within %s", what, most)
	}
}

// structured is the operator's log of a program that nobody looks at. What people
// write never stands in it at the level info or above.
func (s *streams) structured(c logConfig) *slog.Logger {
	o := &slog.HandlerOptions{Level: c.level}
	if c.json {
		return slog.New(slog.NewJSONHandler(s.err, o))
	}
	return slog.New(slog.NewTextHandler(s.err, o))
}
