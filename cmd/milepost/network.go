package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"

	"milepost/bot"
)

// network is a chat network as serve runs it.
type network interface {
	bot.Network

	// Run hears until ctx is done. An error before that is one of a connection,
	// and Run may be called again, unless its kind is forbidden or invalid.
	Run(ctx context.Context, hear hearer) error

	// Ready is nil while the network can be used, else why not.
	Ready() error

	// Check tries what is configured and changes nothing.
	Check(ctx context.Context) []bot.Finding
}

// hearer takes what a network hears.
type hearer interface {
	Handle(ctx context.Context, in bot.Inbound) error
}

// wire makes a network out of its section of the configuration; nil where there
// is no such section.
type wire func(*config, kit) (network, error)

// wires are the chat networks of this program.
func (s *streams) wires() []wire {
	if s.nets != nil {
		return s.nets
	}
	return []wire{wireMatrix, wireSlack}
}

// kit is what every network is given beside its section.
type kit struct {
	dir   string    // data directory; a network keeps its own in a folder of its name
	blobs bot.Blobs // where files that go out lie
	log   *slog.Logger
}

func (k kit) own(name string) string { return filepath.Join(k.dir, name) }

// makeNetworks makes the networks of a configuration. The secrets are read.
func makeNetworks(wires []wire, c *config, k kit) ([]network, error) {
	var nets []network
	var faults []error
	for _, w := range wires {
		n, err := w(c, k)
		switch {
		case err != nil:
			faults = append(faults, err)
		case n != nil:
			nets = append(nets, n)
		}
	}
	if len(faults) == 0 && len(nets) == 0 {
		faults = append(faults, fmt.Errorf("%s: no chat network of it is in this build", c.file))
	}
	return nets, errors.Join(faults...)
}

// may says who is named in the configuration, by the identity that a network
// makes of what it calls its people.
func (c *config) may(identity func(string) bot.Identity) func(string) bool {
	return func(user string) bool {
		for i := range c.shops {
			if _, ok := c.shops[i].people[identity(user)]; ok {
				return true
			}
		}
		return false
	}
}

// patterns are the rooms that give a role in any shop, as a network names them.
func (c *config) patterns(ours func(string) bool) (rooms []string) {
	for i := range c.shops {
		for room := range c.shops[i].rooms {
			if ours(room) {
				rooms = append(rooms, room)
			}
		}
	}
	slices.Sort(rooms)
	return rooms
}

// posts are the rooms that alerts and digests of any shop go to, as a network
// names them.
func (c *config) posts(network string) (rooms []string) {
	for i := range c.shops {
		for _, t := range slices.Concat(c.shops[i].alerts, c.shops[i].digest) {
			if t.Network == network {
				rooms = append(rooms, string(t.Thread))
			}
		}
	}
	slices.Sort(rooms)
	return slices.Compact(rooms)
}

// maxFile is the most that any shop takes; each shop's own bound is the bot's.
func (c *config) maxFile() (most int64) {
	for i := range c.shops {
		most = max(most, c.shops[i].policy.Sound().MaxFile)
	}
	return most
}

func asBot(nets []network) []bot.Network {
	ns := make([]bot.Network, len(nets))
	for i, n := range nets {
		ns[i] = n
	}
	return ns
}
