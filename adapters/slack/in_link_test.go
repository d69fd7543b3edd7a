package slack

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
)

// Check 1: everything is acknowledged in time while the store is slow and much is
// to be done, and nothing that is not stored.
func TestAcknowledge(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{AckTimeout: 3 * time.Second})
		r.end()
		r.start(func(s *Slack) {
			s.slow = func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error {
				return func(ctx context.Context, list []arrival) error {
					time.Sleep(100 * time.Millisecond)
					return keep(ctx, list)
				}
			}
		})
		busy := make(chan struct{})
		jobs := 200
		if http {
			jobs = 60 // the fake makes its first attempts one after the other
		}
		r.ear.failing(func(bot.Inbound) error { <-busy; return nil })
		kim, sam := r.w.User("kim"), r.w.User("sam")
		var asks sync.WaitGroup
		for i := range jobs {
			kim.Say("shop", fmt.Sprintf("@milepost job %d", i))
			if i%(jobs/20) == 0 {
				asks.Go(func() {
					if a := sam.Command("shop", "/milepost", "board"); a.Err != "" {
						t.Errorf("command: %s", a.Err)
					}
				})
			}
		}
		asks.Wait()
		if !r.w.Settle(workspace.Patience) {
			t.Fatal("not acknowledged")
		}
		close(busy)
		r.hears(jobs + 20)
		var took []time.Duration
		for _, a := range r.w.Acks() {
			if a.OK {
				took = append(took, a.Took)
			}
		}
		slices.Sort(took)
		t.Logf("%d acknowledged, p50 %v, p99 %v, slowest %v, each commit held up by 100 ms", len(took), took[len(took)/2], took[len(took)*99/100], took[len(took)-1])
		if slowest := took[len(took)-1]; slowest > 2500*time.Millisecond {
			t.Errorf("the slowest took %v", slowest)
		}
		if lost := r.w.LostDeliveries(); len(lost) > 0 {
			t.Errorf("lost: %v", lost)
		}
		for _, a := range r.w.Acks() {
			if !a.OK {
				t.Errorf("not acknowledged: %+v\nlog:\n%s", a, r.log)
			}
		}
	})
}

// Ended between storing and acknowledging, or before storing: it comes again and
// is heard once.
func TestAcknowledgeEnded(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, stored := range []bool{false, true} {
			r := listen(t, http, workspace.Options{Retries: []time.Duration{100 * time.Millisecond, 500 * time.Millisecond, 2 * time.Second}})
			r.end()
			ended := make(chan struct{})
			var once atomic.Bool
			r.start(func(s *Slack) {
				s.slow = func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error {
					return func(ctx context.Context, list []arrival) error {
						if len(list) == 0 || !once.CompareAndSwap(false, true) {
							return keep(ctx, list)
						}
						if stored {
							if err := keep(ctx, list); err != nil {
								t.Error(err)
							}
						}
						close(ended)
						<-ctx.Done()
						return ctx.Err()
					}
				}
			})
			r.w.User("kim").SayInThread("shop", "", "265/70R17")
			<-ended
			for _, a := range r.w.Acks() {
				if a.OK {
					t.Errorf("acknowledged though it was not over: %+v", a)
				}
			}
			r.end()
			r.start()
			r.hears(1)
			r.end()
			r.stop = nil
		}
	})
}

// Check 4: renewals, cuts, no connections for a while.
func TestLink(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	kim := r.w.User("kim")
	var want []string
	say := func(n int) {
		for range n {
			words := fmt.Sprintf("word %d", len(want))
			want = append(want, words)
			kim.Say("shop", words)
		}
	}
	for _, reason := range []string{"warning", "refresh_requested", "link_disabled"} {
		say(3)
		r.w.Disconnect(reason, true)
		say(3)
		r.await("a socket", func() bool { return r.w.Sockets() > 0 })
		say(2)
	}
	r.hears(len(want))
	for range 5 {
		say(2)
		r.w.CutSockets()
		say(2)
		r.await("a socket", func() bool { return r.w.Sockets() > 0 })
	}
	r.hears(len(want))
	r.w.Fault(workspace.Fault{Method: "apps.connections.open", Times: 6, Status: 500})
	r.w.CutSockets()
	r.await("unready", func() bool { return r.Ready() != nil })
	say(2)
	r.await("ready again", func() bool { return r.Ready() == nil })
	say(1)
	r.hears(len(want))
	if got := r.ear.texts(); got != strings.Join(want, "|") {
		t.Errorf("heard %s", got)
	}
	if lost := r.w.LostDeliveries(); len(lost) > 0 {
		t.Logf("given up by Slack and read back: %d", len(lost))
	}
}

