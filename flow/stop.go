package flow

import (
	"strconv"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// stop asks once more before the job ends without a result.
func (t *turn) stop(command, *input) bool {
	switch {
	case t.s.Phase == PhaseClosed:
		t.answerTo(Notice, "closed.is", words.Args{"Job": t.s.Job})
	case t.s.Driving():
		t.answerTo(Notice, "stop.parked", nil)
	default:
		t.askStop()
	}
	return true
}

// stopQuestion stands in every phase that can be stopped; it is put by the
// command alone.
func stopQuestion() question {
	return question{ID: QStop, When: never, Ask: (*turn).askStop, Take: takeStop, Why: "why.stop", Hint: "hint.yes-no"}
}

func (t *turn) askStop() {
	key := "stop.ask"
	switch {
	case t.s.brokenOff():
		key = "stop.ask.broken"
	case t.s.inTheAir():
		key = "stop.ask.unread"
	case t.s.HalfDone():
		key = "stop.ask.half"
	case t.s.changed():
		key = "stop.ask.written"
	}
	args := words.Args{"NoRoad": t.s.halfBrake(), "To": t.toWrite()}
	if m := t.s.Main(); m != nil {
		args["Now"], args["Original"] = withUnit(m, m.Now), withUnit(m, m.Restore())
	}
	choices := []string{"stop_job", "go_on"}
	if t.s.changed() && can(t.s.Phase, EvRecover) {
		choices = append(choices, "recover")
	}
	t.ask(QStop, strconv.Itoa(t.s.Asks+1), key, args, choices...)
}

// changed says whether a module holds something else than before the work.
func (s *State) changed() bool {
	if len(s.toRestore()) > 0 {
		return true
	}
	return s.Writing != nil && s.Writing.Word != "begun" && s.Writing.Word != "refused"
}

func takeStop(t *turn, in *input) bool {
	choice := in.Choice
	if choice == "" {
		a, ok := understand.YesNo(in.Text)
		c, command := t.heard(in.Text)
		switch {
		case command && c.Value.Name == understand.CmdStop, ok && a.Value == understand.Yes:
			choice = "stop_job"
		case command && (c.Value.Name == understand.CmdGoOn || c.Value.Name == understand.CmdResume), ok && a.Value == understand.No:
			choice = "go_on"
		}
	}
	in.Text = ""
	switch choice {
	case "stop_job":
		t.record(&StoppedFact{How: "stopped"})
		if t.move(EvStop) {
			t.sayClosed()
			if t.s.brokenOff() || t.s.HalfDone() {
				t.call("stopped", words.Args{"Broken": t.s.brokenOff(), "NoRoad": t.s.brokenOff() || t.s.halfBrake()})
			}
		}
		return true
	case "recover":
		t.goRecover()
		return true
	case "go_on":
		t.record(&AnswerFact{Question: QStop, Value: "no"})
		return true
	}
	return false
}
