package slack

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
)

// What is said while we are not in a channel is read back once we are in it again,
// below jobs and beside them; elsewhere nothing is asked for.
func TestAbsent(t *testing.T) {
	for name, way := range map[string]struct{ out, in func(r *rig) }{
		"taken out": {func(r *rig) { r.w.User("sam").RemoveApp("shop") }, func(r *rig) { r.w.User("sam").AddApp("shop") }},
		// Of a channel that is open again events may not come before it is said to be.
		"archived": {func(r *rig) {
			r.w.User("sam").Archive("shop")
			r.settled()
			r.w.DropEvents(4) // that it is open, and what is said
			r.w.User("sam").Unarchive("shop")
		}, func(r *rig) {
			r.w.Emit(map[string]any{"type": "channel_unarchive", "channel": r.w.Channel("shop"), "user": r.w.User("sam").ID(), "event_ts": tsOf(time.Now())})
		}},
	} {
		t.Run(name, func(t *testing.T) {
			transports(t, func(t *testing.T, http bool) {
				r := listen(t, http, workspace.Options{})
				r.again()
				thread, _ := r.begins("kim")
				card := r.card(thread, "k7mw2pd")
				r.await("read back at the start", func() bool { return strings.Count(r.log.String(), "read back what may") > 0 })
				way.out(r)
				r.settled()
				kim := r.w.User("kim")
				below := kim.SayInThread("shop", card, "note while-away")
				beside := kim.Say("shop", "@milepost help")
				time.Sleep(200 * time.Millisecond) // noted that we hear
				if n := len(r.ear.all()); n != 1 {
					t.Fatalf("heard %s", r.heard())
				}
				before := len(r.w.Calls("conversations.history"))
				way.in(r)
				base := r.w.Team() + "/" + r.w.Channel("shop") + "/"
				for _, in := range r.hears(3)[1:] {
					switch {
					case in.Delivery == base+below && in.Thread == thread && in.Text == "note while-away":
					case in.Delivery == base+beside && in.Called:
					default:
						t.Errorf("heard %+v", in)
					}
				}
				for _, c := range r.w.Calls("conversations.history")[before:] {
					if got := c.Args.Get("channel"); got != r.w.Channel("shop") {
						t.Errorf("%s was asked for as well", got)
					}
				}
				r.await("absence forgotten", func() bool { return r.absent("shop") == "" })
			})
		})
	}
}

// absent is since when we are known not to be in a channel.
func (r *rig) absent(channel string) string {
	list, err := r.state.absences(r.t.Context())
	if err != nil {
		r.t.Fatal(err)
	}
	return list[r.w.Channel(channel)]
}

// Nor is it lost where nobody could tell us that we were taken out, or that we are
// back, because we were down.
func TestAbsentUntold(t *testing.T) {
	r := listen(t, false, workspace.Options{Retries: []time.Duration{0, 10 * time.Millisecond}})
	r.again()
	thread, _ := r.begins("kim")
	card := r.card(thread, "k7mw2pd")
	time.Sleep(100 * time.Millisecond) // noted that we hear
	down := func(f func()) {
		r.end()
		f()
		time.Sleep(200 * time.Millisecond) // given up by Slack
		r.again()
	}
	kim := r.w.User("kim")
	down(func() { kim.RemoveApp("shop"); kim.SayInThread("shop", card, "note while-away") })
	r.await("absence noted", func() bool { return r.absent("shop") != "" })
	down(func() { kim.AddApp("shop") })
	if in := r.hears(2)[1]; in.Text != "note while-away" || in.Thread != thread {
		t.Errorf("heard %+v", in)
	}
	r.await("absence forgotten", func() bool { return r.absent("shop") == "" })
}

// The first time counts, another absence meanwhile is not forgotten with it, and
// only so many are kept.
func TestAbsences(t *testing.T) {
	st, err := openState(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer st.close()
	do := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	now := time.Now()
	do(st.setMeta(t.Context(), metaAlive, "1"))
	do(st.absent(t.Context(), "C1", tsOf(now)))
	was, err := st.absences(t.Context())
	do(err)
	do(st.absent(t.Context(), "C1", tsOf(now.Add(time.Second))))
	do(st.present(t.Context(), "C1", was["C1"]))
	b := back{absences: map[string]string{}, began: now.Add(time.Hour), since: tsOf(now.Add(time.Minute)), born: tsOf(now.Add(-time.Hour))}
	if b.absences, err = st.absences(t.Context()); err != nil || b.sinceIn("C1") != tsOf(now) || b.sinceIn("C2") != b.since {
		t.Errorf("%v, since %s, %v", b.absences, b.sinceIn("C1"), err)
	}
	b.began = now.Add(100 * 24 * time.Hour)
	if want := tsOf(b.began.Add(-absentFor)); b.sinceIn("C1") != want {
		t.Errorf("since %s, want %s", b.sinceIn("C1"), want)
	}
	do(st.present(t.Context(), "C1", b.absences["C1"]))
	for i := range maxAbsent + 3 {
		do(st.absent(t.Context(), fmt.Sprint("C", i), tsOf(now.Add(time.Duration(i)*time.Second))))
	}
	list, err := st.absences(t.Context())
	if v, _ := st.meta(t.Context(), metaAlive); err != nil || len(list) != maxAbsent || v != "1" {
		t.Errorf("%d are kept, %q, %v", len(list), v, err)
	}
}
