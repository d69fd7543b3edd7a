package flow

import (
	"milepost/calib/vin"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// vinDoubted says whether the VIN that was typed has a slip in it.
func vinDoubted(s *State) bool { return s.Value(QVIN) == vinFails }

// vinFails is the contract's word for a VIN whose check does not hold.
const vinFails = "fails"

func askVIN(t *turn) {
	text := ""
	if _, ok, ask := understand.VIN(t.s.VIN); ok && ask != nil {
		text = ask.Text()
	}
	t.ask(QVIN, "", "open.vin", words.Args{"Text": text})
}

func takeVIN(t *turn, in *input) bool {
	m, ok, ask := understand.VIN(in.Text)
	switch {
	case ok && ask != nil && m.Value.Text == t.s.VIN, !ok && t.s.VIN != "" && yesNo(in) == "yes":
		t.record(&AnswerFact{Question: QVIN, Value: "kept"}) // insisted on
		in.Text = ""
	case ok:
		t.recordVIN(m, ask, in)
	case yesNo(in) != "":
		t.record(&AnswerFact{Question: QVIN, Skipped: true})
	default:
		return false
	}
	return true
}

func alsoVIN(t *turn, in *input) {
	m, ok, ask := understand.VIN(in.Text)
	if !ok {
		return
	}
	t.recordVIN(m, ask, in)
	if ask != nil && t.s.Phase != PhaseOpen { // where it is not asked for
		t.understood("open.vin.questioned", words.Args{"Text": ask.Text()})
	}
}

// recordVIN records a VIN as typed; one that is in doubt with a check that
// fails, to be asked about.
func (t *turn) recordVIN(m understand.Match[vin.Result], ask *understand.Ask, in *input) {
	in.take(m.Start, m.End)
	if ask != nil {
		t.record(&VINFact{Check: vinFails}, Item{ItemVIN, m.Value.Text})
		return
	}
	t.record(&VINFact{Check: string(m.Value.Check)}, Item{ItemVIN, m.Value.Text})
	t.understood("echo.vin", words.Args{"Check": string(m.Value.Check)})
}
