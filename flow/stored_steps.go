package flow

import (
	"math"

	"milepost/calib"
	"milepost/flow/understand"
)

func askSteps(t *turn) { t.ask(QSteps, "", "factory.steps", nil, "not_known") }

func takeSteps(t *turn, in *input) bool {
	a, ok := understand.YesNo(in.Text)
	if in.Choice == "not_known" || (ok && a.Value != understand.Yes) {
		t.record(&AnswerFact{Question: QSteps, Value: "not_known"})
		return true
	}
	return t.recordedBy(alsoSteps, in)
}

// alsoSteps takes step and limits where a message names them.
func alsoSteps(t *turn, in *input) {
	if len(t.s.Modules) == 0 {
		return
	}
	l, ok, _ := understand.FindLimits(in.Text)
	if !ok || !l.Value.Any() {
		return
	}
	in.take(l.Start, l.End)
	for i := range t.s.Modules {
		m := t.s.Modules[i]
		if m.Kind == string(calib.SizeList) {
			continue
		}
		f := restate(&m)
		f.Questioned = m.Question
		if l.Value.Step != nil {
			f.Step = m.inUnit(*l.Value.Step)
		}
		if l.Value.Min != nil {
			f.Min = new(m.inUnit(*l.Value.Min))
		}
		if l.Value.Max != nil {
			f.Max = new(m.inUnit(*l.Value.Max))
		}
		if f.Step != m.Step || !samePlace(f.Min, m.Min) || !samePlace(f.Max, m.Max) {
			t.record(f)
		}
	}
	if l.Value.StepUnknown || l.Value.LimitsUnknown {
		t.record(&AnswerFact{Question: QSteps, Value: "not_known"})
	}
}

func samePlace(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return math.Abs(*a-*b) < 1e-9
}
