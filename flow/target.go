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

// targetPhase gives the first value to write, with its uncertainty, what the
// dash shows without it, and the choice to drive first.
func targetPhase() phaseOf {
	return phaseOf{Questions: []question{
		{ID: QAxleSet, When: (*State).asksAxleSetting, Ask: askAxleSetting, Take: takeAxleSetting,
			Why: "why.axle-setting", Hint: "hint.yes-no"},
		lampQuestion(),
		{ID: QFirst, When: (*State).asksFirst, Done: (*State).firstAnswered, Ask: askFirst, Take: takeFirst,
			Why: "why.first", Help: "help.first", Hint: "hint.first"},
		stopQuestion(), // found by its name from every phase
	}, Enter: func(t *turn) { t.aim() }, Next: nextTarget}
}

// lampQuestion waits for a warning that forbids the road to be looked at,
// where someone wants to drive before the first write.
func lampQuestion() question {
	q := codesQuestion(func(s *State) bool { return s.Value(QFirst) == "drive_first" && !s.roadOpen() })
	q.Done = (*State).roadOpen
	return q
}

func (s *State) roadOpen() bool {
	open, _ := gateOpen(s, GateRoad)
	return open
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

// aim works out the target and says it. False: there is none.
func (t *turn) aim() bool {
	a, ok := t.assess(len(t.s.Readings) == 0)
	if !ok {
		return false
	}
	t.aimAtKnown(&a)
	t.recordDecision(a)
	if a.Target == nil || a.Decision.Do == calib.Ask && a.Decision.Reason == calib.ReasonEntryUnit {
		return false // the question says why
	}
	t.recordTargets(a)
	t.recordErrors(a, flowValue(a.Target.Value))
	t.sayWarnings(a)
	t.sayTarget(a)
	t.caution("law", false)
	return true
}

// retarget works the target out again after an amended answer and says how it
// has moved.
func (t *turn) retarget(old string) {
	a, ok := t.assess(len(t.s.Readings) == 0)
	if !ok {
		return
	}
	t.recordDecision(a)
	if a.Target == nil {
		return
	}
	t.recordTargets(a)
	t.recordErrors(a, flowValue(a.Target.Value))
	now := t.figure(flowValue(a.Target.Value))
	args := words.Args{"From": old, "To": now, "Nothing": len(t.s.Changes) == 0, "Stored": t.figure(t.s.Main().Now)}
	switch {
	case old == "":
		t.sayTarget(a)
	case old == now:
		t.understood("target.stays", args)
	default:
		t.understood("target.moves", args)
	}
	t.sayWarnings(a)
}

// sayTarget says the value first, where it comes from, and what the dash and
// the odometer do without it.
func (t *turn) sayTarget(a assessed) {
	m, g := t.s.Main(), t.s.Target(t.s.mainName())
	var at, shown []float64
	for _, e := range t.s.Errors.Errors {
		at = append(at, e.At)
		shown = append(shown, math.Round(e.At+t.shownAt(a, m.Now, e)))
	}
	short := a.Model.Effects().OdometerShort
	args := words.Args{
		"Value": figureOf(m, g.Value), "Unit": unitOf(m), "Low": boundOf(m, g.Low), "High": boundOf(m, g.High),
		"Now": figureOf(m, m.Now), "At": speedList(at), "Shown": speedList(shown), "Speed": t.speedUnit(),
		"Percent": unit.Figure(math.Abs(short)*100, 1), "Short": short > 0, "Even": math.Abs(short) < 0.0005,
		"Down": t.goesDown(), "Smaller": g.Value.Num < m.Now.Num, "List": m.Kind == string(calib.SizeList),
		"Sources": t.sources(), "Same": g.Value == m.Now, "Read": len(t.s.Readings) > 0, "Limited": g.Limited,
	}
	key := "target.value"
	if v, known := t.s.knownValue(); known && v == g.Value && v != m.Now {
		key = "target.known"
	}
	t.say(Result, key, args)
	t.sayModules()
}

// shownAt is the dash's error at a speed with a value, 0 where it can't be
// worked out.
func (t *turn) shownAt(a assessed, v Value, e SpeedError) float64 {
	mean, _, err := a.Model.ErrorAt(calibValue(v), e.At)
	if err != nil {
		return e.Before
	}
	return mean
}

// goesDown says whether the value gets smaller for a larger tyre.
func (t *turn) goesDown() bool {
	m := t.s.Main()
	q, ok := calib.QuantityOf(calib.Kind(m.Kind))
	if m.Kind == string(calib.Percent) {
		return m.Direction == string(calib.Down)
	}
	return ok && q.Direction == calib.Down
}

// sources names what the target was worked out from.
func (t *turn) sources() string {
	parts := []string{t.text(t.worker(), "source.sizes", nil)}
	if v, ok := t.s.Num(QRevs); ok && v > 0 {
		parts = append(parts, t.text(t.worker(), "source.revs", nil))
	}
	if v, ok := t.s.Num(QRollout); ok && v > 0 {
		parts = append(parts, t.text(t.worker(), "source.rollout", nil))
	}
	if len(t.s.Readings) > 0 {
		parts = append(parts, t.text(t.worker(), "source.readings", nil))
	}
	return joinAnd(parts)
}

// joinAnd joins words: a, b and c.
func joinAnd(parts []string) string {
	switch n := len(parts); n {
	case 0:
		return ""
	case 1:
		return parts[0]
	default:
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
}

// sayModules lists the value of each further module.
func (t *turn) sayModules() {
	if len(t.s.Modules) < 2 {
		return
	}
	var parts []string
	for i := range t.s.Modules {
		m := &t.s.Modules[i]
		if g := t.s.Target(m.Name); g != nil {
			parts = append(parts, t.moduleWord(m.Name)+" "+figureOf(m, m.Now)+" → "+withUnit(m, g.Value))
		}
	}
	t.say(Result, "target.modules", words.Args{"List": strings.Join(parts, ", "), "N": len(parts)})
}

// sayWarnings says what the method warns of beside the value. Those that are
// questions or decisions of their own are said where they are asked.
func (t *turn) sayWarnings(a assessed) {
	for _, w := range a.Warnings {
		key := "warn." + string(w.Code)
		switch w.Code {
		case calib.BelowTrue, calib.AtLimit, calib.SymbolCap, calib.EntryMismatch, calib.AboveRule,
			calib.OdometerDiffers, calib.BetweenSteps, calib.OffsetSeen:
			if w.Code == calib.BetweenSteps && (a.Decision.Reason == calib.ReasonWithin || a.Decision.Reason == calib.ReasonAsGood) {
				continue // another value would come closer, and need not
			}
			if w.Code == calib.OffsetSeen && a.Decision.Do != calib.Done && a.Decision.Do != calib.CannotFix {
				continue
			}
			t.say(Notice, key, t.warnArgs(a, w))
		}
	}
}

func (t *turn) warnArgs(a assessed, w calib.Warning) words.Args {
	args := words.Args{"Text": upperFirst(w.Text), "Symbol": t.s.Sizes["fitted"].SpeedSymbol, "W": speedFigure(a.W), "Unit": t.speedUnit(),
		"Offset": unit.Signed(a.Estimate.Offset, 1)}
	return args
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// offersDrive says whether a drive before the first write is worth it: sizes
// within 10 %, nothing read or written yet.
func (s *State) offersDrive() bool {
	do, _ := s.decided()
	return do == string(calib.Read) || math.Abs(s.difference()) <= 0.10 && len(s.Readings) == 0 && s.Writes() == 0
}

// asksFirst: the person is asked where there is a choice, or where no target
// can be given. At home the helper has the choice, at the hold.
func (s *State) asksFirst() bool {
	do, _ := s.decided()
	if do == string(calib.Ask) || do == string(calib.Read) {
		return true
	}
	if _, known := s.knownValue(); known {
		return false
	}
	return s.offersDrive() && !s.Home()
}

// firstAnswered: an answer counts for the target it was given for.
func (s *State) firstAnswered() bool {
	do, _ := s.decided()
	if do == string(calib.Ask) {
		return false
	}
	a, ok := s.Answers[Key{QFirst, ""}]
	return ok && a.Number == float64(len(s.Targets))
}

func askFirst(t *turn) {
	do, reason := t.s.decided()
	about := strconv.Itoa(len(t.s.Targets)) + "." + t.s.decidedAbout()
	args := words.Args{"Percent": strings.TrimSuffix(unit.Figure(math.Abs(t.s.difference())*100, 1), ".0"), "Big": math.Abs(t.s.difference()) > 0.03,
		"Because": upperFirst(t.s.Decision.Because)}
	switch {
	case do == string(calib.Ask):
		key := "target.ask." + reason
		if !catalogue().Has(key) {
			key = "target.ask.other"
		}
		t.ask(QFirst, about, key, args, "check_again", "stop_job")
	case do == string(calib.Read):
		t.ask(QFirst, about, "target.drive-only", args, "drive_first")
	default:
		t.ask(QFirst, about, "target.first", args, "drive_first", "write")
	}
}

func takeFirst(t *turn, in *input) bool {
	do, _ := t.s.decided()
	choice := in.Choice
	c, isCommand := t.heard(in.Text)
	if choice == "" && isCommand {
		switch c.Value.Name {
		case understand.CmdDriveFirst, understand.CmdGo:
			choice = "drive_first"
		case understand.CmdWrite, understand.CmdGoOn:
			choice = "write"
		}
	}
	if do == string(calib.Ask) {
		switch choice {
		case "check_again":
			t.aim()
			return true
		case "stop_job":
			return t.stop(command{}, in)
		}
		return false
	}
	if choice == "" {
		if a, ok := understand.YesNo(in.Text); ok && a.Value == understand.Yes && do == string(calib.Read) {
			choice = "drive_first"
		}
	}
	switch choice {
	case "write":
		if do == string(calib.Read) {
			return false
		}
		if v, ok := t.typedValue(c.Value.Arg, t.s.Main()); ok && !t.sameValue(t.s.Main(), v, t.s.Target(t.s.mainName()).Value) {
			t.hint("target.other", words.Args{"Said": figureOf(t.s.Main(), v), "Value": t.toWrite()})
			return true
		}
		t.answerFirst("write")
		in.Text = ""
		return true
	case "drive_first":
		t.answerFirst("drive_first")
		in.Text = ""
		return true
	}
	// Readings someone already has are a drive at the factory value.
	if ms, _ := understand.Readings(in.Text, t.context()); len(ms) > maxAtOnce {
		t.hint("drive.too-many", words.Args{"Number": len(ms), "Most": maxAtOnce})
		return true
	} else if len(ms) > 0 {
		t.answerFirst("drive_first")
		t.beginFirstDrive()
		if t.move(EvDriveFirst) {
			t.planDrive()
			if t.readingsToo(in) && t.s.CurrentDrive() != nil {
				t.typedWithoutGo()
			}
		}
		return true
	}
	return false
}

func (t *turn) answerFirst(v string) {
	t.record(&AnswerFact{Question: QFirst, Value: v, Number: float64(len(t.s.Targets))})
}

// writeInstead goes back to writing first: the drive before the first write was
// chosen and nobody has set off. It says whether the message asked for that.
func (t *turn) writeInstead(in *input) bool {
	s, d := t.s, t.s.CurrentDrive()
	c, ok := t.command(in.Text)
	if !ok || c.Name != understand.CmdWrite || s.Phase != PhaseDrive || d == nil || d.Started || s.readingsOn(d.Drive) > 0 ||
		s.Value(QFirst) != "drive_first" || !s.firstAnswered() || s.allAgree() {
		return false
	}
	m, g := s.Main(), s.Target(s.mainName())
	if a, ok := t.assess(len(s.Readings) == 0); !ok || g == nil || a.Decision.Do != calib.Write {
		return false // without a drive there is no value to write
	}
	if v, ok := t.typedValue(c.Arg, m); ok && !t.sameValue(m, v, g.Value) {
		t.hint("target.other", words.Args{"Said": figureOf(m, v), "Value": t.toWrite()})
		return true
	}
	t.record(&DriveFact{Drive: d.Drive, What: "dropped", Value: d.Value})
	if t.move(EvRetarget) {
		t.answerFirst("write")
		t.advance()
	}
	in.Text = ""
	return true
}

// beginFirstDrive records the decision to drive before writing.
func (t *turn) beginFirstDrive() {
	t.record(&DecisionFact{Do: string(calib.Read), Near: t.workSpeed(), Because: "drive first", Reason: "drive_first",
		Method: calib.Method, Program: t.env.Program})
}

func nextTarget(t *turn) Event {
	g := t.s.Target(t.s.mainName())
	if g == nil {
		if t.aim() && !t.s.asksFirst() {
			return nextTarget(t)
		}
		if q := t.due(phases()[PhaseTarget]); q != nil {
			q.Ask(t)
		}
		return ""
	}
	switch {
	case t.s.Value(QFirst) == "drive_first" && t.s.firstAnswered():
		t.beginFirstDrive()
		return EvDriveFirst
	case t.s.allAgree() && t.s.pendingAxle() == nil:
		t.understood("target.already", words.Args{"Value": t.figure(g.Value)})
		t.beginFirstDrive()
		return EvDriveFirst
	}
	if do, _ := t.s.decided(); do != string(calib.Write) {
		t.record(&DecisionFact{Do: string(calib.Write), Value: g.Value, Because: "the target moved", Reason: string(calib.ReasonFirstTarget),
			Method: calib.Method, Program: t.env.Program})
	}
	return EvWrite
}
