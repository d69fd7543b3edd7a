package flow

import (
	"milepost/calib"
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
	t.goodAsIs(a)
	t.recordErrors(a, t.s.Target(t.s.mainName()).Value)
	now := t.figure(t.s.Target(t.s.mainName()).Value)
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

// goodAsIs leaves the value that is stored where the readings say that it is
// done: then there is nothing to write, however the target moved.
func (t *turn) goodAsIs(a assessed) {
	m := t.s.Main()
	if a.Decision.Do != calib.Done || len(t.s.Modules) > 1 || len(t.s.Readings) == 0 {
		return
	}
	g := *t.s.Target(m.Name)
	g.Value, g.Limited = m.Now, ""
	t.record(&g)
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
