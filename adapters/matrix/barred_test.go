package matrix

import (
	"slices"
	"strings"
	"testing"
	"time"

	"maunium.net/go/mautrix/event"

	"milepost/adapters/matrix/person"
	"milepost/bot"
	"milepost/bot/bottest"
	"milepost/flow"
)

// hushed is a party of one, who can silence the assistant.
type hushed struct {
	*party
	kim *person.Person
	who bottest.ScriptPerson
}

func newHushed(t *testing.T, encrypted bool) *hushed {
	if encrypted && !hasEncryption {
		t.Skip("encrypted rooms need the build tag goolm")
	}
	q := &hushed{who: bottest.ScriptPerson{Name: "Kim", Role: flow.Technician}}
	q.party = newParty(t, &bottest.Script{Name: t.Name(), Start: time.Now().Add(-time.Hour), People: []bottest.ScriptPerson{q.who}}, encrypted)
	q.kim = q.people["Kim"]
	return q
}

// mute sets the power that a message takes.
func (q *hushed) mute(level int) {
	q.t.Helper()
	pl := &event.PowerLevelsEventContent{}
	if err := q.kim.Client.StateEvent(q.t.Context(), q.room, event.StatePowerLevels, "", pl); err != nil {
		q.t.Fatal(err)
	}
	pl.EventsDefault = level
	if _, err := q.kim.Client.SendStateEvent(q.t.Context(), q.room, event.StatePowerLevels, "", pl); err != nil {
		q.t.Fatal(err)
	}
}

// waiting waits until so many answers stand in the store, were tried and are not
// out; cards do not count.
func (q *hushed) waiting(n int) {
	q.t.Helper()
	since := time.Now()
	for end := since.Add(person.Patience); ; time.Sleep(10 * time.Millisecond) {
		rows, _ := q.way.Store().Unsent(q.t.Context(), 100)
		said := q.way.Said()
		rows = slices.DeleteFunc(rows, func(r bot.OutRow) bool {
			return strings.HasSuffix(r.Key, "/card") || slices.ContainsFunc(said, func(o bot.Outbound) bool { return o.Key == r.Key })
		})
		if len(rows) < n {
			since = time.Now()
		} else if time.Since(since) > 2*time.Second { // time for a try
			return
		}
		if time.Now().After(end) {
			q.t.Fatalf("%d answers wait, want %d", len(rows), n)
		}
	}
}

// said waits until so many answers are out.
func (q *hushed) said(n int) {
	q.t.Helper()
	for end := time.Now().Add(person.Patience); len(q.way.Said()) < n; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			q.t.Fatalf("%d answers are out, want %d", len(q.way.Said()), n)
		}
	}
}

const opening = "new job unit 14, in the bay, 48210 mi"

// What is said while the assistant may not write in a room comes when it may,
// once and in order: there, nothing else needs to happen.
func TestMuted(t *testing.T) {
	both(t, func(t *testing.T, encrypted bool) {
		t.Run("in a job", func(t *testing.T) {
			q := newHushed(t, encrypted)
			q.Say(q.who, opening)
			q.said(1)
			q.hasRoot(q.kim)
			q.mute(50)
			q.Say(q.who, "no")
			q.waiting(1)
			q.Say(q.who, "all yes 13.4")
			q.waiting(2)
			q.mute(0)
			q.said(3)
			q.allSeen()
			q.kim.Wait(q.room, "the card as it stands", func(all []person.Event) bool {
				e, ok := person.Find(all, q.root)
				return ok && strings.Contains(e.Body, "factory value")
			})
		})
		t.Run("before the first card", func(t *testing.T) {
			q := newHushed(t, encrypted)
			q.mute(50)
			q.Say(q.who, opening)
			q.waiting(1)
			q.mute(0)
			q.said(1)
			if !q.hasRoot(q.kim) {
				t.Error("the job has no card")
			}
			q.allSeen()
		})
		t.Run("removed and invited again", func(t *testing.T) {
			q := newHushed(t, encrypted)
			q.Say(q.who, opening)
			q.said(1)
			q.hasRoot(q.kim)
			q.mute(50)
			q.Say(q.who, "no")
			q.waiting(1)
			q.Say(q.who, "all yes 13.4")
			q.waiting(2)
			q.kim.Kick(q.room, q.us)
			q.kim.WaitMembers(q.room, event.MembershipLeave, q.us)
			q.mute(0)
			q.kim.Invite(q.room, q.us)
			q.kim.WaitJoined(q.room, q.us)
			q.said(3)
			q.allSeen()
		})
	})
}
