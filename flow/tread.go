package flow

import (
	"milepost/flow/understand"
	"milepost/flow/words"
)

func takeTread(t *turn, in *input) bool {
	if in.Choice == "as_new" || in.Choice == "not_known" {
		t.record(&AnswerFact{Question: QTread, Value: in.Choice})
		return true
	}
	if t.recordedBy(alsoTread, in) {
		if now := t.s.Answers[Key{QTread, ""}]; now.Value == "measured" {
			t.understood("echo.tread", words.Args{"New": plainFigure(round(t.s.Answers[Key{QTread, "new"}].Number, 1)), "Now": plainFigure(round(now.Number, 1))})
		}
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.NotSure {
		t.record(&AnswerFact{Question: QTread, Value: "not_known"})
		return true
	}
	return false
}

// alsoTread takes tread depths, new and now, in mm.
func alsoTread(t *turn, in *input) {
	m, ok, _ := understand.Treads(treadText(in.Text))
	if !ok {
		return
	}
	in.take(m.Start, m.End)
	v := m.Value
	switch {
	case v.New != nil && v.Now != nil:
		t.record(&AnswerFact{Question: QTread, About: "new", Number: *v.New, Unit: "mm"})
		t.record(&AnswerFact{Question: QTread, Number: *v.Now, Unit: "mm", Value: "measured"})
	case v.Unworn:
		t.record(&AnswerFact{Question: QTread, Value: "as_new"})
	case v.New != nil:
		t.record(&AnswerFact{Question: QTread, About: "new", Number: *v.New, Unit: "mm"})
	case v.Now != nil:
		t.record(&AnswerFact{Question: QTread, About: "now", Number: *v.Now, Unit: "mm"})
	}
	n, hasNew := t.s.Answers[Key{QTread, "new"}]
	w, hasNow := t.s.Answers[Key{QTread, "now"}]
	if hasNew && hasNow && !t.s.Has(QTread) {
		t.record(&AnswerFact{Question: QTread, Number: min(w.Number, n.Number), Unit: "mm", Value: "measured"})
	}
}

// treadText is a text without the gears, steps and limits in it, which are no
// tread depths.
func treadText(text string) string {
	if m, ok, _ := understand.FindGears(text); ok {
		text = understand.Mask(text, m.Start, m.End)
	}
	if m, ok, _ := understand.FindLimits(text); ok && m.Value.Any() {
		text = understand.Mask(text, m.Start, m.End)
	}
	return text
}
