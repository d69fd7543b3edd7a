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
