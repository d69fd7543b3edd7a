package main

import (
	"strings"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
)

// A whole job over Matrix, in which the program is killed at random moments and
// started again: the log is that of the program undisturbed, and everybody reads
// every message once and in order.
func TestMatrixKilled(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		s := script(t, "bay")
		calm := newCrewWay(t, s, encrypted)
		took := time.Now()
		undisturbed := s.Play(t, calm)
		t.Logf("undisturbed: %v in %v", calm.tally(undisturbed.Logs, calm.room), time.Since(took).Round(time.Millisecond))
		calm.stop()

		kills := 50
		if testing.Short() {
			kills = 8
		}
		w := newCrewWay(t, s, encrypted)
		k := newReaper(w.process, len(s.Inputs), kills)
		w.proxy.Rule(func(r homeserver.Request) homeserver.Fault {
			if r.Method != "PUT" || !strings.Contains(r.Path, "/send/") {
				return homeserver.Fault{}
			}
			return homeserver.Fault{Cut: k.sees()} // the program's own requests pass here
		})
		w.disturb = k.disturb
		began := time.Now()
		p := s.Play(t, w)
		p.Same(t, undisturbed)
		n := w.tally(p.Logs, w.room)
		n.holds(t)
		w.golden(p)
		w.stop()
		t.Logf("%d kills (%d before it was ready, %d as it sent), %d starts; %s; %v; %v in all", w.kills, w.early, k.sending, w.starts, w.repeats(), n, time.Since(began).Round(time.Millisecond))
		if w.kills != kills || w.early == w.kills || k.sending == 0 {
			t.Errorf("%d kills, wanted %d, at all sorts of moments", w.kills, kills)
		}
	})
}
