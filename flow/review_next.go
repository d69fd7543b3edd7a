package flow

import (
	"milepost/calib"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// asksNext: decisions that a person carries on from. To write and to read are
// gone on with at once: hold and drive have questions of their own.
func (s *State) asksNext() bool {
	do, reason := s.decided()
	switch do {
	case string(calib.Done), string(calib.CannotFix):
		return true
	case string(calib.Ask):
		return reason != string(calib.ReasonOdometerShort)
	}
	return false
}

func askNext(t *turn) {
	s := t.s
	do, reason := s.decided()
	args := t.reviewArgs()
	about := s.decidedAbout()
	switch do {
	case string(calib.Done):
		t.warnOnce()
		key := "review.done"
		if reason == string(calib.ReasonAsGood) {
			key = "review.best"
		}
		t.tellHelper(key, args)
		t.ask(QNext, about, key, args, "close", "one_more", "note")
	case string(calib.CannotFix):
		t.warnOnce()
		t.tellHelper("review.cannot."+cannotKey(reason), args)
		t.ask(QNext, about, "review.cannot."+cannotKey(reason), args, "close", "recover", "note")
	default:
		t.askAbout(reason, about, args)
	}
}

// tellHelper says a result to the helper of a job at home in trade words, the
// first time it stands.
func (t *turn) tellHelper(key string, args words.Args) {
	if a := t.s.Asked; t.s.Home() && t.m.Role != Helper && (a == nil || a.Question != QNext) {
		t.tell(Helper, Result, key, args)
	}
}

func cannotKey(reason string) string {
	switch calib.Reason(reason) {
	case calib.ReasonLimit, calib.ReasonOffset:
		return reason
	}
	return "step"
}

// askAbout asks what is behind a decision to ask.
func (t *turn) askAbout(reason, about string, args words.Args) {
	switch calib.Reason(reason) {
	case calib.ReasonUnitMix:
		t.ask(QNext, about, "review.unit_mix", args, "convert", "new_drive")
	case calib.ReasonDidNotTake:
		t.ask(QNext, about, "review.did_not_take", args)
	case calib.ReasonContradict:
		t.ask(QNext, about, "review.contradict", args, "new_drive")
	case calib.ReasonEntryUnit, calib.ReasonSizeMismatch:
		t.ask(QNext, about, "target.ask."+reason, args, "check_again", "stop_job")
	case calib.ReasonManyReadings, calib.ReasonManyWrites:
		t.ask(QNext, about, "review.too_many", args, "close", "recover")
	default:
		t.ask(QNext, about, "target.ask.other", args, "check_again", "stop_job")
	}
}

func takeNext(t *turn, in *input) bool {
	choice := in.Choice
	c, ok := t.heard(in.Text)
	if choice == "" && ok {
		choice = map[string]string{understand.CmdClose: "close", understand.CmdOneMore: "one_more", understand.CmdGo: "one_more",
			understand.CmdRecover: "recover", understand.CmdGoOn: "close"}[c.Value.Name]
	}
	do, reason := t.s.decided()
	if reason == string(calib.ReasonDidNotTake) {
		if v, ok := t.typedValue(in.Text, t.s.Main()); ok {
			in.Text = ""
			t.lateReadBack(v)
			return true
		}
	}
	if choice == "" {
		if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.Yes {
			switch {
			case reason == string(calib.ReasonUnitMix):
				choice = "convert"
			case do == string(calib.Done):
				choice = "close"
			}
		}
	}
	switch choice {
	case "close":
		if do == string(calib.Ask) && reason != string(calib.ReasonManyReadings) && reason != string(calib.ReasonManyWrites) {
			return false
		}
		t.record(&AnswerFact{Question: QNext, Value: "close"})
		t.finish()
	case "one_more", "new_drive":
		t.record(&AnswerFact{Question: QNext, Value: "one_more"})
		t.moreReadings()
	case "recover":
		t.goRecover()
	case "note":
		t.hint("review.note", nil)
	case "convert":
		t.convertAll()
	case "check_again":
		t.reviewAgain()
	case "stop_job":
		return t.stop(command{}, in)
	default:
		if t.readingsToo(in) { // a reading typed late is a reading
			t.reviewAgain()
			return true
		}
		if c := readCodes(in); c.Any() {
			t.recordCodes(c)
			return true
		}
		return t.distances(in) && t.afterDistance()
	}
	return true
}

func (t *turn) afterDistance() bool {
	t.reviewAgain()
	return true
}

// finish goes to the close; the gate wants codes read after the last drive.
func (t *turn) finish() {
	if open, _ := gateOpen(t.s, GateCodes); !open {
		t.move(EvFinish) // refused and recorded
		t.ask(QCodesNow, t.s.codesAbout()+".0", "codes.drive", nil, "none", "some")
		return
	}
	if t.move(EvFinish) {
		if enter := phases()[PhaseClose].Enter; enter != nil {
			enter(t)
		}
	}
}

// moreReadings plans another drive at the value now stored.
func (t *turn) moreReadings() {
	if t.move(EvMore) {
		t.planDrive()
	}
}

// convertAll brings every pair that looks like two units into the dash's.
func (t *turn) convertAll() {
	for i := range t.s.Readings {
		r := t.s.Readings[i]
		if g, ok := convertedGPS(&r); ok && !r.Struck {
			t.record(&StruckFact{Number: r.Number, What: "corrected", Indicated: r.Indicated, Reference: g})
		}
	}
	t.understood("echo.converted", words.Args{"Unit": t.speedUnit()})
	t.reviewAgain()
}

// lateReadBack takes a value read back when the dash behaves as at the old
// one: where it differs, the write did not take and is made again.
func (t *turn) lateReadBack(v Value) {
	m := t.s.Main()
	if t.sameValue(m, v, m.Now) {
		t.understood("review.still-there", words.Args{"Value": t.figure(v)})
		t.moreReadings()
		return
	}
	was := m.Now
	t.record(&ChangeFact{Number: len(t.s.Changes) + 1, Setting: m.Quantity, Before: v, After: was, ReadBack: v, Module: m.Name, Why: "target"})
	t.record(&DecisionFact{Do: string(calib.Write), Value: was, Because: "the module does not hold it", Reason: string(calib.ReasonDidNotTake),
		Method: calib.Method, Program: t.env.Program})
}
