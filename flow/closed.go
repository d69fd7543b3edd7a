package flow

import (
	"milepost/flow/understand"
	"milepost/flow/words"
)

// closedPhase takes notes, recover, reopen and where; everything else is told
// politely that the job is closed.
func closedPhase() phaseOf {
	return phaseOf{Enter: (*turn).sayClosed, Next: nextClosed}
}

// sayClosed says how the job ended.
func (t *turn) sayClosed() {
	key := "closed." + t.s.Stopped
	if t.s.Stopped == "" || !catalogue().Has(key) {
		return // the phase before has said it
	}
	m := t.s.Main()
	value := ""
	if m != nil && !t.s.inTheAir() {
		value = withUnit(m, m.Now)
	}
	t.say(Notice, key, words.Args{"Value": value, "Job": t.s.Job, "Broken": t.s.brokenOff(), "Unread": t.s.inTheAir(), "Half": t.s.HalfDone(), "NoRoad": t.s.halfBrake()})
}

func nextClosed(t *turn) Event {
	if t.m.Wake || t.moved() {
		return ""
	}
	if open, _ := gateOpen(t.s, GateRegulated); open && t.s.Stopped == "approved_workshop" {
		return EvApproved
	}
	c, ok := understand.ReadCommand(t.m.Text)
	if ok && c.Value.Name == understand.CmdReopen {
		if t.s.Main() == nil || len(t.s.Readings) == 0 {
			t.answerTo(Notice, "closed.nothing", nil)
			return ""
		}
		return EvReopen
	}
	t.answerTo(Notice, "closed.is", words.Args{"Job": t.s.Job})
	return ""
}

// moved says whether this message has moved the job.
func (t *turn) moved() bool {
	for i := range t.entries {
		if t.entries[i].Kind == KindPhase {
			return true
		}
	}
	return false
}
