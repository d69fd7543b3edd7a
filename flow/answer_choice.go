package flow

import "strings"

// tapped turns a tap into the choice it names. A tap on a question that is no
// longer open changes nothing; the open one is put again after the first of them.
func (t *turn) tapped(in *input) bool {
	a := t.s.Asked
	c := TapChoice(t.m.Tap)
	if a != nil && c != "" && TapJob(t.m.Tap) == t.s.Job && t.s.sameAsk(tapAsk(t.m.Tap), a) {
		for _, id := range a.Choices {
			if id == c {
				in.Choice = c
				return true
			}
		}
	}
	put := t.s.stale
	t.answerTo(Notice, "tap.stale", nil)
	if !put {
		t.again()
	}
	return false
}

// mayAnswerNow says whether the open question is this person's to answer.
func (t *turn) mayAnswerNow() bool {
	a := t.s.Asked
	return a == nil || a.To == "" || a.To == t.m.Role || t.m.Role == Supervisor
}

// named finds the choice that a text names by its number or its label.
func (t *turn) named(q *question, text string) string {
	if t.s.Asked == nil || len(t.s.Asked.Choices) == 0 {
		return ""
	}
	ids := t.s.Asked.Choices
	if n, ok := choiceNumber(text); ok && !q.Bare && n >= 1 && n <= len(ids) {
		return ids[n-1]
	}
	return t.labelled(text)
}

// labelled finds the choice whose label a text is: "took?" asks, and chooses
// nothing.
func (t *turn) labelled(text string) string {
	if t.s.Asked == nil || text == "" || strings.HasSuffix(strings.TrimSpace(text), "?") {
		return ""
	}
	for _, id := range t.s.Asked.Choices {
		for _, r := range []Role{Technician, Customer} {
			if same(t.text(r, "choice."+id, t.choiceArgs(id)), text) {
				return id
			}
		}
	}
	return ""
}
