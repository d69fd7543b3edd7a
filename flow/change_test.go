package flow

import "testing"

// written brings the bay job to the first write.
func written(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	return bay(t, p, more...).lines("write").at(PhaseChange)
}

func TestChangeTypedAtOnce(t *testing.T) {
	p := written(t, Policy{}).lines("wrote it, took", "2596").asks(QCodesNow)
	if c := p.s.Changes[0]; !c.Took || c.ReadBack != Number(2596) || c.Before != Number(2438) || c.Why != "target" {
		t.Errorf("%+v", c)
	}
	q := written(t, Policy{}).lines("2596").asks(QCodesNow) // the read-back says it all
	if !q.s.Changes[0].Took {
		t.Error("not taken")
	}
}

func TestChangeRefused(t *testing.T) {
	for said, want := range map[string]string{
		"refused: security access denied":       "help round a security gateway",
		"refused, conditions not correct":       "not in READY",
		"refused, value out of range":           "which limit or step",
		"it refused, not supported in this one": "another module",
	} {
		p := written(t, Policy{}).lines(said).asks(QWritten).said(want)
		if p.s.Writing.Word != "refused" {
			t.Errorf("%s: %+v", said, p.s.Writing)
		}
		p.lines("took").asks(QReadBack)
	}
	p := written(t, Policy{}).lines("refused").asks(QRefused).lines("security access denied").asks(QWritten)
	if p.s.Writing.Why != "access" {
		t.Errorf("%+v", p.s.Writing)
	}
	written(t, Policy{}).lines("refused").tap("value_refused").asks(QWritten)
}

func TestChangeLimitFoundByRefusal(t *testing.T) {
	p := written(t, Policy{}).lines("refused, value out of range", "max 2500").at(PhaseChange).asks(QWritten)
	p.said("One change: 2438 to 2500")
	if g := p.s.Target(""); g.Value != Number(2500) || g.Limited != "max" {
		t.Errorf("%+v", g)
	}
	if p.s.Writing.To != Number(2500) {
		t.Errorf("%+v", p.s.Writing)
	}
}

func TestChangeBrokeOff(t *testing.T) {
	p := written(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor})
	p.lines("broke off").asks(QWritten).said("don't drive", "Write 2596 again", "leave it connected")
	if p.s.Alerts != 1 || p.s.roadSafe() {
		t.Errorf("alerts %d, road %v", p.s.Alerts, p.s.roadSafe())
	}
	if f := Flags(p.s, p.env.Policy, p.clock); len(f) == 0 || f[0] != FlagBrokenOff {
		t.Errorf("flags %v", f)
	}
	p.lines("no answer").said("Recover now").lines("took", "2596", "none").at(PhaseDrive)
	q := written(t, Policy{}).lines("broke off", "broke off").tap("recover").at(PhaseRecover)
	if !q.s.Broken[""] {
		t.Error("the module's state is not known after a broken write")
	}
}

func TestChangeNotSure(t *testing.T) {
	written(t, Policy{}).lines("not sure").asks(QReadBack).said("read-back tells").lines("2596").asks(QCodesNow)
}

func TestChangeDidNotTake(t *testing.T) {
	p := written(t, Policy{}).lines("took", "2438").asks(QWritten).said("still holds 2438", "write 2596 again")
	p.lines("took", "2438").said("it isn't you").lines("2596").asks(QCodesNow)
	if len(p.s.Changes) != 3 || p.s.Changes[0].Took || p.s.Changes[1].Took || !p.s.Changes[2].Took || p.s.Writes() != 1 {
		t.Errorf("%+v", p.s.Changes)
	}
}

func TestChangeOtherValue(t *testing.T) {
	p := written(t, Policy{}).lines("took", "2590").asks(QWritten).said("2590", "Write 2596 now")
	if p.s.Main().Now != Number(2590) || len(p.s.openDeviations()) != 1 || p.s.allAgree() {
		t.Errorf("now %v, %v", p.s.Main().Now, p.s.Deviations)
	}
	p.lines("2596").asks(QCodesNow) // written, or the slip put right
	if len(p.s.openDeviations()) != 0 {
		t.Errorf("%v", p.s.Deviations)
	}
	q := written(t, Policy{}).lines("i wrote 2590").asks(QWritten).tap("adopt").asks(QCodesNow)
	if q.s.Target("").Value != Number(2590) || !q.s.allAgree() {
		t.Errorf("%+v", q.s.Target(""))
	}
	q.lines("none").at(PhaseDrive)
}

func TestChangeOtherSetting(t *testing.T) {
	p := written(t, Policy{}).lines("i also changed the shift points").asks(QOther).said("same step")
	p.lines("undone").asks(QWritten).lines("took", "2596").asks(QCodesNow)
	q := written(t, Policy{}).lines("also changed the shift points").tap("own_change").asks(QOther)
	q.lines("shift points 3 to 4, reads 4").asks(QWritten)
	if len(q.s.Changes) != 1 || q.s.Changes[0].Setting != "other" || q.s.Changes[0].Before != Number(3) || q.s.Changes[0].ReadBack != Number(4) || q.s.Main().Now != Number(2438) {
		t.Errorf("%+v", q.s.Changes)
	}
	q.lines("2596").asks(QCodesNow)
}

