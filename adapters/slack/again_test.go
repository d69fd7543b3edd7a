package slack

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// A network that has ended is begun again in the same process, while the outbox
// sends and others ask. Each message stands there once, and nothing of a run is
// at work once it has returned.
func TestBegunAgain(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := newRig(t, http, workspace.Options{})
		var on atomic.Bool
		var late atomic.Int64
		on.Store(true)
		r.ear.failing(func(bot.Inbound) error {
			time.Sleep(20 * time.Millisecond)
			if !on.Load() {
				late.Add(1)
			}
			return nil
		})
		r.begin()
		thread, root := r.begins("kim")
		const senders, runs = 3, 4
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
					out := bot.Outbound{Key: fmt.Sprintf("k7mw2pd/%d", 1000*(w+1)+n), Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd",
						Reply: flow.Reply{Kind: flow.Notice, Text: fmt.Sprintf("of %d: %d", w, n)}}
					for err := r.Slack.Send(t.Context(), out); err != nil; err = r.Slack.Send(t.Context(), out) {
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
				_ = r.Slack.Ready()
				r.Slack.homeOpened(r.w.User("kim").ID())
				if err := r.Slack.Forget(t.Context(), bot.Forgotten{Shop: bot.DefaultShop, People: []bot.Identity{Identity(r.w.Team(), "U0NOBODY")}}); err != nil {
					faults <- err
				}
			}
		})
		for n := range runs {
			r.w.User("kim").Say("shop", fmt.Sprintf("@milepost run %d", n))
			time.Sleep(300 * time.Millisecond)
			if err := r.stop(); err != nil {
				t.Fatal(err)
			}
			on.Store(false)
			time.Sleep(100 * time.Millisecond)
			on.Store(true)
			ctx, cancel := context.WithCancel(context.Background())
			ended := make(chan error, 1)
			go func() { ended <- r.Slack.Run(ctx, r.ear) }()
			r.stop = func() error {
				cancel()
				select {
				case err := <-ended:
					return err
				case <-time.After(10 * time.Second):
					return errors.New("Run does not end")
				}
			}
			r.await("ready again", func() bool { return r.Slack.Ready() == nil })
		}
		close(over)
		others.Wait()
		for len(faults) > 0 {
			t.Error(<-faults)
		}
		times := map[string]int{}
		for _, m := range r.w.Messages("shop", root) {
			times[m.Text]++
		}
		for w, n := range sent {
			if n == 0 {
				t.Error("nothing was sent: the test shows nothing")
			}
			for i := range n {
				if k := times[fmt.Sprintf("of %d: %d", w, i)]; k != 1 {
					t.Errorf("message %d of %d stands there %d times", i, w, k)
				}
			}
		}
		for n := range runs {
			r.await("all is heard", func() bool {
				for _, in := range r.ear.all() {
					if in.Text == fmt.Sprintf("run %d", n) {
						return true
					}
				}
				return false
			})
		}
		if n := late.Load(); n != 0 {
			t.Errorf("%d messages were handled after the run had ended", n)
		}
	})
}
