package slack

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	api "github.com/slack-go/slack"

	"milepost/bot"
)

// Hearer takes what people write.
type Hearer interface {
	Handle(ctx context.Context, in bot.Inbound) error
}

// Slack is the network. Make one with New, let Run run.
type Slack struct {
	cfg   Config
	log   *slog.Logger
	web   *http.Client    // for files
	ask   *http.Client    // for the API, and for what is read back from it
	base  *http.Transport // of ask
	api   *api.Client
	paces *paces
	times times

	// Set by Run before up, and not changed while there is anyone inside (enter).
	state *state
	me    self

	doubts chan struct{} // holds one while it is to be asked whether Slack still takes us

	runs atomic.Int32 // Run runs, or is about to: the state directory is its own

	mu      sync.Mutex
	up      chan struct{}      // closed while it runs and knows who it is
	end     context.Context    // done when that is over
	finish  context.CancelFunc // of end
	inside  int                // calls that use state and me
	empty   chan struct{}      // closed when nobody is inside any more; nil: nobody waits
	fault   error              // why it is not ready, nil if it is
	since   time.Time          // since when
	full    bool               // what comes can't be stored
	heardAt string             // address where requests are heard
	ears    *ears              // of Run, while it runs; nil: it does not
	contact time.Time          // when Slack was heard last before that

	people people
	alone  alone
	mouth  mouth

	// slow is for tests: a store in trouble. nil: the inbox as it is.
	slow func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error
}

var (
	errNotBegun  = errors.New("not connected yet")
	errNotInside = errors.New("not running")
)

// New makes the network and connects to nothing. A configuration that can't be
// right is a bot.Error of kind Invalid that lists every fault.
func New(cfg Config) (*Slack, error) {
	cfg, err := cfg.sound()
	if err != nil {
		return nil, err
	}
	base := http.DefaultTransport.(*http.Transport).Clone()
	s := &Slack{cfg: cfg, log: cfg.Log.With("network", NetworkName), base: base, web: fileClient(cfg),
		paces: newPaces(cfg.Every), times: usualTimes(), doubts: make(chan struct{}, 1),
		up: make(chan struct{}), fault: errNotBegun, since: time.Now()}
	s.ask = &http.Client{Timeout: callTimeout, Transport: &witness{next: newPatient(base), tell: s.doubt}}
	s.api = newClient(cfg, api.OptionHTTPClient(s.ask))
	s.people.init()
	s.mouth.init(cfg.Every)
	return s, nil
}

// Name is the network's name.
func (s *Slack) Name() string { return NetworkName }

// Ready is nil while messages are heard, else it says why not.
func (s *Slack) Ready() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	away := s.fault == errLink && time.Since(s.since) < s.times.grace // Slack renews its connections now and then
	switch {
	case s.fault != nil && !away:
		return s.fault
	case s.full:
		return errKeep
	}
	return nil
}

// keeps says whether what comes can be stored.
func (s *Slack) keeps(can bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.full = !can
}

// ready and unready say how it stands; unready tells whether that is news.
func (s *Slack) ready() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fault, s.since = nil, time.Now()
}

func (s *Slack) unready(why error) (news bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fault != nil && s.fault.Error() == why.Error() {
		return false
	}
	s.fault, s.since = why, time.Now()
	return true
}

// enter waits until we run and know who we are. Until leave is called, state and
// me are there and stay as they are; the context it gives ends with Run.
func (s *Slack) enter(ctx context.Context) (inside context.Context, leave func(), err error) {
	patience := time.NewTimer(enterIn)
	defer patience.Stop()
	for {
		s.mu.Lock()
		up := s.up
		select {
		case <-up:
			if s.end.Err() != nil {
				s.mu.Unlock()
				return nil, nil, &bot.Error{Kind: bot.Unavailable, Err: errNotInside}
			}
			s.inside++
			inside, cancel := context.WithCancel(ctx)
			stop := context.AfterFunc(s.end, cancel)
			s.mu.Unlock()
			return inside, func() { stop(); cancel(); s.leave() }, nil
		default:
		}
		s.mu.Unlock()
		select {
		case <-up:
		case <-patience.C:
			return nil, nil, &bot.Error{Kind: bot.Unavailable, Err: errNotInside}
		case <-ctx.Done():
			return nil, nil, &bot.Error{Kind: bot.Unavailable, Err: errors.Join(errNotInside, ctx.Err())}
		}
	}
}

