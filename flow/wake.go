package flow

import (
	"time"

	"milepost/flow/words"
)

// The job asks to be woken for two things: a hold that waits, and reminders
// that were set at closing. Between go and parked nothing is sent.

// reminderHour is the hour of the day at which reminders are given, in the
// zone of the time that comes with Env.
const reminderHour = 9

// wake is when the job wants to be woken next, zero: never.
func (t *turn) wake() time.Time {
	var next time.Time
	earlier := func(at time.Time) {
		if !at.IsZero() && (next.IsZero() || at.Before(next)) {
			next = at
		}
	}
	if t.holdWaits() {
		earlier(t.s.HoldAt.Add(t.env.Policy.HoldCall))
	}
	if !t.s.Driving() {
		for _, r := range t.s.Reminders {
			earlier(t.reminderAt(r))
		}
	}
	return next
}

// maxHoldCalls: the next helper, then the supervisor.
const maxHoldCalls = 2

func (t *turn) holdWaits() bool {
	h := t.s.Hold
	return h != nil && h.Now == "asked" && t.s.Writing != nil && t.s.HoldCalls < maxHoldCalls
}

func (t *turn) reminderAt(r ReminderFact) time.Time {
	at, err := time.ParseInLocation(time.DateOnly, r.Day, t.env.Now.Location())
	if err != nil {
		return time.Time{}
	}
	return at.Add(reminderHour * time.Hour)
}

// woken does what is due now. Nothing is sent twice: what was done is an entry.
func (t *turn) woken() {
	if t.s.Driving() {
		return
	}
	if t.holdWaits() && !t.env.Now.Before(t.s.HoldAt.Add(t.env.Policy.HoldCall)) {
		t.callOn()
	}
	for _, r := range append([]ReminderFact(nil), t.s.Reminders...) {
		if at := t.reminderAt(r); !at.IsZero() && !t.env.Now.Before(at) {
			t.record(&ReminderFact{What: r.What, Day: r.Day, Done: true})
			t.say(Notice, "remind."+r.What, words.Args{"Day": r.Day, "Vehicle": t.s.Vehicle})
		}
	}
}

// callOn calls the next helper, then the supervisor, and tells whoever waits.
func (t *turn) callOn() {
	h := *t.s.Hold
	h.Now = "called"
	to := Helper
	if t.s.HoldCalls > 0 || t.releaser() == Supervisor {
		to = Supervisor
	}
	t.record(&h)
	args := words.Args{"To": t.writeWord(t.s.Writing), "Minutes": int(t.env.Policy.HoldCall.Minutes()) * t.s.HoldCalls, "Name": t.nameOf(t.s.Owner)}
	who := ""
	if told := t.summon("hold_waits", to, "call.hold_waits", args); told != "" {
		who = t.text(t.worker(), "who."+string(told), nil)
	}
	broken := (t.s.Writing.Word == "broke_off" || t.s.Writing.Word == "no_answer") && t.s.earlyWrite() == nil
	t.say(Notice, "hold.waiting", words.Args{"Name": who, "Broken": broken})
}
