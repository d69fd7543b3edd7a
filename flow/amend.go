package flow

import (
	"milepost/flow/understand"
	"milepost/flow/words"
)

// Answers can be changed at any time; the old one stays in the log beside the
// new one, and what depended on it is worked out again.

// moves the target: a change of these answers changes the value to write.
var movesTarget = map[QuestionID]bool{
	QPlacard: true, QStored: true, QEntry: true, QChanged: true, QPercent: true, QList: true,
	QSteps: true, QFitted: true, QTread: true, QPressure: true, QRevs: true, QRollout: true,
	QGears: true, QSensing: true, QAxles: true, QUnits: true, QRule: true,
}

// changeAnswer is "change the new size to 285/70R17".
func (t *turn) changeAnswer(c command, _ *input) bool {
	if t.s.Driving() {
		t.answerTo(Notice, "amend.driving", nil)
		return true
	}
	if t.s.Phase == PhaseClosed {
		t.again()
		return true
	}
	id, ok := amendable[c.Field]
	if c.Field == understand.FieldLast {
		id, ok = t.lastAnswered().Question, t.lastAnswered().Seq > 0
	}
	if !ok {
		t.answerTo(Notice, "amend.which", nil)
		t.again()
		return true
	}
	q := find(id)
	if c.Arg == "" {
		q.Ask(t)
		return true
	}
	t.amend(q, "", c.Arg, "words")
	return true
}

// amendable maps the words of the reader to questions.
var amendable = map[string]QuestionID{
	understand.FieldVehicle: QVehicle, understand.FieldVIN: QVIN, understand.FieldPlace: QPlace,
	understand.FieldOdometer: QOdometer, understand.FieldUnits: QUnits, understand.FieldRule: QRule,
	understand.FieldRegulated: QRegulated, understand.FieldVolts: QVolts,
	understand.FieldSizeFactory: QPlacard, understand.FieldSizeFitted: QFitted,
	understand.FieldStored: QStored, understand.FieldFactoryValue: QStored, understand.FieldStep: QSteps,
	understand.FieldLimits: QSteps, understand.FieldBackup: QBackup, understand.FieldTread: QTread,
	understand.FieldPressure: QPressure, understand.FieldRevs: QRevs, understand.FieldRollout: QRollout,
	understand.FieldGears: QGears, understand.FieldSpeedFrom: QSensing, understand.FieldLoad: QLoad,
}

// personal are the questions whose answers are erasable words.
var personal = map[QuestionID]bool{QVehicle: true, QVIN: true, QBackup: true}

// amend puts a new answer in place of an old one.
func (t *turn) amend(q *question, about, text, by string) {
	old := t.answerText(t.s.Answers[Key{q.ID, about}])
	n, said := len(t.entries), len(t.replies)
	asked := t.s.Asked
	if !q.Take(t, &input{Text: text}) || len(t.entries) == n {
		if len(t.replies) == said {
			t.answerTo(Notice, "amend.unread", words.Args{"Said": short(text), "Name": t.text(t.m.Role, "name."+string(q.ID), nil)})
		}
		t.s.Asked = asked
		t.again()
		return
	}
	now := t.answerText(t.s.Answers[Key{q.ID, about}])
	f := &AmendedFact{Question: q.ID, About: about, From: old, To: now, By: by}
	var items []Item
	if personal[q.ID] { // words that may have to be erased are no part of the leaf
		f.From, f.To = "", ""
		items = []Item{{ItemFrom, old}, {ItemTo, now}}
	}
	t.record(f, items...)
	if len(t.replies) > said {
		return // it asked something back
	}
	t.depends(q.ID)
}

// depends works out again what depended on an answer, and says first whether a
// value already written depended on it.
func (t *turn) depends(q QuestionID) {
	target := t.s.Target(t.s.mainName())
	if !movesTarget[q] || target == nil {
		t.advance()
		return
	}
	old := t.figure(target.Value)
	if t.s.Writes() > 0 {
		t.say(Caution, "amend.written", words.Args{"Value": t.figure(t.s.Main().Now)})
	}
	if can(t.s.Phase, EvRetarget) && !t.move(EvRetarget) {
		return
	}
	if t.s.Phase != PhaseTarget {
		t.advance()
		return
	}
	t.retarget(old)
	t.advance()
}

// edited amends the answers that came of a message which its author has
// changed. It never releases, waives, signs off, writes or erases; it asks.
func (t *turn) edited() {
	keys := t.s.By[t.m.Edit]
	if t.s.Driving() {
		t.answerTo(Notice, "amend.driving", nil)
		return
	}
	if t.s.ByWho[t.m.Edit] != t.m.Who || len(keys) == 0 {
		t.answerTo(Notice, "edit.noted", nil)
		return
	}
	for _, k := range keys {
		if find(k.Question) == nil {
			continue
		}
		t.record(&AmendedFact{Question: k.Question, About: k.About, By: "edit"}, Item{ItemText, t.m.Text})
		askAmend(t)
		return
	}
	t.answerTo(Notice, "edit.noted", nil)
}

// askAmend asks whether an edited message is meant as a new answer.
func askAmend(t *turn) {
	e := t.s.Edited
	t.ask(QAmend, string(e.Question), "edit.ask", words.Args{
		"Name": t.text(t.m.Role, "name."+string(e.Question), nil), "Said": short(t.s.EditText)}, "yes", "no")
}

// takeAmend puts the edited text in place of the answer, or leaves it.
func takeAmend(t *turn, in *input) bool {
	e := t.s.Edited
	switch yesNo(in) {
	case "yes":
		q := find(e.Question)
		if q == nil || t.s.EditText == "" {
			t.say(Notice, "edit.kept", nil)
			return true
		}
		in.Text = ""
		t.amend(q, e.About, t.s.EditText, "edit")
		return true
	case "no":
		t.say(Notice, "edit.kept", nil)
		return true
	}
	return false
}

// deleted notes that a message was withdrawn; the answer stands until someone
// says otherwise.
func (t *turn) deleted() {
	keys := t.s.By[t.m.Delete]
	if t.s.ByWho[t.m.Delete] != t.m.Who || len(keys) == 0 {
		t.answerTo(Notice, "edit.noted", nil)
		return
	}
	q := keys[0].Question
	t.record(&AmendedFact{Question: q, About: keys[0].About, By: "delete"})
	t.answerTo(Notice, "delete.stands", words.Args{"Name": t.text(t.m.Role, "name."+string(q), nil)})
	if !t.s.Driving() {
		t.again()
	}
}
