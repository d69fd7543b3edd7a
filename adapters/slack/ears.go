package slack

import (
	"context"
	"errors"
	"sync"
	"time"
)

// maxBeside is how much is done at once of what is not kept.
const maxBeside = 32

// ears are the way in, over whichever transport: what came is stored, then
// acknowledged. Nothing else happens before that.
type ears struct {
	s      *Slack
	st     *state
	in     *inbox
	ctx    context.Context // of Run
	beside chan struct{}   // room for what is done at once and not kept
	tasks  *sync.WaitGroup
	look   chan struct{}                          // something may have been missed
	keep   func(context.Context, []arrival) error // in.keep; tests slow it down
	ended  chan error                             // why no more requests are heard
	doors  *doors                                 // of a socket; only hold and what it calls use it

	forged forged // requests that Slack did not sign

	mu      sync.Mutex
	behind  bool // something may have been missed and was not looked for yet
	looking bool // it is being looked for
	full    bool // what came last could not be stored
	linked  bool
	lost    time.Time // since when there is no connection
	breaks  int       // that ended since the last reading back began
	heard   time.Time // over HTTP: when the last event came
	looked  time.Time // when the last reading back began

	withholds time.Time // until when Slack may withhold events
	waits     bool      // the end of that is waited for

	order  order
	bad    int64 // deliveries that could not be read
	strict int64 // of them those that only the library could not read

	rejoined map[string]bool // channels that we are in again and that were not read back yet
}

// delivered is one delivery and what is to be answered.
type delivered struct {
	id     string // envelope
	list   []arrival
	answer any
	after  func(context.Context) // once it is acknowledged; nil: nothing
}

// unread is a delivery that can't be read: kept for the operator.
func (e *ears) unread(kind string, raw []byte, why error) delivered {
	e.mu.Lock()
	e.bad++
	n := e.bad
	e.mu.Unlock()
	e.s.log.Error("a delivery can't be read; it is kept in the inbox and acknowledged", "kind", kind, "bytes", len(raw), "why", why.Error(), "so_far", n)
	return delivered{list: []arrival{badArrival(kind, raw)}}
}

// read finds out what of a delivery is to be stored, and what answered. It takes
// next to no time.
func (e *ears) read(ctx context.Context, kind string, raw []byte, again cameAgain) delivered {
	raw = append([]byte(nil), raw...)
	switch kind {
	case kindEvent:
		o, err := readOuter(raw)
		if err != nil {
			return e.unread(kind, raw, err)
		}
		switch o.Type {
		case "event_callback":
		case "app_rate_limited":
			e.s.log.Error("slack holds events back: more than 30000 an hour in the workspace; what was missed is read back")
			return delivered{after: func(context.Context) { e.withheld(e.ctx) }}
		default:
			return delivered{}
		}
		list, err := eventArrivals(o, raw)
		if err != nil {
			return e.unread(kind, raw, err)
		}
		for i := range list {
			list[i].unsure = again.attempt > 0
		}
		switch {
		case o.isOf(e.s.self().Team):
			e.about(o, again)
		case len(list) == 0: // else it is said when that is heard
			e.s.foreign(kind, o.Team)
		}
		return delivered{list: list}
	case kindPressed:
		i, err := readInteraction(raw)
		if err != nil {
			return e.unread(kind, raw, err)
		}
		return e.pressed(ctx, i, raw)
	case kindCommand:
		c, err := readCommand(raw)
		if err != nil {
			return e.unread(kind, raw, err)
		}
		return delivered{list: []arrival{commandArrival(c, raw)}}
	}
	return e.unread(kind, raw, errors.New("a kind that is not known"))
}

// pressed is what of an interaction is stored, answered, and done at once: a form
// is opened while its trigger is good.
func (e *ears) pressed(ctx context.Context, i inInteraction, raw []byte) delivered {
	a, ok := pressArrival(i, raw)
	if !ok {
		return delivered{}
	}
	if i.Type == "view_submission" {
		if taken, err := e.s.taken(ctx, a.key); err == nil && taken {
			return delivered{} // sent again: the form closes, whatever has become of its step
		}
		sub, err := e.s.submitted(ctx, raw)
		switch {
		case errors.Is(err, errNoForm):
			return delivered{}
		case err != nil:
			e.s.log.Warn("a form that was sent can't be checked", "err", plainly(err)) // the core will
		case len(sub.Errors) > 0:
			return delivered{answer: sub.answer()}
		}
	}
	if i.Type == "block_actions" && i.Actions[0].ID == actionForm {
		until := time.Now().Add(triggerFor)
		return delivered{after: func(ctx context.Context) {
			if ours, err := e.s.isOurs(ctx, &i); err != nil || !ours {
				e.s.foreign(kindPressed, i.Team.ID)
				return
			}
			opened, err := e.s.openForm(ctx, i.Trigger, i.channel(), i.Container.Message, until)
			if err != nil {
				if ctx.Err() == nil {
					e.s.log.Warn("open form", "err", plainly(err))
					e.s.sayNoFormTo(ctx, &i, err)
				}
				return
			}
			if !opened { // its question is over: that is said as for any other button
				if err := e.store(ctx, []arrival{a}); err != nil && ctx.Err() == nil {
					e.s.log.Error("store what came", "err", err)
				}
			}
		}}
	}
	return delivered{list: []arrival{a}}
}

// about is what an event has us note beside hearing.
func (e *ears) about(o inOuter, again cameAgain) {
	ev, err := o.readEvent()
	if err != nil {
		return
	}
	e.came(or(ev.EventTS, ev.TS), again)
	switch ev.Type {
	case "app_home_opened":
		if ev.Tab == "home" && ev.User != "" {
			e.s.homeOpened(string(ev.User))
		}
	case "user_change":
		e.s.people.forget(string(ev.User))
	case "member_joined_channel", "member_left_channel":
		if string(ev.User) == e.s.self().User {
			e.s.log.Info("our channels have changed", "event", ev.Type, "channel", string(ev.Channel))
			e.s.people.forget("")
			if ev.Type == "member_joined_channel" {
				e.returned(string(ev.Channel))
			} else {
				e.left(string(ev.Channel), ev.EventTS)
			}
		}
		e.s.people.moved(string(ev.Channel))
	case "channel_archive", "group_archive", "channel_left", "group_left":
		e.s.log.Info("our channels have changed", "event", ev.Type, "channel", string(ev.Channel))
		e.s.people.forget("")
		e.left(string(ev.Channel), ev.EventTS)
	case "channel_unarchive", "group_unarchive":
		e.s.log.Info("our channels have changed", "event", ev.Type, "channel", string(ev.Channel))
		e.s.people.forget("")
		e.returned(string(ev.Channel))
	case "tokens_revoked", "app_uninstalled":
		e.s.log.Error("the app was taken out of the workspace or a token of it revoked", "event", ev.Type)
		e.s.doubt()
	}
}

// aside does what is not kept, without holding anybody up.
func (e *ears) aside(ctx context.Context, f func(context.Context)) {
	if f == nil {
		return
	}
	select {
	case e.beside <- struct{}{}:
	default:
		e.s.log.Warn("too much at once: something asked for was not shown")
		return
	}
	e.tasks.Go(func() {
		defer func() { <-e.beside }()
		f(ctx)
	})
}
