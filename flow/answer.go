package flow

import (
	"slices"
	"strings"
	"sync"

	"milepost/flow/understand"
	"milepost/flow/words"
)

// phases gives what each phase asks. It is put together once: a phase's
// functions refer to the phases, so it can't be a plain variable.
func phases() map[Phase]phaseOf {
	phaseOnce.Do(func() {
		phaseMap = map[Phase]phaseOf{
			PhaseOpen:    openPhase(),
			PhaseBefore:  beforePhase(),
			PhaseFactory: factoryPhase(),
			PhaseBackup:  backupPhase(),
			PhaseFitted:  fittedPhase(),
			PhaseTarget:  targetPhase(),
			PhaseChange:  changePhase(),
			PhaseDrive:   drivePhase(),
			PhaseReview:  reviewPhase(),
			PhaseClose:   closePhase(),
			PhaseRecover: recoverPhase(),
			PhaseClosed:  closedPhase(),
		}
	})
	return phaseMap
}

var (
	phaseOnce sync.Once
	phaseMap  map[Phase]phaseOf
)

// gathering are the phases whose questions a message may answer ahead of their
// turn.
var gathering = []Phase{PhaseOpen, PhaseBefore, PhaseFactory, PhaseBackup, PhaseFitted}

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

// labelled finds the choice whose label a text is.
func (t *turn) labelled(text string) string {
	if t.s.Asked == nil || text == "" {
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

// gather lets the other questions of the early phases take what the message
// answers ahead of its turn, so that it is not asked again.
func (t *turn) gather(in *input, open *question) {
	if in.rest() == "" {
		return
	}
	for _, ph := range gathering {
		qs := phases()[ph].Questions
		for i := range qs {
			q := &qs[i]
			if q.Also == nil || (open != nil && q.ID == open.ID) || !q.due(t.s) && !t.unasked(q.ID) {
				continue
			}
			entries, echoes, placard := len(t.entries), len(t.echo), t.s.Sizes["factory"].Text
			q.Also(t, in)
			if ph != t.s.Phase && (len(t.entries) > entries && len(t.echo) == echoes || q.ID == QPlacard && placard != t.s.Sizes["factory"].Text) {
				t.echoEarly(q) // it is not asked, so nothing else says that it was taken
			}
			if in.rest() == "" {
				return
			}
		}
	}
}

// echoEarly says in a few words what was taken ahead of its turn.
func (t *turn) echoEarly(q *question) {
	var a Answer
	for _, b := range t.s.Answers {
		if b.Question == q.ID && b.Seq > a.Seq {
			a = b
		}
	}
	value := t.answerText(a)
	switch q.ID {
	case QPlacard:
		value = t.s.Sizes["factory"].Text
	case QStored:
		if m := t.s.Main(); m != nil {
			value = withUnit(m, m.Factory())
		}
	}
	if name := "name." + string(q.ID); value != "" && catalogue().Has(name) {
		t.understood("echo.early", words.Args{"Name": upperFirst(t.text(t.worker(), name, nil)), "Value": value})
	}
}

// unasked says whether a question is one that nobody asks: what is said of it
// is taken.
func (t *turn) unasked(q QuestionID) bool {
	switch q {
	case QVIN:
		return !t.s.Has(q) || vinDoubted(t.s)
	case QRevs, QRollout:
		return !t.s.Has(q)
	case QUnits:
		return t.s.Phase == PhaseOpen
	}
	return false
}

// measuredLater takes published revolutions or a rollout that come once the
// target is worked out: it is worked out again.
func (t *turn) measuredLater(in *input) bool {
	if in.Text == "" || t.s.Driving() || t.s.Target(t.s.mainName()) == nil {
		return false
	}
	for _, id := range []QuestionID{QRevs, QRollout} {
		if q := find(id); t.takes(q, in.Text) {
			t.amend(q, "", in.Text, "words")
			return true
		}
	}
	return false
}

// again repeats the open question: a digression never loses the place.
func (t *turn) again() {
	if q := t.open(); q != nil {
		if !t.s.Driving() {
			q.Ask(t)
		}
		return
	}
	t.advance()
}

// lost says that the answer was not understood and what would be.
func (t *turn) lost(q *question, in *input) {
	if in.ask != nil {
		t.askBack(in.ask)
		return
	}
	hint := q.Hint
	if hint == "" {
		hint = "hint.general"
	}
	t.hint(hint, words.Args{"Said": t.inOwnWords(short(in.Text)), "Unit": t.speedUnit()})
}

// hint says what was wrong with an answer and keeps the question open.
func (t *turn) hint(key string, args words.Args) {
	a := t.s.Asked
	if a == nil {
		t.say(Notice, key, args)
		return
	}
	echo := t.flush()
	r := t.worker()
	if a.To != "" {
		r = a.To
	}
	text := t.text(r, key, args)
	if echo != "" {
		text = echo + " " + text
	}
	t.post(Prompt, r, t.addressed(a.To), text, key, a.Choices, a.Ask)
}

// askBack asks something back in the words of a reader that was not certain:
// the desk command says the same.
func (t *turn) askBack(a *understand.Ask) {
	b := *a
	b.Said = t.inOwnWords(a.Said)
	t.hint("ask.text", words.Args{"Text": b.Text()})
}

// inOwnWords is what of a message is quoted, as it was typed: where a part of
// it has been taken, and so masked, the whole message.
func (t *turn) inOwnWords(said string) string {
	typed := strings.Join(strings.Fields(t.m.Text), " ")
	if typed == "" || !strings.Contains(said, ";") || strings.Contains(typed, strings.TrimSuffix(said, "…")) {
		return said
	}
	return short(typed)
}

// nothingFound are the doubts that only say that a reader found nothing: once
// the message has answered something else they need not be said.
var nothingFound = map[string]bool{understand.AskSize: true, understand.AskValueNone: true, understand.AskListChosen: true, understand.AskReadingNone: true}