// A connection that breaks off again and again, each time for a moment, can take
// all four deliveries of an event: after three it is looked for.
func TestManyBreaks(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	r.end()
	r.start(func(s *Slack) { s.times.gap = time.Hour })
	r.await("read back", func() bool { return strings.Contains(r.log.String(), "read back what may") })
	r.w.DropEvents(1)
	r.w.User("kim").Say("shop", "missed")
	r.await("the message", func() bool {
		if r.w.Sockets() > 0 {
			r.w.CutSockets()
			time.Sleep(50 * time.Millisecond)
		}
		return len(r.ear.all()) > 0
	})
	r.hears(1)
}

// A look at a thread shows all that waits there: another is not spent on each message,
// else a crowd after a break would use up all there may be and lose its order.
func TestLooksSpared(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd")
	r.await("read back", func() bool { return strings.Contains(r.log.String(), "read back what may") })
	entered, busy := make(chan struct{}, 100), make(chan struct{})
	r.ear.failing(func(bot.Inbound) error { entered <- struct{}{}; <-busy; return nil })
	kim := r.w.User("kim")
	kim.SayInThread("shop", card, "word")
	<-entered
	before := len(r.w.Calls("conversations.replies"))
	for range 30 {
		kim.SayInThread("shop", card, "word")
	}
	close(busy)
	r.hears(32)
	if n := len(r.w.Calls("conversations.replies")) - before; n > 1 {
		t.Errorf("looked %d times", n)
	}
}

// A store that takes its time over what a look has shown loses no order by it, and
// does not pass for one that can't store.
func TestLookSlowlyStored(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd")
	r.end()
	r.start(func(s *Slack) {
		s.times.gap = time.Hour
		s.slow = func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error {
			return func(ctx context.Context, list []arrival) error {
				if len(list) > 0 && list[0].soon {
					select {
					case <-time.After(orderIn + 200*time.Millisecond):
					case <-ctx.Done():
						return ctx.Err()
					}
				}
				return keep(ctx, list)
			}
		}
	})
	kim := r.w.User("kim")
	r.w.DropEvents(1)
	kim.SayInThread("shop", card, "first")
	kim.SayInThread("shop", card, "second")
	r.hears(3)
	if got := r.ear.texts(); !strings.HasSuffix(got, "first|second") || strings.Contains(r.log.String(), "can be stored again") {
		t.Errorf("heard %s\n%s", got, r.log)
	}
}

// A token that is refused for good ends it, and is said once.
func TestRevoked(t *testing.T) {
	for _, code := range grave {
		t.Run(code, func(t *testing.T) {
			r := listen(t, false, workspace.Options{})
			defer r.w.Forgive("answered not_authed") // which is what is asked for
			calls := len(r.w.Calls("apps.connections.open"))
			r.w.RevokeToken(code)
			r.await("unready", func() bool { return r.Ready() != nil && strings.Contains(r.Ready().Error(), "for good") })
			time.Sleep(300 * time.Millisecond)
			if n := len(r.w.Calls("apps.connections.open")) - calls; n > 3 {
				t.Errorf("tried %d times more", n)
			}
			err := r.stop()
			r.stop = nil
			if k, _ := kindOf(err); k != bot.Forbidden {
				t.Errorf("Run: %v", err)
			}
			if !strings.Contains(r.Ready().Error(), code) {
				t.Errorf("Ready: %v", r.Ready())
			}
			// Mended, it goes on where it was.
			r.w.RevokeToken("")
			r.start()
			r.w.User("kim").Say("shop", "265/70R17")
			r.hears(1)
		})
	}
}

