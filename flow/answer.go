package flow

import (
	"slices"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// answer is the heart of a turn: what the message means here.
func (t *turn) answer() error {
	switch {
	case t.m.Wake:
		t.woken()
	case !May(t.m.Role, ActAnswer):
		t.answerTo(Refusal, "refuse.role", nil)
	case !t.env.Policy.Trusts(t.m.Role, t.m.Trust) && (t.m.Tap != "" || t.m.Edit != "" || t.m.Delete != "" || t.decides(t.m.Text)):
		t.answerTo(Refusal, "refuse.device", nil)
	case t.m.Edit != "":
		t.edited()
	case t.m.Delete != "":
		t.deleted()
	default:
		t.read()
	}
	return t.err
}

// read takes a message: asides first, which never move the place; then the
// open question and whatever else the message answers; then the next question.
func (t *turn) read() {
	if p := t.m.Join; p != nil && p.ByCode {
		// The words around a guest code are a greeting, not an answer.
		name := ""
		if to := t.addressed(Helper); len(to) > 0 {
			name = t.nameOf(to[0])
		}
		t.understood("hello.code", words.Args{"Helper": name})
		t.again()
		return
	}
	if t.m.Fault != "" {
		t.answerTo(Refusal, t.m.Fault, nil)
		t.again()
		return
	}
	if t.m.Text == "" && t.m.Tap == "" && t.m.File == nil && t.s.Asked != nil {
		if !t.s.Driving() {
			t.answerTo(Notice, "hint.empty", nil)
		}
		return
	}
	if t.late() {
		return
	}
	in := &input{Text: t.m.Text, File: t.m.File}
	if t.unknownCode(in) {
		return
	}
	if t.m.Tap != "" && !t.tapped(in) {
		return
	}
	if in.File != nil && in.File.Fault != "" {
		t.answerTo(Refusal, in.File.Fault, words.Args{"Name": in.File.Name, "Bytes": in.File.Bytes})
		t.again()
		return
	}
	if in.Choice == "" && t.mayAnswerNow() && t.open() != nil {
		in.Choice = t.labelled(in.Text) // a label that reads like a command is the choice
	}
	if in.Choice == "" && t.aside(in) {
		return
	}
	if t.s.Paused {
		t.record(&PauseFact{Paused: false}) // who answers is back
	}
	if in.Choice == "" && t.whileHeld(in) {
		return
	}
	if !t.mayAnswerNow() {
		t.answerTo(Notice, "wait.other", words.Args{"Role": string(t.s.Asked.To)})
		return
	}
	if in.Choice == "" && t.early(in) {
		if len(t.replies) == 0 {
			t.again()
		}
		return
	}
	q := t.open()
	if q == nil && t.s.Asks == 0 && t.s.Phase == PhaseOpen { // the first message answers before anything is asked
		q = t.due(phases()[t.s.Phase])
	}
	if q == nil {
		if t.s.Phase != PhaseClosed { // it is told that it is closed, and takes nothing
			t.gather(in, nil)
		}
		t.advance()
		return
	}
	t.takeAnswer(q, in)
}

// takeAnswer gives the message to the open question, and what is left of it to
// the others; then the next one is asked, or this one again.
func (t *turn) takeAnswer(q *question, in *input) {
	if in.Choice == "" {
		in.Choice = t.named(q, in.Text)
	}
	if in.Choice == "" && t.keeps(q, in) {
		t.advance()
		return
	}
	if in.Choice == "" && t.putsRight(q, in.Text) {
		return
	}
	before, choice := len(t.entries), in.Choice
	was := t.answerText(t.s.Answers[Key{q.ID, ""}])
	if !q.Take(t, in) {
		if len(t.entries) == before && t.measuredLater(in) {
			return
		}
		t.gather(in, q)
		if len(t.entries) == before && len(t.replies) == 0 {
			if t.s.Asked == nil {
				t.advance() // a greeting: nothing was asked that it could have missed
				return
			}
			t.lost(q, in)
			return
		}
		if len(t.replies) > 0 {
			return
		}
		if q.due(t.s) && in.ask != nil && !nothingFound[in.ask.Code] {
			t.askBack(in.ask)
			return
		}
		t.advance()
		return
	}
	t.took = choice
	if len(t.replies) > 0 && t.replies[len(t.replies)-1].Kind == Prompt {
		return // the question asked something back
	}
	t.gather(in, q)
	if len(t.entries) > before && t.reanswered(q, was) {
		return
	}
	t.advance()
}

// reanswered works the target out again where an answer that it rests on, put
// to the question again, is another now.
func (t *turn) reanswered(q *question, was string) bool {
	if !movesTarget[q.ID] || slices.Contains(gathering, t.s.Phase) || t.s.Target(t.s.mainName()) == nil {
		return false
	}
	k := Key{q.ID, ""}
	t.amended(k, was, t.answerText(t.s.Answers[k]), "words")
	t.depends(q.ID)
	return true
}

// unknownCode takes a guest code that let nobody in out of a message, so that
// it becomes no name and is not repeated. It says whether that was all.
func (t *turn) unknownCode(in *input) bool {
	c, ok := understand.GuestCode(in.Text)
	if !ok || t.m.Tap != "" {
		return false
	}
	rest := *in
	rest.take(c.Start, c.End)
	if t.s.Phase != PhaseOpen && rest.rest() != "" {
		return false // four groups of other things
	}
	in.Text = rest.Text
	t.understood("open.code.unknown", nil)
	if in.rest() != "" {
		return false
	}
	if t.s.Driving() {
		t.sayNow("", nil)
		return true
	}
	t.again()
	return true
}

// keeps says whether an answer that was put to the question again is left as
// it is: "keep", "go on".
func (t *turn) keeps(q *question, in *input) bool {
	c, ok := t.command(in.Text)
	return ok && t.s.Has(q.ID) && !q.due(t.s) && (c.Name == understand.CmdKeep || c.Name == understand.CmdGoOn)
}
