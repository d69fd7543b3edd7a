package flow

import (
	"slices"
	"strconv"
	"strings"
)

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

// amendList reads a checklist anew from an edited message: the lines it had
// confirmed fall, and those it confirms now stand. What falls is asked about
// before the job goes on.
func (t *turn) amendList(q *question, about, text string) {
	list, asked := listOf(q.ID), t.s.Asked
	was := t.s.Checks[list]
	if !t.readable(q, text) {
		t.unread(q, text, asked, len(t.replies))
		return
	}
	f := ChecklistFact{List: list, Lines: was.Lines, Volts: was.Volts}
	for n := range strings.SplitSeq(about, ", ") {
		if line, err := strconv.Atoi(n); err == nil {
			f.drop(line)
		}
	}
	if list == "before" && !slices.Contains(f.Lines, lineSupply) {
		f.Volts = 0
	}
	t.record(&f)
	said := len(t.replies)
	q.Take(t, &input{Text: text})
	t.record(&AmendedFact{Question: q.ID, About: about, From: lineText(was.Lines), To: lineText(t.s.Checks[list].Lines), By: "edit"})
	if len(t.replies) == said {
		t.advance()
	}
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
