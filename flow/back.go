package flow

import (
	"math"
	"slices"

	"milepost/flow/words"
)

// back puts the answer given last to the question again; typed again it walks
// on to the one before. It reaches no further than what is still open to be
// answered anew: nothing is put again on the road, nor with a write in the air.
func (t *turn) back(command, *input) bool {
	if t.s.Driving() {
		t.answerTo(Notice, "amend.driving", nil)
		return true
	}
	last := t.lastAnswered(t.openSeq())
	switch {
	case last.Seq > 0:
		t.answerTo(Notice, "back.to", words.Args{"Name": t.text(t.m.Role, "name."+string(last.Question), nil), "Value": t.answerText(last)})
		find(last.Question).Ask(t)
		return true
	case t.s.inTheAir():
		t.answerTo(Notice, "back.write", nil)
	case slices.Contains(gathering, t.s.Phase) || t.s.Phase == PhaseTarget:
		t.answerTo(Notice, "back.none", nil)
	default:
		t.answerTo(Notice, "back.here", nil)
	}
	t.again()
	return true
}

// openSeq is the entry that answered the open question before it was put
// again; beyond every entry where it has no answer yet.
func (t *turn) openSeq() int64 {
	var seq int64
	for _, a := range t.s.Answers {
		if t.s.Asked != nil && a.Question == t.s.Asked.Question {
			seq = max(seq, a.Seq)
		}
	}
	if seq == 0 {
		return math.MaxInt64
	}
	return seq
}

// lastAnswered is the last answer before an entry to another question than the
// open one, of those that may be put again.
func (t *turn) lastAnswered(before int64) (last Answer) {
	for _, a := range t.s.Answers {
		if a.Seq <= last.Seq || a.Seq >= before || (t.s.Asked != nil && t.s.Asked.Question == a.Question) || !t.s.putAgain(a.Question) {
			continue
		}
		last = a
	}
	return last
}

// putAgain says whether a question that was answered may be put once more. Until
// the target stands that is any so far; later only one of the present phase that
// still applies, and while a write is open none but the tool's word after a
// refusal.
func (s *State) putAgain(id QuestionID) bool {
	q, ph := lookup(id)
	if q == nil || s.Driving() || s.inTheAir() {
		return false
	}
	applies := ph == s.Phase && (q.When == nil || q.When(s))
	switch s.Phase {
	case PhaseDrive:
		return false
	case PhaseChange, PhaseRecover:
		if s.Writing != nil {
			return id == QWritten && s.Writing.Word == "refused" && s.Asked != nil && s.Asked.Question == QRefused
		}
		return applies && (id == QCured || id == QSameUnit)
	case PhaseReview, PhaseClose, PhaseClosed:
		return applies
	}
	return slices.Contains(gathering, ph) && (id != QLine || s.openLine() > 0) || applies
}

// amendsFrom says whether "change my answer to" may mean a question: one that
// describes the vehicle at any time, another while it may be put again.
func (s *State) amendsFrom(id QuestionID) bool {
	return id != QLine && (slices.Contains(gathering, phaseAsking(id)) || s.putAgain(id)) // a line is known by its question alone
}
