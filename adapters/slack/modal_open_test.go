package slack

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// A form that can't be opened at once is opened while its trigger is good. Where that
// is in vain whoever pressed the button is told, and only they, if that can be.
func TestFormNotOpened(t *testing.T) {
	faults := func(list ...workspace.Fault) []workspace.Fault { return list }
	expired := workspace.Fault{Method: "views.open", Error: "expired_trigger_id"}
	for name, c := range map[string]struct {
		faults []workspace.Fault
		opens  bool
		alone  bool // only who pressed is told
		unsure bool // that it did not open is not claimed
	}{
		"500 twice":            {faults(workspace.Fault{Method: "views.open", Status: 500, Times: 2}), true, false, false},
		"429":                  {faults(workspace.Fault{Method: "views.open", RetryAfter: time.Second}), true, false, false},
		"done, answer lost":    {faults(workspace.Fault{Method: "views.open", Cut: true, After: true}), true, false, false},
		"trigger expired":      {faults(expired), false, true, false},
		"500 for ever":         {faults(workspace.Fault{Method: "views.open", Status: 500, Times: -1}), false, true, true},
		"429 for long":         {faults(workspace.Fault{Method: "views.open", RetryAfter: time.Minute}), false, true, false},
		"no answer":            {faults(workspace.Fault{Method: "views.open", Error: "internal_error", Delay: time.Minute, Times: -1}), false, true, true},
		"nor told alone":       {faults(expired, workspace.Fault{Method: "chat.postEphemeral", Error: "user_not_in_channel"}), false, false, false},
		"told, answer is lost": {faults(expired, workspace.Fault{Method: "chat.postEphemeral", Status: 500}), false, false, false},
	} {
		t.Run(name, func(t *testing.T) {
			transports(t, func(t *testing.T, http bool) {
				t.Parallel() // they wait most of the time
				r := listen(t, http, workspace.Options{TriggerLife: 20 * time.Second})
				if c.faults[0].After {
					defer r.w.Forgive("exchanged_trigger_id") // that it was done, nobody could know
				}
				thread, _ := r.begins("kim")
				root := r.card(thread, "k7mw2pd")
				post := r.offer(thread, 4, flow.QStored)
				for _, f := range c.faults {
					r.w.Fault(f)
				}
				words := map[bool]string{true: sayIfNoForm, false: sayNoForm}[c.unsure]
				told := func() (n int, where string) {
					for _, m := range r.w.Ephemerals("kim") {
						if m.Shown == words {
							n, where = n+1, "alone in "+m.Thread
						}
					}
					for _, m := range r.w.Messages("shop", root) {
						if m.Shown == words {
							n, where = n+1, "all in "+m.Thread
						}
					}
					return n, where
				}
				if a := r.w.User("kim").Press("shop", post, actionForm); a.Err != "" {
					t.Fatal(a.Err)
				}
				r.await("a form, or words", func() bool { n, _ := told(); return n > 0 || len(r.w.Views("kim")) > 0 })
				time.Sleep(300 * time.Millisecond)
				n, where := told()
				want := map[bool]string{true: "alone in " + root, false: "all in " + root}[c.alone]
				if c.opens {
					want = ""
				}
				if views := len(r.w.Views("kim")); (views == 1) != c.opens || where != want || n > 1 {
					t.Errorf("%d forms, told %s", views, fmt.Sprint(n, " ", where))
				}
				r.hears(1)
			})
		})
	}
}

// However many ask for a form at once, each gets it while their trigger is good.
func TestFormsAtOnce(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	post := r.offer(thread, 4, flow.QStored)
	var names []string
	for i := range 16 {
		name := fmt.Sprint("crew", i)
		r.w.AddPerson(workspace.Person{Name: name})
		r.w.User(name).Join("shop")
		names = append(names, name)
	}
	r.w.Fault(workspace.Fault{Method: "views.open", Delay: 400 * time.Millisecond, Times: -1})
	var all sync.WaitGroup
	for _, name := range names {
		all.Go(func() { r.w.User(name).Press("shop", post, actionForm) })
	}
	all.Wait()
	for _, name := range names {
		r.await("a form, or words", func() bool { return len(r.w.Views(name)) > 0 || len(r.w.Ephemerals(name)) > 0 })
		if len(r.w.Views(name)) != 1 || len(r.w.Ephemerals(name)) > 0 {
			t.Errorf("%s has %d forms and was told %+v", name, len(r.w.Views(name)), r.w.Ephemerals(name))
		}
	}
}
