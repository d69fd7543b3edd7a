package slack

import (
	"context"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// Slack may end each connection as soon as it is open: then there are a few and no more,
// and it shows that we hear nothing.
func TestConnectionsEnded(t *testing.T) {
	for _, how := range []string{"close", "refresh_requested", "link_disabled", "too_many_websockets"} {
		t.Run(how, func(t *testing.T) {
			t.Parallel()
			r := listen(t, false, workspace.Options{})
			r.end()
			r.w.EndSockets(how)
			before := len(r.w.Calls("apps.connections.open"))
			s, err := New(r.cfg)
			if err != nil {
				t.Fatal(err)
			}
			s.times = quick()
			s.times.renewal = time.Hour
			r.Slack = s
			ctx, cancel := context.WithCancel(t.Context())
			over := make(chan error, 1)
			go func() { over <- s.Run(ctx, r.ear) }()
			r.await("unready", func() bool { return s.Ready() != nil && strings.Contains(s.Ready().Error(), errOften.Error()) })
			r.await("a few connections", func() bool { return len(r.w.Calls("apps.connections.open"))-before >= renewals })
			time.Sleep(300 * time.Millisecond) // for those that would be too many
			if n := len(r.w.Calls("apps.connections.open")) - before; n > renewals {
				t.Errorf("%d connections were opened", n)
			}
			if s.Ready() == nil {
				t.Error("it is ready though nothing is heard")
			}
			cancel()
			if err := <-over; err != nil {
				t.Error(err)
			}
		})
	}
}

// What ends a connection passes: then it goes on by itself, and nothing is lost.
func TestConnectionsEndedForAWhile(t *testing.T) {
	t.Parallel()
	r := listen(t, false, workspace.Options{})
	r.hearsOf("before")
	n := len(r.w.Calls("apps.connections.open"))
	r.w.EndSockets("refresh_requested")
	r.w.CutSockets()
	r.await("some connections", func() bool { return len(r.w.Calls("apps.connections.open"))-n > renewals })
	r.w.User("kim").Say("shop", "meanwhile")
	r.w.EndSockets("")
	r.await("what was said meanwhile", func() bool { return strings.HasSuffix(r.ear.texts(), "meanwhile") })
	r.await("ready", func() bool { return r.Ready() == nil })
	r.hearsOf("after")
}

// Connections that are renewed, or cut while people write, follow one another at once.
func TestConnectionsRenewed(t *testing.T) {
	t.Parallel()
	r := listen(t, false, workspace.Options{})
	r.end()
	r.start(func(s *Slack) {
		s.times.renewal = time.Hour
		s.times.gap, s.times.between = time.Hour, time.Hour // what is heard came over the connection
	})
	for i := range 3 * renewals {
		r.hearsOf(strings.Repeat("word ", i+1))
		n := len(r.w.Calls("apps.connections.open"))
		if i%2 == 0 {
			r.w.Disconnect("refresh_requested", true)
		} else {
			r.w.CutSockets()
		}
		r.await("the next connection", func() bool { return len(r.w.Calls("apps.connections.open")) > n })
	}
	if s := r.log.String(); strings.Contains(s, errOften.Error()) {
		t.Errorf("log:\n%s", s)
	}
}

// hearsOf has a person say something, and hears it.
func (r *rig) hearsOf(words string) {
	r.t.Helper()
	r.w.User("kim").Say("shop", words)
	r.await(words, func() bool { return strings.HasSuffix(r.ear.texts(), strings.TrimSpace(words)) })
}
