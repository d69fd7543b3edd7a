package flow

import (
	"strings"
	"testing"
)

// gears plays a job up to both writes: the axle ratio first, then the value.
func gears(t *testing.T) *play {
	t.Helper()
	return bay(t, Policy{}, &AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "gearbox"}).
		asks(QAxleSet).lines("yes", "write").said("axle ratio 3.73 to 4.10")
}

// Every setting that was changed goes back, the newest change first.
func TestRecoverAxleRatioToo(t *testing.T) {
	p := gears(t).lines("took", "4.10", "took", "2596", "none", "recover").at(PhaseRecover).said("2 settings go back", "2438 mm and axle ratio 3.73")
	p.lines("48210").asks(QWritten).said("Restore: 2596 to 2438").lines("took", "2438")
	p.asks(QWritten).said("Restore: axle ratio 4.10 to 3.73")
	if p.s.restored() {
		t.Fatal("restored with the ratio still changed")
	}
	p.lines("took").asks(QReadBack).lines("3.73").asks(QCodesNow).lines("none", "48210").at(PhaseClosed).said("Restored: 2438 mm and axle ratio 3.73 read back")
	if was, now := p.s.axle(); was != now || now != Number(3.73) || p.s.changed() {
		t.Errorf("axle %v, was %v", now, was)
	}
	// Read back as it was, it did not go in: it is written again.
	q := gears(t).lines("took", "4.10", "recover", "48210").asks(QWritten).said("axle ratio 4.10 to 3.73")
	q.lines("took", "4.10").asks(QWritten).said("still holds 4.10").lines("took", "3.73").asks(QCodesNow)
	// Nothing to keep where a ratio is known exactly.
	r := gears(t).lines("took", "3.90").asks(QWritten).said("It reads 3.90: not what was meant. Write 4.10 now. A slip")
	r.lines("keep it").asks(QWritten).lines("recover", "48210").asks(QWritten).said("axle ratio 3.90 to 3.73")
}

// A write of the ratio that was left in the air is made again with the old one.
func TestRecoverBrokenAxleRatio(t *testing.T) {
	p := gears(t).lines("broke off", "recover", "48210").asks(QWritten).said("axle ratio 3.73 once more")
	p.lines("took", "3.73").asks(QCodesNow)
	if len(p.s.Broken) != 0 {
		t.Errorf("%v", p.s.Broken)
	}
}

// After going back and taking the job up again the ratio is to be written anew.
func TestAxleRatioAfterRecover(t *testing.T) {
	p := gears(t).lines("took", "4.10", "recover", "48210", "took", "3.73")
	if w := p.s.pendingAxle(); w == nil || w.From != Number(3.73) || w.To != Number(4.1) {
		t.Errorf("%+v", w)
	}
}

// Several modules: the one written last goes back first.
func TestRecoverNewestModuleFirst(t *testing.T) {
	p := bay(t, Policy{},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "engine", Renames: true},
		&StoredFact{Value: Number(660), Unit: "rev/mile", Quantity: "revs_per_mile", KindName: "rev_mile", Which: "factory", Step: 1, Module: "brake"})
	p.lines("write", "2596", "620", "recover", "48210").asks(QWritten).said("620 to 660").lines("took", "660").said("2596 to 2438")
}

// A read-back typed anew belongs to the same change: it is no second write.
func TestReadBackTypedAnew(t *testing.T) {
	p := written(t, Policy{}).lines("took", "2569").asks(QWritten).said("It reads 2569").lines("2596").asks(QCodesNow)
	if c := p.s.Changes; len(c) != 1 || c[0].Number != 1 || !c[0].Took || c[0].Before != Number(2438) || c[0].ReadBack != Number(2596) {
		t.Errorf("%+v", c)
	}
	if len(p.s.openDeviations()) != 0 || p.s.Main().Now != Number(2596) {
		t.Errorf("%v %+v", p.s.Main().Now, p.s.openDeviations())
	}
	q := written(t, Policy{}).lines("took", "2569", "2438").asks(QWritten).said("still holds 2438")
	if len(q.s.Changes) != 1 || len(q.s.openDeviations()) != 0 || q.s.Main().Now != Number(2438) {
		t.Errorf("%+v", q.s.Changes)
	}
	// Said to have been written, it is a write of its own.
	r := written(t, Policy{}).lines("took", "2569", "took", "2596").asks(QCodesNow)
	if len(r.s.Changes) != 2 {
		t.Errorf("%+v", r.s.Changes)
	}
}

// What is asked after a hold is of the restore, not of the write before it.
func TestRestoreAfterStrayedWrite(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer).lines("it worked", "2569").asks(QWritten).said("It shows 2569")
	p.lines("recover", "77000").asks(QHold).as("2", Helper).lines("release").asks(QWritten).said("set 2438 again")
	for _, r := range p.last {
		if r.Kind == Prompt && strings.Contains(r.Text, "mistyped") {
			t.Errorf("%q", r.Text)
		}
	}
}
