package slack

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// again starts the adapter once more, so that nothing is read back that is older
// than what it takes for missed.
func (r *rig) again(with ...func(*Slack)) {
	r.t.Helper()
	if r.stop != nil {
		r.end()
	}
	r.start(append(with, func(s *Slack) { s.times.overlap = 0 })...)
}

// looks counts how often it was read back.
func (r *rig) looks() int { return strings.Count(r.log.String(), "read back what may") }

// What can't be stored for longer than Slack repeats it is read back once it can,
// or after a restart; until then we are not ready.
func TestStoreRefuses(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, restarted := range []bool{false, true} {
			t.Run(map[bool]string{false: "works again", true: "restarted"}[restarted], func(t *testing.T) {
				r := listen(t, http, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}, AckTimeout: 400 * time.Millisecond})
				defer r.w.Forgive("not acknowledged within") // which is what is asked for
				var refuses atomic.Bool
				r.again(func(s *Slack) {
					s.slow = func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error {
						return func(ctx context.Context, list []arrival) error {
							if refuses.Load() && len(list) > 0 {
								return errors.New("disk full")
							}
							return keep(ctx, list)
						}
					}
				})
				r.begins("kim")
				refuses.Store(true)
				r.w.User("kim").Say("shop", "given up")
				r.await("given up", func() bool { return len(r.w.LostDeliveries()) > 0 })
				if err := r.Ready(); !errors.Is(err, errKeep) {
					t.Errorf("Ready: %v", err)
				}
				time.Sleep(300 * time.Millisecond) // time enough to note that we hear
				if err := r.Ready(); !errors.Is(err, errKeep) {
					t.Errorf("Ready after a while: %v", err)
				}
				if restarted {
					r.again()
				}
				refuses.Store(false)
				if in := r.hears(2)[1]; in.Text != "given up" {
					t.Errorf("heard %+v", in)
				}
				r.await("ready", func() bool { return r.Ready() == nil })
			})
		}
	})
}

// While it is being looked for what was missed, the mark of when we last heard stays:
// told to stop in the middle of it, the next start looks again.
func TestStoppedWhileLooking(t *testing.T) {
	r := listen(t, false, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}, AckTimeout: 400 * time.Millisecond})
	defer r.w.Forgive("not acknowledged within")
	var refuses atomic.Bool
	looking := make(chan struct{}, 1)
	r.again(func(s *Slack) {
		s.slow = func(keep func(context.Context, []arrival) error) func(context.Context, []arrival) error {
			return func(ctx context.Context, list []arrival) error {
				if !refuses.Load() || len(list) == 0 || list[0].key == "" { // a try whether it can store succeeds: then it looks
					return keep(ctx, list)
				}
				if len(r.w.LostDeliveries()) > 0 { // read back
					select {
					case looking <- struct{}{}:
					default:
					}
					<-ctx.Done()
				}
				return errors.New("disk full")
			}
		}
	})
	r.begins("kim")
	refuses.Store(true)
	r.w.User("kim").Say("shop", "given up")
	r.await("given up", func() bool { return len(r.w.LostDeliveries()) > 0 })
	r.await("looked for", func() bool { return len(looking) > 0 })
	time.Sleep(300 * time.Millisecond) // time enough to note that we hear
	r.again()
	if in := r.hears(2)[1]; in.Text != "given up" {
		t.Errorf("heard %+v", in)
	}
}

// Over HTTP nobody says that nothing comes. It shows by a third delivery, by
// something after a silence, and by looking now and then.
func TestFrontAway(t *testing.T) {
	lost := func(t *testing.T, quiet time.Duration, with func(*Slack)) *rig {
		t.Helper()
		r := listen(t, true, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond, 100 * time.Millisecond}})
		r.begins("kim")
		r.end()
		looks := r.looks()
		r.again(with)
		r.await("read back at the start", func() bool { return r.looks() > looks })
		r.settled()
		r.w.DropEvents(1)
		r.w.User("sam").Say("shop", "lost") // of another, so that it is not looked for because of the order
		time.Sleep(quiet)
		if n := len(r.ear.all()); n != 1 {
			t.Fatalf("heard %d messages", n)
		}
		return r
	}
	t.Run("third delivery", func(t *testing.T) {
		r := lost(t, 250*time.Millisecond, func(*Slack) {})
		r.w.LoseAcks(1)
		r.w.User("kim").Say("shop", "twice")
		r.hears(2) // a second delivery is nothing unusual
		r.w.LoseAcks(2)
		r.w.User("kim").Say("shop", "three times")
		r.await("what was lost", func() bool { return strings.Contains(r.ear.texts(), "lost") })
		r.hears(4)
		if s := r.log.String(); !strings.Contains(s, "attempt=2 reason=http_timeout") {
			t.Error("it is not said that something came again")
		}
	})
	t.Run("silence", func(t *testing.T) {
		r := lost(t, 3200*time.Millisecond, func(s *Slack) { s.times.silence = 3 * time.Second })
		r.w.User("kim").Say("shop", "after it")
		r.hears(3)
	})
	t.Run("now and then", func(t *testing.T) {
		r := lost(t, 0, func(s *Slack) { s.times.slowly, s.times.paced = 3*time.Second, 10*time.Millisecond })
		r.hears(2)
	})
}