// enterIn is how long a call waits for Run to come up.
const enterIn = 10 * time.Second

func (s *Slack) leave() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.inside--; s.inside == 0 && s.empty != nil {
		close(s.empty)
		s.empty = nil
	}
}

// Run hears until ctx is done. It may be called again after it has ended, unless
// its error is of kind Forbidden: then Slack has refused us for good.
//
// One process at a time may use a state directory: inbox and marks are of one
// SQLite file, so several instances that share the work are not for this adapter.
func (s *Slack) Run(ctx context.Context, hear Hearer) (err error) {
	s.runs.Add(1)
	defer s.runs.Add(-1)
	unlock, err := s.lockSoon(ctx)
	if err != nil {
		return err
	}
	defer unlock()
	st, err := openState(ctx, s.cfg.Dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, st.close()) }()
	defer s.web.CloseIdleConnections()
	defer s.base.CloseIdleConnections()
	dropParts(s.cfg.Dir)
	in, err := newInbox(ctx, s, st)
	if err != nil {
		return err
	}

	ctx, stop := context.WithCancel(ctx)
	var tasks sync.WaitGroup
	defer tasks.Wait()
	defer stop()
	defer func() { s.outside(err) }()

	tasks.Go(func() { in.commit(ctx) })
	e := &ears{s: s, st: st, in: in, ctx: ctx, tasks: &tasks, keep: in.keep, beside: make(chan struct{}, maxBeside),
		look: make(chan struct{}, 1), ended: make(chan error, 1), heard: time.Now()}
	s.keeps(true)
	if s.slow != nil {
		e.keep = s.slow(in.keep)
	}
	if s.cfg.EventsAddr != "" {
		// Requests are taken before we know who we are: what is stored waits.
		if err := e.listen(ctx, &tasks); err != nil {
			return err
		}
	}
	if err := e.alive(ctx, true); err != nil {
		return err
	}
	me, err := s.whoami(ctx, st)
	if err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
	s.begin(ctx, st, me)
	defer s.hears(e)()
	h := &hearing{s: s, st: st, hear: hear, ears: e}
	tasks.Go(func() { in.run(ctx, h.row) })
	tasks.Go(func() { e.catchUp(ctx) })
	tasks.Go(func() { e.live(ctx) })
	tasks.Go(func() { s.speak(ctx, st, s.boards(hear)) })
	taken, refused := context.WithCancelCause(ctx)
	defer refused(nil)
	tasks.Go(func() { s.trust(ctx, refused) })
	if s.cfg.EventsAddr != "" {
		e.link()
		select {
		case <-taken.Done():
		case err := <-e.ended:
			return err
		}
	} else if err := e.hold(taken); err != nil {
		return err
	}
	if ctx.Err() != nil {
		return nil
	}
	return context.Cause(taken)
}

// begin lets others in.
func (s *Slack) begin(ctx context.Context, st *state, me self) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state, s.me = st, me
	s.end, s.finish = context.WithCancel(ctx)
	close(s.up)
}

// outside lets nobody in any more and waits until all have left.
func (s *Slack) outside(err error) {
	if err == nil {
		err = errNotInside
	}
	s.unready(err)
	s.mu.Lock()
	s.heardAt = ""
	if s.end == nil {
		s.mu.Unlock()
		return
	}
	s.finish()
	s.end, s.up = nil, make(chan struct{})
	var empty chan struct{}
	if s.inside > 0 {
		empty = make(chan struct{})
		s.empty = empty
	}
	s.mu.Unlock()
	if empty != nil {
		<-empty
	}
}
