package flow

import (
	"errors"
	"math"
	"slices"
	"strconv"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// This is the one place where the flow meets the method: the state becomes a
// calib.Case (assess_case.go), and an answer becomes entries with the method's
// and the program's version (assess_record.go). Nothing is worked out again on
// reading the log.

// assessed is an answer together with what is needed to speak of it.
type assessed struct {
	calib.Answer
	Model   *calib.Model
	Numbers [][]int // the job's number of each reading, by drive and index of the case
	W       float64
}

// assess runs the method over the state: with first only sizes and
// measurements count, else all readings of all drives. False: the figures
// can't be used, which has been said.
func (t *turn) assess(first bool) (assessed, bool) {
	c, numbers := t.caseOf()
	a := assessed{Numbers: numbers, W: t.workSpeed()}
	err := a.run(c, first)
	var field *calib.FieldError
	switch {
	case errors.As(err, &field):
		t.say(Refusal, "assess.fault", words.Args{"Field": field.Field, "Text": field.Text})
		return a, false
	case err != nil:
		t.fail(err)
		return a, false
	}
	return a, true
}

func (a *assessed) run(c calib.Case, first bool) (err error) {
	if a.Model, err = calib.Fit(c); err != nil {
		return err
	}
	if first {
		a.Answer, err = calib.Target(c)
		return err
	}
	a.Answer, err = a.Model.Review()
	return err
}

// aimPolicy is what a person chose, else what the shop has decided, else none.
func (t *turn) aimPolicy() calib.Policy {
	switch t.s.Value(QDistance) {
	case "distance_right":
		return calib.PolicyDistance
	case "dash_right":
		if t.accuracyRule() == string(calib.RuleNeverUnder) {
			return calib.PolicyNeverUnder
		}
		return calib.PolicyTrue
	}
	return calib.Policy(t.env.Policy.Calib)
}

// accuracyRule is the rule that a person named, else the shop's.
func (t *turn) accuracyRule() string {
	if r := t.s.Value(QRule); r != "" {
		return r
	}
	return t.env.Policy.Rule
}

// inDash turns a speed of the policy into the dash's unit.
func (t *turn) inDash(v float64) float64 {
	return unit.Speed(t.env.Policy.Speed).To(v, unit.Speed(t.speedUnit()))
}

// workSpeed is W: the fastest true speed that policy, the posted limit and the
// tyre's speed symbol allow (calibration method, section 8).
func (t *turn) workSpeed() float64 { return min(t.wantedSpeed(), t.symbolCap()) }

// wantedSpeed is W but for the speed symbol.
func (t *turn) wantedSpeed() float64 {
	w := 70.0
	if t.speedUnit() == string(unit.KMH) {
		w = 110
	}
	if p := t.env.Policy.WorkSpeed; p > 0 {
		w = min(w, math.Floor(t.inDash(p)+0.5))
	}
	if a, ok := t.s.Answers[Key{QDrive, "limit"}]; ok && a.Number > 0 {
		w = min(w, unit.Speed(a.Unit).To(a.Number, unit.Speed(t.speedUnit())))
	}
	return w
}

// decided says what the last decision was: "" before the first.
func (s *State) decided() (do, reason string) {
	if s.Decision == nil {
		return "", ""
	}
	return s.Decision.Do, s.Decision.Reason
}

// decidedAbout names the last decision, so that a tap on an earlier one is
// known as stale.
func (s *State) decidedAbout() string { return strconv.Itoa(s.Decisions) }

// warned says whether the last decision carries a warning.
func (s *State) warned(code calib.Code) bool {
	return s.Decision != nil && slices.Contains(s.Decision.Warnings, string(code))
}

// errorAt gives the recorded error at W, the fastest speed of the list.
func errorAtW(es []SpeedError) SpeedError {
	var w SpeedError
	for _, e := range es {
		if e.At >= w.At {
			w = e
		}
	}
	return w
}
