package flow

import "testing"

// Every choice about a value outside 0.945 to 0.990 (calibration method,
// section 2) can be answered by its words, and the hint names just those.
func TestEntryMismatchAnswers(t *testing.T) {
	doubted := func() *play {
		return factory(t).lines("LT265/70R17 121/118S, 2300 mm circumference, step 1, 1800 to 3000").asks(QEntry)
	}
	doubted().lines("yes").asks(QEntry).said("\"mistyped\", \"changed before\", \"other size\"")
	doubted().lines("mistyped").asks(QStored).lines("2438 mm").asks(QOnly)
	doubted().lines("it was a typo").asks(QStored)
	doubted().lines("2438 mm").asks(QOnly)
	doubted().lines("2300 mm").asks(QOnly).said("Kept as typed")
	doubted().lines("other size").asks(QPlacard).lines("245/75R16").asks(QOnly)
	doubted().lines("245/75R16").asks(QOnly)
	doubted().tap("changed").asks(QChanged)
	doubted().lines("someone changed it before").asks(QChanged)
}

// The value that is to be the factory's is asked about as well.
func TestEntryOfTheRecord(t *testing.T) {
	doubted := func() *play {
		return factory(t).lines("LT265/70R17 121/118S, 2300 mm circumference, step 1, 1800 to 3000", "changed before", "2500").asks(QEntry)
	}
	doubted().lines("what").asks(QEntry).said("\"estimate\"")
	doubted().lines("mistyped").asks(QChanged).lines("2438").at(PhaseBackup)
	p := doubted().lines("estimate").at(PhaseBackup)
	if m := p.s.Main(); !m.Estimated || m.AsFound != Number(2300) {
		t.Errorf("%+v", m)
	}
	p = doubted().lines("2500 mm").at(PhaseBackup)
	if m := p.s.Main(); m.Original != Number(2500) || m.AsFound != Number(2300) {
		t.Errorf("%+v", m)
	}
}

// A value that an amended answer brings into doubt is asked about before the
// target is worked out from it.
func TestEntryAmended(t *testing.T) {
	p := bay(t, Policy{}).lines("change the stored value to 2500").asks(QEntry).said("0.991")
	if g := p.s.Target(""); g.Value != Number(2596) {
		t.Errorf("%+v", g)
	}
	p.lines("2440 mm").asks(QFirst).said("moves from 2596 to 2598")
	bay(t, Policy{}).lines("change the stored value to 2500", "2500 mm").asks(QFirst).said("moves from 2596")
}

// An answer put to the question again moves the target like an amended one.
func TestAnsweredAgain(t *testing.T) {
	p := bay(t, Policy{}).lines("change the new size").asks(QFitted).lines("LT285/70R17 121/118S").asks(QFirst).said("moves from 2596")
	p.lines("back").asks(QFitted).lines("keep").asks(QFirst)
}
