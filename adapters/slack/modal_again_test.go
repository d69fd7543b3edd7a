package slack

import (
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/flow"
)

// A form whose acknowledgement was lost shows an error, and whoever filled it in
// sends it again: it counts once and closes, whether or not the job has gone on.
func TestFormSentAgain(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		for _, wentOn := range []bool{false, true} {
			r := listen(t, http, workspace.Options{})
			thread, _ := r.begins("kim")
			r.card(thread, "k7mw2pd")
			post := r.offer(thread, 4, flow.QStored)
			kim, values := r.w.User("kim"), map[string]string{"value": "660", "unit": "%s rev/mile"}
			kim.Press("shop", post, actionForm)
			r.await("the form", func() bool { return len(r.w.Views("kim")) == 1 })
			form := r.w.Views("kim")[0].ID
			r.w.LoseAcks(1)
			if a := kim.Submit(form, values); a.Err == "" {
				t.Fatal("the acknowledgement was not lost")
			}
			r.hears(2)
			if wentOn {
				r.offer(thread, 5, flow.QDrive)
			}
			if a := kim.Submit(form, values); a.Err != "" || len(a.Errors) > 0 {
				t.Errorf("sent again, went on %v: %+v", wentOn, a)
			}
			if n := len(r.w.Views("kim")); n != 0 {
				t.Errorf("%d forms are open", n)
			}
			if http {
				if status, body, err := r.w.Replay(); status != 200 || body != "" || err != nil {
					t.Errorf("the same request again: %d %q %v", status, body, err)
				}
			}
			if in := r.hears(2)[1]; in.Text != "660 rev/mile" {
				t.Errorf("heard %+v", in)
			}
		}
	})
}
