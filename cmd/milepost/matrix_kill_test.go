package main

import (
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
)

// seedEnv repeats a run: its value is the seed that was printed.
const seedEnv = "MILEPOST_TEST_SEED"

func newSeed(t testing.TB) uint64 {
	t.Helper()
	seed := rand.Uint64()
	if s := os.Getenv(seedEnv); s != "" {
		var err error
		if seed, err = strconv.ParseUint(s, 10, 64); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("seed %d (again: %s=%d)", seed, seedEnv, seed)
	return seed
}

// A whole job over Matrix, in which the program is killed at random moments and
// started again: the log is that of the program undisturbed, and everybody reads
// every message once and in order.
func TestMatrixKilled(t *testing.T) {
	plainAndEncrypted(t, func(t *testing.T, encrypted bool) {
		s := script(t, "bay")
		calm := newCrewWay(t, s, encrypted)
		took := time.Now()
		undisturbed := s.Play(t, calm)
		t.Logf("undisturbed: %v in %v", calm.tally(undisturbed.Logs, calm.within, calm.room), time.Since(took).Round(time.Millisecond))
		calm.stop()

		kills := 50
		if testing.Short() {
			kills = 8
		}
		w := newCrewWay(t, s, encrypted)
		k := &reaper{crewWay: w, random: rand.New(rand.NewPCG(newSeed(t), 3)), left: kills}
		w.proxy.Rule(k.sees)
		w.disturb = k.disturb
		began := time.Now()
		p := s.Play(t, w)
		p.Same(t, undisturbed)
		n := w.tally(p.Logs, w.within, w.room)
		n.holds(t)
		w.golden(p)
		w.stop()
		t.Logf("%d kills (%d before it was ready, %d as it sent), %d starts; %s; %v; %v in all", w.kills, w.early, k.sending, w.starts, w.repeats(), n, time.Since(began).Round(time.Millisecond))
		if w.kills != kills || w.early == w.kills || k.sending == 0 {
			t.Errorf("%d kills, wanted %d, at all sorts of moments", w.kills, kills)
		}
	})
}

// reaper kills the program of a way.
type reaper struct {
	*crewWay
	random  *rand.Rand
	left    int
	armed   atomic.Pointer[shot] // fired by the next message that goes out
	sending int                  // kills as it sent something
}

// shot is a kill. Before: the server does not hear of the message. Else it does,
// and its answer may come or not.
type shot struct {
	at     *os.Process
	before bool
	after  time.Duration
}

// disturb kills some times around an input: while it starts, before it has heard,
// between message and answer, as it sends.
func (k *reaper) disturb(n int, write func()) {
	turns := len(k.s.Inputs) - n + 1
	kills := k.left / turns
	if k.random.IntN(turns) < k.left%turns {
		kills++
	}
	k.left -= kills
	early := kills > 0 && k.random.IntN(4) == 0
	if early { // written while it is down, or about to be
		k.some()
		kills--
	}
	write()
	for range kills {
		k.some()
	}
}

// some kills it once and starts it again.
func (k *reaper) some() {
	switch k.random.IntN(3) {
	case 0: // at once or soon: it has perhaps heard, perhaps answered
		time.Sleep(time.Duration(k.random.IntN(80_000)) * time.Microsecond)
		k.kill()
	case 1: // any time of a start and what comes after it
		time.Sleep(time.Duration(k.random.IntN(700_000)) * time.Microsecond)
		k.kill()
	default: // as it sends, if it sends anything
		k.armed.Store(&shot{k.cmd.Process, k.random.IntN(3) == 0, time.Duration(k.random.IntN(20_000)) * time.Microsecond})
		select {
		case err := <-k.ended:
			k.ended <- err
			k.sending++
		case <-time.After(time.Second):
			k.armed.Store(nil)
			_ = k.cmd.Process.Kill()
		}
		k.killed()
	}
	k.start()
}

// sees is the proxy's rule: the program's own requests pass here.
func (k *reaper) sees(r homeserver.Request) homeserver.Fault {
	if r.Method != "PUT" || !strings.Contains(r.Path, "/send/") {
		return homeserver.Fault{}
	}
	shot := k.armed.Swap(nil)
	if shot == nil {
		return homeserver.Fault{}
	}
	if shot.before {
		_ = shot.at.Kill()
		return homeserver.Fault{Cut: true}
	}
	time.AfterFunc(shot.after, func() { _ = shot.at.Kill() })
	return homeserver.Fault{}
}
