package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

// offer asks something that a form answers, and gives the post's ts.
func (r *rig) offer(thread bot.Thread, ask int, q flow.QuestionID) string {
	r.t.Helper()
	out := bot.Outbound{Key: "k7mw2pd/" + string(q), Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: int64(ask),
		Asked: bot.Asked{Ask: ask, Question: q}, Reply: flow.Reply{Kind: flow.Prompt, Text: "Harrow " + string(q) + "?", Phase: flow.PhaseFactory, Role: flow.Technician}}
	if err := r.Send(r.t.Context(), out); err != nil {
		r.t.Fatal(err)
	}
	ts, _, _, err := r.state.sentAs(r.t.Context(), out.Key)
	if err != nil {
		r.t.Fatal(err)
	}
	return ts
}

// A form becomes what the person would have typed; what can't be taken is said at
// its field.
func TestForms(t *testing.T) {
	for _, c := range []struct {
		name   string
		q      flow.QuestionID
		values map[string]string
		texts  []string
		errs   map[string]string
	}{
		{"readings", flow.QDrive, map[string]string{"dash1": "30", "gps1": "28", "dash2": "50", "gps2": "47.5", "dash4": "70", "gps4": "66", "parked": "parked"},
			[]string{"30 28, 50 47.5, 70 66", "parked"}, nil},
		{"half a pair", flow.QDrive, map[string]string{"dash1": "30", "gps1": "28", "dash2": "50"}, nil, map[string]string{"gps2": sayPairHalf}},
		{"no pair", flow.QDrive, map[string]string{}, nil, map[string]string{"dash1": sayPairNone}},
		{"below zero", flow.QDrive, map[string]string{"dash1": "-30", "gps1": "28"}, nil, map[string]string{"dash1": "A number above 0, such as 61."}},
		{"only parked", flow.QDrive, map[string]string{"parked": "parked"}, []string{"parked"}, nil},
		{"placard", flow.QPlacard, map[string]string{"size": "LT265/70R17 121/118S", "value": "2438", "unit": "%s mm circumference", "step": "1", "lowest": "1800", "highest": "3000"},
			[]string{"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000"}, nil},
		{"no size", flow.QPlacard, map[string]string{"size": "as before", "value": "2438", "unit": "%s mm circumference"}, nil, map[string]string{"size": saySize}},
		{"stored", flow.QStored, map[string]string{"value": "660.5", "unit": "%s rev/mile"}, []string{"660.5 rev/mile"}, nil},
		{"half the limits", flow.QStored, map[string]string{"value": "660", "unit": "%s rev/mile", "lowest": "1"}, nil,
			map[string]string{"highest": "A number above 0, such as 3000."}},
		{"fitted", flow.QFitted, map[string]string{"size": "LT285/75R17 121/118S", "new": "12", "now": "11.5", "pressure": "placard pressure", "gears": "gears unchanged"},
			[]string{"LT285/75R17 121/118S, 12 mm new, 11.5 mm now, placard pressure, gears unchanged"}, nil},
		{"hostile size", flow.QFitted, map[string]string{"size": "<!channel> 285 *b*"}, []string{"<!channel> 285 *b*"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			transports(t, func(t *testing.T, http bool) {
				r := listen(t, http, workspace.Options{})
				thread, _ := r.begins("kim")
				r.card(thread, "k7mw2pd")
				post := r.offer(thread, 4, c.q)
				kim := r.w.User("kim")
				if a := kim.Press("shop", post, actionForm); a.Err != "" {
					t.Fatal(a.Err)
				}
				r.await("the form", func() bool { return len(r.w.Views("kim")) == 1 })
				a := kim.Submit(r.w.Views("kim")[0].ID, c.values)
				if a.Err != "" {
					t.Fatal(a.Err)
				}
				if len(a.Errors) != len(c.errs) {
					t.Errorf("errors %q, want %q", a.Errors, c.errs)
				}
				for field, want := range c.errs {
					if a.Errors[field] != want {
						t.Errorf("at %s: %q, want %q", field, a.Errors[field], want)
					}
				}
				list := r.hears(1 + len(c.texts))[1:]
				for i, want := range c.texts {
					if in := list[i]; in.Text != want || in.Thread != thread || in.Loose || in.From != Identity(r.w.Team(), kim.ID()) {
						t.Errorf("heard %+v, want %q in the job's thread", in, want)
					}
				}
			})
		})
	}
}

// A form for a step that is over takes nothing and says so at its field; the
// button of such a step is any other stale button.
func TestStaleForm(t *testing.T) {
	transports(t, func(t *testing.T, http bool) {
		r := listen(t, http, workspace.Options{})
		thread, _ := r.begins("kim")
		r.card(thread, "k7mw2pd")
		post := r.offer(thread, 4, flow.QStored)
		kim := r.w.User("kim")
		kim.Press("shop", post, actionForm)
		r.await("the form", func() bool { return len(r.w.Views("kim")) == 1 })
		form := r.w.Views("kim")[0].ID
		r.offer(thread, 5, flow.QDrive) // another question is open
		a := kim.Submit(form, map[string]string{"value": "660", "unit": "%s rev/mile"})
		if a.Errors["value"] != sayClosed {
			t.Errorf("answer %+v", a)
		}
		r.hears(1)
		r.await("the button gone", func() bool { m, _ := r.w.Message("shop", post); return len(m.Buttons()) == 0 })
		kim.PressWith(workspace.Press{Channel: "shop", TS: post, Choice: actionForm, Stale: true})
		if in := r.hears(2)[1]; in.Tap == "" || in.Thread != thread {
			t.Errorf("heard %+v, want a tap that the core knows to be stale", in)
		}
		if n := len(r.w.Views("kim")); n != 1 {
			t.Errorf("%d forms are open", n)
		}
		for _, c := range r.w.Calls("views.open") {
			if strings.Contains(c.Args.Get("view"), "Harrow") {
				t.Error("the form holds the job's words")
			}
		}
	})
}
