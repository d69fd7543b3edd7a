package flow

import (
	"testing"
	"time"
)

// home plays a customer with a helper far away.
func home(t *testing.T, p Policy, more ...Fact) *play {
	t.Helper()
	facts := append([]Fact{}, bayFacts(append([]Fact{&AnswerFact{Question: QPlace, Value: "home"}, &PersonFact{Who: "2", Role: Helper}}, more...)...)...)
	facts[0] = &PersonFact{Who: "1", Role: Customer}
	pl := playFrom(t, p, facts...).as("1", Customer)
	return pl.lines("ok")
}

func TestHoldAtHome(t *testing.T) {
	p := home(t, Policy{}).at(PhaseChange).asks(QHold).said("Noor looks at it first", "Hold: write 2596 mm", "Release?")
	p.lines("i release it")
	if p.s.released() {
		t.Fatal("a customer released")
	}
	p.as("2", Helper).lines("release").asks(QWritten).said("Noor says go ahead", "change 2438 to 2596 and nothing else")
	p.as("1", Customer).lines("it stopped halfway").asks(QWritten).said("Press write once more", "no new release needed", "Don't drive")
	p.lines("it worked now").asks(QReadBack).lines("2596").asks(QCodesNow)
}

func TestHoldNotYet(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("not yet, because the backup is missing").asks(QHold)
	p.said("the backup is missing", "Still held")
	p.tap("release").asks(QWritten)
}

func TestHoldNotOverOwnAnswer(t *testing.T) {
	own := home(t, Policy{})
	own.as("1", Helper).lines("release").said("Not over your own answer") // whoever gave the answer, whatever the role now
	if own.s.released() {
		t.Fatal("released by himself")
	}
	self := home(t, Policy{Self: true})
	self.as("1", Helper).lines("release").asks(QWritten)
	if !self.s.Self || !self.s.Hold.Self {
		t.Error("self is not in the log")
	}
}

// Role is checked when the release arrives, not when it was asked for.
func TestHoldRoleWhenReleaseArrives(t *testing.T) {
	p := home(t, Policy{})
	p.as("2", Customer).lines("release")
	p.as("2", Stranger).lines("release")
	if p.s.released() {
		t.Fatal("released without the role")
	}
	p.as("3", Supervisor).lines("release").asks(QWritten)
}

// An edited message never releases.
func TestHoldNotByEdit(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper)
	p.step(Message{Edit: "x", Text: "release"})
	if p.s.released() {
		t.Fatal("an edit released")
	}
}

func TestHoldCalls(t *testing.T) {
	p := home(t, Policy{}, &PersonFact{Who: "3", Role: Supervisor})
	out, err := Step(p.s, Message{Who: "1", Role: Customer, Text: "note hello"}, p.env)
	if err != nil || !out.Wake.Equal(p.s.HoldAt.Add(10*time.Minute)) {
		t.Fatalf("wake %v, hold %v, %v", out.Wake, p.s.HoldAt, err)
	}
	p.wake(5 * time.Minute)
	if len(p.last) != 0 {
		t.Errorf("called early: %v", p.last)
	}
	p.wake(6*time.Minute).said("has waited 10 minutes", "Don't drive")
	p.wake(11*time.Minute).said("has waited 20 minutes", "the supervisor")
	p.wake(11 * time.Minute)
	if len(p.last) != 0 {
		t.Errorf("called a third time: %v", p.last)
	}
}

func TestHoldDriveFirst(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("drive first").at(PhaseDrive)
	p.as("1", Customer).lines("go", "61/65 56/60 47/50", "parked none").asks(QHold)
}

// A hold in the bay goes to the supervisor where there is no helper; a stale
// tap changes nothing.
func TestHoldInBay(t *testing.T) {
	p := bay(t, Policy{Holds: []HoldPoint{{What: "write"}}}, &PersonFact{Who: "3", Role: Supervisor}).lines("write").asks(QHold)
	if p.s.Asked.To != Supervisor {
		t.Errorf("put to %s", p.s.Asked.To)
	}
	tap := send(p.s.Job, p.s.Asks, "release")
	p.as("3", Supervisor).lines("not yet because wait")
	p.step(Message{Tap: tap})
	if !p.s.released() { // the same step is still open: the tap stands
		t.Error("tap on the open step refused")
	}
	p.step(Message{Tap: tap}) // now another step is open
	p.asks(QWritten)
}

// A value that did not take needs no new release, the next value does.
func TestHoldAgainForAnotherValue(t *testing.T) {
	p := home(t, Policy{}).as("2", Helper).lines("release").as("1", Customer)
	p.lines("2438").asks(QWritten).lines("2596", "none").at(PhaseDrive)
	p.lines("go", "70/68 60/58 50/48 65/63 55/53", "parked none").asks(QOdoCheck).lines("skip").at(PhaseChange).asks(QHold)
}

// Where several modules are written, what waits names the module, in the words
// of whoever reads it.
func TestHoldNamesTheModule(t *testing.T) {
	more := []Fact{
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "cluster", Renames: true},
		&StoredFact{Value: Number(2438), Unit: "mm", Quantity: "circumference", KindName: "circumference_mm", Which: "factory", Step: 1, Module: "brake"},
		&PersonFact{Who: "2", Role: Helper},
	}
	held := Policy{Holds: []HoldPoint{{What: "write"}}}
	bay(t, held, more...).lines("write").said("in cluster: held until")
	facts := bayFacts(more...)
	facts[0] = &PersonFact{Who: "1", Role: Customer}
	playFrom(t, held, facts...).as("1", Customer).lines("ok", "write").said("The number in instruments gets larger")
}
