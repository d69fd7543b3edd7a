package flow

import "testing"

// With the drives behind it a changed answer is judged by the review: what is
// done stays done, and a few millimetres by the sizes are no write.
func TestAmendAtDone(t *testing.T) {
	done := func() *play {
		return checked(t, Policy{}).lines("70/70 60/60 50/50 65/65 55/55", "parked none").asks(QNext)
	}
	p := done().lines("change the new size to 285/70R17").at(PhaseReview).asks(QNext).said("judged anew", "Done.").quiet("2596 was written")
	if p.s.Sizes["fitted"].Text != "285/70R17" || len(p.s.Changes) != 1 {
		t.Errorf("%s, %d changes", p.s.Sizes["fitted"].Text, len(p.s.Changes))
	}
	// In the close as well, where it changed nothing at all.
	q := done().lines("close").at(PhaseClose).lines("change the tread to 12/9").at(PhaseReview).asks(QNext).said("judged anew")
	if q.s.Answers[Key{QTread, ""}].Number != 9 {
		t.Error("not taken")
	}
	// What the readings do not allow any more is written, with the word for it.
	done().lines("change the rule to never under").at(PhaseChange).said("written with the old answer", "Write 2653")
}

// A write that was begun is given up where the readings say that it is done.
func TestAmendBeforeSecondWrite(t *testing.T) {
	p := checked(t, Policy{Threshold: 0.4}).lines("71/70 61/60 51/50 66/65 56/55", "parked none").asks(QOdoCheck).lines("skip").at(PhaseChange)
	p.env.Policy.Threshold = 2
	p.lines("change the tread to 12/11").at(PhaseDrive).said("is stored already")
	if len(p.s.Changes) != 1 || p.s.Writing != nil {
		t.Errorf("%+v", p.s.Writing)
	}
}
