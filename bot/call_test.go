package bot_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// hall is a network that knows who is in its rooms.
type hall struct {
	*bottest.Fake
	in  map[bot.Identity]string // is in every room, and called so
	err error
}

func (h *hall) Present(_ context.Context, _ bot.Thread, of []bot.Identity) (map[bot.Identity]string, error) {
	names := map[bot.Identity]string{}
	for _, id := range of {
		if n, ok := h.in[id]; ok {
			names[id] = n
		}
	}
	return names, h.err
}

// inHall is a rig with the real flow on a network that knows who is there.
func inHall(t *testing.T, in map[bot.Identity]string, change ...func(*bot.Config)) (*rig, *hall) {
	t.Helper()
	h := &hall{Fake: &bottest.Fake{}, in: in}
	r := startStep(t, newMem(), flow.Step)
	r.stop()
	r.net = h.Fake
	return r.again(append(change, func(c *bot.Config) { c.Networks = []bot.Network{h} })...), h
}

// calledFor gives who is named in messages of a turn that are worded for a role.
func calledFor(sent []bot.Outbound, r flow.Role) (ids []bot.Identity, thread bot.Thread, text string) {
	for _, o := range sent {
		if o.Reply.Role == r && o.Reply.Kind == flow.Notice {
			for _, w := range o.Reply.To {
				ids = append(ids, o.Users[w])
			}
			thread, text = o.Thread, o.Reply.Text
		}
	}
	slices.Sort(ids)
	return ids, thread, text
}

// A call reaches those in the room who have not spoken in the thread; where there
// is nobody, the room of alerts; and what is said of it is so.
func TestCall(t *testing.T) {
	room := map[bot.Identity]string{"fake:boss": "Sam", "fake:noor": "Hal"}
	alerts := func(c *bot.Config) {
		c.Shops[0].Alerts = []bot.JobThread{{Network: "fake", Thread: "office", For: flow.Supervisor}}
	}
	none := func(*bot.Config) {}
	for _, c := range []struct {
		name, who, text string
		in              map[bot.Identity]string
		err             error
		change          func(*bot.Config)
		role            flow.Role
		want            []bot.Identity
		thread          bot.Thread
		says            string
	}{
		{"supervisor in the room", "tech", "call my supervisor", room, nil, alerts, flow.Supervisor, []bot.Identity{"fake:boss"}, "dm-tech", "Called: Sam."},
		{"no supervisor there", "tech", "call my supervisor", map[bot.Identity]string{"fake:noor": "Hal"}, nil, none, flow.Helper, []bot.Identity{"fake:noor"}, "dm-tech", "Called: Hal."},
		{"a customer's helper", "cust", "call my supervisor", room, nil, none, flow.Helper, []bot.Identity{"fake:noor"}, "dm-cust", "Called: Hal, Sam."},
		{"nobody, but a room of alerts", "tech", "call my supervisor", nil, nil, alerts, flow.Supervisor, []bot.Identity{"fake:boss"}, "office", "alert room has been told"},
		{"nobody at all", "tech", "call my supervisor", nil, nil, none, flow.Supervisor, nil, "", "nobody has been told"},
		{"it can't be known", "tech", "call my supervisor", room, errors.New("no line"), none, flow.Supervisor, nil, "", "nobody has been told"},
		{"helper", "tech", "call my helper", room, nil, alerts, flow.Helper, []bot.Identity{"fake:noor"}, "dm-tech", "Called: Hal."},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, h := inHall(t, c.in, c.change)
			h.err = c.err
			r.say(c.who, "new job unit 14, bay, 48210 mi")
			before := len(r.sent())
			got := r.say(c.who, c.text)
			ids, thread, text := calledFor(r.sent()[before:], c.role)
			if !slices.Equal(ids, c.want) || thread != c.thread {
				t.Errorf("called %v in %q, want %v in %q", ids, thread, c.want, c.thread)
			}
			if thread == "office" && !strings.Contains(text, "Job "+r.job()+", unit 14: ") {
				t.Errorf("in the room of alerts: %q", text)
			}
			if !slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, c.says) }) {
				t.Errorf("said %q, want %q", got, c.says)
			}
		})
	}
}

// A write that breaks off calls whoever is in the room, and a hold is put to them.
func TestBrokenOffCalls(t *testing.T) {
	for what, c := range map[string]struct {
		in     map[bot.Identity]string
		want   []bot.Identity
		called string
	}{
		"in the room": {map[bot.Identity]string{"fake:boss": "Sam"}, []bot.Identity{"fake:boss"}, "help has been called"},
		"nobody":      {nil, nil, "call somebody yourself"},
	} {
		t.Run(what, func(t *testing.T) {
			r, _ := inHall(t, c.in)
			for _, text := range []string{"new job unit 30, in the bay, 48210 mi", "no", "all yes 13.4",
				"LT265/70R17 121/118S, 2438 mm circumference, step 1, 1800 to 3000", "yes, both", "on the laptop in folder a",
				"LT285/75R17 121/118S 12/12, placard pressure, gears unchanged", "write"} {
				r.say("tech", text)
			}
			before := len(r.sent())
			r.say("tech", "broke off")
			if ids, _, _ := calledFor(r.sent()[before:], flow.Supervisor); !slices.Equal(ids, c.want) {
				t.Errorf("called %v, want %v: %q", ids, c.want, r.sent()[before].Reply.Text)
			}
			if got := strings.Join(r.say("tech", "broke off"), "\n"); !strings.Contains(got, c.called) {
				t.Errorf("then %q", got)
			}
		})
	}
}

// A job is handed over to somebody in the room by name, and he is asked.
func TestHandOverInTheRoom(t *testing.T) {
	r, _ := inHall(t, map[bot.Identity]string{"fake:boss": "Sam Miller", "fake:noor": "Hal"})
	r.say("tech", "new job unit 14, bay, 48210 mi")
	before := len(r.sent())
	got := fmt.Sprint(r.say("tech", "hand over to sam"))
	last := r.last()
	if !strings.Contains(got, "Handed over to Sam Miller.") || len(last.Reply.To) != 1 || last.Users[last.Reply.To[0]] != "fake:boss" {
		t.Errorf("%s; asked %v of %v", got, last.Users, len(r.sent())-before)
	}
	if got := fmt.Sprint(r.say("tech", "hand over to nobody of that name")); !strings.Contains(got, "has not written here yet") {
		t.Error(got)
	}
}
