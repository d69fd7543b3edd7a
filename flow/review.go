package flow

import (
	"math"
	"strconv"
	"strings"

	"milepost/calib"
	"milepost/calib/unit"
	"milepost/flow/understand"
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

// asksNext: decisions that a person carries on from. To write and to read are
// gone on with at once: hold and drive have questions of their own.
func (s *State) asksNext() bool {
	do, reason := s.decided()
	switch do {
	case string(calib.Done), string(calib.CannotFix):
		return true
	case string(calib.Ask):
		return reason != string(calib.ReasonOdometerShort)
	}
	return false
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

func askNext(t *turn) {
	s := t.s
	do, reason := s.decided()
	args := t.reviewArgs()
	about := s.decidedAbout()
	switch do {
	case string(calib.Done):
		t.warnOnce()
		key := "review.done"
		if reason == string(calib.ReasonAsGood) {
			key = "review.best"
		}
		t.tellHelper(key, args)
		t.ask(QNext, about, key, args, "close", "one_more", "note")
	case string(calib.CannotFix):
		t.warnOnce()
		t.tellHelper("review.cannot."+cannotKey(reason), args)
		t.ask(QNext, about, "review.cannot."+cannotKey(reason), args, "close", "recover", "note")
	default:
		t.askAbout(reason, about, args)
	}
}

// tellHelper says a result to the helper of a job at home in trade words, the
// first time it stands.
func (t *turn) tellHelper(key string, args words.Args) {
	if a := t.s.Asked; t.s.Home() && t.m.Role != Helper && (a == nil || a.Question != QNext) {
		t.tell(Helper, Result, key, args)
	}
}

func cannotKey(reason string) string {
	switch calib.Reason(reason) {
	case calib.ReasonLimit, calib.ReasonOffset:
		return reason
	}
	return "step"
}

// askAbout asks what is behind a decision to ask.
func (t *turn) askAbout(reason, about string, args words.Args) {
	switch calib.Reason(reason) {
	case calib.ReasonUnitMix:
		t.ask(QNext, about, "review.unit_mix", args, "convert", "new_drive")
	case calib.ReasonDidNotTake:
		t.ask(QNext, about, "review.did_not_take", args)
	case calib.ReasonContradict:
		t.ask(QNext, about, "review.contradict", args, "new_drive")
	case calib.ReasonEntryUnit, calib.ReasonSizeMismatch:
		t.ask(QNext, about, "target.ask."+reason, args, "check_again", "stop_job")
	case calib.ReasonManyReadings, calib.ReasonManyWrites:
		t.ask(QNext, about, "review.too_many", args, "close", "recover")
	default:
		t.ask(QNext, about, "target.ask.other", args, "check_again", "stop_job")
	}
}

// warnOnce says the warnings that belong to an end, before it.
func (t *turn) warnOnce() {
	a, ok := t.assess(false)
	if ok {
		t.sayWarnings(a)
	}
}

func takeNext(t *turn, in *input) bool {
	choice := in.Choice
	c, ok := t.heard(in.Text)
	if choice == "" && ok {
		choice = map[string]string{understand.CmdClose: "close", understand.CmdOneMore: "one_more", understand.CmdGo: "one_more",
			understand.CmdRecover: "recover", understand.CmdGoOn: "close"}[c.Value.Name]
	}
	do, reason := t.s.decided()
	if reason == string(calib.ReasonDidNotTake) {
		if v, ok := t.typedValue(in.Text, t.s.Main()); ok {
			in.Text = ""
			t.lateReadBack(v)
			return true
		}
	}
	if choice == "" {
		if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.Yes {
			switch {
			case reason == string(calib.ReasonUnitMix):
				choice = "convert"
			case do == string(calib.Done):
				choice = "close"
			}
		}
	}
	switch choice {
	case "close":
		if do == string(calib.Ask) && reason != string(calib.ReasonManyReadings) && reason != string(calib.ReasonManyWrites) {
			return false
		}
		t.record(&AnswerFact{Question: QNext, Value: "close"})
		t.finish()
	case "one_more", "new_drive":
		t.record(&AnswerFact{Question: QNext, Value: "one_more"})
		t.moreReadings()
	case "recover":
		t.goRecover()
	case "note":
		t.hint("review.note", nil)
	case "convert":
		t.convertAll()
	case "check_again":
		t.reviewAgain()
	case "stop_job":
		return t.stop(command{}, in)
	default:
		if t.readingsToo(in) { // a reading typed late is a reading
			t.reviewAgain()
			return true
		}
		if c := readCodes(in); c.Any() {
			t.recordCodes(c)
			return true
		}
		return t.distances(in) && t.afterDistance()
	}
	return true
}

func (t *turn) afterDistance() bool {
	t.reviewAgain()
	return true
}

// finish goes to the close; the gate wants codes read after the last drive.
func (t *turn) finish() {
	if open, _ := gateOpen(t.s, GateCodes); !open {
		t.move(EvFinish) // refused and recorded
		t.ask(QCodesNow, t.s.codesAbout()+".0", "codes.drive", nil, "none", "some")
		return
	}
	if t.move(EvFinish) {
		if enter := phases()[PhaseClose].Enter; enter != nil {
			enter(t)
		}
	}
}

// moreReadings plans another drive at the value now stored.
func (t *turn) moreReadings() {
	if t.move(EvMore) {
		t.planDrive()
	}
}

// convertAll brings every pair that looks like two units into the dash's.
func (t *turn) convertAll() {
	for i := range t.s.Readings {
		r := t.s.Readings[i]
		if g, ok := convertedGPS(&r); ok && !r.Struck {
			t.record(&StruckFact{Number: r.Number, What: "corrected", Indicated: r.Indicated, Reference: g})
		}
	}
	t.understood("echo.converted", words.Args{"Unit": t.speedUnit()})
	t.reviewAgain()
}

// lateReadBack takes a value read back when the dash behaves as at the old
// one: where it differs, the write did not take and is made again.
func (t *turn) lateReadBack(v Value) {
	m := t.s.Main()
	if t.sameValue(m, v, m.Now) {
		t.understood("review.still-there", words.Args{"Value": t.figure(v)})
		t.moreReadings()
		return
	}
	was := m.Now
	t.record(&ChangeFact{Number: len(t.s.Changes) + 1, Setting: m.Quantity, Before: v, After: was, ReadBack: v, Module: m.Name, Why: "target"})
	t.record(&DecisionFact{Do: string(calib.Write), Value: was, Because: "the module does not hold it", Reason: string(calib.ReasonDidNotTake),
		Method: calib.Method, Program: t.env.Program})
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
