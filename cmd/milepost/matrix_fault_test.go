package main

import (
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/adapters/matrix/person"
)

// haul plays a whole job over Matrix with a fault at work, and holds it against
// the golden conversation: its words, its log, and what everybody reads. fault
// is told what is hit and gives how often it was.
func haul(t *testing.T, encrypted bool, fault func(*crewWay) (what string, hit func() int), prepare ...func(*crew)) {
	t.Helper()
	w := newCrewWay(t, script(t, "bay"), encrypted, prepare...)
	what, hit := fault(w)
	began := time.Now()
	p := w.s.Play(t, w)
	took := time.Since(began)
	w.proxy.Clear()
	n := w.tally(p.Logs, w.room)
	n.holds(t)
	w.golden(p)
	w.stop()
	hits := hit()
	t.Logf("%s: %d; %s; %v; %v in all", what, hits, w.repeats(), n, took.Round(time.Millisecond))
	if hits == 0 {
		t.Error("the fault hit nothing")
	}
}

// long is a time, shorter under -short.
func long(usually, short time.Duration) time.Duration {
	if testing.Short() {
		return short
	}
	return usually
}

// The homeserver is stopped in the middle of a turn, and started again.
func TestMatrixServerStopped(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			stops := 0
			w.disturb = func(n int, write func()) {
				write()
				if n == 4 || n == 12 && !testing.Short() {
					w.server.Stop(t)
					time.Sleep(long(3*time.Second, time.Second))
					w.server.Restart(t)
					stops++
				}
			}
			return "stops of the homeserver", func() int { return stops }
		})
	})
}

// Connections are refused for half a minute: what was written is answered when
// they are not, and so is what was about to be.
func TestMatrixRefused(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			var down time.Duration
			out := func(d time.Duration, then func()) {
				w.proxy.Down()
				then()
				time.Sleep(d)
				down += d
				w.proxy.Up(t)
			}
			w.disturb = func(n int, write func()) {
				switch n {
				case 5: // between message and answer
					write()
					out(2*time.Second, func() {})
				case 10: // written meanwhile
					out(long(30*time.Second, 5*time.Second), write)
				default:
					write()
				}
			}
			return "seconds of refused connections", func() int { return int(down.Seconds()) }
		})
	})
}

// The homeserver asks to be left alone, on sends and on syncs, and is.
func TestMatrixLimited(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			const alone = time.Second
			var mu sync.Mutex
			until, left := map[string]time.Time{}, map[string]int{}
			refused, early := 0, 0
			kind := func(r homeserver.Request) string {
				if strings.HasSuffix(r.Path, "/sync") {
					return r.Path
				}
				if r.Method == "PUT" && strings.Contains(r.Path, "/send/") {
					return "/send/"
				}
				return ""
			}
			w.proxy.Rule(func(r homeserver.Request) homeserver.Fault {
				k := kind(r)
				if k == "" {
					return homeserver.Fault{}
				}
				mu.Lock()
				defer mu.Unlock()
				if until[r.Path].After(r.At) {
					early++
				}
				if left[k] == 0 {
					return homeserver.Fault{}
				}
				left[k]--
				refused++
				until[r.Path] = r.At.Add(alone)
				return homeserver.Fault{Status: 429, RetryAfter: alone}
			})
			w.disturb = func(n int, write func()) {
				if n%4 == 1 {
					mu.Lock()
					left["/send/"], left["/_matrix/client/v3/sync"] = 1+n%3, n%2
					mu.Unlock()
				}
				write()
			}
			return "requests refused with 429", func() int {
				mu.Lock()
				defer mu.Unlock()
				if early > 0 {
					t.Errorf("%d requests came before their time", early)
				}
				return refused
			}
		})
	})
}

// Gateways fail, connections are cut, and answers are lost after the deed.
func TestMatrixLostAnswers(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		seed := newSeed(t)
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			var mu sync.Mutex
			random, hits, row := rand.New(rand.NewPCG(seed, 5)), 0, 0
			faults := []homeserver.Fault{{Lose: true}, {Lose: true}, {Cut: true}, {Status: 502}, {Status: 503, RetryAfter: time.Second}, {Status: 504}, {Status: 500}}
			w.proxy.Rule(func(r homeserver.Request) homeserver.Fault {
				mu.Lock()
				defer mu.Unlock()
				sends := r.Method == "PUT" && strings.Contains(r.Path, "/send/")
				if !sends && !strings.HasSuffix(r.Path, "/sync") || row >= 2 || random.IntN(5) > 0 {
					row = 0 // not more than two in a row: waits grow
					return homeserver.Fault{}
				}
				hits++
				row++
				return faults[random.IntN(len(faults))]
			})
			return "answers lost, cut or failed", func() int { mu.Lock(); defer mu.Unlock(); return hits }
		})
	})
}

// Every answer of /sync that brings something comes twice.
func TestMatrixSyncTwice(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		haul(t, encrypted, func(w *crewWay) (string, func() int) {
			const many = 1 << 20
			w.proxy.RepeatSync(many)
			return "requests of /sync", func() int { return w.proxy.Count("GET", "/sync") }
		})
	})
}

// Keys come long after the messages they are for, at the start of a job and in
// its middle, when those who are in the room have changed.
func TestMatrixLateKeys(t *testing.T) {
	if !person.CanEncrypt {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	t.Parallel()
	haul(t, true, func(w *crewWay) (string, func() int) {
		late, hold := 0, long(10*time.Second, 3*time.Second)
		guest := person.New(t, person.Config{Server: w.server, Name: "guest", Encrypted: true})
		tech := w.people["tech"]
		tech.Invite(w.room, guest.ID)
		tech.WaitJoined(w.room, guest.ID)
		w.disturb = func(n int, write func()) {
			if n != 1 && n != 11 {
				write()
				return
			}
			if n == 11 { // who has left must not read on: there are new keys
				tech.Kick(w.room, guest.ID)
				tech.WaitMembers(w.room, "leave", guest.ID)
			}
			before := len(w.said(tech.Timeline(w.room)))
			w.proxy.HoldKeys(hold)
			write()
			time.Sleep(hold - 500*time.Millisecond)
			if len(w.said(tech.Timeline(w.room))) == before {
				late++
			}
			time.Sleep(time.Second)
			w.proxy.HoldKeys(0)
		}
		return "messages whose keys were late", func() int {
			if late != 2 {
				t.Errorf("%d messages waited for their key", late)
			}
			return late
		}
	})
}
