package flow

import "sync"

// QuestionID names a question for the log. Once written it keeps its meaning.
type QuestionID string

// The questions, in the order in which a job meets them.
const (
	QVehicle   QuestionID = "vehicle"
	QOdoLow    QuestionID = "odometer-below" // is a reading below the last known one right
	QVIN       QuestionID = "vin"
	QPlace     QuestionID = "place"
	QOdometer  QuestionID = "odometer"
	QUnits     QuestionID = "units"
	QRule      QuestionID = "rule"
	QRegulated QuestionID = "regulated"
	QKnown     QuestionID = "known"

	QBefore   QuestionID = "before"       // the checklist before anything
	QLine     QuestionID = "line"         // one line of it, opened by its number
	QVolts    QuestionID = "volts"        // supply voltage
	QCodes    QuestionID = "codes-before" // codes and lamps before the work
	QLampWait QuestionID = "lamp"         // a warning that forbids the road is on

	QPlacard  QuestionID = "placard-size"
	QStored   QuestionID = "stored"
	QQuantity QuestionID = "quantity"    // what the stored value is
	QEntry    QuestionID = "entry"       // doubt about unit or number
	QSteps    QuestionID = "steps"       // step and limits
	QOnly     QuestionID = "only-module" // only this module, never changed before?
	QModules  QuestionID = "modules"     // which others
	QChanged  QuestionID = "changed"     // changed before: the factory value
	QList     QuestionID = "list"        // the list of sizes offered
	QPercent  QuestionID = "percent"     // which way the percentage counts
	QUndo     QuestionID = "undo"        // a value written before its turn, put back
	QBackup   QuestionID = "backup"
	QFitted   QuestionID = "fitted-size"
	QTread    QuestionID = "tread"
	QPressure QuestionID = "pressure"
	QRevs     QuestionID = "published-revs"
	QRollout  QuestionID = "rollout"
	QGears    QuestionID = "gears"
	QRatio    QuestionID = "axle-ratio" // about factory and now
	QSensing  QuestionID = "sensing"
	QDuals    QuestionID = "duals"
	QWinter   QuestionID = "winter"
	QLoad     QuestionID = "load"       // load and speed finding that wants an answer
	QAxles    QuestionID = "axles"      // the other axle
	QBig      QuestionID = "big-change" // more than 15 % is asked again

	QAxleSet  QuestionID = "axle-setting"  // has the module a setting for the axle ratio
	QFirst    QuestionID = "first"         // drive first or write
	QSupply   QuestionID = "supply"        // a supply before a write that waited for one
	QOther    QuestionID = "other-setting" // another setting changed in the same step
	QWritten  QuestionID = "written"       // what the tool said
	QRefused  QuestionID = "refused"       // why it refused
	QReadBack QuestionID = "read-back"
	QCodesNow QuestionID = "codes-after" // codes and lamps after a write or a drive
	QNewCodes QuestionID = "new-codes"   // recover or go on
	QHold     QuestionID = "hold"
	QDrive    QuestionID = "drive"     // go … parked
	QDoubt    QuestionID = "doubt"     // a reading that does not fit
	QNext     QuestionID = "next"      // what the review decided
	QDistance QuestionID = "distance"  // distance right or dash right
	QOdoCheck QuestionID = "odo-check" // odometer against a track
	QClosing  QuestionID = "closing"   // aftercare checklist
	QSignOff  QuestionID = "sign-off"
	QRemind   QuestionID = "remind"
	QOdoNow   QuestionID = "odometer-now" // odometer before and after a restore
	QCured    QuestionID = "cured"        // did restoring the value cure it
	QSameUnit QuestionID = "same-module"  // whole backup into the module it came from
	QAmend    QuestionID = "amend"        // is this edit a change of the answer
	QStop     QuestionID = "stop"         // really stop
	QPutBack  QuestionID = "put-back"     // does recovering put back an original told after a write
)

// question is one thing to be found out: a value, so that a phase reads as the
// list of what it asks.
type question struct {
	ID   QuestionID
	When func(*State) bool        // nil: always
	Done func(*State) bool        // answered; nil: State.Has(ID)
	Ask  func(*turn)              // puts it to the person
	Take func(*turn, *input) bool // the open question reads the message; false: not understood
	Also func(*turn, *input)      // takes an answer from a message that answers another question
	Hint string                   // words key said when Take did not understand
	Why  string                   // words key of the reason
	Help string                   // words key of what to type, "" the general one
	Skip bool                     // may be skipped
	Bare bool                     // a bare number is an answer, not the number of a choice
}

// NumberChooses says whether a number that is typed alone names a choice of a
// question. Where it does not it is an answer of its own: a line of a checklist,
// say, or a depth in mm.
func NumberChooses(id QuestionID) bool {
	q := find(id)
	return q == nil || !q.Bare
}

func (q *question) due(s *State) bool {
	if q.When != nil && !q.When(s) {
		return false
	}
	if s.Answers[Key{q.ID, ""}].Skipped {
		return false
	}
	if q.Done != nil {
		return !q.Done(s)
	}
	return !s.Has(q.ID)
}

// recordedBy says whether the Also of a question found anything to record.
func (t *turn) recordedBy(also func(*turn, *input), in *input) bool {
	n := len(t.entries)
	also(t, in)
	return len(t.entries) > n
}

// phaseOf is what a phase asks, and where it leads when all is answered.
type phaseOf struct {
	Questions []question
	// Next runs when no question of the phase is due. It records conclusions
	// and names the move, or "" to wait where it has asked something itself.
	Next func(*turn) Event
	// Enter runs when the phase begins, before its first question.
	Enter func(*turn)
}

// due gives the first question of a phase that is due, nil if none is.
func (p phaseOf) due(s *State) *question {
	for i := range p.Questions {
		if p.Questions[i].due(s) {
			return &p.Questions[i]
		}
	}
	return nil
}

// phases gives what each phase asks. It is put together once: a phase's
// functions refer to the phases, so it can't be a plain variable.
func phases() map[Phase]phaseOf {
	phaseOnce.Do(func() {
		phaseMap = map[Phase]phaseOf{
			PhaseOpen:    openPhase(),
			PhaseBefore:  beforePhase(),
			PhaseFactory: factoryPhase(),
			PhaseBackup:  backupPhase(),
			PhaseFitted:  fittedPhase(),
			PhaseTarget:  targetPhase(),
			PhaseChange:  changePhase(),
			PhaseDrive:   drivePhase(),
			PhaseReview:  reviewPhase(),
			PhaseClose:   closePhase(),
			PhaseRecover: recoverPhase(),
			PhaseClosed:  closedPhase(),
		}
	})
	return phaseMap
}

var (
	phaseOnce sync.Once
	phaseMap  map[Phase]phaseOf
)
