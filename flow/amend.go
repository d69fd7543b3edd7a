package flow

import (
	"milepost/calib"
	"milepost/calib/unit"
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

// personal are the questions whose answers are erasable words.
var personal = map[QuestionID]bool{QVehicle: true, QVIN: true, QBackup: true}

// amend puts a new answer in place of an old one.
func (t *turn) amend(q *question, about, text, by string) {
	if movesTarget[q.ID] && t.s.inTheAir() && t.readable(q, text) {
		t.record(&AmendedFact{Question: q.ID, About: about, By: by, Waits: true}, Item{ItemText, text})
		t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		t.advance()
		return
	}
	old := t.answerText(t.s.Answers[Key{q.ID, about}])
	n, said := len(t.entries), len(t.replies)
	asked := t.s.Asked
	if !q.Take(t, &input{Text: text}) || len(t.entries) == n {
		t.unread(q, text, asked, said)
		return
	}
	now := t.answerText(t.s.Answers[Key{q.ID, about}])
	t.amended(Key{q.ID, about}, old, now, by)
	if len(t.replies) > said {
		return // it asked something back
	}
	t.depends(q.ID)
}

// amended records that an answer is another now. Words that may have to be erased
// are no part of the leaf.
func (t *turn) amended(k Key, from, to, by string) {
	f := &AmendedFact{Question: k.Question, About: k.About, From: from, To: to, By: by}
	f.Waits = (movesTarget[k.Question] || k.Question == QDrive) && t.s.inTheAir()
	var items []Item
	if personal[k.Question] {
		f.From, f.To = "", ""
		items = []Item{{ItemFrom, from}, {ItemTo, to}}
	}
	t.record(f, items...)
}

// unread says that an amendment was not understood, unless something was asked
// back, and goes on where the job was.
func (t *turn) unread(q *question, text string, asked *AskedFact, said int) {
	if len(t.replies) == said {
		t.answerTo(Notice, "amend.unread", words.Args{"Said": short(text), "Name": t.nameOfQuestion(q.ID)})
	}
	t.s.Asked = asked
	t.again()
}

// depends works out again what depended on an answer, and says first whether a
// value already written depended on it.
func (t *turn) depends(q QuestionID) {
	target := t.s.Target(t.s.mainName())
	if !movesTarget[q] || target == nil {
		t.advance()
		return
	}
	if t.s.inTheAir() {
		t.understood("amend.waits", words.Args{"Value": t.toWrite()})
		t.advance()
		return
	}
	t.retargetNow()
	t.advance()
}

// inTheAir says whether a write under way may have changed the module already:
// then it is read back before anything else.
func (s *State) inTheAir() bool {
	return s.Writing != nil && s.Writing.Word != "begun" && s.Writing.Word != "refused"
}

// retargetNow goes back to the target and works it out again, saying first
// what is stored now.
func (t *turn) retargetNow() {
	if t.judgeAnew() {
		return
	}
	old := t.figure(t.s.Target(t.s.mainName()).Value)
	if t.s.Writes() > 0 {
		t.say(Caution, "amend.written", words.Args{"Value": t.figure(t.s.Main().Now)})
	}
	if can(t.s.Phase, EvRetarget) && !t.move(EvRetarget) {
		return
	}
	if t.s.Phase == PhaseTarget {
		t.retarget(old)
	}
}

// judgeAnew lets the review decide where the drives are behind it: readings say
// more than the answer that has changed. It says whether it did; gears that the
// module is still to be told of are a matter of the target.
func (t *turn) judgeAnew() bool {
	s := t.s
	if s.Phase != PhaseReview && s.Phase != PhaseClose || s.asksAxleSetting() && !s.Has(QAxleSet) || s.pendingAxle() != nil {
		return false
	}
	if drives, _ := s.calibDrives(unit.Speed(t.speedUnit())); len(drives) == 0 {
		return false
	}
	a, ok := t.assess(false)
	if !ok {
		return false
	}
	if a.Decision.Do == calib.Write && s.Writes() > 0 {
		t.say(Caution, "amend.written", words.Args{"Value": t.figure(s.Main().Now)})
	}
	t.understood("amend.judged", nil)
	switch {
	case s.Phase == PhaseReview:
		t.reviewAgain()
	case t.move(EvReopen):
		t.review()
	}
	return true
}

// readable says whether a text is an answer to a question, without taking it.
func (t *turn) readable(q *question, text string) bool {
	try := &turn{s: t.s.Clone(), env: t.env, m: t.m}
	return q.Take(try, &input{Text: text}) && len(try.entries) > 0
}

// amendedMeanwhile takes up amendments that had to wait for the read-back. The
// last one moves the target.
func (t *turn) amendedMeanwhile() {
	if t.s.Writing != nil || t.s.Phase != PhaseChange {
		return
	}
	waiting := t.s.Waiting
	for i, a := range waiting {
		q := find(a.Question)
		if a.By == "edit" {
			changes, _ := t.rewrite([]Key{{a.Question, a.About}}, a.Text)
			f := &AmendedFact{Question: q.ID, About: a.About, By: a.By}
			for _, c := range changes {
				f.From, f.To = c.from, c.to
			}
			t.record(f)
			if i == len(waiting)-1 {
				t.depends(q.ID)
				return
			}
			continue
		}
		if i == len(waiting)-1 {
			t.amend(q, a.About, a.Text, a.By)
			return
		}
		if q.Take(t, &input{Text: a.Text}) {
			t.record(&AmendedFact{Question: q.ID, About: a.About, By: a.By})
		}
	}
	if t.s.Waits {
		t.retargetNow()
	}
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
	key := "delete.stands"
	switch {
	case q == QBackup:
		key = "delete.backup"
	case t.s.Taps[t.m.Delete]:
		key = "delete.tap"
	}
	t.answerTo(Notice, key, words.Args{"Name": t.text(t.m.Role, "name."+string(q), nil)})
	if !t.s.Driving() {
		t.again()
	}
}
