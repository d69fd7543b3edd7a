package flow

import "slices"

// listOf names the checklist that a question puts, "" for another question.
func listOf(q QuestionID) string {
	switch q {
	case QBefore:
		return "before"
	case QClosing:
		return closingList
	}
	return ""
}

// creditLines notes which lines of a checklist a message confirmed.
func (s *State) creditLines(e *Entry, f *ChecklistFact) {
	q, was := QBefore, s.Checks[f.List].Lines
	if f.List == closingList {
		q = QClosing
	}
	added := slices.DeleteFunc(slices.Clone(f.Lines), func(n int) bool { return slices.Contains(was, n) })
	if len(added) > 0 {
		s.credit(e, Key{q, lineText(added)})
	}
}

// rewriteList reads a checklist anew from an edited message: the lines it had
// confirmed fall, and those it confirms now stand. What falls is asked about
// before the job goes on.
func (t *turn) rewriteList(q *question, about, text string) {
	if !t.readable(q, text) {
		return
	}
	list := listOf(q.ID)
	f := t.s.Checks[list]
	f.List = list
	for _, line := range numbersOf(about) {
		f.drop(line)
	}
	if list == "before" && !slices.Contains(f.Lines, lineSupply) {
		f.Volts = 0
	}
	t.record(&f)
	q.Take(t, &input{Text: text})
}

// fallen is the first question of the checklist before anything that is open
// again, nil if none: nothing else is asked before it is settled, but for a write
// under way and a drive.
func (t *turn) fallen() *question {
	switch t.s.Phase {
	case PhaseOpen, PhaseBefore, PhaseClosed:
		return nil
	}
	if !listSettled(t.s) || t.s.Writing != nil || t.s.Driving() {
		return nil
	}
	return phases()[PhaseBefore].due(t.s)
}
