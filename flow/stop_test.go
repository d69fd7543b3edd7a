package flow

import (
	"strings"
	"testing"
)

// A job stopped with a half-done set says so, as one with a write broken off
// does, and somebody is told.
func TestStopHalfDone(t *testing.T) {
	brake := []Fact{
		&PersonFact{Who: "3", Role: Supervisor},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "cluster", Renames: true},
		&StoredFact{Value: Number(660), Unit: "rev/mile", Quantity: "revs_per_mile", KindName: "rev_mile", Which: "factory", Step: 1, Module: "brake"},
	}
	p := bay(t, Policy{}, brake...).lines("write", "2596").asks(QWritten).lines("stop the job").asks(QStop).said("do not drive", "brake or stability")
	p.tap("stop_job").at(PhaseClosed).said("do not drive", "stopped the job with only some of the modules written", "not to be driven")
	if p.s.Alerts != 1 || !p.s.HalfDone() {
		t.Errorf("%d alerts", p.s.Alerts)
	}
	p.lines("recover").at(PhaseRecover)
	// Nothing of it where nothing is half done.
	bay(t, Policy{}, brake...).lines("write", "stop the job").tap("stop_job").at(PhaseClosed).quiet("drive").said("Stopped; 2438 mm is stored. Job")

	q := written(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("broke off", "stop the job").said("do not drive").tap("stop_job")
	q.at(PhaseClosed).said("A write broke off: do not drive", "with a write broken off")
}

// What was not read back is not said to be stored.
func TestStopUnread(t *testing.T) {
	p := written(t, Policy{}).lines("took", "stop the job").asks(QStop).said("2596 may be in the module already").quiet("2438 mm is stored")
	p.tap("stop_job").at(PhaseClosed).said("was not read back").quiet("is stored")
}

// quiet wants a piece of text in none of the last replies.
func (p *play) quiet(pieces ...string) *play {
	p.t.Helper()
	for _, r := range p.last {
		for _, s := range pieces {
			if strings.Contains(r.Text, s) {
				p.t.Errorf("said: %q in\n%s", s, r.Text)
			}
		}
	}
	return p
}