// A look that nobody waits for leaves pauses between its calls.
func TestLookSlowly(t *testing.T) {
	r := listen(t, true, workspace.Options{})
	r.end()
	before, looks := len(r.w.Calls("")), r.looks()
	r.again(func(s *Slack) { s.times.slowly, s.times.paced = 300*time.Millisecond, 250*time.Millisecond })
	r.await("read back", func() bool { return r.looks() >= looks+2 })
	var last time.Time
	slow := 0
	for _, c := range r.w.Calls("")[before:] {
		if strings.HasPrefix(c.Method, "conversations.h") && !last.IsZero() && c.At.Sub(last) >= 240*time.Millisecond {
			slow++
		}
		last = c.At
	}
	if slow < 3 { // three channels at least
		t.Errorf("%d pauses", slow)
	}
}

// What is said elsewhere than in threads of open jobs while we are away: below the
// card of a job that was closed, below an alert, to us below words of others; and
// what becomes of what was said in the channel before.
func TestCatchUpElsewhere(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
		r.again()
		kim, sam := r.w.User("kim"), r.w.User("sam")
		thread, _ := r.begins("kim")
		card := r.card(thread, "k7mw2pd")
		if err := r.EditCard(t.Context(), bot.Outbound{Key: "k7mw2pd/30/card", Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: 30,
			Reply: flow.Reply{Kind: flow.Card, Text: "closed", Phase: flow.PhaseClosed}}); err != nil {
			t.Fatal(err)
		}
		alert := r.prompt(bot.Thread(r.w.Team()+"/"+r.w.Channel("shop")), "k7mw2pe", 40, "yes")
		lunch := sam.Say("shop", "lunch?")
		loose := kim.Say("shop", "loose, will be changed")
		gone := kim.Say("shop", "loose, will be deleted")
		r.hears(4)
		time.Sleep(100 * time.Millisecond) // noted that we hear
		r.end()
		a := kim.SayInThread("shop", card, "after the end")
		b := kim.SayInThread("shop", alert, "seen it")
		c := sam.SayInThread("shop", lunch, "@milepost help me")
		kim.Edit("shop", loose, "loose, changed")
		kim.Delete("shop", gone)
		time.Sleep(200 * time.Millisecond) // given up by Slack
		r.again()
		got := map[string]bot.Inbound{}
		base := r.w.Team() + "/" + r.w.Channel("shop") + "/"
		for _, in := range r.hears(9)[4:] {
			got[strings.TrimPrefix(in.Delivery+in.Edit+in.Delete, base)] = in
			switch {
			case in.Edit == base+loose && in.Text == "loose, changed", in.Delete == base+gone:
			case in.Delivery == base+a && in.Thread == thread && !in.Loose:
			case in.Delivery == base+b && in.Job == "k7mw2pe":
			case in.Delivery == base+c && in.Called && in.Text == "help me":
			default:
				t.Errorf("heard %+v", in)
			}
		}
		if len(got) != 5 {
			t.Errorf("heard %s", r.heard())
		}
		// The same where card and alert are of long ago.
		r.end()
		a, b = kim.SayInThread("shop", card, "later"), kim.SayInThread("shop", alert, "later")
		time.Sleep(200 * time.Millisecond)
		r.again(func(s *Slack) { s.times.parents = 0 })
		for _, in := range r.hears(11)[9:] {
			if in.Thread != thread && in.Job != "k7mw2pe" || in.Delivery != base+a && in.Delivery != base+b {
				t.Errorf("heard %+v", in)
			}
		}
	})
}

// Of closed jobs the latest are read back, and none of long ago.
func TestThreadsToRead(t *testing.T) {
	st, err := openState(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer st.close()
	now := time.Now()
	add := func(name string, n, open int, closed time.Duration) {
		for i := range n {
			if _, err := st.db.Exec("INSERT INTO root (thread, channel, ts, job, open, closed) VALUES (?, 'C1', ?, 'j', ?, ?)", fmt.Sprintf("T/C1/%s%d", name, i),
				fmt.Sprintf("%s%d", name, i), open, now.Add(-closed-time.Duration(i)*time.Minute).UnixMilli()); err != nil {
				t.Fatal(err)
			}
		}
	}
	add("open", 60, 1, 0)
	add("late", 60, 0, time.Hour)
	add("long", 60, 0, closedFor)
	list, err := st.threadsToRead(t.Context(), now)
	count := map[string]int{}
	for _, x := range list {
		count[x.ts[:4]]++
	}
	if err != nil || count["open"] != 60 || count["late"] != maxClosed || count["long"] != 0 {
		t.Errorf("%v, %v", count, err)
	}
}
