package flow

import (
	"math"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
	"milepost/flow/words"
)

// asksOdometer: before a write after which the odometer may count short, and
// no comparison yet (calibration method, section 5).
func (s *State) asksOdometer() bool {
	do, _ := s.decided()
	return do == string(calib.Write) && s.warned(calib.OdometerShort) && !s.compared() && s.Value(QDistance) == ""
}

// odometerAnswered: once asked and skipped it is not asked before later writes.
func (s *State) odometerAnswered() bool {
	for k := range s.Answers {
		if k.Question == QOdoCheck {
			return true
		}
	}
	return s.compared()
}

// compared says whether the odometer was set against a track.
func (s *State) compared() bool {
	for i := range s.Drives {
		if s.Drives[i].Track > 0 {
			return true
		}
	}
	return false
}

func askOdometerCheck(t *turn) {
	t.ask(QOdoCheck, t.s.decidedAbout(), "review.odometer", words.Args{"Unit": t.distanceUnit(), "Value": t.toWrite()}, "skip")
}

func takeOdometerCheck(t *turn, in *input) bool {
	if in.File != nil {
		return t.takeTrackFile(in)
	}
	if in.Choice == "skip" {
		t.record(&AnswerFact{Question: QOdoCheck, Skipped: true})
		return true
	}
	if a, ok := understand.YesNo(in.Text); ok && a.Value != understand.Yes && strings.Trim(in.Text[a.End:], " .") == "" {
		t.record(&AnswerFact{Question: QOdoCheck, Skipped: true})
		return true
	}
	if !t.distances(in) {
		return false
	}
	if t.s.compared() {
		t.record(&AnswerFact{Question: QOdoCheck, Value: "compared"})
		t.reviewAgain()
	}
	return true
}

// asksDistance: dash and distance can't both be right.
func (s *State) asksDistance() bool {
	_, reason := s.decided()
	return reason == string(calib.ReasonOdometerShort)
}

func askDistance(t *turn) {
	a, ok := t.assess(false)
	if !ok {
		return
	}
	mm := a.Model.Odometer().CircumferenceMM
	short := 0.0
	if a.Target != nil && a.Target.CircumferenceMM > 0 {
		short = 1 - a.Target.CircumferenceMM/mm
	}
	high := a.W*mm/a.Estimate.CircumferenceMM + a.Estimate.Offset - a.W
	t.ask(QDistance, t.s.decidedAbout(), "review.distance", words.Args{"Percent": unit.Figure(short*100, 1),
		"Dash": unit.Figure(math.Abs(high), 1), "High": high > 0, "W": speedFigure(a.W), "Unit": t.speedUnit(), "Distance": t.distanceUnit()},
		"distance_right", "dash_right")
}

func takeDistance(t *turn, in *input) bool {
	choice := in.Choice
	if choice == "" {
		text := strings.ToLower(in.Text)
		odo, dash := hasWord(text, "distance", "odometer", "odo"), hasWord(text, "dash", "speed", "speedo", "speedometer")
		switch {
		case odo && !dash:
			choice = "distance_right"
		case dash && !odo:
			choice = "dash_right"
		}
	}
	if choice != "distance_right" && choice != "dash_right" {
		return false
	}
	t.record(&AnswerFact{Question: QDistance, Value: choice})
	in.Text = ""
	t.reviewAgain()
	return true
}
