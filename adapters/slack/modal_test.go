package slack

import (
	"strings"
	"testing"

	"milepost/adapters/slack/workspace"
	"milepost/bot"
	"milepost/flow"
)

const (
	noSpeed    = "300/290: one of them is no road speed (up to 160 mph). Type dash, then GPS again: 60/58."
	upsideDown = "Lowest 3000 is not below highest 1800. Type them again: 1800 to 3000."
)

// offer asks something that a form answers, and gives the post's ts.
func (r *rig) offer(thread bot.Thread, ask int, q flow.QuestionID) string {
	r.t.Helper()
	out := bot.Outbound{Key: "k7mw2pd/" + string(q), Shop: bot.DefaultShop, Network: NetworkName, Thread: thread, Job: "k7mw2pd", Log: int64(ask),
		Asked: bot.Asked{Ask: ask, Question: q, Speed: "mph"}, Reply: flow.Reply{Kind: flow.Prompt, Text: "Harrow " + string(q) + "?", Phase: flow.PhaseFactory, Role: flow.Technician}}
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
		{"below zero", flow.QDrive, map[string]string{"dash1": "-30", "gps1": "28"}, nil,
			map[string]string{"dash1": `"-30" is no number I can read. Type dash, then GPS: 60/58.`}},
		{"no road speed", flow.QDrive, map[string]string{"dash1": "61", "gps1": "65", "dash2": "300", "gps2": "290"}, nil,
			map[string]string{"dash2": noSpeed, "gps2": noSpeed}},
		{"too far apart", flow.QDrive, map[string]string{"dash3": "90", "gps3": "50"}, nil,
			map[string]string{"dash3": "90/50 are too far apart to be one reading. Type dash, then GPS again: 60/58."}},
		{"comma and unit", flow.QDrive, map[string]string{"dash1": "61,5", "gps1": "65 mph"}, []string{"61.5 65 mph"}, nil},
		{"only parked", flow.QDrive, map[string]string{"parked": "parked"}, []string{"parked"}, nil},
		{"placard", flow.QPlacard, map[string]string{"size": "LT265/70R17 121/118S", "value": "2438", "unit": "%s mm circumference", "step": "1", "lowest": "1800", "highest": "3000"},
			[]string{"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000"}, nil},
		{"no size", flow.QPlacard, map[string]string{"size": "as before", "value": "2438", "unit": "%s mm circumference"}, nil,
			map[string]string{"size": `I find no tyre size in "as before". Type it as on the sidewall: 265/70R17, or 33x12.50R15.`}},
		{"limits upside down", flow.QPlacard, map[string]string{"size": "LT265/70R17", "value": "2438", "unit": "%s mm circumference", "lowest": "3000", "highest": "1800"}, nil,
			map[string]string{"lowest": upsideDown, "highest": upsideDown}},
		{"several at once", flow.QPlacard, map[string]string{"size": "265/70", "value": "0", "unit": "%s mm circumference", "step": "0", "highest": "1"}, nil,
			map[string]string{"size": `The rim is missing in "265/70". Type the whole size: 265/70R17.`, "lowest": sayBoth,
				"value": `"0" is no value I can read. Type the number and unit as the tool shows them: 2438 mm.`, "step": `A step of "0" can't be. Type the smallest step: step 1.`}},
		{"value with comma and unit", flow.QStored, map[string]string{"value": "2438,5 mm", "unit": "%s mm circumference", "step": "0,5"}, []string{"2438.5 mm circumference, step 0.5"}, nil},
		{"another unit", flow.QStored, map[string]string{"value": "96 in", "unit": "%s mm circumference"}, nil,
			map[string]string{"value": `Is "96 in" a circumference, diameter, radius, or something else? Type it with its unit: 2438 mm circumference.`}},
		{"stored", flow.QStored, map[string]string{"value": "660.5", "unit": "%s rev/mile"}, []string{"660.5 rev/mile"}, nil},
		{"half the limits", flow.QStored, map[string]string{"value": "660", "unit": "%s rev/mile", "lowest": "1"}, nil,
			map[string]string{"highest": sayBoth}},
		{"more tread than new", flow.QFitted, map[string]string{"size": "LT285/75R17 121/118S", "new": "8", "now": "9"}, nil,
			map[string]string{"now": "More tread now (9 mm) than new (8 mm)? Type new, then now: new 8 mm now 7 mm."}},
		{"no tread", flow.QFitted, map[string]string{"size": "LT285/75R17 121/118S", "new": "80", "now": "9"}, nil,
			map[string]string{"new": `I can't read the tread in "80". Type it new and now: new 8 mm now 7 mm.`}},
		{"fitted", flow.QFitted, map[string]string{"size": "LT285/75R17 121/118S", "new": "12", "now": "11.5", "pressure": "placard pressure", "gears": "gears unchanged"},
			[]string{"LT285/75R17 121/118S, 12 mm new, 11.5 mm now, placard pressure, gears unchanged"}, nil},
		{"hostile size", flow.QFitted, map[string]string{"size": "<!channel> 285/75R17 *b*"}, nil,
			map[string]string{"size": `I read 285/75R17 in "<!channel> 285/75R17 *b*". Only the size belongs here.`}},
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
				form := r.w.Views("kim")[0].ID
				a := kim.SubmitLax(form, c.values)
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
				if len(c.errs) > 0 {
					// The form is still open, with all that was entered; put right, it is taken once.
					if len(r.w.Views("kim")) != 1 {
						t.Fatal("the form is gone")
					}
					right := map[string]string{"dash1": "61", "gps1": "65"}
					switch c.q {
					case flow.QStored, flow.QPlacard:
						right = map[string]string{"value": "660", "unit": "%s rev/mile"}
					case flow.QFitted:
						right = map[string]string{}
					}
					if c.q == flow.QPlacard || c.q == flow.QFitted {
						right["size"] = "265/70R17"
					}
					if a := kim.Submit(form, right); a.Err != "" || len(a.Errors) > 0 || len(r.w.Views("kim")) != 0 {
						t.Errorf("put right, it is answered %+v", a)
					}
					if in := r.hears(2)[1]; !strings.Contains(in.Text, "6") || in.Thread != thread {
						t.Errorf("put right, %+v is heard", in)
					}
					return
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

// With a new state directory a button posted before still answers; a form can't be
// opened, and who presses its button is told.
func TestStateLost(t *testing.T) {
	r := listen(t, false, workspace.Options{})
	thread, _ := r.begins("kim")
	r.card(thread, "k7mw2pd")
	form, yes := r.offer(thread, 4, flow.QStored), r.prompt(thread, "k7mw2pd", 5, "yes")
	r.end()
	r.cfg.Dir = t.TempDir()
	r.start()
	kim := r.w.User("kim")
	kim.Press("shop", yes, "Choose yes")
	r.await("the choice", func() bool { l := r.ear.all(); return l[len(l)-1].Tap == "k7mw2pd.5.yes" })
	kim.Press("shop", form, actionForm)
	r.await("a word about it", func() bool { return len(r.w.Ephemerals("kim")) == 1 })
	if m := r.w.Ephemerals("kim")[0]; m.Shown != "⛔ "+sayNoForm || len(r.w.Views("kim")) > 0 {
		t.Errorf("it reads %q", m.Shown)
	}
}
