package slack

import (
	"fmt"
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
	}{
		"500 twice":            {faults(workspace.Fault{Method: "views.open", Status: 500, Times: 2}), true, false},
		"429":                  {faults(workspace.Fault{Method: "views.open", RetryAfter: time.Second}), true, false},
		"done, answer lost":    {faults(workspace.Fault{Method: "views.open", Cut: true, After: true}), true, false},
		"trigger expired":      {faults(expired), false, true},
		"500 for ever":         {faults(workspace.Fault{Method: "views.open", Status: 500, Times: -1}), false, true},
		"429 for long":         {faults(workspace.Fault{Method: "views.open", RetryAfter: time.Minute}), false, true},
		"no answer":            {faults(workspace.Fault{Method: "views.open", Error: "internal_error", Delay: time.Minute, Times: -1}), false, true},
		"nor told alone":       {faults(expired, workspace.Fault{Method: "chat.postEphemeral", Error: "user_not_in_channel"}), false, false},
		"told, answer is lost": {faults(expired, workspace.Fault{Method: "chat.postEphemeral", Status: 500}), false, false},
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
				told := func() (n int, where string) {
					for _, m := range r.w.Ephemerals("kim") {
						if m.Shown == sayNoForm {
							n, where = n+1, "alone in "+m.Thread
						}
					}
					for _, m := range r.w.Messages("shop", root) {
						if m.Shown == sayNoForm {
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
