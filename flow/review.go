package flow

import (
	"math"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/words"
)

// reviewPhase pools all readings of all drives and makes one decision, said
// first, the reason after.
func reviewPhase() phaseOf {
	return phaseOf{Questions: []question{
		doubtQuestion(func(*State) bool { return true }),
		{ID: QOdoCheck, When: (*State).asksOdometer, Done: (*State).odometerAnswered, Ask: askOdometerCheck, Take: takeOdometerCheck,
			Skip: true, Why: "why.odo-check", Hint: "hint.odo-check"},
		{ID: QDistance, When: (*State).asksDistance, Ask: askDistance, Take: takeDistance,
			Why: "why.distance", Hint: "hint.distance"},
		{ID: QNext, When: (*State).asksNext, Done: func(*State) bool { return false }, Ask: askNext, Take: takeNext,
			Why: "why.next", Help: "help.next", Hint: "hint.next"},
	}, Enter: (*turn).review, Next: nextReview}
}

// review runs the method and records what it says. Readings that do not fit
// are questioned before anything is decided by them.
func (t *turn) review() {
	a, ok := t.assess(false)
	if !ok {
		return
	}
	t.question(a)
	t.recordDecision(a)
	if a.Target != nil && a.Decision.Do == calib.Write {
		t.recordTargets(a)
	}
	shown := t.s.Main().Now
	if a.Decision.Value != nil {
		shown = flowValue(*a.Decision.Value)
	}
	t.recordErrors(a, shown)
	if a.Decision.Do == calib.Ask && (a.Decision.Reason == calib.ReasonManyReadings || a.Decision.Reason == calib.ReasonManyWrites) {
		t.call("too_many", words.Args{"Because": upperFirst(a.Decision.Because)})
	}
}

// reviewAgain decides anew after a reading or an answer has changed.
func (t *turn) reviewAgain() { t.review() }

// question notes readings that have come into doubt only now.
func (t *turn) question(a assessed) {
	for _, n := range a.Readings {
		if !n.Questioned {
			continue
		}
		number := a.Numbers[n.Drive][n.Index]
		r := &t.s.Readings[number-1]
		if r.Struck || r.Questioned || t.s.HasFor(QDoubt, strconv.Itoa(number)) {
			continue
		}
		t.record(&StruckFact{Number: number, What: "questioned", Expected: round(n.Expected, 1)})
	}
}

// reviewArgs are the figures of a decision.
func (t *turn) reviewArgs() words.Args {
	s := t.s
	w := errorAtW(s.Errors.Errors)
	counted, doubtful, kept := 0, 0, 0
	drives := map[int]bool{}
	for i := range s.Readings {
		r := &s.Readings[i]
		if r.Struck || s.repeated(r) {
			continue
		}
		counted++
		drives[r.Drive] = true
		switch {
		case r.Questioned:
			doubtful++
		case s.Answers[Key{QDoubt, strconv.Itoa(r.Number)}].Value == "kept":
			kept++
		}
	}
	var each []string
	for _, e := range s.Errors.Errors {
		each = append(each, speedFigure(e.At)+": "+unit.Signed(unit.RoundTo(e.After, 1), 1)+" ± "+unit.Figure(e.PlusMinus, 1))
	}
	d := s.Decision
	return words.Args{
		"Value": t.figure(d.Value), "Now": t.figure(s.Main().Now), "Unit": t.speedUnit(), "W": speedFigure(w.At),
		"Is": unit.Figure(math.Abs(t.errorNow(w)), 1), "Low": t.errorNow(w) < 0,
		"Will": sided(w.After), "Half": unit.Figure(w.PlusMinus, 1),
		"Errors": strings.Join(each, ", "), "Readings": upperFirst(inWords(counted)), "N": counted,
		"Drives": inWords(len(drives)), "ManyDrives": len(drives) > 1, "Doubtful": doubtful, "Kept": kept, "KeptWord": inWords(kept), "Near": speedFigure(d.Near),
		"Because": upperFirst(d.Because), "Writes": s.Writes(), "Rule": t.accuracyRule(), "Label": s.Main().Kind == string(calib.SizeList),
	}
}

// sided is an error as it is said: so much high or low.
func sided(v float64) string {
	f := unit.Figure(math.Abs(unit.RoundTo(v, 1)), 1)
	switch r := unit.RoundTo(v, 1); {
	case r > 0:
		return f + " high"
	case r < 0:
		return f + " low"
	}
	return f
}

// errorNow is the dash's error at W with the value now stored.
func (t *turn) errorNow(w SpeedError) float64 {
	if t.s.Errors.Value == t.s.Main().Now {
		return w.After
	}
	if t.s.Main().Now == t.s.Main().Factory() {
		return w.Before
	}
	if a, ok := t.assess(false); ok {
		if mean, _, err := a.Model.ErrorAt(calibValue(t.s.Main().Now), w.At); err == nil {
			return mean
		}
	}
	return w.Before
}

// warnOnce says the warnings that belong to an end, before it.
func (t *turn) warnOnce() {
	a, ok := t.assess(false)
	if ok {
		t.sayWarnings(a)
	}
}

// nextReview says what is gone on with at once.
func nextReview(t *turn) Event {
	do, reason := t.s.decided()
	args := t.reviewArgs()
	switch do {
	case string(calib.Write):
		if reason == string(calib.ReasonDidNotTake) {
			return EvWrite
		}
		if t.s.warned(calib.BelowTrue) || t.s.warned(calib.AtLimit) {
			t.warnOnce()
		}
		if t.s.Writes() == 3 {
			t.tell(Supervisor, Notice, "call.three", words.Args{"Name": t.nameOf(t.s.Owner)})
		}
		t.say(Result, "review.write", args)
		return EvWrite
	case string(calib.Read):
		t.say(Result, "review.read."+readKey(reason), args)
		return EvMore
	}
	return ""
}

func readKey(reason string) string {
	switch calib.Reason(reason) {
	case calib.ReasonTooFew, calib.ReasonTooSlow:
		return reason
	}
	return "unsettled"
}
