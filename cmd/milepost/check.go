package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"milepost/bot"
)

// checkFor bounds a look at one network.
const checkFor = time.Minute

func checkCommand(s *streams) *cobra.Command {
	return configCommand("check", "tries a configuration of serve, changes nothing", s.check)
}

// check prints what is found, each with what is to be mended, and ends with an
// error if anything is.
func (s *streams) check(ctx context.Context, c *config) error {
	found := []bot.Finding{{Area: "configuration", What: fmt.Sprintf("%s: %s", c.file, c.summary()), OK: true}}
	found = append(found, checkStore(ctx, c))
	found = append(found, checkKeys(c)...)
	found = append(found, checkAlerts(c)...)
	found = append(found, checkAddress(ctx, c))
	if err := c.readSecrets(); err != nil {
		found = append(found, faulty("secrets", "not all can be read", err)...)
	} else {
		found = append(found, bot.Finding{Area: "secrets", What: "all can be read", OK: true})
		found = append(found, s.checkNetworks(ctx, c)...)
	}
	bad := 0
	for _, f := range found {
		mark := "OK  "
		switch {
		case !f.OK:
			mark = "MEND"
			bad++
		case f.Mend != "":
			mark = "WARN"
		}
		if err := s.say("%s %s: %s", mark, f.Area, f.What); err != nil {
			return err
		}
		if f.Mend != "" {
			if err := s.say("     %s", strings.ReplaceAll(f.Mend, "\n", "\n     ")); err != nil {
				return err
			}
		}
	}
	if bad > 0 {
		verb := "are"
		if bad == 1 {
			verb = "is"
		}
		return fmt.Errorf("%d of %s %s to be mended", bad, counted(len(found), "finding", "findings"), verb)
	}
	return nil
}

func (c *config) summary() string {
	var of []string
	for i := range c.shops {
		s := &c.shops[i]
		of = append(of, fmt.Sprintf("shop %s with %s and %s", s.name, counted(len(s.people), "person", "people"), counted(len(s.rooms), "room", "rooms")))
	}
	return strings.Join(of, ", ")
}

// counted prints a number with its noun.
func counted(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// faulty makes a finding of each of the errors that were joined.
func faulty(area, what string, err error) (found []bot.Finding) {
	var many interface{ Unwrap() []error }
	if !errors.As(err, &many) {
		return []bot.Finding{{Area: area, What: what, Mend: err.Error()}}
	}
	for _, e := range many.Unwrap() {
		found = append(found, bot.Finding{Area: area, What: what, Mend: e.Error()})
	}
	return found
}

// checkKeys reads each shop's signing key.
func checkKeys(c *config) (found []bot.Finding) {
	from := source{dir: c.store, cfg: c}
	for _, f := range from.keyFiles(from.shops(nil)) {
		k, err := f.read()
		_, had := os.Lstat(f.public)
		switch {
		case err == nil:
			found = append(found, bot.Finding{Area: "key of shop " + f.shop, What: k.Public(), OK: true})
		case errors.Is(err, fs.ErrNotExist) && had != nil && f.from.env == "":
			found = append(found, bot.Finding{Area: "key of shop " + f.shop, What: "not there yet; the first start makes it", OK: true})
		case errors.Is(err, fs.ErrNotExist):
			found = append(found, bot.Finding{Area: "key of shop " + f.shop, What: "not at hand", Mend: err.Error() + "\nput it back; without it a new one is made where none is named, and the log says so"})
		default:
			found = append(found, bot.Finding{Area: "key of shop " + f.shop, What: "can't be read", Mend: err.Error()})
		}
	}
	return found
}

// checkAlerts warns of a shop without a room of alerts: a call reaches only those
// in a job's own room, and where nobody is there it reaches nobody.
func checkAlerts(c *config) (found []bot.Finding) {
	for i := range c.shops {
		s, name := &c.shops[i], "[shop.alerts]"
		if len(s.alerts) > 0 {
			continue
		}
		if len(c.shops) == 1 {
			name = "[alerts]"
		}
		found = append(found, bot.Finding{Area: "alerts of shop " + s.name, OK: true, What: "no room is set",
			Mend: "a call for help reaches only those in a job's own room. Set " + name + " supervisor = [\"ROOM\"] and helper = [\"ROOM\"]"})
	}
	return found
}

// checkAddress tries whether the address of health and figures is free, or taken
// by the program that runs on this very store.
func checkAddress(ctx context.Context, c *config) bot.Finding {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", c.log.metrics)
	switch {
	case err == nil:
		_ = l.Close()
		return bot.Finding{Area: "metrics_addr", What: c.log.metrics + " is free", OK: true}
	case socketAnswers(ctx, c.store):
		return bot.Finding{Area: "metrics_addr", What: c.log.metrics + " is taken; the program runs", OK: true}
	}
	return bot.Finding{Area: "metrics_addr", What: c.log.metrics + " can't be listened at", Mend: err.Error()}
}

// socketAnswers says whether a program runs on a data directory.
func socketAnswers(ctx context.Context, dir string) bool {
	short, free, err := socketPath(filepath.Join(dir, socketName))
	if err != nil {
		return false
	}
	defer free()
	c, err := (&net.Dialer{}).DialContext(ctx, "unix", short)
	if err != nil {
		return false
	}
	_ = c.Close()
	return true
}

// checkNetworks has each network try what is configured.
func (s *streams) checkNetworks(ctx context.Context, c *config) (found []bot.Finding) {
	log := s.log(slog.LevelError)
	nets, err := makeNetworks(s.wires(), c, kit{dir: c.store, log: log})
	if err != nil {
		return faulty("network", "can't be made", err)
	}
	for _, n := range nets {
		found = append(found, lookAt(ctx, n)...)
	}
	return found
}

func lookAt(ctx context.Context, n network) (found []bot.Finding) {
	defer func() {
		if p := recover(); p != nil {
			found = append(found, bot.Finding{Area: n.Name(), What: fmt.Sprintf("a fault of the program: %v", p), Mend: string(debug.Stack())})
		}
	}()
	ctx, cancel := context.WithTimeout(ctx, checkFor)
	defer cancel()
	return n.Check(ctx)
}
