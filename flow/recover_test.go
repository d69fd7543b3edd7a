package flow

import "testing"

func TestRecoverBay(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50", "parked none").asks(QNext).lines("recover").at(PhaseRecover).asks(QOdoNow)
	p.lines("48215").asks(QWritten).said("2596 to 2438").lines("took", "2438").asks(QCodesNow).lines("none").asks(QOdoNow)
	p.lines("48215").at(PhaseClosed).said("Restored: 2438 mm", "Closed as restored")
	if p.s.Stopped != "restored" || !p.s.Restored || p.s.changed() {
		t.Errorf("%q %v", p.s.Stopped, p.s.Main().Now)
	}
	if c := p.s.Changes[1]; c.Why != "restore" || !c.Took {
		t.Errorf("%+v", c)
	}
}

func TestRecoverFromClosedReopens(t *testing.T) {
	p := checked(t, Policy{}).lines("70/70 60/60 50/50", "parked none", "close", "all yes", "no").at(PhaseClosed)
	p.lines("hello").said("Job J1 is closed")
	p.lines("recover").at(PhaseRecover).said("open again")
	if p.s.Reopened != 1 || p.s.Stopped != "" {
		t.Errorf("%d %q", p.s.Reopened, p.s.Stopped)
	}
	p.lines("not known", "2438", "none", "not known").at(PhaseClosed)
	q := checked(t, Policy{}).lines("70/70 60/60 50/50", "parked none", "close", "all yes", "no", "reopen").at(PhaseReview).asks(QNext)
	if q.s.Reopened != 1 {
		t.Errorf("%d", q.s.Reopened)
	}
}

func TestRecoverBeforeAnything(t *testing.T) {
	p := playFrom(t, Policy{}, &PersonFact{Who: "1", Role: Technician}, &PhaseFact{Phase: PhaseFactory, Event: EvReady})
	tr := &turn{s: p.s, env: &p.env, m: &Message{Role: Technician, Who: "1"}}
	if tr.s.Phase = PhaseFactory; can(PhaseFactory, EvRecover) {
		t.Error("recover before a backup")
	}
}

// A write that broke off: the module is written though the old value was the
// last one known.
func TestRecoverAfterBroken(t *testing.T) {
	p := written(t, Policy{}).lines("broke off", "recover").at(PhaseRecover).lines("48215").asks(QWritten).said("2438")
	p.lines("took", "2438", "none", "48215").at(PhaseClosed)
}

// The whole backup only where the value alone does not cure it, into the very
// module.
func TestRecoverWholeBackup(t *testing.T) {
	p := written(t, Policy{}).lines("2596", "P0500").tap("recover").lines("48215", "2438", "P0500").asks(QCured)
	p.said("hash ends a902 51c4", "very module it came from")
	p.lines("whole backup").asks(QSameUnit).said("Part and serial number").lines("yes").asks(QWritten).said("whole backup into that very module")
	p.lines("took", "2438").asks(QCodesNow).lines("none", "48215").at(PhaseClosed)

	q := written(t, Policy{}).lines("2596", "P0500").tap("recover").lines("48215", "2438", "P0500", "whole backup", "no").asks(QOdoNow)
	q.said("Then the backup is not written")

	r := written(t, Policy{}, &BackupFact{Attested: true, ValuesOnly: true})
	r.s.Backups = r.s.Backups[1:]
	if r.s.wholeBackup() != nil {
		t.Error("values only is no backup to write back")
	}
}

func TestRecoverAtHomeIsHeld(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer).lines("2596", "P0500").tap("recover")
	p.lines("77000").asks(QHold).said("restore 2438").as("2", Helper).lines("release").as("1", Customer)
	p.lines("2438", "P0500").asks(QCured).as("2", Helper).lines("whole backup").asks(QSameUnit)
}

func TestRecoverDoesNotTake(t *testing.T) {
	p := written(t, Policy{}).lines("2596", "none", "recover", "48215", "took", "2596").asks(QWritten).said("still holds 2596")
	p.lines("2438").asks(QCodesNow)
}

func TestRecoverValuesOnly(t *testing.T) {
	facts := []Fact{}
	for _, f := range bayFacts() {
		if _, ok := f.(*BackupFact); ok {
			f = &BackupFact{Attested: true, ValuesOnly: true}
		}
		facts = append(facts, f)
	}
	p := playFrom(t, Policy{}, facts...).lines("ok", "write", "2596", "P0500").tap("recover")
	p.lines("48215", "2438", "P0500").asks(QCured).said("Only values were kept").lines("whole backup").asks(QCured)
	p.tap("read_again").asks(QCodesNow).lines("P0500").asks(QCured).lines("to a workshop").asks(QOdoNow)
	p.lines("48215").at(PhaseClosed).said("Codes stay")
}