func TestCodesAfterWrite(t *testing.T) {
	p := written(t, Policy{}, &CodesFact{When: "before", List: []string{"P0562"}, New: []string{}, Lamps: []string{}})
	p.lines("2596", "P0562").at(PhaseDrive).said("as before")

	q := written(t, Policy{}).lines("2596", "U0121").asks(QCodesNow).said("Clear it once")
	q.lines("none").at(PhaseDrive)

	r := written(t, Policy{}).lines("2596", "U0121", "U0121").asks(QNewCodes).said("Recover, or go on")
	r.tap("go_on").at(PhaseDrive)
	if f := Flags(r.s, r.env.Policy, r.clock); len(f) == 0 || f[0] != FlagNewCodes {
		t.Errorf("flags %v", f)
	}
	r.lines("go", "65/65 60/60 50/50", "parked U0121").asks(QNext) // gone on with: not new again

	written(t, Policy{}).lines("2596", "P0500").asks(QNewCodes).lines("recover").at(PhaseRecover)
}

func TestLampsStopTheRoad(t *testing.T) {
	p := written(t, Policy{}).lines("2596", "no codes but the abs lamp is on").asks(QNewCodes).said("Do not drive", "do not drive")
	p.lines("go on").asks(QNewCodes).said("Not with that lamp")
	p.tap("read_again").lines("none").at(PhaseDrive)

	q := written(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor}).lines("2596", "airbag light on").asks(QNewCodes)
	q.as("3", Supervisor).lines("waive road because the lamp was looked at, bulb check")
	q.at(PhaseDrive)
}

// Several modules: each a change of its own, in order, the drive when all
// agree; the target converted to each one's kind, step and limits.
func TestSeveralModules(t *testing.T) {
	lo := 600.0
	more := []Fact{
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "engine", Renames: true},
		&StoredFact{Value: Number(660), Unit: "rev/mile", Quantity: "revs_per_mile", KindName: "rev_mile", Which: "factory", Step: 1, Min: &lo, Module: "brake"},
	}
	p := bay(t, Policy{}, more...)
	p.said("engine", "rev/mile")
	if g := p.s.Target("brake"); g.Value != Number(620) { // 1 609 344 / 2595.x
		t.Errorf("%+v", g)
	}
	p.lines("write").said("engine, 2438 to 2596").lines("2596").asks(QWritten).said("660 to 620")
	if !p.s.HalfDone() || p.s.roadSafe() {
		t.Error("half done, with the brake module in it: no road")
	}
	p.lines("620").asks(QCodesNow).lines("none").at(PhaseDrive)
	if p.s.HalfDone() {
		t.Error("still half done")
	}
}

// The axle ratio is change 1, known exactly; then the tyre as if nothing had
// been changed.
func TestAxleRatioFirst(t *testing.T) {
	p := bay(t, Policy{}, &AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "gearbox"})
	p.asks(QAxleSet).lines("yes").asks(QFirst).lines("write").said("axle ratio 3.73 to 4.1")
	p.lines("4.1").asks(QWritten).said("2438 to 2596").lines("2596").asks(QCodesNow)
	if p.s.Changes[0].Setting != axleSetting || !p.s.Changes[0].Took || p.s.Changes[0].After != Number(4.1) {
		t.Errorf("%+v", p.s.Changes)
	}
	q := bay(t, Policy{}, &AnswerFact{Question: QGears, Value: "changed"}, &AnswerFact{Question: QRatio, About: "factory", Number: 3.73},
		&AnswerFact{Question: QRatio, About: "now", Number: 4.1}, &AnswerFact{Question: QSensing, Value: "gearbox"})
	q.lines("no").asks(QFirst)
	if g := q.s.Target(""); g.Value.Num > 2400 {
		t.Errorf("shorter gears bring the value down: %+v", g)
	}
}

func TestSupplyWaits(t *testing.T) {
	p := written(t, Policy{}, &AnswerFact{Question: QVolts, Value: "none"}).asks(QSupply).said("the write waits")
	p.lines("no").asks(QSupply).said("Then the write waits")
	p.lines("13.6").asks(QWritten)
}

func TestCodesInPieces(t *testing.T) {
	p := written(t, Policy{}).lines("2596").tap("some").asks(QCodesNow).said("Type them as shown")
	p.lines("no lamps").asks(QCodesNow).said("And the codes?").lines("none").at(PhaseDrive)
	q := checked(t, Policy{}).lines("70/70 60/60", "parked").asks(QCodesNow).lines("50/50").asks(QCodesNow).lines("none").asks(QNext)
	if q.s.readingsOn(1) != 3 {
		t.Errorf("%v", q.s.Readings)
	}
}

// A second module that offers a list gets the entry nearest to the target; one
// shown in inches is read back in inches.
func TestModuleKinds(t *testing.T) {
	p := bay(t, Policy{},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "engine", Renames: true, Shown: "in"},
		&StoredFact{Value: Value{Label: "LT265/70R17"}, Unit: "mm", Quantity: "size_list", KindName: "size_list", Which: "factory", Module: "cluster",
			List: []ListEntry{{Label: "LT265/70R17", CircumferenceMM: 2438}, {Label: "LT285/75R17"}}})
	if g := p.s.Target("cluster"); g.Value.Label != "LT285/75R17" {
		t.Errorf("%+v", g)
	}
	p.said("102.2").lines("write").said("95.98 to 102.20").lines("102.20").asks(QWritten).said("LT265/70R17 to LT285/75R17")
	p.lines("took", "LT265/70R17").said("still holds LT265/70R17").lines("took", "lt285/75r17").asks(QCodesNow)
}

// What can't be the value is not taken for a read-back.
func TestReadBackUnlikely(t *testing.T) {
	p := written(t, Policy{}).lines("took", "61/65").asks(QReadBack).lines("12").asks(QReadBack).lines("broke off").asks(QWritten).said("Leave ignition")
	if len(p.s.Changes) != 0 {
		t.Errorf("%+v", p.s.Changes)
	}
}
