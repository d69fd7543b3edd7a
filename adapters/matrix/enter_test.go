package matrix

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/matrix/homeserver"
	"milepost/bot"
	"milepost/flow"
)

// A network that has ended is begun again in the same process, while the outbox
// sends and others ask. Each message stands there once, and nothing of a run is
// at work once it has returned.
func TestBegunAgain(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		s := homeserver.Start(t, homeserver.Options{})
		j := newJob(t, s, s.URL(), "milepost", encrypted)
		j.send(j.out(1, flow.Card, "unit 14"))
		var on atomic.Bool
		var heard sync.Map
		var late atomic.Int64
		on.Store(true)
		j.listen(func(_ context.Context, in bot.Inbound) error {
			time.Sleep(20 * time.Millisecond)
			if !on.Load() {
				late.Add(1)
			}
			heard.Store(in.Text, true)
			return nil
		})
		const senders, runs = 3, 3
		over := make(chan struct{})
		var others sync.WaitGroup
		var sent [senders]int
		faults := make(chan error, 100)
		for w := range senders {
			others.Go(func() {
				for n := 0; ; n++ {
					select {
					case <-over:
						return
					default:
					}
					out := j.out(100*(w+1)+n, flow.Notice, fmt.Sprintf("of %d: %d", w, n))
					for err := j.try(out); err != nil; err = j.try(out) {
						if e := (*bot.Error)(nil); !errors.As(err, &e) || e.Kind != bot.Unavailable {
							faults <- err
							return
						}
						time.Sleep(20 * time.Millisecond)
					}
					sent[w]++
				}
			})
		}
		others.Go(func() {
			for {
				select {
				case <-over:
					return
				default:
				}
				_ = j.m.Ready()
				if _, done, err := j.m.ownState(t.Context()); err == nil {
					done()
				}
				if err := j.m.Forget(t.Context(), bot.Forgotten{Shop: bot.DefaultShop, People: []bot.Identity{"matrix:@nobody:" + homeserver.ServerName}}); err != nil {
					faults <- err
				}
			}
		})
		for n := range runs {
			j.kim.Say(j.room, fmt.Sprintf("run %d", n))
			time.Sleep(300 * time.Millisecond)
			j.stop()
			on.Store(false)
			time.Sleep(100 * time.Millisecond)
			on.Store(true)
			j.goOn()
		}
		close(over)
		others.Wait()
		for len(faults) > 0 {
			t.Error(<-faults)
		}
		for w := range senders {
			if sent[w] == 0 {
				t.Error("nothing was sent: the test shows nothing")
			}
		}
		times := map[string]int{}
		for _, e := range j.seen() {
			times[e.Body]++
		}
		for w, n := range sent {
			for i := range n {
				if k := times[fmt.Sprintf("of %d: %d", w, i)]; k != 1 {
					t.Errorf("message %d of %d stands there %d times", i, w, k)
				}
			}
		}
		for end := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) {
			missing := 0
			for n := range runs {
				if _, ok := heard.Load(fmt.Sprintf("run %d", n)); !ok {
					missing++
				}
			}
			if missing == 0 {
				break
			}
			if time.Now().After(end) {
				t.Fatalf("%d messages were not heard", missing)
			}
		}
		if n := late.Load(); n != 0 {
			t.Errorf("%d messages were handled after the run had ended", n)
		}
	})
}

// What is being sent has ended when the run has: its database is closed then.
func TestRunEndsWithItsSends(t *testing.T) {
	s := homeserver.Start(t, homeserver.Options{})
	proxy := homeserver.NewProxy(t, s)
	j := newJob(t, s, proxy.URL(), "milepost", false)
	j.send(j.out(1, flow.Card, "unit 14"))
	asked := make(chan struct{}, 1)
	proxy.Rule(func(r homeserver.Request) homeserver.Fault {
		if r.Method != http.MethodPut {
			return homeserver.Fault{}
		}
		select {
		case asked <- struct{}{}:
		default:
		}
		return homeserver.Fault{Delay: time.Second}
	})
	sent := make(chan error, 1)
	go func() { sent <- j.try(j.out(2, flow.Notice, "under way")) }()
	<-asked
	j.stop()
	select {
	case err := <-sent:
		t.Logf("the send has ended with %v", err)
	default:
		t.Fatal("the run has ended and left something that is being sent")
	}
	// Without a run it is not now, and comes again.
	proxy.Clear()
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	var e *bot.Error
	if err := j.m.Send(ctx, j.out(3, flow.Notice, "between runs")); !errors.As(err, &e) || e.Kind != bot.Unavailable {
		t.Errorf("between runs: %v", err)
	}
	waits := make(chan error, 1)
	go func() { waits <- j.try(j.out(3, flow.Notice, "between runs")) }()
	j.goOn()
	if err := <-waits; err != nil {
		t.Errorf("it did not wait for the next run: %v", err)
	}
	j.insist(j.out(2, flow.Notice, "under way"))
	j.only("under way")
	j.only("between runs")
}
