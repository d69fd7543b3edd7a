package flow

import (
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// odometerText is the odometer reading as it is said, "" if not known.
func (t *turn) odometerText() string {
	a, ok := t.s.Answers[Key{QOdometer, ""}]
	if !ok || a.Skipped || a.Unit == "" {
		return ""
	}
	return unit.Count(int64(a.Number)) + " " + a.Unit
}

// aboutKnown marks the odometer as an earlier job read it.
const aboutKnown = "known"

// odometerBelow says whether the odometer stands below what an earlier job of
// this vehicle read: a slip, or another instrument.
func (s *State) odometerBelow() bool {
	now, old := s.Answers[Key{QOdometer, ""}], s.Answers[Key{QOdometer, aboutKnown}]
	from, to := unit.Distance(now.Unit), unit.Distance(old.Unit)
	if now.Skipped || old.Number <= 0 || !from.Valid() || !to.Valid() {
		return false
	}
	return to.FromMetres(from.Metres(now.Number)) < old.Number-1 // a figure is cut to the unit
}

func askOdoLow(t *turn) {
	old := t.s.Answers[Key{QOdometer, aboutKnown}]
	t.ask(QOdoLow, t.odometerText(), "open.odometer.below", words.Args{"Now": t.odometerText(), "Job": t.s.KnownSet,
		"Then": unit.Count(int64(old.Number)) + " " + old.Unit}, "yes", "no")
}

func takeOdoLow(t *turn, in *input) bool {
	if m, ok, _ := understand.Odometer(in.Text, t.context()); in.Choice == "" && ok {
		t.recordOdometer(m, in)
		return true
	}
	switch yesNo(in) {
	case "yes":
		a := t.s.Answers[Key{QOdometer, ""}]
		t.record(&AnswerFact{Question: QOdoLow, Number: a.Number, Unit: a.Unit, Value: "yes"})
		return true
	case "no":
		find(QOdometer).Ask(t)
		return true
	}
	return false
}

func takeOdometer(t *turn, in *input) bool {
	m, ok, ask := understand.Odometer(in.Text, t.context())
	switch {
	case in.Choice == "not_known":
		t.record(&AnswerFact{Question: QOdometer, Value: "not_known", Skipped: true})
		return true
	case ok:
		t.recordOdometer(m, in)
		return true
	case ask != nil:
		t.askBack(ask)
		return true
	}
	if a := yesNo(in); a == "not_sure" || a == "none" || a == "no" {
		t.record(&AnswerFact{Question: QOdometer, Value: "not_known", Skipped: true})
		return true
	}
	return false
}

func alsoOdometer(t *turn, in *input) {
	if m, ok, _ := understand.Odometer(in.Text, t.context()); ok && m.Value.Said {
		t.recordOdometer(m, in)
	}
}

func (t *turn) recordOdometer(m understand.Match[understand.Distance], in *input) {
	in.take(m.Start, m.End)
	t.record(&OdometerFact{Value: m.Value.Value, Unit: m.Value.Unit})
	t.understood("echo.odometer", words.Args{"Value": unit.Count(int64(m.Value.Value)), "Unit": m.Value.Unit})
	if t.unitsByOdometer(m.Value) {
		t.understood("echo.units", words.Args{"Unit": t.speedUnit()})
	}
}

// unitsByOdometer takes the dash for one in km/h where its odometer counts
// kilometres and nobody has said otherwise.
func (t *turn) unitsByOdometer(d understand.Distance) bool {
	if !d.Said || d.Unit != understand.Km || !t.env.Policy.SpeedAssumed || t.s.Has(QUnits) {
		return false
	}
	t.record(&AnswerFact{Question: QUnits, Value: understand.KmH})
	return true
}
