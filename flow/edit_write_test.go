package flow

import "testing"

// say types a text under an identifier, so that it can be edited.
func (p *play) say(id, text string) *play {
	p.t.Helper()
	p.step(Message{ID: id, Text: text})
	return p
}

func (p *play) edit(id, text string) *play {
	p.t.Helper()
	p.step(Message{Edit: id, Text: text})
	for _, r := range p.last {
		p.t.Logf("(edit %s) < [%s %s] %s %s", text, r.Phase, r.Kind, r.Text, labels(r))
	}
	return p
}

// A read-back put right by an edit: what did not take is written again, before a
// drive at it or judged by it after.
func TestEditReadBack(t *testing.T) {
	p := written(t, Policy{}).lines("took").say("rb", "2596").asks(QCodesNow).edit("rb", "2438").asks(QAmend).said("Change the read-back to 2438")
	p.lines("yes").asks(QWritten).said("still holds 2438", "write 2596 again")
	if p.s.Main().Now != Number(2438) || len(p.s.Changes) != 1 || p.s.Changes[0].Took {
		t.Errorf("%+v", p.s.Changes)
	}
	q := written(t, Policy{}).lines("took").say("rb", "2596").lines("none").asks(QDrive).edit("rb", "2438").asks(QAmend)
	q.lines("yes").asks(QWritten).said("still holds 2438").at(PhaseChange).lines("2596", "none").asks(QDrive)
	if q.s.Main().Now != Number(2596) || len(q.s.Drives) != 1 {
		t.Errorf("%+v", q.s.Drives)
	}
	// Left as it was.
	r := written(t, Policy{}).lines("took").say("rb", "2596").lines("none").edit("rb", "2438").lines("no").asks(QDrive)
	if r.s.Main().Now != Number(2596) {
		t.Error("an edit alone changed the value")
	}
	// Nothing that can't be the value.
	r.edit("rb", "12").said("no new answer").asks(QDrive)
	// A value that is neither: not what was meant.
	u := written(t, Policy{}).lines("took").say("rb", "2596").edit("rb", "2569").lines("yes").asks(QWritten).said("It reads 2569")
	if len(u.s.openDeviations()) != 1 {
		t.Errorf("%+v", u.s.Deviations)
	}
}

// After a drive the readings count at the value that was there.
func TestEditReadBackAfterDrive(t *testing.T) {
	p := written(t, Policy{}).lines("took").say("rb", "2596").lines("none", "go", "61/65", "56/60").edit("rb", "2438").said("when you are parked")
	p.lines("47/50", "parked").asks(QAmend).lines("yes", "keep").asks(QCodesNow).lines("none")
	if d := p.s.Drives[0]; d.ReadBack != Number(2438) {
		t.Errorf("%+v", d)
	}
	p.said("2438")
	if p.s.Main().Now != Number(2438) || p.s.Phase == PhaseClose {
		t.Errorf("%s at %v", p.s.Phase, p.s.Main().Now)
	}
	// Overtaken by another write it is said anew.
	q := written(t, Policy{}).lines("took").say("rb", "2438").asks(QWritten).lines("2596").edit("rb", "2600").said("say it anew")
	if q.s.Main().Now != Number(2596) {
		t.Errorf("%v", q.s.Main().Now)
	}
}

// Codes and lamps put right stop the job where it has come to meanwhile.
func TestEditCodes(t *testing.T) {
	p := written(t, Policy{}).lines("2596").say("c", "none").asks(QDrive).edit("c", "U0100 abs lamp").asks(QAmend).said("Change codes and lamps to U0100 and brake")
	p.lines("yes").asks(QNewCodes).said("Do not drive").lines("go").asks(QNewCodes).lines("go on").asks(QNewCodes)
	p.tap("read_again").lines("none").asks(QDrive).lines("go", "65/65 60/60 50/50", "parked").asks(QCodesNow).lines("none").asks(QNext)

	q := written(t, Policy{}).lines("2596").say("c", "none").edit("c", "P0500").lines("yes").asks(QNewCodes).said("New since the work: P0500")
	q.tap("go_on").asks(QDrive)
	r := written(t, Policy{}).lines("2596", "none", "go", "65/65 60/60 50/50").say("c", "parked none").asks(QNext).edit("c", "parked P0500").lines("yes").asks(QNewCodes)
	r.lines("recover").at(PhaseRecover)
	// On the road it waits.
	u := written(t, Policy{}).lines("2596").say("c", "none").lines("go", "65/65").edit("c", "abs lamp").said("when you are parked")
	u.lines("60/60 50/50", "parked").asks(QAmend).lines("yes").asks(QNewCodes)
}
