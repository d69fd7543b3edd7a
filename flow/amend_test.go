package flow

import "testing"

// A supervisor who states that the shop is approved takes a regulated job up
// again; anyone else, or without the statement, leaves it closed.
func TestRegulatedIsForApprovedWorkshops(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 3, bay, 1000 mi", "yes").at(PhaseClosed)
	if p.s.Stopped != "approved_workshop" {
		t.Errorf("stopped %q", p.s.Stopped)
	}
	p.as("s1", Supervisor).lines("waive regulated because I say so").at(PhaseClosed)
	p.lines("waive regulated because this shop is an approved workshop").at(PhaseBefore)
}

// An edit of a message amends only after a yes, and only its author's.
func TestEditAsks(t *testing.T) {
	p := playFrom(t, Policy{}).lines("new job unit 3, bay, 1000 mi", "no", "all yes 13.4")
	p.step(Message{ID: "m1", Text: "LT265/70R17, 2438 mm circumference, step 1"})
	p.step(Message{Edit: "m1", Text: "255/70R17"})
	p.asks(QAmend).lines("no")
	if p.s.Sizes["factory"].Text != "LT265/70R17" {
		t.Error("amended without a yes")
	}
	p.step(Message{Edit: "m1", Text: "255/70R17"})
	p.asks(QAmend).lines("yes")
	if p.s.Sizes["factory"].Text != "255/70R17" {
		t.Errorf("not amended: %s", p.s.Sizes["factory"].Text)
	}
}

// An answer that is amended between the tool's word and the read-back waits for
// the read-back: what was written is not lost.
func TestAmendWaitsForReadBack(t *testing.T) {
	for _, word := range []string{"took", "broke off", "no answer", "not sure"} {
		p := written(t, Policy{}).lines(word, "change the factory size to 265/75R16").at(PhaseChange).said("Noted", "finished first")
		if len(p.s.Waiting) != 1 || p.s.Writing == nil || len(p.s.Changes) != 0 {
			t.Fatalf("%s: %+v %+v", word, p.s.Writing, p.s.Changes)
		}
		if p.s.Asked.Question != QReadBack {
			p.asks(QWritten).lines("took")
		}
		p.asks(QReadBack).lines("2596").asks(QWritten).said("2596 read back", "2596 was written with the old answer",
			"from 2596 to 2593. Stored now: 2596", "2596 to 2593")
		if len(p.s.Waiting) != 0 || p.s.Sizes["factory"].Text != "265/75R16" || p.s.Writing.Change != 2 || len(p.s.Changes) != 1 || !p.s.Changes[0].Took || p.s.Main().Now != Number(2596) {
			t.Errorf("%s: %+v", word, p.s.Changes)
		}
	}
	// A size that the stored value doesn't fit asks nothing before the read-back: a
	// figure is the read-back, and the original stays what it was.
	q := written(t, Policy{}).lines("took", "change the factory size to 245/65R16").asks(QReadBack).lines("change the tread to 12/9").asks(QReadBack)
	q.lines("2596")
	if m := q.s.Main(); m.Original != Number(2438) || m.Now != Number(2596) || q.s.Sizes["factory"].Text != "245/65R16" || len(q.s.Waiting) != 0 {
		t.Errorf("%+v %+v", m, q.s.Waiting)
	}
	if tread, _ := q.s.Num(QTread); tread != 9 {
		t.Errorf("tread %v", tread)
	}
	// What is no answer is said to be none.
	written(t, Policy{}).lines("took", "change the factory size to blue").said("no new answer").asks(QReadBack)
	// Where it did not take, nothing of the old figure is stored.
	p := written(t, Policy{}).lines("took", "change the factory size to 265/75R16", "2438").at(PhaseTarget).said("Stored now: 2438")
	if p.s.Main().Now != Number(2438) || p.s.Writes() != 0 {
		t.Errorf("%+v", p.s.Changes)
	}
	// Before the tool has said anything the target moves at once.
	written(t, Policy{}).lines("change the factory size to 265/75R16").at(PhaseTarget).said("Nothing was written with the old figure")
}
