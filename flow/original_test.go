package flow

import "testing"

// The value that recover puts back is what was in the module before the first
// write: another stored value told later moves the figures alone, but for a yes.
func TestOriginalAfterWrite(t *testing.T) {
	p := written(t, Policy{}).lines("took", "2596", "none", "change the stored value to 2450 mm").asks(QPutBack)
	p.said("2438 mm was noted", "2450 mm instead")
	p.lines("maybe").asks(QPutBack).lines("no").said("Recover puts back 2438 mm")
	if m := p.s.Main(); m.Restore() != Number(2438) || m.Factory() != Number(2450) {
		t.Errorf("goes back %v, counts from %v", m.Restore(), m.Factory())
	}
	p.lines("recover", "48210").asks(QWritten).said("2596 to 2438").lines("2438", "none", "48210").at(PhaseClosed).said("Restored: 2438 mm")

	q := written(t, Policy{}).lines("took", "2596", "none", "change the stored value to 2450 mm").tap("yes").said("Recover puts back 2450 mm")
	q.lines("recover", "48210").asks(QWritten).said("2596 to 2450")
}

// The same where the write is in the air, where it never took, and by an edit.
func TestOriginalInTheAir(t *testing.T) {
	p := written(t, Policy{}).lines("took", "change the stored value to 2450 mm").asks(QReadBack).lines("2596").asks(QPutBack)
	p.lines("no", "recover", "48210").asks(QWritten).said("2596 to 2438")

	q := written(t, Policy{}).lines("broke off", "recover", "change the stored value to 2450 mm").asks(QPutBack)
	q.lines("no", "48210").asks(QWritten).said("2438 once more")
}

// Before anything was written it is a plain correction.
func TestOriginalBeforeWrite(t *testing.T) {
	p := bay(t, Policy{}).lines("change the stored value to 2450 mm").asks(QFirst)
	if m := p.s.Main(); m.Restore() != Number(2450) {
		t.Errorf("goes back %v", m.Restore())
	}
	written(t, Policy{}).lines("refused, value out of range", "change the stored value to 2450 mm").asks(QFirst)
}

// One that cannot be the size's is doubted after a write as before one.
func TestOriginalDoubtedAfterWrite(t *testing.T) {
	p := written(t, Policy{}).lines("took", "2596", "none", "change the stored value to 2600 mm").asks(QEntry).said("1.031 of pi x diameter")
	p.lines("mistyped").asks(QStored).lines("2438 mm").at(PhaseDrive).asks(QDrive)
	if m := p.s.Main(); m.Restore() != Number(2438) || m.Factory() != Number(2438) {
		t.Errorf("%+v", m)
	}
	q := written(t, Policy{}).lines("took", "2596", "none", "change the stored value to 2600 mm", "2600 mm").asks(QPutBack).lines("no")
	if m := q.s.Main(); m.Restore() != Number(2438) {
		t.Errorf("%+v", m)
	}
}
