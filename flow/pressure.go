package flow

import (
	"math"
	"regexp"

	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

func takePressure(t *turn, in *input) bool {
	if in.Choice == "placard" {
		t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
		return true
	}
	if now := t.s.Answers[Key{QPressure, "now"}]; t.s.Asked != nil && t.s.Asked.About == "placard" && now.Number > 0 {
		if v, ok := understand.Bare(in.Text); ok {
			in.Text = plainFigure(v) + " " + now.Unit // in the unit of the pressure just given
		}
	}
	if t.recordedBy(alsoPressure, in) {
		a := t.s.Answers[Key{QPressure, ""}]
		if percent := unit.Figure(math.Abs(a.Number-1)*100, 0); a.Value == "measured" && percent != "0" {
			t.understood("echo.pressure", words.Args{"Percent": percent, "Over": a.Number > 1})
		}
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok {
		if a.Value == understand.Yes {
			t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
			return true
		}
		t.record(&AnswerFact{Question: QPressure, Value: "not_known"})
		return true
	}
	return false
}

// placardAlone is the pressure beside the fitted tyre, in a row of answers.
var placardAlone = regexp.MustCompile(`(?i)(?:^|[,;.])\s*((?:as on (?:the )?|at )?(?:placard|sticker))\s*(?:$|[,;.])`)

// alsoPressure takes the cold pressure, as a ratio to the placard's.
func alsoPressure(t *turn, in *input) {
	m, ok, _ := understand.Pressures(treadText(in.Text))
	if at := placardAlone.FindStringSubmatchIndex(in.Text); !ok && at != nil && t.s.Phase == PhaseFitted {
		in.take(at[2], at[3])
		t.record(&AnswerFact{Question: QPressure, Number: 1, Unit: "ratio", Value: "placard"})
		return
	}
	if !ok {
		return
	}
	in.take(m.Start, m.End)
	if r, ok := m.Value.Ratio(); ok {
		t.record(&AnswerFact{Question: QPressure, Number: round(r, 3), Unit: "ratio", Value: "measured"})
		return
	}
	// One pressure only: the placard's is asked for, with the unit it was typed in.
	now := t.s.Answers[Key{QPressure, "now"}]
	if now.Number > 0 && now.Unit == m.Value.Unit {
		t.record(&AnswerFact{Question: QPressure, Number: round(now.Number/m.Value.Value, 3), Unit: "ratio", Value: "measured"})
		return
	}
	t.record(&AnswerFact{Question: QPressure, About: "now", Number: m.Value.Value, Unit: m.Value.Unit})
	t.ask(QPressure, "placard", "fitted.pressure.placard", words.Args{"Value": m.Echo}, "placard")
}
