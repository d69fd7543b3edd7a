package flow

import (
	"strings"
	"testing"
)

// A message that tells of another setting keeps the tool's word, and a figure is
// no answer to what becomes of that setting.
func TestOtherSettingKeepsToolsWord(t *testing.T) {
	p := written(t, Policy{}).lines("took, and i also changed the axle ratio to 4.10").asks(QOther).said("axle ratio to 4.10")
	if p.s.Writing.Word != "took" {
		t.Errorf("%+v", p.s.Writing)
	}
	p.lines("2596").asks(QOther).said("type \"undone\" or \"own change\"")
	if len(p.s.Changes) != 0 || len(p.s.openDeviations()) != 1 {
		t.Fatalf("swallowed: %+v", p.s.Changes)
	}
	p.lines("own change").asks(QOther).said("what it was")
	p.lines("2596").asks(QOther).lines("axle ratio was 3.73, is 4.10, reads 4.10").asks(QReadBack).said("Kept as change 1")
	if c := p.s.Changes[0]; c.Before != Number(3.73) || c.After != Number(4.1) || c.ReadBack != Number(4.1) || !c.Took || c.Why != "own" {
		t.Errorf("%+v", c)
	}
	if len(p.s.openDeviations()) != 0 {
		t.Errorf("%+v", p.s.openDeviations())
	}
	p.lines("2596").asks(QCodesNow)
	if len(p.s.Changes) != 2 || p.s.Changes[1].Number != 2 || p.s.Main().Now != Number(2596) {
		t.Errorf("%+v", p.s.Changes)
	}
}

// Figures that are not known are left out, not said to be 0.
func TestOtherSettingFiguresNotKnown(t *testing.T) {
	p := written(t, Policy{}).lines("took, and i also changed the axle ratio to 4.10", "own change", "not known").asks(QReadBack)
	for _, e := range p.entries {
		if f, ok := e.Fact.(*ChangeFact); ok {
			b, err := Encode(&e)
			if err != nil {
				t.Fatal(err)
			}
			if s := string(b); strings.Contains(s, "before") || !strings.Contains(s, `"after":4.1`) || !f.Took {
				t.Errorf("%s", s)
			}
			if l := Line(e); !strings.Contains(l, "change 1 - 4.1") {
				t.Error(l)
			}
		}
		if f, ok := e.Fact.(*DeviationFact); ok {
			if b, _ := Encode(&e); strings.Contains(string(b), `"value"`) {
				t.Errorf("%+v: %s", f, b)
			}
		}
	}
}

func TestOtherSettingBesideReadBack(t *testing.T) {
	// Told with the read-back, both are taken.
	p := written(t, Policy{}).lines("took", "2596, and i also ticked the auto lock").asks(QOther)
	if p.s.Main().Now != Number(2596) || p.s.Writing != nil {
		t.Fatalf("%+v", p.s.Changes)
	}
	p.lines("own change", "the auto lock, was off, is on").asks(QCodesNow)
	if c := p.s.Changes[1]; c.Number != 2 || !c.Before.Zero() || !c.After.Zero() {
		t.Errorf("%+v", c)
	}
	// Told whole at once, nothing more is asked.
	q := written(t, Policy{}).lines("i also changed the shift point from 3 to 4, took").asks(QOther).lines("own change").asks(QReadBack)
	if c := q.s.Changes[0]; c.Before != Number(3) || c.After != Number(4) || q.s.Writing.Word != "took" {
		t.Errorf("%+v %+v", c, q.s.Writing)
	}
}

// What was changed beside the value goes back too, asked about by its name.
func TestRecoverOtherSetting(t *testing.T) {
	p := written(t, Policy{}).lines("took, and i also changed the axle ratio to 4.10", "own change", "axle ratio was 3.73, is 4.10", "2596", "none", "recover")
	p.said("2438 mm and \"axle ratio was 3.73, is 4.10\" (change 1), back to 3.73").lines("48210").said("2596 to 2438").lines("took", "2438")
	p.asks(QWritten).said("axle ratio was 3.73", "back to 3.73").lines("took").asks(QReadBack).lines("4.10").asks(QWritten).said("still holds 4.1")
	p.lines("took", "3.73").asks(QCodesNow).lines("none", "48210").at(PhaseClosed).said("Restored: 2438 mm and \"axle ratio")
	if c := p.s.Changes[len(p.s.Changes)-1]; c.Of != 1 || !c.Took || c.ReadBack != Number(3.73) {
		t.Errorf("%+v", c)
	}
	// Without figures a yes is the read-back.
	q := written(t, Policy{}).lines("took", "2596, and i also ticked the auto lock", "own change", "the auto lock, was off, is on", "none", "recover", "48210")
	q.asks(QWritten).said("auto lock").lines("took").asks(QReadBack).said("read as before").lines("no").asks(QWritten).said("not back")
	q.lines("took", "yes").asks(QWritten).said("2596 to 2438").lines("2438", "none", "48210").at(PhaseClosed)
	// At home each of them is held.
	r := home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer).lines("it worked, i also ticked the auto lock", "own change", "not known", "2596", "none", "recover", "77000")
	r.asks(QHold).as("2", Helper).lines("release").as("1", Customer).lines("it worked", "2438").asks(QHold).said("auto lock")
}
