package main

import (
	"math/rand/v2"
	"os"
	"strconv"
	"sync/atomic"
	"testing"
	"time"
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

// reaper kills the program at random moments of a conversation and starts it again.
type reaper struct {
	*process
	random  *rand.Rand
	inputs  int // of the conversation
	left    int
	down    time.Duration        // it stays down so long when something is written meanwhile
	armed   atomic.Pointer[shot] // fired by the next message that goes out
	sending int                  // kills as it sent something
}

// newReaper spreads kills over the inputs of a conversation.
func newReaper(p *process, inputs, kills int) *reaper {
	p.t.Helper()
	return &reaper{process: p, random: rand.New(rand.NewPCG(newSeed(p.t), 3)), inputs: inputs, left: kills}
}

// shot is a kill. Before: the network does not hear of the message. Else it does,
// and its answer may come or not.
type shot struct {
	at     *os.Process
	before bool
	after  time.Duration
}

// disturb kills some times around an input: while it starts, before it has heard,
// between message and answer, as it sends.
func (k *reaper) disturb(n int, write func()) {
	turns := k.inputs - n + 1
	kills := k.left / turns
	if k.random.IntN(turns) < k.left%turns {
		kills++
	}
	k.left -= kills
	early := kills > 0 && k.random.IntN(4) == 0
	if early { // written while it is down, or starts
		k.some()
		kills--
		if k.down > 0 {
			write()
			time.Sleep(k.down)
		}
		k.start()
	}
	if !early || k.down == 0 {
		write()
	}
	for range kills {
		k.some()
		k.start()
	}
}

// some kills it once. Until one has come as it sent something, that is tried:
// else few kills may all be of other sorts.
func (k *reaper) some() {
	sort := k.random.IntN(3)
	if k.sending == 0 {
		sort = 2
	}
	switch sort {
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
}

// sees is told of each message that the program sends, before the network has it,
// and says whether the network never will.
func (k *reaper) sees() (cut bool) {
	shot := k.armed.Swap(nil)
	if shot == nil {
		return false
	}
	if shot.before {
		_ = shot.at.Kill()
		return true
	}
	time.AfterFunc(shot.after, func() { _ = shot.at.Kill() })
	return false
}
