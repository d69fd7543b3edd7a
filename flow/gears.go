package flow

import (
	"regexp"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// neverPattern answers "changed?" in a sentence.
var neverPattern = regexp.MustCompile(`(?i)\b(never|nothing( else)?( was| has been)?|not|nobody) changed\b|\bnever\b`)

var changedAlone = regexp.MustCompile(`(?i)^\s*(?:yes,? )?(?:they (?:are|were|have been) )?changed[.!]?\s*$`)

func takeGears(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QGears, Value: in.Choice})
		return true
	}
	if t.recordedBy(alsoGears, in) {
		return true
	}
	if neverPattern.MatchString(in.Text) {
		in.Text = ""
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	}
	if changedAlone.MatchString(in.Text) {
		in.Text = ""
		t.record(&AnswerFact{Question: QGears, Value: "changed"})
		return true
	}
	switch yesNo(in) { // "changed?" "no"
	case "no", "none":
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	case "yes":
		t.record(&AnswerFact{Question: QGears, Value: "changed"})
		return true
	case "not_sure":
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return true
	}
	return false
}

// nothingChanged says of the gears beside the fitted tyre that nothing was changed,
// without naming them.
var nothingChanged = regexp.MustCompile(`(?i)\b(?:(?:all|everything|the rest) )?(?:unchanged|(?:\w\w )?built)\b`)

func alsoGears(t *turn, in *input) {
	m, ok, _ := understand.FindGears(in.Text)
	if at := nothingChanged.FindStringIndex(in.Text); !ok && at != nil && t.s.Phase == PhaseFitted {
		in.take(at[0], at[1])
		t.recordGears(understand.Gears{Unchanged: true})
		return
	}
	if !ok || m.Value.Unknown {
		return
	}
	in.take(m.Start, m.End)
	t.recordGears(m.Value)
}

func (t *turn) recordGears(g understand.Gears) {
	if g.Unchanged {
		t.record(&AnswerFact{Question: QGears, Value: "unchanged"})
		return
	}
	t.record(&AnswerFact{Question: QGears, Value: "changed"})
	if g.Factory > 0 {
		t.record(&AnswerFact{Question: QRatio, About: "factory", Number: g.Factory})
	}
	if g.Now > 0 {
		t.record(&AnswerFact{Question: QRatio, About: "now", Number: g.Now})
	}
}

func takeRatio(t *turn, in *input) bool {
	m, ok, _ := understand.FindGears(in.Text)
	if !ok || m.Value.Factory == 0 || m.Value.Now == 0 {
		return false
	}
	in.take(m.Start, m.End)
	t.recordGears(m.Value)
	return true
}

func takeSensing(t *turn, in *input) bool {
	if in.Choice != "" {
		t.record(&AnswerFact{Question: QSensing, Value: in.Choice})
		return true
	}
	if t.recordedBy(alsoSensing, in) {
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.NotSure {
		t.record(&AnswerFact{Question: QSensing, Value: "not_known"})
		return true
	}
	return false
}

func alsoSensing(t *turn, in *input) {
	if m, ok, _ := understand.SpeedFrom(in.Text); ok && t.s.Value(QGears) == "changed" {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QSensing, Value: m.Value})
	}
}

// asksAxleSetting: other gears, speed not taken at the wheels, and ratios that
// a setting could hold (calibration method, section 2, 5).
func (s *State) asksAxleSetting() bool {
	m := s.Main()
	return s.Value(QGears) == "changed" && s.Value(QSensing) != "wheels" && s.ratio("factory") > 0 && s.ratio("now") > 0 &&
		m != nil && m.Kind != string(calib.AxleRatio) && s.Writes() == 0
}

func (s *State) ratio(which string) float64 { return s.Answers[Key{QRatio, which}].Number }

func askAxleSetting(t *turn) {
	t.ask(QAxleSet, "", "target.axle-setting", words.Args{"From": ratioFigure(t.s.ratio("factory")), "To": ratioFigure(t.s.ratio("now"))}, "yes", "no")
}

// ratioFigure prints an axle ratio as it is marked: two decimals at least.
func ratioFigure(v float64) string {
	return unit.Figure(v, max(2, unit.Decimals(v)))
}

func takeAxleSetting(t *turn, in *input) bool {
	v := in.Choice
	if a, ok := understand.YesNo(in.Text); v == "" && ok {
		switch a.Value {
		case understand.Yes:
			v = "yes"
		default:
			v = "no"
		}
		in.take(a.Start, a.End)
	}
	if v == "" {
		return false
	}
	t.record(&AnswerFact{Question: QAxleSet, Value: v})
	old := ""
	if g := t.s.Target(t.s.mainName()); g != nil {
		old = t.figure(g.Value)
	}
	if v == "yes" {
		t.retarget(old)
	}
	return true
}
