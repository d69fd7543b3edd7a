package flow

import (
	"regexp"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

func takeRevs(t *turn, in *input) bool {
	return t.recordedBy(alsoRevs, in)
}

// publishedWords say that revolutions are the tyre maker's figure.
var publishedWords = regexp.MustCompile(`(?i)\b(publish|maker|manufacturer|data ?sheet|tyre|tire)`)

// alsoRevs takes the tyre maker's published revolutions per mile: beside
// the fitted tyre, or where the words say that they are the maker's.
func alsoRevs(t *turn, in *input) {
	open := t.s.Asked != nil && t.s.Asked.Question == QRevs
	if !open && t.s.Phase != PhaseFitted && t.s.Phase != PhaseTarget && !publishedWords.MatchString(in.Text) {
		return
	}
	if m, ok, _ := understand.PublishedRevs(in.Text); ok {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QRevs, Number: m.Value, Unit: "rev/mile"})
		t.understood("echo.revs", words.Args{"Value": plainFigure(m.Value)})
	}
}

func takeRollout(t *turn, in *input) bool {
	return t.recordedBy(alsoRollout, in)
}

// alsoRollout takes a measured rollout, mm per turn.
func alsoRollout(t *turn, in *input) {
	if m, ok, _ := understand.Rollouts(in.Text); ok {
		in.take(m.Start, m.End)
		t.record(&AnswerFact{Question: QRollout, Number: round(m.Value, 1), Unit: "mm"})
		t.understood("echo.rollout", words.Args{"Value": unit.Figure(m.Value, 0)})
	}
}
