package bot

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"regexp"
	"time"

	"milepost/bot/journal"
	"milepost/flow"
)

// Config is all that a Bot is made of. Store is needed; everything else has a
// sound default.
type Config struct {
	Store    Store
	Blobs    Blobs // nil: files are refused
	Networks []Network
	Shops    []Shop // none: one shop named DefaultShop
	Program  string // version, logged with each figure
	Single   bool   // a single-user and test store: a role counts as stated
	Log      *slog.Logger
	Measure  Measure // nil: nothing is measured

	// Now is our clock; nil: time.Now. Elapsed is time that no setting of the
	// clock moves, from any start; nil: the monotonic clock.
	Now     func() time.Time
	Elapsed func() time.Duration
	Random  io.Reader // nil: crypto/rand

	Limits Limits

	step func(*flow.State, flow.Message, flow.Env) (flow.Outcome, error) // nil: flow.Step
}

// Limits bound what a Bot keeps in memory. Zero is the default.
type Limits struct {
	Jobs      int // jobs kept folded between messages; 256
	Waiting   int // messages waiting for one job; 64
	Queue     int // outgoing messages held in memory; 4096, the rest wait in the store
	Strangers int // strangers a day who get an answer and an entry of their own; 50
	Recent    int // deliveries remembered; 4096
}

// DefaultShop is the name of the only shop where none is configured.
const DefaultShop = "main"

// Shop is what one shop has configured.
type Shop struct {
	Name   string
	People map[Identity]flow.Role // by full and exact identity
	Rooms  map[string]flow.Role   // by Inbound.Room; technician or customer
	Policy flow.Policy
	Key    journal.Key    // signs the heads; the zero key: none are signed
	Zone   *time.Location // whose days count; nil: UTC
	Hours  Hours          // reminders of closed jobs and the digest wait for the shop to open
	Alerts []JobThread    // where those who are in none of a job's threads are told, by role
	Digest []JobThread    // where the daily digest goes; none: there is no digest
}

var shopName = regexp.MustCompile(`^[A-Za-z0-9._-]{1,64}$`)

// sound fills in the defaults and lists every fault at once.
func (c Config) sound() (Config, error) {
	var faults []error
	if c.Store == nil {
		faults = append(faults, errors.New("store is missing"))
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if c.Measure == nil {
		c.Measure = noMeasure{}
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Elapsed == nil {
		start := time.Now()
		c.Elapsed = func() time.Duration { return time.Since(start) }
	}
	if c.Random == nil {
		c.Random = rand.Reader
	}
	if c.step == nil {
		c.step = flow.Step
	}
	for _, l := range []struct {
		n       *int
		usually int
		name    string
	}{{&c.Limits.Jobs, 256, "jobs"}, {&c.Limits.Waiting, 64, "waiting"}, {&c.Limits.Queue, 4096, "queue"},
		{&c.Limits.Strangers, 50, "strangers"}, {&c.Limits.Recent, 4096, "recent"}} {
		switch {
		case *l.n == 0:
			*l.n = l.usually
		case *l.n < 0:
			faults = append(faults, fmt.Errorf("limit %s: %d is below zero", l.name, *l.n))
		}
	}
	if len(c.Shops) == 0 {
		c.Shops = []Shop{{Name: DefaultShop}}
	}
	seen := map[string]bool{}
	for i := range c.Shops {
		s := &c.Shops[i]
		if s.Name == "" && len(c.Shops) == 1 {
			s.Name = DefaultShop
		}
		if !shopName.MatchString(s.Name) || seen[s.Name] {
			faults = append(faults, fmt.Errorf("shop %.80q: want a name of its own of letters, digits, . _ and -", s.Name))
		}
		seen[s.Name] = true
		for id, r := range s.People {
			if known(r) == flow.Stranger {
				faults = append(faults, fmt.Errorf("shop %s: %.200q has the role %.80q, which is none", s.Name, id, r))
			}
		}
		for room, r := range s.Rooms {
			if r != flow.Technician && r != flow.Customer {
				faults = append(faults, fmt.Errorf("shop %s: room %.200q may give technician or customer, not %.80q", s.Name, room, r))
			}
		}
	}
	names := map[string]bool{}
	for _, n := range c.Networks {
		if names[n.Name()] {
			faults = append(faults, fmt.Errorf("network %s stands twice", n.Name()))
		}
		names[n.Name()] = true
	}
	if len(faults) > 0 {
		return c, &Error{Kind: Invalid, Err: fmt.Errorf("configure: %w", errors.Join(faults...))}
	}
	return c, nil
}