// Check 5: away for longer than Slack repeats. What was missed is read back, once.
func TestCatchUp(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, way := range []string{"restart", "cut off"} {
			t.Run(way, func(t *testing.T) {
				if http && way == "cut off" {
					t.Skip("over HTTP nobody can tell that nothing comes")
				}
				r := listen(t, http, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
				thread, _ := r.begins("kim")
				card := r.card(thread, "k7mw2pd")
				kim, base := r.w.User("kim"), r.w.Team()+"/"+r.w.Channel("shop")+"/"
				a := kim.SayInThread("shop", card, "will be edited")
				b := kim.SayInThread("shop", card, "will be deleted")
				c := kim.Say("shop", "loose, will be deleted")
				d := kim.SayInThread("shop", card, "stays as it is")
				r.hears(5)
				time.Sleep(60 * time.Millisecond)
				if way == "restart" {
					r.end()
				} else {
					r.w.Fault(workspace.Fault{Method: "apps.connections.open", Times: -1, Status: 503})
					r.w.CutSockets()
				}
				kim.Edit("shop", a, "edited")
				kim.Delete("shop", b)
				kim.Delete("shop", c)
				m := kim.SayInThread("shop", card, "missed")
				n := kim.SayInThread("shop", card, "missed and edited")
				kim.Edit("shop", n, "last form")
				u, files := kim.Upload("shop", card, "caption", workspace.Upload{Name: "a.txt", Content: []byte("held words")})
				direct := kim.Say(r.w.Direct("kim"), "missed in direct")
				_, begin := "", kim.Say("shop", "@milepost Harrow Ridge")
				r.w.User("sam").SayInThread("shop", begin, "below the missed beginning")
				time.Sleep(300 * time.Millisecond)
				if way == "restart" {
					r.start()
				} else {
					r.w.Heal()
				}
				r.await("read back", func() bool { return strings.Contains(r.log.String(), "read back what may") && len(r.ear.all()) >= 15 })
				list := r.hears(15)
				got := map[string]bot.Inbound{}
				for _, in := range list[5:] {
					got[in.Delivery] = in
				}
				if in := got[base+m]; in.Text != "missed" || in.Thread != thread {
					t.Errorf("missed: %+v", in)
				}
				if in := got[base+n]; in.Text != "last form" {
					t.Errorf("missed and edited: %+v", in)
				}
				if in := got[base+u+"/f/"+files[0]]; in.File == nil || in.File.Name != "a.txt" || in.Thread != thread {
					t.Errorf("file: %+v", in)
				}
				if in := got[base+u]; in.Text != "caption" {
					t.Errorf("caption: %+v", in)
				}
				if in := got[r.w.Team()+"/"+r.w.Direct("kim")+"/"+direct]; !in.Called || in.Text != "missed in direct" {
					t.Errorf("direct: %+v", in)
				}
				edits, deletes := 0, 0
				for _, in := range list[5:] {
					switch {
					case in.Edit == base+a && in.Text == "edited":
						edits++
					case in.Delete == base+b || in.Delete == base+c:
						deletes++
					case in.Delete != "" || in.Edit != "":
						t.Errorf("heard %+v", in)
					}
				}
				if edits != 1 || deletes != 2 {
					t.Errorf("%d edits and %d deletions", edits, deletes)
				}
				_ = d
				// Once more, and nothing new is heard.
				r.end()
				r.start()
				r.await("read back again", func() bool { return strings.Count(r.log.String(), "read back what may") >= 2 })
				r.hears(15)
			})
		}
	})
}

// The socket is cut at 50 random moments while people write in 20 threads, with
// acknowledgements lost and deliveries doubled: everything is heard once, each
// thread in its order.
func TestCuts(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	shop, kim := r.w.Channel("shop"), r.w.User("kim")
	roots := make([]string, 20)
	for i := range roots {
		roots[i] = kim.Say("shop", "@milepost job")
		if err := r.state.setRoot(t.Context(), string(threadName(r.w.Team(), shop, roots[i])), shop, roots[i], fmt.Sprintf("job%04d", i)); err != nil {
			t.Fatal(err)
		}
	}
	r.hears(len(roots))
	const each = 20
	cuts := 0
	for i := range each {
		for k, root := range roots {
			kim.SayInThread("shop", root, fmt.Sprintf("%d", i))
			switch rand.IntN(8) {
			case 0:
				if cuts < 50 {
					cuts++
					r.w.CutSockets()
				}
			case 1:
				r.w.Duplicate(1)
			case 2:
				if k%5 == 0 {
					r.w.LoseAcks(1)
				}
			}
			time.Sleep(time.Duration(rand.IntN(6)) * time.Millisecond)
		}
	}
	want := len(roots) * (1 + each)
	r.await("all", func() bool { return len(r.ear.all()) >= want })
	r.hears(want)
	order := map[bot.Thread][]string{}
	for _, in := range r.ear.all()[len(roots):] {
		order[in.Thread] = append(order[in.Thread], in.Text)
	}
	crossed := 0
	for th, texts := range order {
		for i, s := range texts {
			if s != fmt.Sprint(i) {
				crossed++
				t.Errorf("thread %s: %v\nlog:\n%s", th, texts, r.log)
				break
			}
		}
	}
	t.Logf("%d cuts, %d messages in %d threads: %d heard, %d handed over again, %d threads out of order, %d given up by Slack and read back", cuts, want-len(roots),
		len(roots), len(r.ear.all()), r.ear.repeat, crossed, len(r.w.LostDeliveries()))
}
