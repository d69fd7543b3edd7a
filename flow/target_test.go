package flow

import (
	"math"
	"testing"
)

func TestTargetDriveFirstWithReadings(t *testing.T) {
	p := bay(t, Policy{}).lines("61/65 56/60 47/50 58/62 51/55").asks(QCodesNow)
	if len(p.s.Drives) != 1 || p.s.readingsOn(1) != 5 || p.s.Drives[0].Value != Number(2438) {
		t.Errorf("%+v", p.s.Drives)
	}
	p.lines("none").at(PhaseChange).said("Write 26")
}

func TestTargetWriteByTap(t *testing.T) {
	p := bay(t, Policy{}).tap("write").at(PhaseChange)
	if d := p.s.Decision; d.Do != "write" || d.Value != Number(2596) {
		t.Errorf("%+v", d)
	}
	bay(t, Policy{}).lines("write 2700").asks(QFirst).said("isn't the value worked out")
	bay(t, Policy{}).lines("write 2596").at(PhaseChange)
}

// Sizes over 10 % apart: the first target is written, then driven.
func TestTargetFarSizesWriteAtOnce(t *testing.T) {
	p := bay(t, Policy{}, &SizeFact{Which: "fitted", Text: "37x12.50R17LT", DiameterMM: 939.8, OverallIn: 37})
	p.asks(QBig).lines("yes", "not known").at(PhaseChange).asks(QWritten)
}

func TestTargetSizeMismatch(t *testing.T) {
	p := bay(t, Policy{}, &SizeFact{Which: "fitted_other", Text: "275/70R17", DiameterMM: 816.8}).asks(QFirst)
	p.said("no value fits both axles")
	if p.s.Target("") != nil || p.s.Decision.Do != "ask" {
		t.Errorf("%+v %+v", p.s.Target(""), p.s.Decision)
	}
	p.tap("check_again").asks(QFirst).tap("stop_job").asks(QStop).lines("no").asks(QFirst)
}

func TestTargetGearsUnknownDrivesFirst(t *testing.T) {
	p := bay(t, Policy{}, &AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "not_known"}, &AnswerFact{Question: QAxleSet, Value: "no"})
	p.asks(QFirst).said("before a drive").lines("write").asks(QFirst).lines("drive first").at(PhaseDrive)
}

func TestTargetGoesDown(t *testing.T) {
	p := bay(t, Policy{}, &StoredFact{Value: Number(660), Unit: "rev/mile", Quantity: "revs_per_mile", KindName: "rev_mile", Which: "factory", Step: 1})
	p.said("down, not up", "620")
}

func TestTargetLimited(t *testing.T) {
	hi := 2500.0
	p := bay(t, Policy{}, &StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Max: &hi})
	p.said("Write 2500", "another setting")
	if f := Flags(p.s, p.env.Policy, p.clock); len(f) != 1 || f[0] != FlagLimits {
		t.Errorf("%v", f)
	}
}

func TestTargetRetargets(t *testing.T) {
	p := bay(t, Policy{}).lines("change the new size to 285/70R17").asks(QFirst)
	p.said("moves from 2596 to 25", "Nothing was written with the old figure")
	p.lines("write").at(PhaseChange).lines("change the new size to 285/70R17").at(PhaseTarget).asks(QFirst).said("stays at")
	p.lines("write").at(PhaseChange)
}

func TestTargetSizeList(t *testing.T) {
	p := bay(t, Policy{}, &StoredFact{Value: Value{Label: "LT265/70R17"}, Unit: "mm", Quantity: "size_list", KindName: "size_list", Which: "factory",
		List: []ListEntry{{Label: "LT265/70R17"}, {Label: "LT285/75R17"}, {Label: "LT315/70R17"}}})
	p.said("Write LT285/75R17").lines("write").lines("took", "LT285/75R17").asks(QCodesNow)
	if !p.s.Changes[0].Took {
		t.Errorf("%+v", p.s.Changes)
	}
}

// A lamp that forbids the road holds a first drive back, not the job.
func TestTargetLampBeforeDrive(t *testing.T) {
	p := bay(t, Policy{}, &CodesFact{When: "before", List: []string{}, Lamps: []string{"brake"}})
	p.lines("drive first").at(PhaseTarget).asks(QCodesNow).said("No road drive")
	p.lines("none").at(PhaseDrive)
}

// Where the step is not known it is 1, and no coarser than the value as read
// shows; an axle ratio is never a whole number.
func TestStepNotKnown(t *testing.T) {
	for _, c := range []struct {
		kind string
		read float64
		want float64
	}{
		{"circumference_mm", 2438, 1}, {"circumference_mm", 2438.2, 0.1}, {"rev_mile", 655, 1}, {"percent", 100, 1},
		{"axle_ratio", 4.1, 0.01}, {"axle_ratio", 3.73, 0.01}, {"axle_ratio", 3.727, 0.001},
	} {
		m := &Module{Kind: c.kind, AsFound: Number(c.read), Original: Number(c.read)}
		if got := m.step(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s %v: step %v, want %v", c.kind, c.read, got, c.want)
		}
		m.Step = 5
		if got := m.step(); got != 5 {
			t.Errorf("%s: known step 5 became %v", c.kind, got)
		}
	}
	facts := bayFacts(&StoredFact{Value: Number(3.96), Unit: "", Quantity: "axle_ratio", KindName: "axle_ratio", Which: "factory"}, &AnswerFact{Question: QSteps, Value: "not_known"})
	p := playFrom(t, Policy{}, facts...).lines("ok").at(PhaseTarget)
	if g := p.s.Target(""); g.Value.Num < 3.6 || g.Value.Num > 3.8 {
		t.Errorf("target %v, want about 3.96 · 802.8/859.3", g.Value)
	}
}

// After "drive first" and before "go" the value may be written first after all.
func TestTargetWriteInsteadOfDrive(t *testing.T) {
	p := bay(t, Policy{}).lines("drive first").at(PhaseDrive).lines("write").at(PhaseChange).asks(QWritten).said("2438 to 2596")
	if len(p.s.Drives) != 0 || p.s.Value(QFirst) != "write" {
		t.Errorf("%+v", p.s.Drives)
	}
	p.lines("took", "2596", "none").at(PhaseDrive).asks(QDrive)
	if d := p.s.CurrentDrive(); d == nil || d.Value != Number(2596) || d.Drive != 1 {
		t.Errorf("%+v", d)
	}
	bay(t, Policy{}).lines("drive first", "write 2700").at(PhaseDrive).said("isn't the value worked out")
	bay(t, Policy{}).lines("drive first", "write 2596").at(PhaseChange)
	// Once under way nothing is written, nor where only a drive gives a value, nor before the check drive.
	bay(t, Policy{}).lines("drive first", "go", "write").at(PhaseDrive)
	bay(t, Policy{}, &AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "not_known"}, &AnswerFact{Question: QAxleSet, Value: "no"}).
		lines("drive first", "write").at(PhaseDrive)
	written(t, Policy{}).lines("2596", "none", "write").at(PhaseDrive)
	// At home the hold is asked again.
	h := home(t, Policy{}).as("2", Helper).lines("drive first").at(PhaseDrive).as("1", Customer).lines("write").at(PhaseChange).asks(QHold)
	if h.s.released() {
		t.Error("written without a release")
	}
}
