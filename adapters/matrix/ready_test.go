package matrix

import (
	"errors"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
)

// One answer that does not come is no reason to call for help; that none comes
// for a while is.
func TestReadyThroughALostPoll(t *testing.T) {
	r := newRig(t).start().ready()
	ann := person.Join(t, r.server, "ann")
	room := r.room(ann, false)
	fault := func() error {
		r.m.health.mu.Lock()
		defer r.m.health.mu.Unlock()
		return r.m.health.fault
	}
	// Each of these is a poll that brings nothing.
	r.proxy.Fail(2, "GET", "/sync", homeserver.Fault{Status: 502})
	ann.Mention(room, "one", r.user()) // ends the poll that the server holds
	deadline := time.Now().Add(person.Patience)
	for seen := false; !seen || fault() != nil; time.Sleep(time.Millisecond) {
		seen = seen || fault() != nil
		if err := r.m.Ready(); err != nil {
			t.Fatalf("not ready after a lost poll: %v", err)
		}
		if time.Now().After(deadline) {
			t.Fatalf("no poll was lost (%t), or none came after it", seen)
		}
	}
	r.ear.text(t, "one")

	r.m.health.lostFor = time.Millisecond // before anything fails again, and only this test reads it
	r.proxy.Down()
	for deadline := time.Now().Add(person.Patience); r.m.Ready() == nil; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("ready without a line")
		}
	}
}

func TestReady(t *testing.T) {
	lost := errors.New("lost")
	now := time.Now()
	for name, c := range map[string]struct {
		h     *health
		ready bool
	}{
		"never synced":                        {&health{}, false},
		"never synced, failing":               {&health{fault: lost, since: now}, false},
		"works":                               {&health{worked: now}, true},
		"fails since a moment":                {&health{worked: now.Add(-time.Minute), fault: lost, since: now.Add(-lostFor / 2)}, true},
		"fails for longer":                    {&health{worked: now.Add(-time.Minute), fault: lost, since: now.Add(-lostFor - time.Second)}, false},
		"ended":                               {&health{worked: now, fault: lost, since: now, over: true}, false},
		"nothing for long":                    {&health{worked: now.Add(-staleAfter - time.Second)}, false},
		"nothing for long, and then a moment": {&health{worked: now.Add(-staleAfter - time.Second), fault: lost, since: now}, false},
	} {
		m, h := &Matrix{}, c.h
		m.health.worked, m.health.fault, m.health.since, m.health.over = h.worked, h.fault, h.since, h.over
		if err := m.Ready(); (err == nil) != c.ready {
			t.Errorf("%s: %v", name, err)
		}
	}

	// Since when it fails is told by the first fault, and forgotten when it works.
	m := &Matrix{}
	m.stands(nil)
	m.stands(lost)
	first := m.health.since
	m.stands(lost)
	if m.health.since != first {
		t.Error("each fault begins the time anew")
	}
	m.stands(nil)
	if m.Ready() != nil || m.health.fault != nil {
		t.Error("not ready though it works again")
	}
}
