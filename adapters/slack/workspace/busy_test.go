package workspace_test

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"milepost/adapters/slack/workspace"
)

// Many people, several sockets that come and go, acknowledgements that get lost: every message is delivered at least once, and nothing
// is left running.
func TestBusy(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	t.Run("busy", func(t *testing.T) {
		a := newApp(t, workspace.Options{NoRateLimit: true, AckTimeout: 800 * time.Millisecond,
			Retries: []time.Duration{0, 50 * time.Millisecond, 50 * time.Millisecond, 100 * time.Millisecond, 200 * time.Millisecond}})
		a.open()
		a.open()
		a.w.LoseAcks(5)
		a.w.Duplicate(5)
		var all sync.WaitGroup
		for _, name := range []string{"kim", "sam", "alex", "gail"} {
			all.Go(func() {
				u := a.w.User(name)
				root := u.Say("shop", name+" begins")
				for i := range 25 {
					u.SayInThread("shop", root, fmt.Sprint(name, i))
				}
			})
		}
		all.Go(func() {
			for range 3 {
				time.Sleep(10 * time.Millisecond)
				a.w.CutSockets()
				a.open()
			}
		})
		all.Go(func() {
			for i := range 25 {
				a.post("shop", "", fmt.Sprint("line ", i), nil)
			}
		})
		all.Wait()
		if !a.w.Settle(workspace.Patience) {
			t.Fatal("not settled")
		}
		heard := map[string]bool{}
		for _, f := range a.got("message") {
			heard[fmt.Sprint(f.event()["ts"])] = true
		}
		if want := 4*26 + 25; len(heard) != want {
			t.Errorf("heard %d of %d; lost %v", len(heard), want, a.w.LostDeliveries())
		}
		var last string
		for _, p := range a.w.Posts("shop") {
			if p.TS <= last {
				t.Errorf("order: %s after %s", p.TS, last)
			}
			last = p.TS
		}
	})
}
